"""Plans: the desk as a problem, what stands, what was worked out, and accepting it."""
