"""Pure computation of charges and downtime: no Django, no clock, no files."""
