"""The pages at a chamber's door, closing it, and alarms while somebody is inside."""
