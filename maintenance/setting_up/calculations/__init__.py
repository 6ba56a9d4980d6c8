"""What a chamber is usually made of; plain Python."""
