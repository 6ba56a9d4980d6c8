"""The way in for other systems: readings in JSON, with a token for each source."""
