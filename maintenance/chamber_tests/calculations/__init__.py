"""Pure computation of chamber tests: no Django, no clock, no files."""
