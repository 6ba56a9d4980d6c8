"""The day's run, and the papers to take along."""
