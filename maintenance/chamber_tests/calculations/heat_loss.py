"""Heat loss of an empty chamber in W/K: from the power that holds it warm, or from the rate at which it cools.

The figure holds for the skin and the leak together, flaps shut: what leaves for each K between inside and outside.
Cooling alone tells only a time constant; it becomes W/K by the chamber's heat capacity, which somebody must know. The
surest way to it is one test of each kind: power gives W/K, cooling then the capacity, and later coolings the change.
Limits without a source are ours.
"""

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
    refuse_disagreement,
    refuse_disturbed,
    smoothed,
    unchecked,
)
from maintenance.chamber_tests.calculations.fit import Fit, fit
from plant.physics.arrays import within
from plant.readings.calculations.climate_frame import Frame

Numbers = NDArray[np.float64]

LEAST_RISE_K: Final = 15.0
NEAR_K: Final = 2.0
"""So near the level of its last hours the chamber counts as warm."""
WARM_THROUGH_H: Final = 4.0
"""So long after it is warm the wall still takes up heat."""
SLOW_WALL_H: Final = 3.0
"""Time in which what the wall still takes up falls to 1/e, about that of an insulated panel."""
LEAST_HOLD_H: Final = 8.0
MOST_DRIFT_K: Final = 1.5
PART_BLOCKS: Final = 6
"""Powers are compared over half hours: a controller's swings even out."""

FAST_COOLING_H: Final = 2.5
"""At first steel and inner skin cool faster than the rest."""
COOLING_SHARE_SD: Final = 0.055
"""What the method itself is off by, as a standard deviation: a chamber does not cool as one body, and a change outside
comes through the wall late. Found on simulated chambers with other walls and weather."""
LEAST_COOLING_H: Final = 3.0
LEAST_FALL: Final = 0.2
"""Share of its excess of temperature that a chamber must have lost."""
MOST_SHUT_PCT: Final = 2.0
MOST_IDLE_KW: Final = 1.0


def heat_loss_by_power(frame: Frame, fans: Fans = Fans.ON, sensors: SensorErrors | None = None) -> Figure | Refusal:
    """Find W/K from the metered power that held the empty chamber warm.

    Parameters
    ----------
    frame : Frame
        Readings of the test's hours, from the begin of warming up if they are at hand; a step of at most 300 s.
    fans : Fans
        How the chamber was to be.
    sensors : SensorErrors, optional
        How far sensors may be off.

    Returns
    -------
    Figure or Refusal
        W/K, mean over the part that was used. Heat of the fans' motors is not in it unless the meter has it.

    Raises
    ------
    ValueError
        If the frame's step does not divide five minutes.

    Notes
    -----
    Over half hours, P = K (T - To) + C dT/dt + c dTo/dt + a exp(-t/3 h): what the chamber stores while its own and the
    outer temperature change, to first order, and what a wall takes up that is not yet warm through.
    """
    try:
        return _by_power(blocks_of(frame), fans, sensors or SensorErrors())
    except RefusedError as refused:
        return refused.refusal


def heat_loss_by_cooling(
    frame: Frame,
    capacity_mj_k: float,
    capacity_share_sd: float,
    fans: Fans = Fans.ON,
    sensors: SensorErrors | None = None,
) -> Figure | Refusal:
    """Find W/K from the rate at which the empty chamber cools, and its heat capacity.

    Parameters
    ----------
    frame : Frame
        Readings of the hours of cooling; a step of at most 300 s.
    capacity_mj_k : float
        Heat capacity that cools along in MJ/K, 0.1 to 1 000: steel, and about half of what is insulated outside.
    capacity_share_sd : float
        Standard deviation of the capacity as a share of it, 0.005 to 0.5: half of “within so many per cent”.
    fans : Fans
        How the chamber was to be.
    sensors : SensorErrors, optional
        How far sensors may be off.

    Returns
    -------
    Figure or Refusal
        W/K, mean over the part that was used; the time constant in hours stands in the details.

    Raises
    ------
    ValueError
        If the capacity or its spread is outside its range, or the step does not divide five minutes.

    Notes
    -----
    ln(T - To) falls with K/C; a changing outer temperature is put right by the integral of dTo/(T - To).
    """
    within("heat capacity", capacity_mj_k, 0.1, 1000, "MJ/K")
    within("spread of the heat capacity", capacity_share_sd, 0.005, 0.5, "")
    try:
        return _by_cooling(blocks_of(frame), capacity_mj_k, capacity_share_sd, fans, sensors or SensorErrors())
    except RefusedError as refused:
        return refused.refusal


def _air_keys(blocks: Blocks) -> list[str]:
    keys = blocks.keys("air_temperature")
    if not keys:
        raise RefusedError(Why.NO_TEMPERATURE)
    refuse_disagreement(blocks, keys)
    if not blocks.keys("outside_temperature"):
        raise RefusedError(Why.NO_OUTSIDE)
    return keys


def _temperatures(
    blocks: Blocks, keys: list[str], sensors: SensorErrors, shifted: int | None
) -> tuple[Numbers, Numbers]:
    """Inside and outside; with ``shifted`` as if that thermometer were off by one standard deviation."""
    readings = [blocks.mean[key] for key in keys]
    outside = smoothed(blocks.mean[blocks.keys("outside_temperature")[0]])
    for number, reading in enumerate(readings):
        if number == shifted:
            readings[number] = reading - sensors.thermometer_k(reading)
    if shifted == len(keys):
        outside = outside - sensors.thermometer_k(outside)
    return np.mean(readings, axis=0), outside


def _by_power(blocks: Blocks, fans: Fans, sensors: SensorErrors) -> Figure:
    blocks = after_stirring(blocks, fans)
    refuse_disturbed(blocks, fans)
    keys = _air_keys(blocks)
    powers = blocks.keys("heat_power")
    if not powers:
        raise RefusedError(Why.NO_POWER)
    blocks = filled(blocks, [*keys, *powers, *blocks.keys("outside_temperature")[:1]])
    blocks, warm_h = _warm_part(blocks, keys)
    inside, outside = _temperatures(blocks, keys, sensors, None)
    _refuse_cool(inside, outside)
    line = _power_line(blocks, inside, outside, warm_h)
    found = float(line.coefficients[0])
    shifts = [sensors.power_share * found]
    for number in range(len(keys) + 1):
        other = _power_line(blocks, *_temperatures(blocks, keys, sensors, number), warm_h, line.correlation)
        shifts.append(float(other.coefficients[0]) - found)
    details = {"power_kw": float(np.mean(_power_kw(blocks)))}
    return _figure(blocks, found, bounds(found, line, 0, shifts), inside, outside, details)


def _warm_part(blocks: Blocks, keys: list[str]) -> tuple[Blocks, float]:
    """Cut to the hours in which the chamber is warm through; return for how long it was warm at their begin."""
    inside = smoothed(np.mean([blocks.mean[key] for key in keys], axis=0))
    level = float(np.median(inside[-int(2 * 3600 / BLOCK_S) :]))
    far = np.flatnonzero(np.abs(inside - level) > NEAR_K)
    first = int(far[-1]) + 1 if len(far) else 0
    # Without its warming up before the eyes nobody knows how long it was warm: then all of it must do.
    start = first + (round(WARM_THROUGH_H * 3600 / BLOCK_S) if first else 0)
    hold_h = max(len(blocks) - start, 0) * BLOCK_S / 3600
    if hold_h < LEAST_HOLD_H:
        raise RefusedError(Why.TOO_SHORT, hours=hold_h, wanted_h=LEAST_HOLD_H)
    drift = float(np.ptp(inside[start:]))
    if drift > MOST_DRIFT_K:
        raise RefusedError(Why.NOT_STEADY, drift_k=drift)
    return blocks.cut(start, len(blocks)), WARM_THROUGH_H if first else 0.0


def _power_kw(blocks: Blocks) -> Numbers:
    return np.asarray(np.sum([blocks.mean[key] for key in blocks.keys("heat_power")], axis=0))


def _parts(values: Numbers) -> Numbers:
    count = len(values) // PART_BLOCKS
    return np.asarray(values[: count * PART_BLOCKS].reshape(count, PART_BLOCKS).mean(axis=1))


def _rises(values: Numbers) -> Numbers:
    """Change over each part in K/s: from its first to its last hour's edge."""
    count = len(values) // PART_BLOCKS
    padded = np.concatenate((values, values[-1:]))
    edges = padded[: count * PART_BLOCKS + 1 : PART_BLOCKS]
    return np.asarray(np.diff(edges) / (PART_BLOCKS * BLOCK_S))


def _power_line(
    blocks: Blocks, inside: Numbers, outside: Numbers, warm_h: float, correlation: float | None = None
) -> Fit:
    rise = _parts(inside - outside)
    hours = _parts(blocks.hours) + warm_h
    stored = 1e6 * _rises(smoothed(inside, 4)), 1e6 * _rises(smoothed(outside))
    design = np.column_stack((rise, *stored, np.exp(-hours / SLOW_WALL_H)))
    return fit(design, 1000 * _parts(_power_kw(blocks)), np.ones(len(rise)), correlation)


def _refuse_cool(inside: Numbers, outside: Numbers) -> None:
    rise = float(np.min(inside - outside))
    if rise < LEAST_RISE_K:
        raise RefusedError(Why.TOO_COOL, rise_k=rise)


def _by_cooling(
    blocks: Blocks, capacity_mj_k: float, capacity_share_sd: float, fans: Fans, sensors: SensorErrors
) -> Figure:
    blocks = _after_heating(after_stirring(blocks, fans))
    refuse_disturbed(blocks, fans)
    keys = _air_keys(blocks)
    blocks = filled(blocks, [*keys, *blocks.keys("outside_temperature")[:1]])
    inside, outside = _temperatures(blocks, keys, sensors, None)
    _refuse_cool(inside[:1], outside[:1])
    line = _cooling_line(blocks, inside, outside)
    rate = -float(line.coefficients[1])
    lost = -float(np.expm1(-rate * blocks.hours[-1]))
    if lost < LEAST_FALL or blocks.hours[-1] < LEAST_COOLING_H:
        raise RefusedError(Why.TOO_SHORT, hours=float(blocks.hours[-1]), wanted_h=LEAST_COOLING_H, fall_pct=100 * lost)
    w_k = capacity_mj_k * 1e6 / 3600
    shifts = [capacity_share_sd * rate, COOLING_SHARE_SD * rate]
    for number in range(len(keys) + 1):
        other = _cooling_line(blocks, *_temperatures(blocks, keys, sensors, number), line.correlation)
        shifts.append(-float(other.coefficients[1]) - rate)
    low, high = bounds(rate, line, 1, shifts)
    details = {"time_constant_h": 1 / rate, "capacity_mj_k": capacity_mj_k, "capacity_sd_pct": 100 * capacity_share_sd}
    return _figure(blocks, w_k * rate, (w_k * low, w_k * high), inside, outside, details)


def _after_heating(blocks: Blocks) -> Blocks:
    """Cut off what lies before the heating was shut, and the time in which the quick parts cool."""
    first = 0
    for quantity, most in (("heating_valve", MOST_SHUT_PCT), ("heat_power", MOST_IDLE_KW)):
        for key in blocks.keys(quantity):
            heated = np.flatnonzero(blocks.worst[key] > most)
            first = max(first, int(heated[-1]) + 1 if len(heated) else 0)
    first += round(FAST_COOLING_H * 3600 / BLOCK_S)
    if first >= len(blocks) - 12:
        raise RefusedError(Why.HEATING)
    return blocks.cut(first, len(blocks))


def _cooling_line(blocks: Blocks, inside: Numbers, outside: Numbers, correlation: float | None = None) -> Fit:
    excess = inside - outside
    _refuse_gone(excess)
    changed = np.diff(outside) / ((excess[1:] + excess[:-1]) / 2)
    values = np.log(excess) + np.concatenate(([0.0], np.cumsum(changed)))
    hours = blocks.hours - blocks.hours.mean()
    design = np.column_stack((np.ones(len(hours)), hours, hours**2 - np.mean(hours**2)))
    return fit(design, values, excess / excess.max(), correlation)


def _refuse_gone(excess: Numbers) -> None:
    if float(excess.min()) < NEAR_K:
        raise RefusedError(Why.TOO_COOL, rise_k=float(excess.min()))


def _figure(
    blocks: Blocks,
    found: float,
    limits: tuple[float, float],
    inside: Numbers,
    outside: Numbers,
    details: dict[str, float],
) -> Figure:
    low, high = limits
    if (high - low) / 2 > WIDEST * found:
        raise RefusedError(Why.TOO_WIDE, value=found, low=low, high=high)
    details |= {
        "hours": float(blocks.hours[-1]),
        "inside_c": float(inside.mean()),
        "outside_c": float(outside.mean()),
    }
    return Figure(found, low, high, blocks.start_s, blocks.start_s + len(blocks) * BLOCK_S, details, unchecked(blocks))
