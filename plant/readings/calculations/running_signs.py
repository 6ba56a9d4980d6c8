"""Which readings say that a kiln runs or is hot: what must not be so while somebody is inside.

Limits are our own choice, low on purpose: an alarm too many costs a look at the door, one too few costs a life. A
fan's current counts from where the climate view calls fans running.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.climate_view import LEAST_RUNNING_A
from plant.readings.calculations.reading_marks import Track

LEAST_SPEED_PCT: Final = 1.0
LEAST_DIRECTION: Final = 0.5
LEAST_OPEN_PCT: Final = 5.0
"""A valve that is shut seldom reads quite 0."""
LEAST_HEAT_KW: Final = 2.0
RISE_K, RISE_S = 4.0, 20 * 60
"""So much warmer within so long is no sun on the roof: 12 K an hour, as heating does."""


class Sign(StrEnum):
    """What readings say."""

    FANS = "fans"
    HEAT = "heat"
    SPRAY = "spray"
    HOT = "hot"
    WARMING = "warming"


@dataclass(frozen=True, slots=True)
class RunningSign:
    """One channel that says so: its last reading that does, and whether its very last one still does."""

    sign: Sign
    quantity: str
    place: str
    at_s: int
    value: float
    is_still_so: bool


_LEAST: Final[dict[str, tuple[Sign, float]]] = {
    "fan_direction": (Sign.FANS, LEAST_DIRECTION),
    "fan_current": (Sign.FANS, LEAST_RUNNING_A),
    "fan_speed": (Sign.FANS, LEAST_SPEED_PCT),
    "heating_valve": (Sign.HEAT, LEAST_OPEN_PCT),
    "heat_power": (Sign.HEAT, LEAST_HEAT_KW),
    "spray_valve": (Sign.SPRAY, LEAST_OPEN_PCT),
}
QUANTITIES: Final = frozenset((*_LEAST, "air_temperature"))
"""What is looked at."""


def running_signs(tracks: Iterable[Track], entry_limit_c: float) -> list[RunningSign]:
    """Find the channels by which a kiln runs or is hot, in the order of their keys.

    Parameters
    ----------
    tracks : Iterable[Track]
        Trustworthy readings of one kiln since it was opened for entry, in the units of their quantities.
    entry_limit_c : float
        Warmest air in °C in which the mill lets people in.

    Returns
    -------
    list[RunningSign]
        At most one a channel and sign.
    """
    found = []
    for track in sorted(tracks, key=lambda one: (one.quantity, one.place)):
        for sign, is_so in _said(track, entry_limit_c):
            places = np.flatnonzero(is_so)
            if len(places):
                last = int(places[-1])
                found.append(
                    RunningSign(
                        sign,
                        track.quantity,
                        track.place,
                        int(track.at_s[last]),
                        float(track.value[last]),
                        last == len(track.value) - 1,
                    )
                )
    return found


def _said(track: Track, entry_limit_c: float) -> list[tuple[Sign, np.ndarray]]:
    if track.quantity == "air_temperature":
        return [(Sign.HOT, track.value > entry_limit_c), (Sign.WARMING, rise(track) >= RISE_K)]
    if track.quantity in _LEAST:
        sign, least = _LEAST[track.quantity]
        return [(sign, np.abs(track.value) >= least)]
    return []


def rise(track: Track) -> Values:
    """Return by how much each reading lies above the lowest of the ``RISE_S`` before it, in K; shape (n,)."""
    first = np.searchsorted(track.at_s, track.at_s - RISE_S)
    return np.array(
        [
            value - track.value[begin : end + 1].min()
            for end, (begin, value) in enumerate(zip(first, track.value, strict=True))
        ]
    )
