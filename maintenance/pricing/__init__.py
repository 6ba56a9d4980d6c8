"""What waiting with a defect costs a day, and how sure that is."""
