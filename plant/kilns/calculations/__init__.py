"""Pure computation of a kiln's state: no Django, no clock, no files."""
