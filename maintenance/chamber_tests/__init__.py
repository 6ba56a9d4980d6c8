"""Tests that a chamber runs on itself: tightness and heat loss."""
