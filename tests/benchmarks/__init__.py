"""Benchmarks: our figure and a baseline's, measured in the same run. Run ``python -m tests.benchmarks``."""
