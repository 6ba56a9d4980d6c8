"""Background work: tasks by name, jobs by key, attempts on record, a heartbeat and a watchdog."""
