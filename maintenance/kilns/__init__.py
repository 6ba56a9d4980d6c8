"""The kilns this morning, one kiln with all that belongs to it, and its climate."""
