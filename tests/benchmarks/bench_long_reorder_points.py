"""The reorder points over ten invented years of six hundred parts; takes minutes."""

from collections.abc import Iterator
from typing import Final

from tests.benchmarks.bench_reorder_points import judged
from tests.benchmarks.harness import Measured

#: Demand that nobody looked at while the rule was made.
SEED: Final = 9100
OF_EACH: Final = 100


def run() -> Iterator[Measured]:
    """Live through the years with all parts."""
    return judged(SEED, OF_EACH)
