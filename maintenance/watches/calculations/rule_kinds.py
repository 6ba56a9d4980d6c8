"""Kinds of rules that a watch applies to a signal, each with its numbers and their bounds."""

from dataclasses import dataclass
from typing import Final, Literal

Side = Literal["above", "below"]
MOST_MOMENTS: Final = 1440
"""A day in minutes: the longest window of `KOfN`."""
MOST_HITS: Final = 8
"""The largest k of `KOfN`, so that its state stays a handful of numbers."""
MOST_MINUTES: Final = 60 * 24 * 366


@dataclass(frozen=True, slots=True)
class Limit:
    """Fires once the signal was beyond ``limit`` without a known moment inside it for ``hold_minutes``.

    It is over as soon as the signal is at or back from ``clear``. A silence of more than ``forget_hours`` begins the
    holding anew; it does not end what has fired.
    """

    side: Side
    limit: float
    clear: float
    hold_minutes: float = 0
    forget_hours: float = 6

    def __post_init__(self) -> None:
        is_ordered = self.clear <= self.limit if self.side == "above" else self.clear >= self.limit
        if not is_ordered:
            raise ValueError(f"clear value {self.clear:g} lies beyond the limit {self.limit:g}")
        within_bounds("hold_minutes", self.hold_minutes, 0, MOST_MINUTES)
        within_bounds("forget_hours", self.forget_hours, 0, MOST_MINUTES / 60)


@dataclass(frozen=True, slots=True)
class KOfN:
    """Fires when at least ``k`` of the last ``n`` known moments are beyond the limit; over when none of them is."""

    side: Side
    limit: float
    k: int
    n: int

    def __post_init__(self) -> None:
        within_bounds("k", self.k, 1, MOST_HITS)
        within_bounds("n", self.n, self.k, MOST_MOMENTS)


@dataclass(frozen=True, slots=True)
class Disagreement:
    """As `Limit`, of a difference whose sign does not matter: beyond is further from 0 than ``limit``."""

    limit: float
    clear: float
    hold_minutes: float = 0
    forget_hours: float = 6

    def __post_init__(self) -> None:
        if not 0 <= self.clear <= self.limit:
            raise ValueError(f"clear value {self.clear:g} is outside 0 to the limit {self.limit:g}")
        within_bounds("hold_minutes", self.hold_minutes, 0, MOST_MINUTES)
        within_bounds("forget_hours", self.forget_hours, 0, MOST_MINUTES / 60)


@dataclass(frozen=True, slots=True)
class RateOfChange:
    """As `Limit`, of the change from one known moment to the next, in the signal's unit per hour.

    ``either`` looks at the size of the change only. Moments further apart than ``most_gap_minutes`` tell no rate.
    """

    side: Literal["rise", "fall", "either"]
    per_hour: float
    clear_per_hour: float
    hold_minutes: float = 0
    most_gap_minutes: float = 30
    forget_hours: float = 6

    def __post_init__(self) -> None:
        if not 0 <= self.clear_per_hour <= self.per_hour:
            raise ValueError(f"clear_per_hour {self.clear_per_hour:g} is outside 0 to per_hour {self.per_hour:g}")
        within_bounds("hold_minutes", self.hold_minutes, 0, MOST_MINUTES)
        within_bounds("most_gap_minutes", self.most_gap_minutes, 0, MOST_MINUTES)
        within_bounds("forget_hours", self.forget_hours, 0, MOST_MINUTES / 60)


@dataclass(frozen=True, slots=True)
class NoData:
    """Fires once the signal had no value for ``minutes`` in the watch's phases; over with the first value."""

    minutes: float
    forget_hours: float = 6

    def __post_init__(self) -> None:
        within_bounds("minutes", self.minutes, 1, MOST_MINUTES)
        within_bounds("forget_hours", self.forget_hours, 0, MOST_MINUTES / 60)


@dataclass(frozen=True, slots=True)
class Message:
    """Fires when the controller gives one of the message numbers; over with the next other number."""

    numbers: tuple[int, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.numbers) <= 100:
            raise ValueError(f"{len(self.numbers)} message numbers were given; give 1 to 100")


@dataclass(frozen=True, slots=True)
class RunningSince:
    """Fires when a signal was above 0 for ``hours``, or the watch's phases began ``charges`` times, since the reset.

    It stays fired until its state is emptied: that is the reset, done with the work. Exactly one of both is given.
    """

    hours: float | None = None
    charges: int | None = None

    def __post_init__(self) -> None:
        if (self.hours is None) == (self.charges is None):
            raise ValueError("give either hours or charges")
        if self.hours is not None:
            within_bounds("hours", self.hours, 0.1, 1_000_000)
        if self.charges is not None:
            within_bounds("charges", self.charges, 1, 100_000)


MomentRule = Limit | KOfN | Disagreement | RateOfChange | NoData | Message | RunningSince


def within_bounds(name: str, value: float, low: float, high: float) -> None:
    """Refuse a number of a rule outside its range. Raises ValueError."""
    if not low <= value <= high:
        raise ValueError(f"{name} {value:g} is outside {low:g} to {high:g}")
