"""Placing in mills under a real load, a short share: one mill of 12 kilns, and why its jobs are not sooner.

All sizes with seven seeds each take two hours of two quiet cores: ``python -m tests.benchmarks long_loaded_placing``.
"""

from collections.abc import Iterator

from tests.benchmarks.harness import Measured
from tests.benchmarks.loaded_runs import measure, true_sentences

SEEDS = (1,)
SECONDS = 10


def run() -> Iterator[Measured]:
    """Solve one mill, and hold what is said of it against the checker."""
    yield from measure(12, 4, SEEDS, SECONDS, worst=0.06)
    yield true_sentences(seeds=SEEDS, most_jobs=40)
