"""Task sheets and check points: those that ship with the product, and the mill's own."""
