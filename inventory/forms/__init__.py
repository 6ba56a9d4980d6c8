"""What somebody in the storeroom can get wrong, checked."""
