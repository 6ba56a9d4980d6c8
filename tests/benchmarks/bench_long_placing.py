"""Placing in three sizes of mill, five seeds each that nothing was tuned on; about forty minutes on two cores."""

from collections.abc import Iterator

from tests.benchmarks.harness import Measured
from tests.benchmarks.placing_runs import Targets, measure

SEEDS = (11, 12, 13, 14, 15)


def run() -> Iterator[Measured]:
    """Measure all sizes."""
    yield from measure(12, 4, SEEDS, 30, Targets(10, 0.005, 0.50, 0.73))
    yield from measure(40, 4, SEEDS, 60, Targets(60, 0.02, 0.50, 0.73))
    yield from measure(120, 8, SEEDS, 300, Targets(300, 0.08, 0.50, 0.67))
