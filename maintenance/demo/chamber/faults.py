"""Faults that the simulated chamber can be given, each at a known time, and how far they have come at a moment."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
DAY_S: Final = 86_400


class FaultKind(StrEnum):
    """What can fail in the simulated chamber; the unit of `Fault.size` is named with each."""

    WICK_DRY = "wick_dry"  # share of the depression that is lost in the end, 1: the wet bulb reads the dry bulb
    WICK_SCALED = "wick_scaled"  # share of the depression that is lost in the end
    PLATE_DRIFT = "plate_drift"  # points of EMC in the end
    THERMOMETER_OFFSET = "thermometer_offset"  # K
    SPRAY_BLOCKED = "spray_blocked"  # share of the spray that does not come
    FLAP_STUCK_OPEN = "flap_stuck_open"  # % of the stroke at which the flaps stand
    FLAP_STUCK_SHUT = "flap_stuck_shut"  # % of the stroke at which the flaps stand
    FLAP_LEAKS = "flap_leaks"  # % of the stroke that stays open while the flaps are told to shut
    HEATING_VALVE_LEAKS = "heating_valve_leaks"  # % of the full flow that passes the shut valve
    HEATING_VALVE_STUCK = "heating_valve_stuck"  # % of the stroke at which the valve stands
    COIL_FOULED = "coil_fouled"  # share of the coil's power that is lost in the end
    FAN_STOPPED = "fan_stopped"  # share of the motor's work that is lost
    FAN_WEAK = "fan_weak"  # share of the motor's work that is lost
    REVERSAL_MISSING = "reversal_missing"  # no size: the fans keep their direction
    ELECTRODE_OPEN = "electrode_open"  # % of wood moisture that is shown: the end of the scale
    ELECTRODE_JUMP = "electrode_jump"  # points of wood moisture
    NO_DATA = "no_data"  # no size: nothing is read
    DOOR_LEAK = "door_leak"  # air changes an hour on top


# How long a fault takes to reach its size, where `Fault.grows_s` says nothing. Ours, after what kiln people tell.
_GROWS_S: Final[dict[FaultKind, int]] = {
    FaultKind.WICK_DRY: 3600,
    FaultKind.WICK_SCALED: 20 * DAY_S,
    FaultKind.PLATE_DRIFT: 14 * DAY_S,
    FaultKind.COIL_FOULED: 20 * DAY_S,
}
_SIZE: Final[dict[FaultKind, float]] = {
    FaultKind.WICK_DRY: 1.0,
    FaultKind.WICK_SCALED: 0.35,
    FaultKind.PLATE_DRIFT: -3.0,
    FaultKind.THERMOMETER_OFFSET: 3.0,
    FaultKind.SPRAY_BLOCKED: 1.0,
    FaultKind.FLAP_STUCK_OPEN: 60.0,
    FaultKind.FLAP_STUCK_SHUT: 0.0,
    FaultKind.FLAP_LEAKS: 8.0,
    FaultKind.HEATING_VALVE_LEAKS: 12.0,
    FaultKind.HEATING_VALVE_STUCK: 0.0,
    FaultKind.COIL_FOULED: 0.5,
    FaultKind.FAN_STOPPED: 1.0,
    FaultKind.FAN_WEAK: 0.3,
    FaultKind.REVERSAL_MISSING: 1.0,
    FaultKind.ELECTRODE_OPEN: 2.0,
    FaultKind.ELECTRODE_JUMP: -8.0,
    FaultKind.NO_DATA: 1.0,
    FaultKind.DOOR_LEAK: 3.0,
}
_BULBS: Final = ("left", "right")
_NUMBERED: Final = ("1", "2")
# Places that a fault can have; none named means all of them.
_PLACES: Final[dict[FaultKind, tuple[str, ...]]] = {
    FaultKind.WICK_DRY: _BULBS,
    FaultKind.WICK_SCALED: _BULBS,
    FaultKind.THERMOMETER_OFFSET: _BULBS,
    FaultKind.FAN_STOPPED: _NUMBERED,
    FaultKind.FAN_WEAK: _NUMBERED,
    FaultKind.ELECTRODE_OPEN: _NUMBERED,
    FaultKind.ELECTRODE_JUMP: _NUMBERED,
}
_MOST: Final[dict[FaultKind, float]] = {
    FaultKind.WICK_DRY: 1,
    FaultKind.WICK_SCALED: 1,
    FaultKind.SPRAY_BLOCKED: 1,
    FaultKind.FLAP_STUCK_OPEN: 100,
    FaultKind.FLAP_STUCK_SHUT: 100,
    FaultKind.FLAP_LEAKS: 100,
    FaultKind.HEATING_VALVE_LEAKS: 100,
    FaultKind.HEATING_VALVE_STUCK: 100,
    FaultKind.COIL_FOULED: 0.95,
    FaultKind.FAN_STOPPED: 1,
    FaultKind.FAN_WEAK: 1,
    FaultKind.DOOR_LEAK: 1000,
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one kiln.

    Parameters
    ----------
    kind : FaultKind
        Or its value as text.
    kiln : int
        Position of the chamber among those that are simulated.
    begin_s, end_s : int
        Seconds since 1970; at the end it is mended at once.
    size : float, optional
        How large it becomes, in the unit that `FaultKind` names; a usual size of the kind if it is not given.
    place : str
        Which one: a side (left, right) of bulbs, a number of fans and electrodes; for `NO_DATA` the begin of the
        channels' keys. Empty: all.
    grows_s : int, optional
        Seconds from the begin in which it grows evenly to its size; 0 is at once; what is usual if it is not given.

    Raises
    ------
    ValueError
        If the kind is not known, the end is not after the begin, the size is outside its range or no such place is.
    """

    kind: FaultKind
    kiln: int
    begin_s: int
    end_s: int
    size: float | None = None
    place: str = ""
    grows_s: int | None = None

    def __post_init__(self) -> None:
        kind = FaultKind(self.kind)
        object.__setattr__(self, "kind", kind)
        if self.end_s <= self.begin_s:
            raise ValueError(f"fault {kind} ends at {self.end_s} s, not after its begin at {self.begin_s} s")
        most = _MOST.get(kind)
        if self.size is not None and most is not None and not 0 <= self.size <= most:
            raise ValueError(f"size {self.size:g} of fault {kind} is outside 0 to {most:g}")
        places = _PLACES.get(kind, ())
        if self.place and kind != FaultKind.NO_DATA and self.place not in places:
            raise ValueError(f"fault {kind} has no place {self.place!r}; there is {', '.join(places) or 'none'}")
        if self.grows_s is not None and self.grows_s < 0:
            raise ValueError(f"fault {kind} grows in {self.grows_s} s, below 0")

    @property
    def full_size(self) -> float:
        """The size that it reaches."""
        return _SIZE[self.kind] if self.size is None else self.size

    @property
    def growth_s(self) -> int:
        """Seconds in which it reaches its size."""
        return _GROWS_S.get(self.kind, 0) if self.grows_s is None else self.grows_s

    @property
    def places(self) -> tuple[str, ...]:
        """The places that it touches; one empty place for what has none."""
        if self.kind == FaultKind.NO_DATA or not _PLACES.get(self.kind):
            return (self.place,)
        return (self.place,) if self.place else _PLACES[self.kind]

    def size_at(self, moments_s: NDArray[np.int64]) -> Numbers:
        """Return its size at moments, NaN where it is not there."""
        grown = np.ones(len(moments_s))
        if self.growth_s:
            grown = np.clip((moments_s - self.begin_s) / self.growth_s, 0, 1)
        is_there = (moments_s >= self.begin_s) & (moments_s < self.end_s)
        return np.where(is_there, self.full_size * grown, np.nan)


# What acts inside the chamber or on its controller; the others touch only what is read.
ROWS: Final[tuple[tuple[FaultKind, str], ...]] = tuple(
    (kind, place)
    for kind in FaultKind
    if kind not in {FaultKind.PLATE_DRIFT, FaultKind.ELECTRODE_OPEN, FaultKind.ELECTRODE_JUMP, FaultKind.NO_DATA}
    for place in _PLACES.get(kind, ("",))
)
_ROW_OF: Final = {pair: row for row, pair in enumerate(ROWS)}


class Effects:
    """How large each fault is at a moment in each kiln: arrays over the kilns, 0 where there is none."""

    def __init__(self, faults: Sequence[Fault], kilns: int) -> None:
        acting = [(_ROW_OF[f.kind, p], f) for f in faults for p in f.places if (f.kind, p) in _ROW_OF]
        self._row = np.array([row for row, _fault in acting], dtype=np.intp)
        self._kiln = np.array([fault.kiln for _row, fault in acting], dtype=np.intp)
        self._begin_s = np.array([fault.begin_s for _row, fault in acting], dtype=np.float64)
        self._end_s = np.array([fault.end_s for _row, fault in acting], dtype=np.float64)
        self._size = np.array([fault.full_size for _row, fault in acting], dtype=np.float64)
        # A growth of no time at all is one of a moment.
        self._growth_s = np.array([max(fault.growth_s, 1e-3) for _row, fault in acting], dtype=np.float64)
        self.size = np.zeros((len(ROWS), kilns))
        self.is_there = np.zeros((len(ROWS), kilns), dtype=bool)

    def at(self, moment_s: float) -> None:
        """Set the sizes to those of a moment."""
        if not len(self._row):
            return
        age_s = moment_s - self._begin_s
        now = (age_s >= 0) & (moment_s < self._end_s)
        self.size[:] = 0
        self.is_there[:] = False
        row, kiln = self._row[now], self._kiln[now]
        self.size[row, kiln] = self._size[now] * np.minimum((age_s[now] + 1e-3) / self._growth_s[now], 1)
        self.is_there[row, kiln] = True

    def of(self, kind: FaultKind, place: str = "") -> Numbers:
        """Return the size in each kiln, shape (kilns,)."""
        size: Numbers = self.size[_ROW_OF[kind, place]]
        return size

    def at_places(self, kind: FaultKind) -> Numbers:
        """Return the size at each place of a kind that has some, and in each kiln; shape (places, kilns)."""
        first = _ROW_OF[kind, _PLACES[kind][0]]
        return self.size[first : first + len(_PLACES[kind])]

    def stands(self, kind: FaultKind) -> NDArray[np.bool_]:
        """Say in which kilns a fault without places is there."""
        there: NDArray[np.bool_] = self.is_there[_ROW_OF[kind, ""]]
        return there
