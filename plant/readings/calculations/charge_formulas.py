"""How figures of a charge are worked out from its readings; spans and thresholds are our own choice."""

from collections.abc import Callable
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.basics.sentences import Sentence
from plant.readings.calculations.air_signals import plate_difference
from plant.readings.calculations.climate_frame import Frame, Values
from plant.readings.calculations.climate_signals import signal_values
from plant.readings.calculations.climate_view import SMOOTH_MINUTES, View
from plant.readings.calculations.drive_signals import at_full_speed

Mask: TypeAlias = NDArray[np.bool_]
STANDARD_RISE_K: Final = 40.0
STANDARD_OVER_OUTSIDE_K: Final = 35.0
"""The heat-up to which others are converted: 40 K of rise, on average 35 K above the outside air."""
LOSS_SHARE: Final = 0.10
"""Share of the heat that goes through the walls in that heat-up. Our own estimate for an insulated chamber."""
LEAST_RISE_K: Final = 10.0
REACHED_K: Final = 2.0
BAND_K: Final = 2.0
LEAST_HOURS: Final = 2.0
"""Of fewer hours of good readings no mean is made."""
OVERSHOOT_HOURS: Final = 6.0
LEAST_VALVE_PCT: Final = 15.0
HOLDING_HOURS: Final = 0.5


class NoFigureError(Exception):
    """The readings cannot carry a figure; it holds why."""

    def __init__(self, why: Sentence) -> None:
        super().__init__(str(why))
        self.why = why


def in_both_units(kelvin: float) -> str:
    """Write a difference in both units, for the name of a figure."""
    return f"{kelvin:g} K ({kelvin * 1.8:g} °F)"


def _both(kelvin: float) -> Sentence:
    """Give a difference of temperature for mills that read °C and for those that read °F."""
    return Sentence.of("figure.difference", kelvin=kelvin, fahrenheit=round(kelvin * 1.8, 3))


_NO_PHASE: Final = {
    "heating_up": Sentence.of("figure.no_heating_up"),
    "drying": Sentence.of("figure.no_drying"),
    "conditioning": Sentence.of("figure.no_conditioning"),
}


class Charge:
    """A frame that spans one charge, with what several figures share."""

    def __init__(self, frame: Frame) -> None:
        self.view = View(frame)
        self.frame = frame

    def during(self, *phases: str) -> Mask:
        """Return where the kiln is in one of the phases."""
        return self.view.in_phases(phases)

    @property
    def hours_each(self) -> float:
        """Return the hours from one moment to the next."""
        return self.frame.step_s / 3600

    def mean_where(self, values: Values, gate: Mask, least_hours: float = LEAST_HOURS) -> float:
        """Return the mean of the known values where the gate is open.

        Raises
        ------
        NoFigureError
            If they cover less than the hours.
        """
        good = values[gate & np.isfinite(values)]
        if len(good) * self.hours_each < least_hours:
            raise NoFigureError(Sentence.of("figure.few_readings", hours=least_hours))
        return float(good.sum()) / len(good)

    def span(self, phase: str) -> tuple[int, int]:
        """Return the first moment of a phase and the one behind its last.

        Raises
        ------
        NoFigureError
            If the charge has no such phase, or the frame begins within it.
        """
        where = np.flatnonzero(self.during(phase))
        if not len(where):
            raise NoFigureError(_NO_PHASE[phase])
        return int(where[0]), int(where[-1]) + 1


def _heat_up(charge: Charge) -> tuple[int, int, float, float]:
    """Return begin and end of the heating up, the rise in K and the mean excess over the outside air in K."""
    begin, end = charge.span("heating_up")
    view = charge.view
    dry = view.smooth(view.entering[: max(end, begin + view.steps(30))], SMOOTH_MINUTES)
    wanted = view.mean("set_air_temperature")[begin:end]
    if not np.isfinite(wanted).any():
        raise NoFigureError(Sentence.of("figure.no_set_point"))
    # Many controllers let the set point climb: what counts is where it is led to.
    target = float(np.nanmax(wanted))
    started = dry[begin : begin + view.steps(30)]
    if not np.isfinite(started).any():
        raise NoFigureError(Sentence.of("figure.no_start"))
    start_c = float(started[np.isfinite(started)][0])
    reached = np.flatnonzero(dry[begin:end] >= target - REACHED_K)
    if not len(reached):
        raise NoFigureError(Sentence.of("figure.not_hot"))
    stop = begin + int(reached[0])
    rise = float(dry[stop]) - start_c
    if rise < LEAST_RISE_K:
        raise NoFigureError(Sentence.of("figure.began_warm", difference=_both(LEAST_RISE_K)))
    outside = view.mean("outside_temperature")[begin : stop + 1]
    over = dry[begin : stop + 1] - outside
    is_known = np.isfinite(over)
    return begin, stop, rise, float(over[is_known].mean()) if is_known.any() else STANDARD_OVER_OUTSIDE_K


def _standard_share(rise_k: float, over_outside_k: float) -> float:
    """Return by what the time of a heat-up is multiplied to get that of the standard one.

    With constant heat P the time is C rise / (P - U over); U over / P is `LOSS_SHARE` in the standard one.
    """
    lost = LOSS_SHARE * over_outside_k / STANDARD_OVER_OUTSIDE_K
    return STANDARD_RISE_K / rise_k * (1 - lost) / (1 - LOSS_SHARE)


def heat_up_h(charge: Charge, _place: str) -> float:
    begin, stop, rise, over = _heat_up(charge)
    return float((stop - begin) * charge.hours_each * _standard_share(rise, over))


def heat_up_valve_h(charge: Charge, _place: str) -> float:
    begin, stop, rise, over = _heat_up(charge)
    valve = charge.view.mean("heating_valve")[begin:stop]
    if np.count_nonzero(np.isfinite(valve)) < 0.8 * len(valve):
        raise NoFigureError(Sentence.of("figure.no_valve"))
    return float(np.nanmean(valve)) / 100 * (stop - begin) * charge.hours_each * _standard_share(rise, over)


def heat_per_valve(charge: Charge, _place: str) -> float:
    """Take the heat for each K between medium and air and each share of the valve's stroke."""
    view = charge.view
    valve = view.mean("heating_valve")
    excess = view.mean("heating_supply_temperature") - view.mean("air_temperature")
    gate = charge.during("heating_up", "drying") & (valve >= LEAST_VALVE_PCT) & (excess > 5) & view.is_settled
    strength = np.full(len(view), np.nan)
    strength[gate] = view.mean("heat_power")[gate] / (valve[gate] / 100 * excess[gate])
    return charge.mean_where(strength, gate)


def heat_open_valve_kw(charge: Charge, _place: str) -> float:
    """As `heat_per_valve` where the medium's temperature is not measured: the heat of the fully open valve."""
    valve = charge.view.mean("heating_valve")
    gate = charge.during("heating_up", "drying") & (valve >= LEAST_VALVE_PCT) & charge.view.is_settled
    heat = np.full(len(valve), np.nan)
    heat[gate] = charge.view.mean("heat_power")[gate] / valve[gate] * 100
    return charge.mean_where(heat, gate)


def time_to_humidity_h(charge: Charge, _place: str) -> float:
    begin, end = charge.span("conditioning")
    view = charge.view
    spraying = np.flatnonzero(view.mean("spray_valve")[begin:end] >= 50)
    if not len(spraying):
        raise NoFigureError(Sentence.of("figure.no_spray"))
    start = int(spraying[0])
    before = max(0, begin - view.steps(SMOOTH_MINUTES))
    wet = view.smooth(view.mean("wet_bulb")[before:end], SMOOTH_MINUTES)[begin - before :]
    missing = view.mean("set_wet_bulb")[begin:end] - wet
    if not missing[start] > 2:
        raise NoFigureError(Sentence.of("figure.nearly_humid", difference=_both(2)))
    reached = np.flatnonzero(missing[start:] <= 1)
    if not len(reached):
        raise NoFigureError(Sentence.of("figure.not_humid"))
    return float(reached[0] * charge.hours_each * 4 / (missing[start] - 1))


def evaporation(charge: Charge, _place: str) -> float:
    """Take the fall of the electrodes' mean over the drying, in points of moisture content an hour."""
    begin, end = charge.span("drying")
    moisture = charge.view.mean("wood_moisture")[begin:end]
    known = np.flatnonzero(np.isfinite(moisture))
    hours = (end - begin) * charge.hours_each
    if len(known) < 2 or (known[-1] - known[0]) < 0.8 * (end - begin) or hours < 12:
        raise NoFigureError(Sentence.of("figure.electrodes_short"))
    edge = max(1, len(known) // 20)
    fall = float(moisture[known[:edge]].mean() - moisture[known[-edge:]].mean())
    return fall / (float(known[-1] - known[0]) * charge.hours_each * (1 - edge / len(known)))


def overshoot_k(charge: Charge, _place: str) -> float:
    begin, end = charge.span("heating_up")
    view = charge.view
    over = view.smooth(view.dry_above_set, SMOOTH_MINUTES)
    over = over[begin : end + view.steps(OVERSHOOT_HOURS * 60)]
    if not np.isfinite(over).any():
        raise NoFigureError(Sentence.of("figure.nothing_to_compare"))
    return max(0.0, float(np.nanmax(over)))


def outside_band_h(charge: Charge, _place: str) -> float:
    view, drying = charge.view, charge.during("drying")
    off = np.zeros(len(view), dtype=np.bool_)
    known = np.zeros(len(view), dtype=np.bool_)
    for difference in (view.dry_above_set, view.mean("wet_bulb") - view.mean("set_wet_bulb")):
        distance = np.abs(difference)
        known |= np.isfinite(distance)
        off |= distance > BAND_K
    if not (known & drying).sum() * charge.hours_each >= LEAST_HOURS:
        raise NoFigureError(Sentence.of("figure.few_readings", hours=LEAST_HOURS))
    return float((off & drying).sum() * charge.hours_each)


def fan_current(way: float) -> Callable[[Charge, str], float]:
    def compute(charge: Charge, place: str) -> float:
        view = charge.view
        gate = charge.during("heating_up", "drying") & view.is_way(way)
        return charge.mean_where(at_full_speed(view, view.at("fan_current", place)), gate)

    return compute


def mean_of_signal(signal: str, *phases: str) -> Callable[[Charge, str], float]:
    def compute(charge: Charge, place: str) -> float:
        code = f"{signal}:{place}" if place else signal
        return charge.mean_where(signal_values(code, charge.view), charge.during(*phases) & charge.view.is_settled)

    return compute


def spray_holding(charge: Charge, _place: str) -> float:
    return charge.mean_where(signal_values("spray_holding", charge.view), charge.during("conditioning"), HOLDING_HOURS)


def left_right_k(charge: Charge, _place: str) -> float:
    """Take the mean of both directions of the air, so that what the load takes from it cancels."""
    view = charge.view
    difference = view.at("air_temperature", "left") - view.at("air_temperature", "right")
    gate = charge.during("heating_up", "drying")
    halves = [charge.mean_where(difference, gate & view.is_way(way)) for way in (1.0, -1.0)]
    return sum(halves) / 2


def wet_left_right_k(charge: Charge, _place: str) -> float:
    """Take both directions of the air alike, as a drying load differs a little with them."""
    view = charge.view
    difference = view.at("wet_bulb", "left") - view.at("wet_bulb", "right")
    drying = charge.during("drying")
    return sum(charge.mean_where(difference, drying & view.is_way(way)) for way in (1.0, -1.0)) / 2


def plate_minus_psychrometer(charge: Charge, place: str) -> float:
    """Take both directions of the air alike: a plate stands on one side only."""
    view = charge.view
    difference = plate_difference(view, place)
    drying = charge.during("drying")
    return sum(charge.mean_where(difference, drying & view.is_way(way)) for way in (1.0, -1.0)) / 2


def mean_valve(quantity: str) -> Callable[[Charge, str], float]:
    def compute(charge: Charge, _place: str) -> float:
        return charge.mean_where(charge.view.mean(quantity), charge.during("drying"))

    return compute
