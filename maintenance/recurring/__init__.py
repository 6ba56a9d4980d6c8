"""Recurring tasks: when they fall due and the work that is raised for them."""
