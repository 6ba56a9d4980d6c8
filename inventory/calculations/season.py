"""Whether use goes with the time of year, and how much busier than usual the days ahead are."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

YEAR_DAYS = 365.25
#: A resultant that chance alone reaches one time in e³, about 5 %, shows no season. Common practice.
CHANCE_ALONE = 3.0
#: More than this the days ahead are never held busier or quieter than usual. Our own choice.
MOST_SWING = 0.9


def busier_ahead(days_ago: Sequence[float], observed_days: float, ahead_days: float) -> float:
    """Give the use to be expected over the days ahead, as a multiple of the usual.

    Parameters
    ----------
    days_ago : Sequence[float]
        how long ago each issue was, days
    observed_days : float
        days on record; with less than a year a season cannot be told from a start, and the answer is 1
    ahead_days : float
        days ahead that are asked about, zero or more

    Notes
    -----
    Each issue is a direction on the circle of the year. Without a season the squared resultant over the count, ``z``,
    exceeds a value ``v`` with chance ``exp(-v)`` (Rayleigh's test: Mardia and Jupp, Directional Statistics, 2000,
    section 6.3, from memory). Only whole years are looked at. The wave found is taken less far than it shows, by
    the share ``1 - 1/z`` of it that chance does not explain.
    """
    whole_days = math.floor(observed_days / YEAR_DAYS) * YEAR_DAYS
    within = [ago for ago in days_ago if ago < whole_days]
    if not within:
        return 1.0
    turn = 2j * math.pi / YEAR_DAYS
    resultant = sum(cmath.exp(-turn * ago) for ago in within)
    z = abs(resultant) ** 2 / len(within)
    if z <= CHANCE_ALONE:
        return 1.0
    swing = min(MOST_SWING, 2 * abs(resultant) / len(within) * (1 - 1 / z))
    peak = cmath.phase(resultant)
    angle = 2 * math.pi * ahead_days / YEAR_DAYS
    wave = math.cos(-peak) if angle == 0 else (math.sin(angle - peak) - math.sin(-peak)) / angle
    return 1 + swing * wave
