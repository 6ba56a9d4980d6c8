"""Pages of the plant, by subject."""
