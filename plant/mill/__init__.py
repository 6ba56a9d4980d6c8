"""The mill's settings and the units that it reads in."""
