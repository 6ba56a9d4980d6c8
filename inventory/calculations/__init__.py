"""Pure computation of the storeroom: no Django, no clock, no files."""
