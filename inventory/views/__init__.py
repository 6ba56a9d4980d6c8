"""Pages of the stores, by subject."""
