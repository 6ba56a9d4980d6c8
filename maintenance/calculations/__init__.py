"""Pure computation of upkeep: no Django, no clock, no files."""
