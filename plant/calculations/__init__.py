"""Pure computation of the plant: no Django, no clock, no files."""
