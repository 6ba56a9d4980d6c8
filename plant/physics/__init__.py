"""Physics of air, heat, wood and water: pure computation, no Django."""
