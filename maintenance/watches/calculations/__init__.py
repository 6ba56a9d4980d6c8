"""Pure computation of watches: no Django, no clock, no files."""
