"""Places of a kiln as numbers, and the stops in them.

Opening c of a kiln is 2c, charge c is 2c + 1, so that these are in order of time; `ANYWHERE` is the place of a job
that needs no state. Below it are the time in which charge c waits to be unloaded, and the times in which the kiln is
down. Costs are in 1440ths of a cent, in which prices per day times minutes are whole.
"""

from __future__ import annotations

from dataclasses import dataclass

ANYWHERE = -1
PARTS = 1440
#: A cent an hour is so many parts a minute; a cent a day is one.
HOURLY = 24
FAR = 10**9


def waiting_place(index: int) -> int:
    """Number the time in which a charge that has cooled waits for the yard."""
    return -3 - 2 * index


def down_place(index: int) -> int:
    """Number a time in which the kiln is down."""
    return -2 - 2 * index


def is_opening(place: int) -> bool:
    """Whether a place lies before a charge: an opening or a standstill."""
    return place >= 0 and place % 2 == 0


def is_in_charge(place: int) -> bool:
    """Whether a place is a charge that runs, whose stop is an interruption."""
    return place >= 0 and place % 2 == 1


def is_waiting(place: int) -> bool:
    """Whether a place is the time in which a charge waits for the yard."""
    return place < ANYWHERE and place % 2 == 1


def is_down(place: int) -> bool:
    """Whether a place is a time in which the kiln is down."""
    return place < ANYWHERE and place % 2 == 0


def index_of(place: int) -> int:
    """Give the charge, or the down time, of a place."""
    return place // 2 if place >= 0 else -(place + 2) // 2 if place % 2 == 0 else -(place + 3) // 2


@dataclass(frozen=True, slots=True)
class StopAt:
    """A stop: when its set-up starts and by whom, and when the kiln is ready again."""

    set_up_start_min: int
    end_min: int
    shift: int
    person: int


Stops = dict[int, StopAt]
