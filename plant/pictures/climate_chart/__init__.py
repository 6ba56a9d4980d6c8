"""The picture of a chamber's climate: from readings to lines, ticks and shades that a page only has to place."""
