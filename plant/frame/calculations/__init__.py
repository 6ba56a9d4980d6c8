"""Pure computation that all rooms share: no Django, no clock, no files."""
