"""Pure computation of function checks: no Django, no clock, no files."""
