"""Tightness of a chamber: the decay of its humidity against the outer air, in air changes an hour.

Limits without a source are ours.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.chamber_tests.calculations.figures import (
    BLOCK_S,
    WIDEST,
    Blocks,
    Fans,
    Figure,
    Refusal,
    RefusedError,
    SensorErrors,
    Why,
    after_stirring,
    blocks_of,
    bounds,
    filled,
    longest_true,
    place_of,
    refuse_disagreement,
    refuse_disturbed,
    smoothed,
    unchecked,
)
from maintenance.chamber_tests.calculations.fit import Fit, fit
from plant.physics.psychrometrics import humidity_ratio, is_possible_pair, vapour_pressure_from_psychrometer
from plant.physics.saturation import ZERO_C_K, saturation_pressure_pa
from plant.readings.calculations.climate_frame import Frame

Numbers = NDArray[np.float64]

LEAST_TIME_CONSTANTS: Final = 0.5
LEAST_EXCESS_KG_KG: Final = 0.006
LEFT_OF_EXCESS: Final = 0.12
"""Below this share of its beginning the decay is no longer told from the outer air."""
MOST_HUMIDITY: Final = 0.7
"""Moister air condenses on an inner skin that is some 6 K cooler, as that of a warm chamber with a poor skin is."""
TIMES_UNSURE: Final = 5.0
LEAST_RISE_K: Final = 15.0
MOST_BEND: Final = 0.6
EDGE_BLOCKS: Final = 3


def tightness(frame: Frame, fans: Fans, sensors: SensorErrors | None = None) -> Figure | Refusal:
    """Find the air changes an hour of an empty, warm, sprayed chamber from the decay of its humidity.

    Parameters
    ----------
    frame : Frame
        Readings of the test's hours, a step of at most 300 s; the decay begins after the last spray.
    fans : Fans
        How the chamber was to be: fans running or standing.
    sensors : SensorErrors, optional
        How far sensors may be off.

    Returns
    -------
    Figure or Refusal
        Air changes an hour: dry air that leaves over dry air inside, mean over the part that was used.

    Raises
    ------
    ValueError
        If the frame's step does not divide five minutes.

    Notes
    -----
    With the mass of dry air m and outer air of humidity ratio w_o(t), d ln(m (w - w_o))/dt = -n - w_o'/(w - w_o) where
    the air draws in (a cooling chamber contracts, and dry air takes the room of vapour that left); where it swells, the
    outflow is larger than the leak by m'/m, which is taken off. m follows from temperature and vapour at the outer
    pressure. The line is drawn with weights w - w_o: between the even noise of w, which wants
    (w - w_o)^2, and gusts, which want none.
    """
    try:
        return _tightness(blocks_of(frame), fans, sensors or SensorErrors())
    except RefusedError as refused:
        return refused.refusal


def _tightness(blocks: Blocks, fans: Fans, sensors: SensorErrors) -> Figure:
    blocks = after_stirring(blocks, fans)
    refuse_disturbed(blocks, fans)
    pairs = _humidity_pairs(blocks)
    outside = _outside(blocks)
    blocks = filled(blocks, {key for pair in pairs for key in (pair.air, pair.humidity)} | set(outside))
    air = _air(blocks, pairs, sensors)
    numbers = range(2 * len(pairs) + 2 + sum(pair.is_wick for pair in pairs))
    unsure = np.hypot.reduce([_air(blocks, pairs, sensors, number).excess - air.excess for number in numbers])
    first, end = _usable(air, unsure)
    used = blocks.cut(first, end)
    air = _air(used, pairs, sensors)
    design = _decay_design(used)
    line = _decay_line(used.hours, design, air)
    found = _changes_per_h(used.hours, line, air)
    _refuse_too_short(used.hours[-1], found)
    _refuse_bent(used.hours, line)
    shifts = []
    for number in numbers:
        other = _air(used, pairs, sensors, number)
        shifts.append(
            _changes_per_h(used.hours, _decay_line(used.hours, design, other, line.correlation), other) - found
        )
    low, high = bounds(found, line, 1, shifts)
    if (high - low) / 2 > WIDEST * found:
        raise RefusedError(Why.TOO_WIDE, value=found, low=low, high=high)
    details = {
        "start_excess_g_kg": 1000 * float(air.excess[0]),
        "end_excess_g_kg": 1000 * float(air.excess[-1]),
        "hours": float(used.hours[-1]),
        "time_constants": found * float(used.hours[-1]),
        "inside_c": float(air.temp_c.mean()),
        "outside_c": float(air.outside_c.mean()),
        "correlation": line.correlation,
    }
    until_s = used.start_s + len(used) * BLOCK_S
    return Figure(found, low, high, used.start_s, until_s, details, unchecked(blocks))


@dataclass(frozen=True, slots=True)
class _Pair:
    """A thermometer and what tells the humidity beside it."""

    air: str
    humidity: str

    @property
    def is_wick(self) -> bool:
        return self.humidity.startswith("wet_bulb")


def _humidity_pairs(blocks: Blocks) -> list[_Pair]:
    airs = {place_of(key): key for key in blocks.keys("air_temperature")}
    if not airs:
        raise RefusedError(Why.NO_TEMPERATURE)
    found: list[_Pair] = []
    for quantity in ("wet_bulb", "relative_humidity"):
        for key in blocks.keys(quantity):
            # A single sensor of humidity stands for the chamber beside whichever thermometer there is.
            air = airs.get(place_of(key), next(iter(airs.values())))
            if not any(pair.air == air for pair in found):
                found.append(_Pair(air, key))
    if not found:
        raise RefusedError(Why.NO_HUMIDITY)
    refuse_disagreement(blocks, [pair.air for pair in found])
    refuse_disagreement(blocks, [pair.humidity for pair in found if pair.is_wick])
    return found


def _outside(blocks: Blocks) -> list[str]:
    temps = blocks.keys("outside_temperature")
    if not temps:
        raise RefusedError(Why.NO_OUTSIDE)
    return [temps[0], *blocks.keys("outside_humidity")[:1]]


@dataclass(frozen=True, slots=True)
class _Air:
    """Inner and outer air over the blocks: temperatures (°C), excess of humidity ratio, log of the dry air's mass."""

    temp_c: Numbers
    outside_c: Numbers
    excess: Numbers
    outside_ratio: Numbers
    log_mass: Numbers
    humidity: Numbers


def _air(blocks: Blocks, pairs: list[_Pair], sensors: SensorErrors, shifted: int | None = None) -> _Air:
    """Work out the air from the readings; with ``shifted`` as if that sensor were off by one standard deviation.

    A wet bulb above the dry bulb counts as saturated, one below what any air has as dry: neither part is used.
    """
    numbers = iter(range(3 * len(pairs) + 2))

    def corrected(value: Numbers, sd: Numbers) -> Numbers:
        return value - sd if next(numbers) == shifted else value

    temps, pressures = [], []
    for pair in pairs:
        read, beside = blocks.mean[pair.air], blocks.mean[pair.humidity]
        temp = corrected(read, sensors.thermometer_k(read))
        if pair.is_wick:
            wet = corrected(beside, sensors.thermometer_k(beside))
            wet = corrected(wet, sensors.wick_k(temp - wet))
            pressures.append(_vapour_pa(temp, wet, blocks.pressure_pa))
        else:
            share = corrected(beside, np.full(len(beside), sensors.humidity_points)) / 100
            pressures.append(np.clip(share, 0.001, 1) * saturation_pressure_pa(temp))
        temps.append(temp)
    temp, vapour = np.mean(temps, axis=0), np.mean(pressures, axis=0)
    outer = smoothed(blocks.mean[blocks.keys("outside_temperature")[0]])
    outer = corrected(outer, sensors.thermometer_k(outer))
    outer_share, points = _outside_share(blocks, sensors)
    outer_share = np.clip(corrected(outer_share, points), 0.01, 1)
    outside_ratio = humidity_ratio(outer_share * saturation_pressure_pa(outer), blocks.pressure_pa)
    mass = (blocks.pressure_pa - vapour) / (temp + ZERO_C_K)
    share = vapour / saturation_pressure_pa(temp)
    return _Air(
        temp, outer, humidity_ratio(vapour, blocks.pressure_pa) - outside_ratio, outside_ratio, np.log(mass), share
    )


def _vapour_pa(temp: Numbers, wet: Numbers, pressure_pa: float) -> Numbers:
    wet = np.minimum(wet, temp)
    known = is_possible_pair(temp, wet, pressure_pa) & (wet > 0)
    found = np.full(len(temp), 1.0)
    found[known] = np.maximum(vapour_pressure_from_psychrometer(temp[known], wet[known], pressure_pa), 1.0)
    return found


def _outside_share(blocks: Blocks, sensors: SensorErrors) -> tuple[Numbers, Numbers]:
    """Relative humidity outside and its standard deviation, as fractions; a usual one where nothing reads it."""
    keys, count = blocks.keys("outside_humidity"), len(blocks)
    if not keys:
        return np.full(count, sensors.unknown_outside_humidity), np.full(count, sensors.unknown_outside_points / 100)
    return smoothed(blocks.mean[keys[0]]) / 100, np.full(count, sensors.humidity_points / 100)


def _usable(air: _Air, unsure: Numbers) -> tuple[int, int]:
    """Find where the decay begins and ends that can be told: not too moist, and well above the outer air.

    ``unsure`` is the standard deviation of the excess by what the sensors may be off.
    """
    excess = smoothed(air.excess, 4)
    first, end = longest_true(smoothed(air.humidity, 4) <= MOST_HUMIDITY)
    if end - first < 2:
        raise RefusedError(Why.TOO_MOIST, humidity_pct=100 * float(air.humidity.max()))
    rise = float(air.temp_c[first] - air.outside_c[first])
    if rise < LEAST_RISE_K:
        raise RefusedError(Why.TOO_COOL, rise_k=rise)
    start = float(excess[first])
    if start < 2 * LEAST_EXCESS_KG_KG:
        raise RefusedError(Why.TOO_DRY, excess_g_kg=1000 * start)
    least = max(LEFT_OF_EXCESS * start, LEAST_EXCESS_KG_KG)
    below = np.flatnonzero(excess[first:end] < np.maximum(least, TIMES_UNSURE * unsure[first:end]))
    return first, first + int(below[0]) if len(below) else end


def _decay(hours: Numbers, air: _Air) -> Numbers:
    """Log of the excess of vapour, with what a changing outer air does to it put right."""
    excess = np.maximum(air.excess, 1e-5)
    step = np.diff(air.outside_ratio) / ((excess[1:] + excess[:-1]) / 2)
    return np.asarray(np.log(excess) + air.log_mass + np.concatenate(([0.0], np.cumsum(step))))


def _swelling_per_h(hours: Numbers, air: _Air) -> float:
    """How fast dry air is driven out by a chamber that grows warmer or moister."""
    return max(-float(np.polyfit(hours, air.log_mass, 1)[0]), 0.0)


def _decay_design(blocks: Blocks) -> Numbers:
    """A line and a bend about the middle, so that the line's slope is the mean over the hours; a step at each pause.

    While the fans pause to turn round, the chamber cools and draws breath, which is no leak.
    """
    hours = blocks.hours - blocks.hours.mean()
    columns = [np.ones(len(hours)), hours, hours**2 - np.mean(hours**2)]
    for key in blocks.keys("fan_direction")[:1]:
        way = np.where(np.abs(blocks.mean[key]) > 0.999, np.sign(blocks.mean[key]), np.nan)
        last = np.nan
        for place, one in enumerate(way):
            if not np.isnan(one):
                if one == -last and EDGE_BLOCKS <= place < len(way) - EDGE_BLOCKS:
                    columns.append((np.arange(len(way)) >= place).astype(np.float64))
                last = one
    return np.column_stack(columns)


def _decay_line(hours: Numbers, design: Numbers, air: _Air, correlation: float | None = None) -> Fit:
    if len(hours) < design.shape[1] + 8:
        raise RefusedError(Why.TOO_SHORT, hours=float(hours[-1]) if len(hours) else 0.0, time_constants=0.0)
    return fit(design, _decay(hours, air), np.sqrt(np.maximum(air.excess, 1e-5) / air.excess.max()), correlation)


def _changes_per_h(hours: Numbers, line: Fit, air: _Air) -> float:
    return -float(line.coefficients[1]) - _swelling_per_h(hours, air)


def _refuse_too_short(hours: float, changes_per_h: float) -> None:
    if changes_per_h * hours < LEAST_TIME_CONSTANTS:
        raise RefusedError(Why.TOO_SHORT, hours=hours, time_constants=changes_per_h * hours)


def _refuse_bent(hours: Numbers, line: Fit) -> None:
    """Refuse a decay whose end is quite another than its begin: water that dries, or a leak that changed."""
    change = 2 * float(line.coefficients[2]) * float(hours[-1])
    share = abs(change / float(line.coefficients[1]))
    if share > MOST_BEND and abs(line.coefficients[2]) > 3 * line.sd(2):
        raise RefusedError(Why.NO_PLAIN_DECAY, change_pct=100 * share)
