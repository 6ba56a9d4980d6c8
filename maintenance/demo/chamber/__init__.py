"""A simulated chamber: a small physical model of a kiln's climate, to try watches and tests on. No Django."""
