"""A kiln's climate as the signs of its charges are looked for: one air, and what drives it, every five minutes."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.physics.psychrometrics import WATER_TO_AIR_MASS_RATIO
from plant.physics.saturation import saturation_pressure_pa
from plant.readings.calculations.climate_frame import Frame, Values
from plant.readings.calculations.climate_view import LEAST_RUNNING_A
from plant.readings.calculations.running_signs import LEAST_DIRECTION, LEAST_HEAT_KW, LEAST_OPEN_PCT, LEAST_SPEED_PCT

STEP_S: Final = 300
PER_H: Final = 3600 // STEP_S
BRIDGED: Final = PER_H // 2
"""A gap of so many moments is bridged: what was read before still holds."""
LIVE_K, LIVE_H = 0.05, 3
"""A bulb that keeps the very same value for so long is stuck, or its transmitter: others speak in its place."""
MOIST_SHARE, MOIST_PLATE_PCT = 0.6, 11.0
"""Air over wet timber holds at least so much of what it can; an EMC plate shows about so much in it."""
HEAT_OR_FANS: Final[dict[str, tuple[str, float]]] = {
    "heating_valve": ("heat", LEAST_OPEN_PCT),
    "heat_power": ("heat", LEAST_HEAT_KW),
    "fan_direction": ("fans", LEAST_DIRECTION),
    "fan_speed": ("fans", LEAST_SPEED_PCT),
    "fan_current": ("fans", LEAST_RUNNING_A),
}
QUANTITIES: Final = frozenset(
    (*HEAT_OR_FANS, "air_temperature", "wet_bulb", "emc", "set_air_temperature", "outside_temperature", "door_open")
)
"""What is looked at."""


class Trust(StrEnum):
    """What is known to be on or off."""

    HEAT = "heat"
    FANS = "fans"
    DOOR = "door"


@dataclass(frozen=True, slots=True)
class Climate:
    """One kiln's air; arrays of shape (n,), NaN where nothing is known.

    ``hot_c`` is the warmest of the bulbs that live (the side where the air enters), ``ratio`` the humidity ratio or
    what goes with it (only its growth counts), ``stretch`` the first moment of the readings without a gap.
    ``is_moist`` says where the air is as moist as over wet timber; ``on`` holds for heat, fans and door how much is on:
    1, 0 or NaN.
    """

    start_s: int
    air_c: Values
    hot_c: Values
    outside_c: Values
    set_c: Values
    ratio: Values
    is_moist: NDArray[np.bool_]
    stretch: NDArray[np.int64]
    on: dict[Trust, Values]

    def __len__(self) -> int:
        """Return the number of moments."""
        return len(self.air_c)

    def second(self, moment: int) -> int:
        """Return a moment in seconds since 1970."""
        return self.start_s + moment * STEP_S

    def _part(self, what: Trust, first: int, now: int) -> Values:
        part = self.on[what][max(0, first) : now + 1]
        return part[np.isfinite(part)]

    def knows(self, what: Trust, now: int) -> bool:
        """Say whether anything tells of it, in the hour before."""
        return len(self._part(what, now - PER_H, now)) > 0

    def is_mostly(self, what: Trust, now: int, hours: float) -> bool:
        """Say whether it was on for at least half of the hours before, as far as is known."""
        part = self._part(what, now - round(hours * PER_H), now)
        return bool(len(part)) and bool(part.mean() >= 0.5)

    def ever(self, what: Trust, first: int, now: int) -> bool:
        """Say whether it was on at any moment of a span."""
        return bool(self._part(what, first, now).any())

    def on_since(self, first: int, now: int) -> int | None:
        """Return since when the fans turn, else the heat is on; None where neither was off before, or is known.

        Fans that pause to turn round, and a valve that shuts for a while, are on.
        """
        for what in (Trust.FANS, Trust.HEAT):
            begin = max(0, first - PER_H)
            part = self.on[what][begin : now + 1]
            if not np.isfinite(part).any():
                continue
            off = part == 0
            run = off[2:] & off[1:-1] & off[:-2] if len(off) > 2 else off[:0]
            ends = np.flatnonzero(run)
            return begin + int(ends[-1]) + 3 if len(ends) else None
        return None

    def was_open(self, now: int, hours: float) -> bool:
        """Say whether a main door was open at any moment of the hours before."""
        return self.ever(Trust.DOOR, now - round(hours * PER_H), now)

    def open_since(self, now: int) -> int | None:
        """Return since which moment a main door is open without a break; None while all are shut."""
        door = self.on[Trust.DOOR]
        if not door[now] > 0:
            return None
        shut = np.flatnonzero(door[: now + 1] == 0)
        return int(shut[-1]) + 1 if len(shut) else 0

    def level(self, first: int, now: int) -> float:
        """Return how warm the kiln ran in a span: what it held for two hours, the highest of it."""
        span = self.air_c[first : now + 1]
        width = min(2 * PER_H, len(span))
        known = np.isfinite(span)
        summed = np.cumsum(np.concatenate(([0.0], np.where(known, span, 0.0))))
        count = np.cumsum(np.concatenate(([0.0], known)))
        with np.errstate(invalid="ignore", divide="ignore"):
            means = (summed[width:] - summed[:-width]) / (count[width:] - count[:-width])
        return float(np.nanmax(means))


def climate_of(frame: Frame) -> Climate:
    """Put the readings of a kiln together; the frame has moments of ``STEP_S``. Raises ValueError for other steps."""
    if frame.step_s != STEP_S:
        raise ValueError(f"moments of {frame.step_s} s: signs are looked for every {STEP_S} s")
    count = len(frame)
    bulbs = [_despiked(_bridged(value)) for key, value in sorted(frame.values.items()) if _is(key, "air_temperature")]
    live = [np.where(_is_live(bulb), bulb, np.nan) for bulb in bulbs]
    air, hot = _mean(live, count), _highest(live, count)
    wets = [_bridged(value) for key, value in sorted(frame.values.items()) if _is(key, "wet_bulb")]
    plates = [_bridged(value) for key, value in sorted(frame.values.items()) if _is(key, "emc")]
    ratio = _ratio(air, _mean(wets, count)) if wets else _ratio_of_plate(air, _mean(plates, count))
    is_moist = ratio >= MOIST_SHARE * _ratio(air, air) if wets else _mean(plates, count) >= MOIST_PLATE_PCT
    on = {trust: _on(frame, trust, count) for trust in (Trust.HEAT, Trust.FANS)}
    doors = [value for key, value in frame.values.items() if _is(key, "door_open")]
    on[Trust.DOOR] = np.where(_highest(doors, count) > 0.5, 1.0, 0.0 * _highest(doors, count))
    return Climate(
        start_s=frame.start_s,
        air_c=air,
        hot_c=hot,
        outside_c=_bridged(_mean([v for k, v in frame.values.items() if _is(k, "outside_temperature")], count)),
        set_c=_mean([v for k, v in frame.values.items() if _is(k, "set_air_temperature")], count),
        ratio=ratio,
        is_moist=np.asarray(is_moist, np.bool_),
        stretch=_stretches(air),
        on=on,
    )


def _is(key: str, quantity: str) -> bool:
    return key.partition(":")[0] == quantity


def _on(frame: Frame, trust: Trust, count: int) -> Values:
    """Return 1 where any channel says that it is on, 0 where some say off and none on."""
    found = np.full(count, np.nan)
    for key, value in frame.values.items():
        of, least = HEAT_OR_FANS.get(key.partition(":")[0], ("", 0.0))
        if of == trust:
            found = np.fmax(found, np.where(np.isfinite(value), np.abs(value) >= least, np.nan))
    return found


def _mean(rows: Sequence[Values], count: int) -> Values:
    if not rows:
        return np.full(count, np.nan)
    stacked = np.stack(rows)
    known = np.isfinite(stacked)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(known, stacked, 0.0).sum(axis=0) / known.sum(axis=0))


def _highest(rows: Sequence[Values], count: int) -> Values:
    found = np.full(count, np.nan)
    for row in rows:
        found = np.fmax(found, row)
    return found


def _bridged(value: Values) -> Values:
    """Hold what was read last over a short gap."""
    known = np.isfinite(value)
    last = np.maximum.accumulate(np.where(known, np.arange(len(value)), -1))
    is_near = (last >= 0) & (np.arange(len(value)) - last <= BRIDGED)
    return np.where(is_near, value[np.maximum(last, 0)], np.nan)


def _despiked(value: Values) -> Values:
    """Take the middle of three neighbours."""
    if len(value) < 3:
        return value
    middle = np.median(np.stack([value[:-2], value[1:-1], value[2:]]), axis=0)
    return np.concatenate((value[:1], np.where(np.isfinite(middle), middle, value[1:-1]), value[-1:]))


def _is_live(value: Values) -> NDArray[np.bool_]:
    """Say where a bulb moved in the hours before, or is not known for so long."""
    width = LIVE_H * PER_H
    live = np.isfinite(value)
    if len(value) > width:
        windows = np.lib.stride_tricks.sliding_window_view(value, width + 1)
        live[width:] &= ~(np.ptp(windows, axis=1) < LIVE_K)
    return live


def _saturation_pa(temp_c: Values) -> Values:
    known = np.isfinite(temp_c)
    pressure_pa = saturation_pressure_pa(np.clip(np.where(known, temp_c, 0.0), -40, 100))
    return np.asarray(np.where(known, pressure_pa, np.nan))


def _ratio(air: Values, wet: Values) -> Values:
    """Return the humidity ratio by Sprung's rule, good enough to see it grow; kg/kg."""
    wet = np.minimum(wet, air)
    vapour_pa = np.maximum(_saturation_pa(wet) - 66.2 * (air - wet), 50.0)
    return np.asarray(WATER_TO_AIR_MASS_RATIO * vapour_pa / np.maximum(101_325.0 - vapour_pa, 1000.0))


def _ratio_of_plate(air: Values, plate_pct: Values) -> Values:
    """Return what grows as the humidity ratio does where only an EMC plate is read: EMC times saturation."""
    share = plate_pct / 30.0 * _saturation_pa(air) / 101_325.0
    return np.asarray(np.where(np.isfinite(share), np.maximum(share, 1e-4), np.nan))


def _stretches(air: Values) -> NDArray[np.int64]:
    """Return for each moment the first of the readings that reach to it without a gap."""
    places = np.arange(len(air))
    is_first = np.isfinite(air) & ~np.concatenate(([False], np.isfinite(air[:-1])))
    return np.asarray(np.maximum.accumulate(np.where(is_first, places, 0)), np.int64)
