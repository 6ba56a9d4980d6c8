"""Pure computation of the stores: no Django, no clock, no files."""
