"""Template tags of upkeep."""
