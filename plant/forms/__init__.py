"""Forms of the plant, by subject."""
