"""Pages of upkeep, by subject."""
