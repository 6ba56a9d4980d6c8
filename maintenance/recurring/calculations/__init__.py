"""Pure computation of due dates: no Django, no clock, no files."""
