"""Entry into a chamber: what bars it, who is inside, and the permit under which people go in."""
