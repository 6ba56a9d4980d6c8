"""What waiting loses in timber, heat and air: pure computation, no Django."""
