"""Loggers' files: sent or laid down in a folder, confirmed, taken in."""
