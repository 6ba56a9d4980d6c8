"""What must be said wherever a kiln is named, and what stands against making one run."""
