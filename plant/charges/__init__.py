"""The charge programme: phases, openings, the account of a kiln's time, drying times."""
