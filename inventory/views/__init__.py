"""Pages of the storeroom, by subject."""
