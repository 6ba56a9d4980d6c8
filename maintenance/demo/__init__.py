"""The invented Fallow Bridge Sawmill: writes a mill's files for a given day, always the same for the same day."""
