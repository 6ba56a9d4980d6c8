"""Kilns: their particulars and how each stands at an instant."""
