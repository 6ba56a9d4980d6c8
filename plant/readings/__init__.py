"""Readings of the chambers: taken in, settled, marked, and read again."""
