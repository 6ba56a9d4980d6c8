"""Downtime: reported, ended, corrected."""
