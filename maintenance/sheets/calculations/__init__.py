"""Computation of task sheets, without Django."""
