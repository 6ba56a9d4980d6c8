"""Pure computation of readings: no Django, no clock, no files."""
