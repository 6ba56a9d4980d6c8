"""Pure computation of availability: no Django, no clock, no files."""
