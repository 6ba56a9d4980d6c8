"""Forms of upkeep, by subject."""
