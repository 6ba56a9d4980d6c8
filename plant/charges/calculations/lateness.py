"""How much longer or shorter charges took than planned: mean and spread of the kiln's own past."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

#: With fewer charges nothing is said. Our own choice.
LEAST = 3


@dataclass(frozen=True, slots=True)
class Lateness:
    """Hours that charges took longer (above 0) or shorter than planned: mean, standard deviation, and of how many."""

    mean_h: float
    sd_h: float
    charges: int


def lateness(took_longer_h: Sequence[float]) -> Lateness | None:
    """Learn from the hours that each past charge took longer than planned; None where they are too few."""
    if len(took_longer_h) < LEAST:
        return None
    return Lateness(fmean(took_longer_h), stdev(took_longer_h), len(took_longer_h))
