"""What changes several rows of upkeep at once, each act whole or not at all."""
