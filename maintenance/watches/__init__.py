"""Watches on the readings: looking, firing, verdicts, trials."""
