"""Derived figures of a chamber for each moment: what watches look at besides the readings themselves.

A signal is named by its code; one that speaks of a place carries it as a channel does (``depression:left``). A signal
is NaN where its readings are missing and where it would make no sense: fans standing, air just turned, a valve not shut
long enough. Every signal looks back over a bounded time (`Signal.lookback_minutes`): computed over a stretch that
begins so much earlier, the moments of the stretch come out as over the whole past.

Raw channels are signals too, under their own key, and so is the difference of two signals, written ``a - b``.

The spans and thresholds here (how long a valve must be shut, when the air counts as settled) are our own choice.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.calculations.climate_frame import PHASE_CODES, Frame, Values
from plant.calculations.emc import COLDEST_C, HOTTEST_C, emc_pct
from plant.calculations.psychrometrics import relative_humidity_of_readings
from plant.calculations.quantities import QUANTITIES
from plant.calculations.reading_marks import TOLD_ON_CHANGE

Mask: TypeAlias = NDArray[np.bool_]

SETTLE_MINUTES: Final = 15
"""So long after the fans started or turned, the air is not compared."""
FAN_START_MINUTES: Final = 5
SMOOTH_MINUTES: Final = 10
"""Mean over so long where noise would drown a small difference."""
OPEN_PCT, SHUT_PCT = 95.0, 2.0
"""From here on a valve or flap counts as fully open, up to here as shut."""
HEAT_SHUT_PCT: Final = 0.5
"""Of a heating valve already little lets much heat through."""
VALVE_SHUT_MINUTES: Final = 45
VALVE_OPEN_MINUTES: Final = 60
SPRAY_MINUTES: Final = 30
FLAP_MINUTES: Final = 60
RISE_MINUTES: Final = 30
BOTH_WAYS_MINUTES: Final = 12 * 60
BOTH_WAYS_LEAST_MINUTES: Final = 90
STEADY_MINUTES: Final = 60
SHIFT_LEAST_SHARE: Final = 0.25
JUMP_MINUTES: Final = 60
SPRAY_OPEN_MINUTES: Final = 25
SPRAY_LONG_MINUTES: Final = 180
FALLING_K: Final = 0.3
EARLIER_SPRAY_HOURS, EARLIER_SPRAY_PCT = 8, 10.0
"""Spray that has been open for most of so long is no sign of a fault of the spray: the humidity goes elsewhere."""
LONGEST_MINUTES: Final = 24 * 60
"""What counts minutes stops here."""
LEAST_RUNNING_A: Final = 0.5
WET_BULBS_AGREE_K, DRY_BULBS_AGREE_K = 1.2, 1.4
"""Two sound sensors of class B (IEC 60751) part by no more at 60 °C: 2 x (0.30 + 0.005 x 60) K = 1.2 K; the dry bulbs
also feel what the load takes from the air."""
MOST_PLATE_EMC_PCT: Final = 14.0
MOST_HOLDING_PCT: Final = 75.0
"""A spray that must be open further does not reach its humidity because of itself."""
COLD_K, STEADY_K = 3.0, 2.5
NEAR_K: Final = 1.5
LEAST_SPEED_SHARE: Final = 0.6
"""Below this share of full speed a motor's current says little of the fan."""
DIFFERENCE: Final = " - "
IN_USE: Final = ("heating_up", "drying", "conditioning", "cooling")
DRYING: Final = ("drying",)


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for one kiln: each fan's current at full speed in A, as (air enters left, enters right)."""

    fan_current_a: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Signal:
    """One derived figure.

    Attributes
    ----------
    code, name, unit : str
        ``unit`` is empty for a pure number.
    needs : tuple[str, ...]
        Quantities without which there is nothing; any place will do.
    lookback_minutes : int
        How much earlier a stretch must begin for its moments to come out right.
    compute : Callable
        Of the view and the place; shape (n,).
    per : tuple[str, ...]
        Quantities that must be there at the very place; empty for a signal of the whole chamber.
    least_places, most_places : int
        How many places of the first quantity in ``per`` there may be.
    """

    code: str
    name: str
    unit: str
    needs: tuple[str, ...]
    lookback_minutes: int
    compute: Callable[["View", str], Values]
    per: tuple[str, ...] = ()
    least_places: int = 1
    most_places: int = 1000


class View:
    """A frame with what several signals share, worked out once."""

    def __init__(self, frame: Frame, usual: Usual | None = None) -> None:
        self.frame = frame
        self.usual = usual or Usual()
        self._places: dict[str, tuple[str, ...]] = {}
        self._kept: dict[object, Values | Mask | NDArray[np.int32]] = {}

    def __len__(self) -> int:
        """Return the number of moments."""
        return len(self.frame)

    def steps(self, minutes: float) -> int:
        """Return how many steps of the grid last so long, at least 1."""
        return max(1, round(minutes * 60 / self.frame.step_s))

    def places(self, quantity: str) -> tuple[str, ...]:
        """Return the places at which the quantity is measured; one is empty where it has no place."""
        if quantity not in self._places:
            self._places[quantity] = places_of_quantity(quantity, self.frame.values)
        return self._places[quantity]

    def at(self, quantity: str, place: str) -> Values:
        """Return a channel; NaN throughout where the kiln does not have it."""
        found = self.frame.values.get(f"{quantity}:{place}" if place else quantity)
        return self.unknown if found is None else found

    @property
    def unknown(self) -> Values:
        """Return NaN for every moment."""
        return self.keep("unknown", lambda: np.full(len(self), np.nan))

    def keep(self, name: object, work: Callable[[], Values]) -> Values:
        """Return what was worked out under the name, working it out the first time."""
        if name not in self._kept:
            self._kept[name] = work()
        return self._kept[name]  # type: ignore[return-value]

    def keep_mask(self, name: object, work: Callable[[], Mask]) -> Mask:
        """As `keep`, for yes and no."""
        if name not in self._kept:
            self._kept[name] = work()
        return self._kept[name]  # type: ignore[return-value]

    def mean(self, quantity: str) -> Values:
        """Return the mean over the places that have a value."""
        return self.keep(
            ("mean", quantity), lambda: _mean_of([self.at(quantity, place) for place in self.places(quantity)], self)
        )

    @property
    def entering(self) -> Values:
        """Return the dry bulb where the air enters the stack, by which kilns are led; else the mean."""

        def work() -> Values:
            mean = self.mean("air_temperature")
            if not {"left", "right"} <= set(self.places("air_temperature")):
                return mean
            left, right = self.at("air_temperature", "left"), self.at("air_temperature", "right")
            found = np.where(self.turned > 0, left, np.where(self.turned < 0, right, mean))
            return np.where(np.isfinite(found), found, mean)

        return self.keep("entering", work)

    @property
    def dry_above_set(self) -> Values:
        """Return the entering dry bulb less the wanted one."""
        return self.keep("dry above set", lambda: self.entering - self.mean("set_air_temperature"))

    def dry_beside(self, place: str) -> Values:
        """Return the dry bulb that belongs to a wet bulb or a plate: at its place, else the mean."""
        beside = self.places("air_temperature")
        return self.at("air_temperature", place) if place in beside else self.mean("air_temperature")

    def wet_beside(self, place: str) -> Values:
        """Return the wet bulb that belongs to a plate: at its place, else the mean."""
        return self.at("wet_bulb", place) if place in self.places("wet_bulb") else self.mean("wet_bulb")

    def minutes_true(self, name: object, mask: Callable[[], Mask]) -> NDArray[np.int32]:
        """Return for how many steps in a row, this moment included, a condition has held."""

        def counted() -> NDArray[np.int32]:
            index = np.arange(len(self), dtype=np.int32)
            broken = np.where(mask(), np.int32(-1), index)
            return index - np.maximum.accumulate(broken)

        key = ("true", name)
        if key not in self._kept:
            self._kept[key] = counted()
        return self._kept[key]  # type: ignore[return-value]

    def held(self, name: object, mask: Callable[[], Mask], minutes: float) -> Mask:
        """Return where a condition has held for so long."""
        return self.keep_mask(("held", name, minutes), lambda: self.minutes_true(name, mask) > self.steps(minutes))

    def ago(self, values: Values, minutes: float) -> Values:
        """Return what the values were so long before; NaN before the first."""
        count = self.steps(minutes)
        earlier = np.full(len(values), np.nan)
        earlier[count:] = values[:-count]
        return earlier

    def smooth(self, values: Values, minutes: float, least_share: float = 0.5) -> Values:
        """Return the mean of the known values of the last minutes; NaN where fewer than that share are known."""
        count = self.steps(minutes)
        known = np.isfinite(values)
        if not known.any():
            return self.unknown
        total, number = _rolling(np.where(known, values, 0.0), count), _rolling(known.astype(np.float64), count)
        return np.where(number >= max(1.0, least_share * count), total / np.maximum(number, 1.0), np.nan)

    @property
    def turned(self) -> Values:
        """Return the direction of the air, +1 or -1; NaN where it stands or is not known; 1 if it has no channel."""
        if "fan_direction" not in self.frame.values:
            return self.keep("turned", lambda: np.where(self.is_running, 1.0, np.nan))
        return self.keep("turned", lambda: _known_direction(self.frame.values["fan_direction"]))

    @property
    def is_running(self) -> Mask:
        """Return where the fans run, as far as their direction, current or speed tells; else where the kiln runs."""
        return self.keep_mask("running", self._running)

    def _running(self) -> Mask:
        direction = self.frame.values.get("fan_direction")
        if direction is not None:
            return np.abs(direction) >= 0.5
        for quantity, least in (("fan_current", LEAST_RUNNING_A), ("fan_speed", 1.0)):
            if self.places(quantity):
                return self.mean(quantity) >= least
        return self.in_phases(IN_USE)

    @property
    def is_settled(self) -> Mask:
        """Return where the air has gone the same way for a while."""

        def settled() -> Mask:
            return self.steps_same_way > self.steps(SETTLE_MINUTES)

        return self.keep_mask("settled", settled)

    @property
    def steps_same_way(self) -> NDArray[np.int32]:
        """Return for how many steps in a row the fans have run the same way, this moment included."""

        def same_way() -> Mask:
            turned = self.turned
            same = np.isfinite(turned)
            same[1:] &= turned[1:] == turned[:-1]
            return same

        return self.minutes_true("same way", same_way)

    def both_ways(self, values: Values, phases: tuple[str, ...]) -> Values:
        """Return the mean over half a day of the means of both directions of the air.

        What the load does to the air has the one sign with one direction and the other with the other: it cancels, an
        error of a sensor stays. Only moments in the phases count, so that a heating up does not lie in the one half.
        """
        count, least = self.steps(BOTH_WAYS_MINUTES), self.steps(BOTH_WAYS_LEAST_MINUTES)
        usable = np.isfinite(values) & self.is_settled & self.in_phases(phases)
        halves = []
        for way in (1.0, -1.0):
            known = usable & (self.turned == way)
            total, number = _rolling(np.where(known, values, 0.0), count), _rolling(known.astype(np.float64), count)
            halves.append(np.where(number >= least, total / np.maximum(number, 1), np.nan))
        return _gated((halves[0] + halves[1]) / 2, usable)

    def in_phases(self, phases: tuple[str, ...]) -> Mask:
        """Return where the kiln is in one of the phases."""
        return self.keep_mask(("phases", phases), lambda: is_in_phases(self.frame.phase, phases))

    def smooth_mean(self, quantity: str) -> Values:
        """Return the mean over the places, smoothed over some minutes."""
        return self.keep(("smooth", quantity), lambda: self.smooth(self.mean(quantity), SMOOTH_MINUTES))

    def is_open(self, quantity: str) -> Callable[[], Mask]:
        """Say where a valve or the flaps are fully open."""
        return lambda: self.mean(quantity) >= OPEN_PCT

    def is_shut(self, quantity: str) -> Callable[[], Mask]:
        """Say where a valve or the flaps are shut; everywhere if the kiln has no such channel."""
        if not self.places(quantity):
            return lambda: np.ones(len(self), dtype=np.bool_)
        return lambda: self.mean(quantity) <= (HEAT_SHUT_PCT if quantity == "heating_valve" else SHUT_PCT)

    @property
    def is_warm_enough(self) -> Mask:
        """Return where the temperature is about the wanted one; everywhere if no wanted one is known.

        In a kiln that is far too cold or too hot the humidity tells nothing of flaps and spray.
        """

        def work() -> Mask:
            if not self.places("set_air_temperature"):
                return np.ones(len(self), dtype=np.bool_)
            return np.abs(self.dry_above_set) <= COLD_K

        return self.keep_mask("warm enough", work)

    @property
    def is_steady(self) -> Mask:
        """Return where the temperature has stood for a while: cold timber in warming air takes water from it."""

        def work() -> Mask:
            dry = self.smooth_mean("air_temperature")
            return np.abs(dry - self.ago(dry, RISE_MINUTES)) <= STEADY_K

        return self.keep_mask("steady", work)

    @property
    def do_wet_bulbs_agree(self) -> Mask:
        """Return where left and right wet bulb agree; everywhere if there are no two.

        Where they do not, the climate swings with the direction of the air, and nobody knows who is wrong.
        """

        def work() -> Mask:
            if not {"left", "right"} <= set(self.places("wet_bulb")):
                return np.ones(len(self), dtype=np.bool_)
            return np.abs(signal_values("wet_bulb_excess_steady:left", self)) <= WET_BULBS_AGREE_K

        return self.keep_mask("wet bulbs agree", work)


def _mean_of(channels: list[Values], view: View) -> Values:
    if not channels:
        return view.unknown
    if len(channels) == 1:
        return channels[0]
    total, number = np.zeros(len(view)), np.zeros(len(view))
    for values in channels:
        known = np.isfinite(values)
        total += np.where(known, values, 0.0)
        number += known
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _lowest(view: View, quantity: str) -> Values:
    lowest = view.unknown
    for place in view.places(quantity):
        lowest = np.fmin(lowest, view.at(quantity, place))
    return lowest


def _rolling(values: Values, count: int) -> Values:
    total = np.cumsum(values)
    total[count:] -= total[:-count].copy()
    return total


def is_in_phases(phase: NDArray[np.int8], phases: Collection[str]) -> Mask:
    """Return where the kiln is in one of the phases (names of `PHASE_CODES`)."""
    wanted = np.zeros(max(PHASE_CODES.values()) + 1, dtype=np.bool_)
    wanted[[PHASE_CODES[name] for name in phases]] = True
    return np.asarray(wanted[phase])


def _known_direction(values: Values) -> Values:
    return np.where(np.abs(values) >= 0.5, np.sign(values), np.nan)


def _gated(values: Values, gate: Mask) -> Values:
    return np.where(gate, values, np.nan)


# Wet and dry bulb.


def _depression(view: View, place: str) -> Values:
    return view.keep(
        ("depression", place),
        lambda: _gated(view.dry_beside(place) - view.at("wet_bulb", place), view.is_settled),
    )


def _psychrometer_humidity(view: View, place: str) -> Values:
    def work() -> Values:
        humidity = relative_humidity_of_readings(view.dry_beside(place), view.wet_beside(place))
        return _gated(100 * humidity, view.is_settled)

    return view.keep(("humidity", place), work)


def _psychrometer_emc(view: View, place: str) -> Values:
    """Take the EMC at a wet bulb; for any other place the mean over the wet bulbs."""
    places = view.places("wet_bulb")
    if place not in places and len(places) > 1:
        return view.keep("mean emc", lambda: _mean_of([_psychrometer_emc(view, other) for other in places], view))

    def work() -> Values:
        dry, humidity = view.dry_beside(place), _psychrometer_humidity(view, place)
        known = np.isfinite(humidity) & (dry >= COLDEST_C) & (dry <= HOTTEST_C)
        found = emc_pct(np.where(known, dry, 20.0), np.where(known, humidity / 100, 0.0))
        return _gated(found, known)

    return view.keep(("emc", place), work)


def _plate_minus_psychrometer(view: View, place: str) -> Values:
    return view.keep(
        ("plate", place), lambda: view.smooth(view.at("emc", place) - _psychrometer_emc(view, place), SMOOTH_MINUTES)
    )


def _wet_above_set(view: View, _place: str) -> Values:
    return _gated(view.mean("wet_bulb") - view.mean("set_wet_bulb"), view.is_running)


def plate_difference(view: View, place: str) -> Values:
    """Take the plate less the psychrometer where no wet bulb stands in nearly saturated air.

    There a tenth of a degree is a point of EMC, and a plate tells little.
    """
    difference = view.at("emc", place) - _psychrometer_emc(view, place)
    for other in view.places("wet_bulb"):
        difference = _gated(difference, _psychrometer_emc(view, other) <= MOST_PLATE_EMC_PCT)
    return difference


def _plate_steady(view: View, place: str) -> Values:
    """Compare only with psychrometers of which both sides agree: else nobody knows who is wrong."""
    steady = view.both_ways(plate_difference(view, place), DRYING)
    if {"left", "right"} <= set(view.places("air_temperature")):
        apart = view.both_ways(_left_minus_right(view), DRYING)
        steady = _gated(steady, np.abs(apart) <= DRY_BULBS_AGREE_K)
    return _gated(steady, view.do_wet_bulbs_agree)


def _entering_depression(view: View, place: str) -> Values:
    """Take the depression where the air enters: behind a moist load it may be next to nothing."""
    way = {"left": 1.0, "right": -1.0}.get(place)
    depression = _depression(view, place)
    return depression if way is None else _gated(depression, view.turned == way)


def _raw_excess(view: View, place: str) -> Values:
    """Compare a wet bulb with the others: the load changes the dry bulb, hardly the wet bulb."""

    def work() -> Values:
        others = _mean_of([view.at("wet_bulb", other) for other in view.places("wet_bulb") if other != place], view)
        return _gated(view.at("wet_bulb", place) - others, view.is_settled & view.is_steady)

    return view.keep(("excess", place), work)


def _wet_excess(view: View, place: str) -> Values:
    return view.smooth(_raw_excess(view, place), SMOOTH_MINUTES)


def _wet_excess_steady(view: View, place: str) -> Values:
    return view.both_ways(_raw_excess(view, place), DRYING)


def _wet_shift(view: View, place: str) -> Values:
    """Compare the excess with what it was over half a day until an hour ago: sound bulbs keep it within half a K.

    Only a bulb that reads more than the others has risen; where it reads less, they have.
    """
    excess = _gated(_raw_excess(view, place), view.in_phases(DRYING) & view.is_warm_enough)
    usual = view.ago(view.smooth(excess, BOTH_WAYS_MINUTES, SHIFT_LEAST_SHARE), STEADY_MINUTES)
    now = view.smooth(excess, 2 * SMOOTH_MINUTES)
    return np.minimum(now - usual, now)


# Dry bulb.


def _left_minus_right(view: View) -> Values:
    return view.at("air_temperature", "left") - view.at("air_temperature", "right")


def _entering_minus_leaving(view: View, _place: str) -> Values:
    return view.keep("drop", lambda: _gated(view.turned * _left_minus_right(view), view.is_settled))


def _dry_disagreement(view: View, _place: str) -> Values:
    usable = _gated(_left_minus_right(view), view.is_warm_enough & view.is_steady)
    return _gated(view.both_ways(usable, DRYING), view.do_wet_bulbs_agree)


def _dry_above_set(view: View, _place: str) -> Values:
    return _gated(view.dry_above_set, view.is_running)


# Heating.


def _shut_for_long(view: View) -> Mask:
    return view.held("valve shut", view.is_shut("heating_valve"), VALVE_SHUT_MINUTES) & view.is_running


def _rise_valve_shut(view: View, _place: str) -> Values:
    """Follow the temperature over the last half hour of a valve that was shut before already, in K per hour."""
    dry = view.smooth_mean("air_temperature")
    quiet = view.held("spray shut", view.is_shut("spray_valve"), RISE_MINUTES + SMOOTH_MINUTES)
    return _gated((dry - view.ago(dry, RISE_MINUTES)) * 60 / RISE_MINUTES, _shut_for_long(view) & quiet)


def _excess_valve_shut(view: View, _place: str) -> Values:
    return _gated(view.dry_above_set, _shut_for_long(view))


def _heat_valve_shut(view: View, _place: str) -> Values:
    return _gated(view.mean("heat_power"), _shut_for_long(view))


def _missing_valve_open(view: View, _place: str) -> Values:
    return _gated(
        -view.dry_above_set,
        view.held("valve open", view.is_open("heating_valve"), VALVE_OPEN_MINUTES) & view.is_running,
    )


def _rise_valve_open(view: View, _place: str) -> Values:
    """Follow the temperature over the last half hour with the valve fully open, in K per hour, while it is too cold."""
    dry = view.smooth_mean("air_temperature")
    is_open = view.held("valve open", view.is_open("heating_valve"), VALVE_OPEN_MINUTES)
    is_cold = -view.dry_above_set > COLD_K
    return _gated((dry - view.ago(dry, RISE_MINUTES)) * 60 / RISE_MINUTES, is_open & is_cold & view.is_running)


# Humidity.


def _fresh_spray(view: View) -> Mask:
    """Return where the spray is open for half an hour after hours in which it seldom was, and humidity is wanted.

    Where the humidity falls in spite of it, or the spray has been open for hours, the humidity goes elsewhere: that
    says nothing of the spray.
    """
    is_open = view.held("spray open", view.is_open("spray_valve"), SPRAY_OPEN_MINUTES)
    earlier = view.ago(view.smooth(view.mean("spray_valve"), EARLIER_SPRAY_HOURS * 60), SPRAY_MINUTES)
    is_wanted = view.mean("set_wet_bulb") - view.smooth_mean("wet_bulb") > 1
    is_seldom = earlier <= EARLIER_SPRAY_PCT
    return is_open & is_wanted & is_seldom & view.is_warm_enough & (_gain(view) > -FALLING_K) & view.is_running


def _gain(view: View) -> Values:
    wet = view.mean("wet_bulb")
    return view.keep("gain", lambda: wet - view.ago(wet, SPRAY_MINUTES))


def _gain_spraying(view: View, _place: str) -> Values:
    return _gated(_gain(view), view.keep_mask("fresh spray", lambda: _fresh_spray(view)))


def _missing_wet(view: View) -> Values:
    return view.keep("missing wet", lambda: view.mean("set_wet_bulb") - view.mean("wet_bulb"))


def _flaps_shut(view: View) -> Mask:
    return view.held("flaps shut", view.is_shut("flap_position"), FLAP_MINUTES)


def _missing_sprayed(view: View, _place: str) -> Values:
    return _gated(_missing_wet(view), view.keep_mask("fresh spray", lambda: _fresh_spray(view)))


def _spray_long(view: View, _place: str) -> Values:
    """Take the mean opening of the spray over hours in which the flaps are shut now and it is warm enough."""
    spray = view.smooth(view.mean("spray_valve"), SPRAY_LONG_MINUTES)
    return _gated(spray, _flaps_shut(view) & view.is_warm_enough & view.is_running)


def _missing_flaps_shut(view: View, _place: str) -> Values:
    return _gated(_missing_wet(view), _flaps_shut(view) & view.is_warm_enough & view.is_running)


def _excess_flaps_open(view: View, _place: str) -> Values:
    is_open = view.held("flaps open", view.is_open("flap_position"), FLAP_MINUTES)
    # A wick that dries out or scales reads too much: the lowest wet bulb is the one to trust.
    lowest = view.keep("lowest wet", lambda: _lowest(view, "wet_bulb"))
    return _gated(lowest - view.mean("set_wet_bulb"), is_open & view.is_warm_enough & view.is_running)


def _spray_holding(view: View, _place: str) -> Values:
    """Take how far the spray must be open to hold a humidity that is reached, with the flaps shut."""
    near = view.held(
        "climate near", lambda: (np.abs(_missing_wet(view)) <= NEAR_K) & view.is_warm_enough, STEADY_MINUTES
    )
    spray = view.smooth(view.mean("spray_valve"), STEADY_MINUTES)
    return _gated(spray, near & (spray <= MOST_HOLDING_PCT) & _flaps_shut(view) & view.is_running)


def _fall_all_shut(view: View, _place: str) -> Values:
    """Follow the wet bulb over the last half hour with flaps and spray shut, in K per hour; falling is above 0."""
    wet = view.smooth_mean("wet_bulb")
    shut = view.held("flaps shut", view.is_shut("flap_position"), RISE_MINUTES + SMOOTH_MINUTES)
    quiet = view.held("spray shut", view.is_shut("spray_valve"), RISE_MINUTES + SMOOTH_MINUTES)
    return _gated((view.ago(wet, RISE_MINUTES) - wet) * 60 / RISE_MINUTES, shut & quiet & view.is_settled)


# Fans.


def _fan_share(view: View, place: str) -> Values:
    """Compare a fan's current with the mean of its mates at the same moment: air, speed and direction are the same."""
    own = view.at("fan_current", place)
    mates = _mean_of([view.at("fan_current", other) for other in view.places("fan_current") if other != place], view)
    runs = view.steps_same_way > view.steps(FAN_START_MINUTES)
    return _gated(100 * own / np.maximum(mates, LEAST_RUNNING_A), runs & (mates >= LEAST_RUNNING_A))


def _lone_fan_current(view: View, place: str) -> Values:
    """Take the current of the only fan while the controller says that it turns."""
    return _gated(view.at("fan_current", place), view.steps_same_way > view.steps(FAN_START_MINUTES))


def _fan_of_usual(view: View, place: str) -> Values:
    """Compare a fan's current with its own usual one in this direction."""
    left, right = view.usual.fan_current_a.get(place, (np.nan, np.nan))
    usual = np.where(view.turned > 0, left, right)
    return _gated(100 * at_full_speed(view, view.at("fan_current", place)) / usual, view.is_settled)


def at_full_speed(view: View, current: Values) -> Values:
    """Return a fan's current as it would be at full speed: torque, and about so the current, follows its square."""
    if not view.places("fan_speed"):
        return current
    share = view.mean("fan_speed") / 100
    return np.where(share >= LEAST_SPEED_SHARE, current / np.maximum(share, LEAST_SPEED_SHARE) ** 2, np.nan)


def _fan_share_steady(view: View, place: str) -> Values:
    return view.smooth(_fan_share(view, place), STEADY_MINUTES)


def _fan_both_ways(view: View, place: str) -> Values:
    """Compare a fan's current in the one direction with that in the other, over half a day."""
    count, least = view.steps(BOTH_WAYS_MINUTES), view.steps(BOTH_WAYS_LEAST_MINUTES)
    own = _fan_share(view, place) if len(view.places("fan_current")) > 1 else view.at("fan_current", place)
    means = []
    for way in (1.0, -1.0):
        known = np.isfinite(own) & view.is_settled & (view.turned == way)
        total, number = _rolling(np.where(known, own, 0.0), count), _rolling(known.astype(np.float64), count)
        means.append(np.where(number >= least, total / np.maximum(number, 1), np.nan))
    return _gated(100 * means[0] / np.where(means[1] > 0, means[1], np.nan), view.is_settled)


def _since_turned(view: View, _place: str) -> Values:
    minutes = view.steps_same_way * (view.frame.step_s / 60)
    return _gated(np.minimum(minutes, LONGEST_MINUTES), view.is_running)


# Electrodes and silence.


def _step_change(view: View, place: str) -> Values:
    """Take the size of the change since the moment before."""
    own = view.at("wood_moisture", place)
    changed = np.full(len(own), np.nan)
    changed[1:] = np.abs(own[1:] - own[:-1])
    return changed


def _jump(view: View, place: str) -> Values:
    """Compare the mean of the last hour with that of the hour before, in percent of it.

    What the other electrodes did as well is drying; of an electrode that stands while the others jump nothing is said.
    """
    own = view.smooth(view.at("wood_moisture", place), JUMP_MINUTES)
    change = 100 * (own / view.ago(own, JUMP_MINUTES) - 1)
    others = [view.at("wood_moisture", other) for other in view.places("wood_moisture") if other != place]
    if not others:
        return change
    share = own / view.smooth(_mean_of(others, view), JUMP_MINUTES)
    against = 100 * (share / view.ago(share, JUMP_MINUTES) - 1)
    return np.where(np.abs(against) < np.abs(change), against, change)


def _minus_mates(view: View, place: str) -> Values:
    others = [view.at("wood_moisture", other) for other in view.places("wood_moisture") if other != place]
    return view.at("wood_moisture", place) - _mean_of(others, view)


def _silence(quantity: str) -> Callable[[View, str], Values]:
    """Make a signal that is 1 where a channel has no usable reading, 0 where it has; NaN while all is silent."""

    def compute(view: View, place: str) -> Values:
        is_missing = (~np.isfinite(view.at(quantity, place))).astype(np.float64)
        return _gated(is_missing, view.keep_mask("heard", lambda: _heard(view)))

    return compute


def _heard(view: View) -> Mask:
    told = view.frame.values
    # What is told only when it changes holds for a day: it says nothing of silence.
    steady = [values for key, values in told.items() if key.partition(":")[0] not in TOLD_ON_CHANGE]
    heard = np.zeros(len(view), dtype=np.bool_)
    for values in steady or told.values():
        heard |= np.isfinite(values)
    return heard


def _data_age(view: View, _place: str) -> Values:
    """Count the minutes since any channel of the kiln was heard."""

    def silent() -> Mask:
        return ~view.keep_mask("heard", lambda: _heard(view))

    minutes = view.minutes_true("silent", silent) * (view.frame.step_s / 60)
    return np.asarray(np.minimum(minutes, LONGEST_MINUTES))


_BULBS = ("air_temperature", "wet_bulb")
_SETTLED, _SMOOTH = SETTLE_MINUTES + 5, max(SETTLE_MINUTES, RISE_MINUTES + SMOOTH_MINUTES) + SMOOTH_MINUTES + 10
_HALF_DAY = BOTH_WAYS_MINUTES + RISE_MINUTES + 30

SIGNALS: Final[dict[str, Signal]] = {
    signal.code: signal
    for signal in (
        Signal("depression", "dry bulb less wet bulb", "K", _BULBS, _SETTLED, _depression, per=("wet_bulb",)),
        Signal(
            "psychrometer_humidity",
            "relative humidity by the psychrometer",
            "percent",
            _BULBS,
            _SETTLED,
            _psychrometer_humidity,
            per=("wet_bulb",),
        ),
        Signal(
            "psychrometer_emc",
            "EMC by the psychrometer",
            "percent",
            _BULBS,
            _SETTLED,
            _psychrometer_emc,
            per=("wet_bulb",),
        ),
        Signal(
            "plate_minus_psychrometer",
            "EMC of the plate less EMC by the psychrometer",
            "percent",
            ("emc", *_BULBS),
            _SMOOTH,
            _plate_minus_psychrometer,
            per=("emc",),
        ),
        Signal(
            "wet_bulb_above_set",
            "wet bulb less wanted wet bulb",
            "K",
            ("wet_bulb", "set_wet_bulb"),
            _SETTLED,
            _wet_above_set,
        ),
        Signal(
            "wet_bulb_excess",
            "wet bulb less the mean of the others",
            "K",
            ("wet_bulb",),
            _SMOOTH,
            _wet_excess,
            per=("wet_bulb",),
            least_places=2,
        ),
        Signal(
            "wet_bulb_shift",
            "wet bulb less the others, against half a day before",
            "K",
            ("wet_bulb",),
            BOTH_WAYS_MINUTES + STEADY_MINUTES + _SMOOTH,
            _wet_shift,
            per=("wet_bulb",),
            least_places=2,
        ),
        Signal(
            "wet_bulb_excess_steady",
            "wet bulb less the mean of the others, mean of both directions of the air",
            "K",
            ("wet_bulb",),
            _HALF_DAY,
            _wet_excess_steady,
            per=("wet_bulb",),
            least_places=2,
        ),
        Signal(
            "lone_depression",
            "dry bulb less wet bulb where the air enters, of the only wet bulb",
            "K",
            _BULBS,
            _SETTLED,
            _entering_depression,
            per=("wet_bulb",),
            most_places=1,
        ),
        Signal(
            "entering_depression",
            "dry bulb less wet bulb where the air enters",
            "K",
            _BULBS,
            _SETTLED,
            _entering_depression,
            per=("wet_bulb",),
        ),
        Signal(
            "plate_steady",
            "EMC of the plate less EMC by the psychrometer, mean of both directions of the air",
            "percent",
            ("emc", *_BULBS),
            _HALF_DAY,
            _plate_steady,
            per=("emc",),
        ),
        Signal(
            "air_drop",
            "air entering the stack less air leaving it",
            "K",
            ("air_temperature:left", "air_temperature:right", "fan_direction"),
            _SETTLED,
            _entering_minus_leaving,
        ),
        Signal(
            "dry_bulb_disagreement",
            "dry bulb on the left less dry bulb on the right, mean of both directions of the air",
            "K",
            ("air_temperature:left", "air_temperature:right", "fan_direction"),
            _HALF_DAY,
            _dry_disagreement,
        ),
        Signal(
            "dry_bulb_above_set",
            "dry bulb less wanted dry bulb",
            "K",
            ("air_temperature", "set_air_temperature"),
            _SETTLED,
            _dry_above_set,
        ),
        Signal(
            "rise_valve_shut",
            "rise of the temperature with the heating valve shut",
            "K/h",
            ("air_temperature", "heating_valve"),
            VALVE_SHUT_MINUTES + RISE_MINUTES,
            _rise_valve_shut,
        ),
        Signal(
            "excess_valve_shut",
            "degrees too warm with the heating valve shut",
            "K",
            ("air_temperature", "set_air_temperature", "heating_valve"),
            VALVE_SHUT_MINUTES + 5,
            _excess_valve_shut,
        ),
        Signal(
            "heat_valve_shut",
            "heat that flows with the heating valve shut",
            "kilowatt",
            ("heat_power", "heating_valve"),
            VALVE_SHUT_MINUTES + 5,
            _heat_valve_shut,
        ),
        Signal(
            "missing_valve_open",
            "degrees missing with the heating valve fully open",
            "K",
            ("air_temperature", "set_air_temperature", "heating_valve"),
            VALVE_OPEN_MINUTES + 5,
            _missing_valve_open,
        ),
        Signal(
            "rise_valve_open",
            "rise of the temperature with the heating valve fully open while degrees are missing",
            "K/h",
            ("air_temperature", "set_air_temperature", "heating_valve"),
            VALVE_OPEN_MINUTES + RISE_MINUTES,
            _rise_valve_open,
        ),
        Signal(
            "gain_spraying",
            "rise of the wet bulb in half an hour of spray",
            "K",
            ("wet_bulb", "set_wet_bulb", "spray_valve"),
            EARLIER_SPRAY_HOURS * 60 + SPRAY_MINUTES + 10,
            _gain_spraying,
        ),
        Signal(
            "missing_sprayed",
            "degrees that the wet bulb lacks after half an hour of spray",
            "K",
            ("wet_bulb", "set_wet_bulb", "spray_valve"),
            EARLIER_SPRAY_HOURS * 60 + SPRAY_MINUTES + 10,
            _missing_sprayed,
        ),
        Signal(
            "spray_long",
            "opening of the spray over three hours, with the flaps shut",
            "percent",
            ("spray_valve", "flap_position"),
            SPRAY_LONG_MINUTES + 10,
            _spray_long,
        ),
        Signal(
            "missing_flaps_shut",
            "degrees that the wet bulb lacks with the flaps shut",
            "K",
            ("wet_bulb", "set_wet_bulb", "flap_position"),
            FLAP_MINUTES + 5,
            _missing_flaps_shut,
        ),
        Signal(
            "excess_flaps_open",
            "degrees that the wet bulb is too high with the flaps fully open",
            "K",
            ("wet_bulb", "set_wet_bulb", "flap_position"),
            FLAP_MINUTES + 5,
            _excess_flaps_open,
        ),
        Signal(
            "spray_holding",
            "spray that it takes to hold a humidity that is reached",
            "percent",
            ("wet_bulb", "set_wet_bulb", "spray_valve", "flap_position"),
            STEADY_MINUTES + 10,
            _spray_holding,
        ),
        Signal(
            "fall_all_shut",
            "fall of the wet bulb with flaps and spray shut",
            "K/h",
            ("wet_bulb", "flap_position"),
            RISE_MINUTES + SMOOTH_MINUTES + SETTLE_MINUTES,
            _fall_all_shut,
        ),
        Signal(
            "fan_share",
            "current of a fan against the mean of the others",
            "percent",
            ("fan_current",),
            _SETTLED,
            _fan_share,
            per=("fan_current",),
            least_places=2,
        ),
        Signal(
            "fan_share_steady",
            "current of a fan against the mean of the others, over an hour",
            "percent",
            ("fan_current",),
            STEADY_MINUTES + _SETTLED,
            _fan_share_steady,
            per=("fan_current",),
            least_places=2,
        ),
        Signal(
            "lone_fan_current",
            "current of the only fan while it is told to turn",
            "ampere",
            ("fan_current", "fan_direction"),
            _SETTLED,
            _lone_fan_current,
            per=("fan_current",),
            most_places=1,
        ),
        Signal(
            "fan_of_usual",
            "current of a fan against its own usual current",
            "percent",
            ("fan_current",),
            _SETTLED,
            _fan_of_usual,
            per=("fan_current",),
        ),
        Signal(
            "fan_both_ways",
            "current of a fan in one direction against the other",
            "percent",
            ("fan_current", "fan_direction"),
            _HALF_DAY,
            _fan_both_ways,
            per=("fan_current",),
        ),
        Signal(
            "since_turned",
            "minutes since the fans changed direction",
            "min",
            ("fan_direction",),
            LONGEST_MINUTES + 5,
            _since_turned,
        ),
        Signal(
            "moisture_step",
            "change of an electrode from one moment to the next",
            "percent",
            ("wood_moisture",),
            5,
            _step_change,
            per=("wood_moisture",),
        ),
        Signal(
            "moisture_jump",
            "wood moisture of the last hour against the hour before",
            "percent",
            ("wood_moisture",),
            2 * JUMP_MINUTES + 5,
            _jump,
            per=("wood_moisture",),
        ),
        Signal(
            "moisture_minus_mates",
            "wood moisture at an electrode less the mean of the others",
            "percent",
            ("wood_moisture",),
            5,
            _minus_mates,
            per=("wood_moisture",),
            least_places=2,
        ),
        Signal(
            "dry_bulb_silence",
            "whether a dry bulb gives no usable reading",
            "",
            ("air_temperature",),
            5,
            _silence("air_temperature"),
            per=("air_temperature",),
        ),
        Signal(
            "wet_bulb_silence",
            "whether a wet bulb gives no usable reading",
            "",
            ("wet_bulb",),
            5,
            _silence("wet_bulb"),
            per=("wet_bulb",),
        ),
        Signal("data_age", "minutes since anything was heard of the kiln", "min", (), LONGEST_MINUTES + 5, _data_age),
    )
}


def places_of_quantity(quantity: str, keys: Collection[str]) -> tuple[str, ...]:
    """Return the places at which a quantity is measured, in order; one is empty where it has no place."""
    stem = f"{quantity}:"
    found = [key.removeprefix(stem) for key in keys if key.startswith(stem)]
    return tuple(sorted(found + [""] * (quantity in keys)))


def places_of(code: str, keys: Collection[str]) -> tuple[str, ...]:
    """Return the places for which a kiln with such channels can have a signal; ``code`` comes without a place."""
    if code in QUANTITIES:
        return places_of_quantity(code, keys)
    signal = _signal(code)
    if not signal.per:
        return ("",) if is_served(code, keys) else ()
    return tuple(
        place for place in places_of_quantity(signal.per[0], keys) if is_served(f"{code}:{place}".rstrip(":"), keys)
    )


def is_served(code: str, keys: Collection[str]) -> bool:
    """Say whether a kiln with such channels has what a signal needs.

    Raises
    ------
    ValueError
        For a signal that does not exist.
    """
    if DIFFERENCE in code:
        return all(is_served(part, keys) for part in code.split(DIFFERENCE))
    stem, _colon, place = code.partition(":")
    if stem in QUANTITIES:
        return code in keys
    signal = _signal(stem)
    has_place = all((f"{quantity}:{place}" if place else quantity) in keys for quantity in signal.per)
    has_needs = all(need in keys if ":" in need else places_of_quantity(need, keys) for need in signal.needs)
    places = len(places_of_quantity(signal.per[0], keys)) if signal.per else 1
    return has_place and has_needs and signal.least_places <= places <= signal.most_places


def check_signal(code: str) -> None:
    """Refuse a code that names no signal, channel or difference of two.

    Raises
    ------
    ValueError
        Names what is not known.
    """
    parts = code.split(DIFFERENCE)
    if len(parts) > 2:
        raise ValueError(f"{code!r} takes more than one difference")
    for part in parts:
        stem, colon, place = part.partition(":")
        if colon and not place:
            raise ValueError(f"{part!r} ends in a colon: name the place")
        if stem not in QUANTITIES:
            signal = _signal(stem)
            if place and not signal.per:
                raise ValueError(f"{stem} speaks of the whole chamber and has no place")


def unit_of(code: str) -> str:
    """Return the unit of a signal, raw channels and differences included."""
    stem = code.split(DIFFERENCE)[0].partition(":")[0]
    return QUANTITIES[stem].unit if stem in QUANTITIES else _signal(stem).unit


def lookback_minutes(code: str) -> int:
    """Return how much earlier a stretch must begin so that the signal comes out right."""
    stems = [part.partition(":")[0] for part in code.split(DIFFERENCE)]
    return max(0 if stem in QUANTITIES else _signal(stem).lookback_minutes for stem in stems)


def signal_values(code: str, view: View) -> Values:
    """Compute a signal for every moment of a view.

    Returns
    -------
    Values
        shape (n,), in the signal's unit; NaN where it is not known or makes no sense. Not to be written to.

    Raises
    ------
    ValueError
        For a signal that does not exist.
    """
    if DIFFERENCE in code:
        first, second = (signal_values(part, view) for part in code.split(DIFFERENCE))
        return first - second
    stem, _colon, place = code.partition(":")
    if stem in QUANTITIES:
        return view.at(stem, place)
    return view.keep(("signal", code), lambda: _signal(stem).compute(view, place))


def _signal(stem: str) -> Signal:
    if stem not in SIGNALS:
        raise ValueError(f"signal {stem!r} is not known; known are {', '.join([*SIGNALS, *QUANTITIES])}")
    return SIGNALS[stem]
