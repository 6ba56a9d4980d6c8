"""Derived figures of the air in a chamber: bulbs, plate, heating and humidity."""

from collections.abc import Callable, Sequence
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.physics.emc import COLDEST_C, HOTTEST_C, emc_pct
from plant.physics.psychrometrics import relative_humidity_of_readings
from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.climate_view import (
    BOTH_WAYS_MINUTES,
    COLD_K,
    DRYING,
    RISE_MINUTES,
    SMOOTH_MINUTES,
    Mask,
    View,
    gated,
    lowest,
    mean_of,
)

Indices: TypeAlias = NDArray[np.intp]

STEADY_MINUTES: Final = 60
SHIFT_LEAST_SHARE: Final = 0.25
"""Of the half day against which a wet bulb is compared, so much must be known."""
WET_BULBS_AGREE_K, DRY_BULBS_AGREE_K = 1.2, 1.4
"""Two sound sensors of class B (IEC 60751) part by no more at 60 °C: 2 x (0.30 + 0.005 x 60) K = 1.2 K; the dry bulbs
also feel what the load takes from the air."""
MOST_PLATE_EMC_PCT: Final = 14.0
"""In moister air a tenth of a degree of a wet bulb is too much EMC to compare a plate with."""
VALVE_SHUT_MINUTES, VALVE_OPEN_MINUTES = 45, 60
FLAP_MINUTES: Final = 60
SPRAY_MINUTES, SPRAY_OPEN_MINUTES, SPRAY_LONG_MINUTES = 30, 25, 180
EARLIER_SPRAY_HOURS, EARLIER_SPRAY_PCT = 8, 10.0
"""Spray that has been open for most of so long is no sign of a fault of the spray: the humidity goes elsewhere."""
FALLING_K, NEAR_K = 0.3, 1.5
MOST_HOLDING_PCT: Final = 75.0
"""A spray that must be open further does not reach its humidity because of itself."""


def depression(view: View, place: str) -> Values:
    return view.keep(
        ("depression", place),
        lambda: gated(view.dry_beside(place) - view.at("wet_bulb", place), view.is_settled),
    )


def psychrometer_humidity(view: View, place: str) -> Values:
    def work() -> Values:
        where = np.flatnonzero(view.is_settled)
        _dry, humidity = _bulbs_at(view, [place], where)
        return _spread(view, 100 * humidity[0], where)

    return view.keep(("humidity", place), work)


def psychrometer_emc(view: View, place: str) -> Values:
    """Take the EMC at a wet bulb; for any other place the mean over the wet bulbs."""
    places = view.places("wet_bulb")
    if place not in places and len(places) > 1:
        return view.keep("mean emc", lambda: mean_of([psychrometer_emc(view, other) for other in places], view))

    def work() -> Values:
        where = np.flatnonzero(view.is_settled)
        return _spread(view, _emc_at(view, [place], where)[0], where)

    return view.keep(("emc", place), work)


def _bulbs_at(view: View, places: Sequence[str], where: Indices) -> tuple[Values, Values]:
    """Return dry bulb and relative humidity (fraction) beside places at some moments, each of shape (places, where)."""
    dry, wet = np.empty((len(places), len(where))), np.empty((len(places), len(where)))
    for row, place in enumerate(places):
        dry[row], wet[row] = view.dry_beside(place)[where], view.wet_beside(place)[where]
    return dry, relative_humidity_of_readings(dry, wet, view.frame.pressure_pa)


def _emc_at(view: View, places: Sequence[str], where: Indices) -> Values:
    """Return the EMC by the psychrometers beside places at some moments, shape (places, where)."""
    dry, humidity = _bulbs_at(view, places, where)
    known = np.isfinite(humidity)
    known &= dry >= COLDEST_C
    known &= dry <= HOTTEST_C
    if known.all():
        return emc_pct(dry, humidity)
    found = emc_pct(np.where(known, dry, 20.0), np.where(known, humidity, 0.0))
    return gated(found, known)


def _spread(view: View, values: Values, where: Indices) -> Values:
    """Return what is known at some moments as values at all, NaN between."""
    found = np.full(len(view), np.nan)
    found[where] = values
    return found


def plate_minus_psychrometer(view: View, place: str) -> Values:
    return view.keep(
        ("plate", place), lambda: view.smooth(view.at("emc", place) - psychrometer_emc(view, place), SMOOTH_MINUTES)
    )


def wet_above_set(view: View, _place: str) -> Values:
    return gated(view.mean("wet_bulb") - view.mean("set_wet_bulb"), view.is_running)


def plate_difference(view: View, place: str) -> Values:
    """Take the plate less the psychrometer where no wet bulb stands in nearly saturated air.

    There a tenth of a degree is a point of EMC, and a plate tells little. Only while drying: NaN in other phases.
    """
    where = np.flatnonzero(view.is_settled & view.in_phases(DRYING))
    bulbs = view.places("wet_bulb")
    if not bulbs:
        return view.unknown
    found = _emc_at(view, bulbs, where)
    is_dry_enough = np.all(found <= MOST_PLATE_EMC_PCT, axis=0)
    if place in bulbs:
        beside = found[bulbs.index(place)]
    elif len(bulbs) > 1:
        # Where one of them tells nothing, the plate is not compared either: the plain mean will do.
        beside = found.sum(axis=0) / len(bulbs)
    else:
        beside = _emc_at(view, [place], where)[0]
    return _spread(view, gated(view.at("emc", place)[where] - beside, is_dry_enough), where)


def do_wet_bulbs_agree(view: View) -> Mask:
    """Return where left and right wet bulb agree; everywhere if there are no two.

    Where they do not, the climate swings with the direction of the air, and nobody knows who is wrong.
    """

    def work() -> Mask:
        if not {"left", "right"} <= set(view.places("wet_bulb")):
            return np.ones(len(view), dtype=np.bool_)
        return np.abs(wet_excess_steady(view, "left")) <= WET_BULBS_AGREE_K

    return view.keep_mask("wet bulbs agree", work)


def plate_steady(view: View, place: str) -> Values:
    """Compare only with psychrometers of which both sides agree: else nobody knows who is wrong."""
    steady = view.both_ways(plate_difference(view, place), DRYING)
    if {"left", "right"} <= set(view.places("air_temperature")):
        apart = view.both_ways(left_minus_right(view), DRYING)
        steady = gated(steady, np.abs(apart) <= DRY_BULBS_AGREE_K)
    return gated(steady, do_wet_bulbs_agree(view))


def entering_depression(view: View, place: str) -> Values:
    """Take the depression where the air enters: behind a moist load it may be next to nothing."""
    way = {"left": 1.0, "right": -1.0}.get(place)
    own = depression(view, place)
    return own if way is None else gated(own, view.turned == way)


def raw_excess(view: View, place: str) -> Values:
    """Compare a wet bulb with the others: the load changes the dry bulb, hardly the wet bulb."""

    def work(place: str) -> Values:
        others = mean_of([view.at("wet_bulb", other) for other in view.places("wet_bulb") if other != place], view)
        return gated(view.at("wet_bulb", place) - others, view.is_settled & view.is_steady)

    return _against_others(view, "excess", place, work)


def _against_others(view: View, name: str, place: str, work: Callable[[str], Values]) -> Values:
    """Work out how a wet bulb differs from the others; of two the second differs as the first, the other way round."""
    places = view.places("wet_bulb")
    if len(places) == 2 and place == places[1]:
        return view.keep((name, place), lambda: -view.keep((name, places[0]), lambda: work(places[0])))
    return view.keep((name, place), lambda: work(place))


def wet_excess(view: View, place: str) -> Values:
    return _against_others(
        view, "smooth excess", place, lambda place: view.smooth(raw_excess(view, place), SMOOTH_MINUTES)
    )


def wet_excess_steady(view: View, place: str) -> Values:
    return _against_others(view, "steady excess", place, lambda place: view.both_ways(raw_excess(view, place), DRYING))


def wet_shift(view: View, place: str) -> Values:
    """Compare the excess with what it was over half a day until an hour ago: sound bulbs keep it within half a K.

    Only a bulb that reads more than the others has risen; where it reads less, they have.
    """

    def excess(place: str) -> Values:
        return gated(raw_excess(view, place), view.in_phases(DRYING) & view.is_warm_enough)

    def usual(place: str) -> Values:
        smooth = view.smooth(_against_others(view, "dry excess", place, excess), BOTH_WAYS_MINUTES, SHIFT_LEAST_SHARE)
        return view.ago(smooth, STEADY_MINUTES)

    def now(place: str) -> Values:
        return view.smooth(_against_others(view, "dry excess", place, excess), 2 * SMOOTH_MINUTES)

    is_now = _against_others(view, "excess now", place, now)
    return np.minimum(is_now - _against_others(view, "excess before", place, usual), is_now)


# Dry bulb.


def left_minus_right(view: View) -> Values:
    return view.at("air_temperature", "left") - view.at("air_temperature", "right")


def entering_minus_leaving(view: View, _place: str) -> Values:
    return view.keep("drop", lambda: gated(view.turned * left_minus_right(view), view.is_settled))


def dry_disagreement(view: View, _place: str) -> Values:
    usable = gated(left_minus_right(view), view.is_warm_enough & view.is_steady)
    return gated(view.both_ways(usable, DRYING), do_wet_bulbs_agree(view))


def dry_above_set(view: View, _place: str) -> Values:
    return gated(view.dry_above_set, view.is_running)


# Heating.


def shut_for_long(view: View) -> Mask:
    return view.keep_mask(
        "shut for long",
        lambda: view.held("valve shut", view.is_shut("heating_valve"), VALVE_SHUT_MINUTES) & view.is_running,
    )


def rise_valve_shut(view: View, _place: str) -> Values:
    """Follow the temperature over the last half hour of a valve that was shut before already, in K per hour."""
    quiet = view.held("spray shut", view.is_shut("spray_valve"), RISE_MINUTES + SMOOTH_MINUTES)
    return gated(view.rise_k * 60 / RISE_MINUTES, shut_for_long(view) & quiet)


def excess_valve_shut(view: View, _place: str) -> Values:
    return gated(view.dry_above_set, shut_for_long(view))


def heat_valve_shut(view: View, _place: str) -> Values:
    return gated(view.mean("heat_power"), shut_for_long(view))


def missing_valve_open(view: View, _place: str) -> Values:
    return gated(
        -view.dry_above_set,
        view.held("valve open", view.is_open("heating_valve"), VALVE_OPEN_MINUTES) & view.is_running,
    )


def rise_valve_open(view: View, _place: str) -> Values:
    """Follow the temperature over the last half hour with the valve fully open, in K per hour, while it is too cold."""
    is_open = view.held("valve open", view.is_open("heating_valve"), VALVE_OPEN_MINUTES)
    is_cold = view.dry_above_set < -COLD_K
    return gated(view.rise_k * 60 / RISE_MINUTES, is_open & is_cold & view.is_running)


# Humidity.


def fresh_spray(view: View) -> Mask:
    """Return where the spray is open for half an hour after hours in which it seldom was, and humidity is wanted.

    Where the humidity falls in spite of it, or the spray has been open for hours, the humidity goes elsewhere: that
    says nothing of the spray.
    """
    is_open = view.held("spray open", view.is_open("spray_valve"), SPRAY_OPEN_MINUTES)
    earlier = view.ago(view.smooth(view.mean("spray_valve"), EARLIER_SPRAY_HOURS * 60), SPRAY_MINUTES)
    is_wanted = view.mean("set_wet_bulb") - view.smooth_mean("wet_bulb") > 1
    is_seldom = earlier <= EARLIER_SPRAY_PCT
    return is_open & is_wanted & is_seldom & view.is_warm_enough & (gain(view) > -FALLING_K) & view.is_running


def gain(view: View) -> Values:
    wet = view.mean("wet_bulb")
    return view.keep("gain", lambda: wet - view.ago(wet, SPRAY_MINUTES))


def gain_spraying(view: View, _place: str) -> Values:
    return gated(gain(view), view.keep_mask("fresh spray", lambda: fresh_spray(view)))


def missing_wet(view: View) -> Values:
    return view.keep("missing wet", lambda: view.mean("set_wet_bulb") - view.mean("wet_bulb"))


def flaps_shut(view: View) -> Mask:
    return view.held("flaps shut", view.is_shut("flap_position"), FLAP_MINUTES)


def missing_sprayed(view: View, _place: str) -> Values:
    return gated(missing_wet(view), view.keep_mask("fresh spray", lambda: fresh_spray(view)))


def spray_long(view: View, _place: str) -> Values:
    """Take the mean opening of the spray over hours in which the flaps are shut now and it is warm enough."""
    spray = view.smooth(view.mean("spray_valve"), SPRAY_LONG_MINUTES)
    return gated(spray, flaps_shut(view) & view.is_warm_enough & view.is_running)


def missing_flaps_shut(view: View, _place: str) -> Values:
    return gated(missing_wet(view), flaps_shut(view) & view.is_warm_enough & view.is_running)


def excess_flaps_open(view: View, _place: str) -> Values:
    is_open = view.held("flaps open", view.is_open("flap_position"), FLAP_MINUTES)
    # A wick that dries out or scales reads too much: the lowest wet bulb is the one to trust.
    least = view.keep("lowest wet", lambda: lowest(view, "wet_bulb"))
    return gated(least - view.mean("set_wet_bulb"), is_open & view.is_warm_enough & view.is_running)


def spray_holding(view: View, _place: str) -> Values:
    """Take how far the spray must be open to hold a humidity that is reached, with the flaps shut."""
    near = view.held(
        "climate near", lambda: (np.abs(missing_wet(view)) <= NEAR_K) & view.is_warm_enough, STEADY_MINUTES
    )
    spray = view.smooth(view.mean("spray_valve"), STEADY_MINUTES)
    return gated(spray, near & (spray <= MOST_HOLDING_PCT) & flaps_shut(view) & view.is_running)


def fall_all_shut(view: View, _place: str) -> Values:
    """Follow the wet bulb over the last half hour with flaps and spray shut, in K per hour; falling is above 0."""
    wet = view.smooth_mean("wet_bulb")
    shut = view.held("flaps shut", view.is_shut("flap_position"), RISE_MINUTES + SMOOTH_MINUTES)
    quiet = view.held("spray shut", view.is_shut("spray_valve"), RISE_MINUTES + SMOOTH_MINUTES)
    return gated((view.ago(wet, RISE_MINUTES) - wet) * 60 / RISE_MINUTES, shut & quiet & view.is_settled)
