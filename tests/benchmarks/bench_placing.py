"""Placing of 12 kilns for 4 weeks, on two seeds: gap to the proven bound, and cost against the rules of thumb.

More seeds and larger mills take an hour: ``python -m tests.benchmarks long_placing``.
"""

from collections.abc import Iterator

from tests.benchmarks.harness import Measured
from tests.benchmarks.placing_runs import Targets, measure

SECONDS = 10
SEEDS = (11, 12)


def run() -> Iterator[Measured]:
    """Measure two mills."""
    return measure(12, 4, SEEDS, SECONDS, Targets(SECONDS, 0.005, 0.50, 0.73))
