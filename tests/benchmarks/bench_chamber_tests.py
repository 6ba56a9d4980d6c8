"""Whether the bounds of the two tests that a chamber runs on itself hold what is true, over simulated chambers.

The seeds are others than those on which the evaluation was tuned and tested.
"""

from maintenance.chamber_tests.calculations.figures import Fans
from tests.benchmarks.harness import Measured, Target
from tests.maintenance.chamber_tests.chamber_cases import Coverage, cooling_coverage, power_coverage, tightness_coverage

SEED = 770_000
TESTS = 500
LEAST, MOST, STATED = 0.93, 0.97, 0.95


def run() -> list[Measured]:
    """Run 500 tests of each kind; a refused test is none."""
    running = tightness_coverage(SEED, TESTS, Fans.ON)
    standing = tightness_coverage(SEED + 10_000, TESTS, Fans.OFF)
    return [
        _line("leak, fans on: share of bounds of 95 % that hold the true one", running),
        _line("leak, fans off: share of bounds of 95 % that hold the true one", standing),
        _line("heat loss by power: share of bounds of 95 % that hold it", power_coverage(SEED + 20_000, TESTS)),
        _line("heat loss by cooling: share of bounds of 95 % that hold it", cooling_coverage(SEED + 30_000, TESTS)),
    ]


def _line(name: str, found: Coverage) -> Measured:
    note = f"{found.figures} figures, {found.refused} refused, half width {100 * found.half_width:.1f} %"
    # What is judged is the share, not its ratio to what is stated.
    return Measured(name, found.share, STATED, "share", found.share, Target(LEAST, MOST), note)
