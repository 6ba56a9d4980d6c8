"""Pure computation of work orders: no Django, no clock, no files."""
