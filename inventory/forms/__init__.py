"""What somebody in the stores can get wrong, checked."""
