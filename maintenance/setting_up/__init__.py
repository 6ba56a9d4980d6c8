"""The first hour of a mill, and a new kiln by questions."""
