"""What all rooms share: days, measures and numbers as people type them, tokens, tables to take away."""
