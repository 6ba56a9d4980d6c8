"""Task sheets and check points: those that come with the program, and the mill's own."""
