"""Placing in mills under a real load, seven seeds of three sizes, and a thousand answers to why not sooner."""

from collections.abc import Iterator

from tests.benchmarks.harness import Measured
from tests.benchmarks.loaded_runs import measure, proven, true_sentences

SEEDS = (1, 2, 3, 4, 5, 6, 7)
ANSWERED_SEEDS = range(1, 11)


def run() -> Iterator[Measured]:
    """Measure all sizes."""
    yield from measure(12, 4, SEEDS, 20, mean=0.005, worst=0.015, proof_seconds=60)
    yield from measure(40, 4, SEEDS, 60, mean=0.015, worst=0.03)
    yield from measure(120, 8, SEEDS, 300, mean=0.08)
    yield proven(12, 4, SEEDS, 60)
    yield true_sentences(seeds=ANSWERED_SEEDS)
