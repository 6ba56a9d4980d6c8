"""Derived figures of a chamber for each moment: what watches look at besides the readings themselves.

A signal is named by its code; one that speaks of a place carries it as a channel does (``depression:left``). A signal
is NaN where its readings are missing and where it would make no sense: fans standing, air just turned, a valve not shut
long enough. Every signal looks back over a bounded time (`Signal.lookback_minutes`): computed over a stretch that
begins so much earlier, the moments of the stretch come out as over the whole past.

Raw channels are signals too, under their own key, and so is the difference of two signals, written ``a - b``.

How each is worked out stands in `air_signals` and `drive_signals`, what they share in `climate_view`.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Final

from plant.basics.marked import gettext_noop as _
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations import air_signals, drive_signals
from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.climate_view import (
    BOTH_WAYS_MINUTES,
    RISE_MINUTES,
    SETTLE_MINUTES,
    SMOOTH_MINUTES,
    View,
    places_of_quantity,
)

DIFFERENCE: Final = " - "


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
    compute: Callable[[View, str], Values]
    per: tuple[str, ...] = ()
    least_places: int = 1
    most_places: int = 1000


_BULBS = ("air_temperature", "wet_bulb")
_SETTLED, _SMOOTH = SETTLE_MINUTES + 5, max(SETTLE_MINUTES, RISE_MINUTES + SMOOTH_MINUTES) + SMOOTH_MINUTES + 10
_HALF_DAY = BOTH_WAYS_MINUTES + RISE_MINUTES + 30

SIGNALS: Final[dict[str, Signal]] = {
    signal.code: signal
    for signal in (
        Signal(
            "depression",
            _("dry bulb less wet bulb"),
            "K",
            _BULBS,
            _SETTLED,
            air_signals.depression,
            per=("wet_bulb",),
        ),
        Signal(
            "psychrometer_humidity",
            _("relative humidity by the psychrometer"),
            "percent",
            _BULBS,
            _SETTLED,
            air_signals.psychrometer_humidity,
            per=("wet_bulb",),
        ),
        Signal(
            "psychrometer_emc",
            _("EMC by the psychrometer"),
            "percent",
            _BULBS,
            _SETTLED,
            air_signals.psychrometer_emc,
            per=("wet_bulb",),
        ),
        Signal(
            "plate_minus_psychrometer",
            _("EMC of the plate less EMC by the psychrometer"),
            "percent",
            ("emc", *_BULBS),
            _SMOOTH,
            air_signals.plate_minus_psychrometer,
            per=("emc",),
        ),
        Signal(
            "wet_bulb_above_set",
            _("wet bulb less its set point"),
            "K",
            ("wet_bulb", "set_wet_bulb"),
            _SETTLED,
            air_signals.wet_above_set,
        ),
        Signal(
            "wet_bulb_excess",
            _("wet bulb less the mean of the others"),
            "K",
            ("wet_bulb",),
            _SMOOTH,
            air_signals.wet_excess,
            per=("wet_bulb",),
            least_places=2,
        ),
        Signal(
            "wet_bulb_shift",
            _("wet bulb less the others, against half a day before"),
            "K",
            ("wet_bulb",),
            BOTH_WAYS_MINUTES + air_signals.STEADY_MINUTES + _SMOOTH,
            air_signals.wet_shift,
            per=("wet_bulb",),
            least_places=2,
        ),
        Signal(
            "wet_bulb_excess_steady",
            _("wet bulb less the mean of the others, mean of both directions of the air"),
            "K",
            ("wet_bulb",),
            _HALF_DAY,
            air_signals.wet_excess_steady,
            per=("wet_bulb",),
            least_places=2,
        ),
        Signal(
            "lone_depression",
            _("dry bulb less wet bulb where the air enters, of the only wet bulb"),
            "K",
            _BULBS,
            _SETTLED,
            air_signals.entering_depression,
            per=("wet_bulb",),
            most_places=1,
        ),
        Signal(
            "entering_depression",
            _("dry bulb less wet bulb where the air enters"),
            "K",
            _BULBS,
            _SETTLED,
            air_signals.entering_depression,
            per=("wet_bulb",),
        ),
        Signal(
            "plate_steady",
            _("EMC of the plate less EMC by the psychrometer, mean of both directions of the air"),
            "percent",
            ("emc", *_BULBS),
            _HALF_DAY,
            air_signals.plate_steady,
            per=("emc",),
        ),
        Signal(
            "air_drop",
            _("air entering the stack less air leaving it"),
            "K",
            ("air_temperature:left", "air_temperature:right", "fan_direction"),
            _SETTLED,
            air_signals.entering_minus_leaving,
        ),
        Signal(
            "dry_bulb_disagreement",
            _("dry bulb on the left less dry bulb on the right, mean of both directions of the air"),
            "K",
            ("air_temperature:left", "air_temperature:right", "fan_direction"),
            _HALF_DAY,
            air_signals.dry_disagreement,
        ),
        Signal(
            "dry_bulb_above_set",
            _("dry bulb less its set point"),
            "K",
            ("air_temperature", "set_air_temperature"),
            _SETTLED,
            air_signals.dry_above_set,
        ),
        Signal(
            "rise_valve_shut",
            _("rise of the temperature with the heating valve shut"),
            "K/h",
            ("air_temperature", "heating_valve"),
            air_signals.VALVE_SHUT_MINUTES + RISE_MINUTES,
            air_signals.rise_valve_shut,
        ),
        Signal(
            "excess_valve_shut",
            _("degrees too warm with the heating valve shut"),
            "K",
            ("air_temperature", "set_air_temperature", "heating_valve"),
            air_signals.VALVE_SHUT_MINUTES + 5,
            air_signals.excess_valve_shut,
        ),
        Signal(
            "heat_valve_shut",
            _("heat that flows with the heating valve shut"),
            "kilowatt",
            ("heat_power", "heating_valve"),
            air_signals.VALVE_SHUT_MINUTES + 5,
            air_signals.heat_valve_shut,
        ),
        Signal(
            "missing_valve_open",
            _("degrees missing with the heating valve fully open"),
            "K",
            ("air_temperature", "set_air_temperature", "heating_valve"),
            air_signals.VALVE_OPEN_MINUTES + 5,
            air_signals.missing_valve_open,
        ),
        Signal(
            "rise_valve_open",
            _("rise of the temperature with the heating valve fully open while degrees are missing"),
            "K/h",
            ("air_temperature", "set_air_temperature", "heating_valve"),
            air_signals.VALVE_OPEN_MINUTES + RISE_MINUTES,
            air_signals.rise_valve_open,
        ),
        Signal(
            "gain_spraying",
            _("rise of the wet bulb in half an hour of spray"),
            "K",
            ("wet_bulb", "set_wet_bulb", "spray_valve"),
            air_signals.EARLIER_SPRAY_HOURS * 60 + air_signals.SPRAY_MINUTES + 10,
            air_signals.gain_spraying,
        ),
        Signal(
            "missing_sprayed",
            _("degrees that the wet bulb lacks after half an hour of spray"),
            "K",
            ("wet_bulb", "set_wet_bulb", "spray_valve"),
            air_signals.EARLIER_SPRAY_HOURS * 60 + air_signals.SPRAY_MINUTES + 10,
            air_signals.missing_sprayed,
        ),
        Signal(
            "spray_long",
            _("opening of the spray over three hours, with the flaps shut"),
            "percent",
            ("spray_valve", "flap_position"),
            air_signals.SPRAY_LONG_MINUTES + 10,
            air_signals.spray_long,
        ),
        Signal(
            "missing_flaps_shut",
            _("degrees that the wet bulb lacks with the flaps shut"),
            "K",
            ("wet_bulb", "set_wet_bulb", "flap_position"),
            air_signals.FLAP_MINUTES + 5,
            air_signals.missing_flaps_shut,
        ),
        Signal(
            "excess_flaps_open",
            _("degrees that the wet bulb is too high with the flaps fully open"),
            "K",
            ("wet_bulb", "set_wet_bulb", "flap_position"),
            air_signals.FLAP_MINUTES + 5,
            air_signals.excess_flaps_open,
        ),
        Signal(
            "spray_holding",
            _("spray that it takes to hold a humidity that is reached"),
            "percent",
            ("wet_bulb", "set_wet_bulb", "spray_valve", "flap_position"),
            air_signals.STEADY_MINUTES + 10,
            air_signals.spray_holding,
        ),
        Signal(
            "fall_all_shut",
            _("fall of the wet bulb with flaps and spray shut"),
            "K/h",
            ("wet_bulb", "flap_position"),
            RISE_MINUTES + SMOOTH_MINUTES + SETTLE_MINUTES,
            air_signals.fall_all_shut,
        ),
        Signal(
            "fan_share",
            _("current of a fan against the mean of the others"),
            "percent",
            ("fan_current",),
            _SETTLED,
            drive_signals.fan_share,
            per=("fan_current",),
            least_places=2,
        ),
        Signal(
            "fan_share_steady",
            _("current of a fan against the mean of the others, over an hour"),
            "percent",
            ("fan_current",),
            air_signals.STEADY_MINUTES + _SETTLED,
            drive_signals.fan_share_steady,
            per=("fan_current",),
            least_places=2,
        ),
        Signal(
            "lone_fan_current",
            _("current of the only fan while it is told to turn"),
            "ampere",
            ("fan_current", "fan_direction"),
            _SETTLED,
            drive_signals.lone_fan_current,
            per=("fan_current",),
            most_places=1,
        ),
        Signal(
            "fan_of_usual",
            _("current of a fan against its own usual current"),
            "percent",
            ("fan_current",),
            _SETTLED,
            drive_signals.fan_of_usual,
            per=("fan_current",),
        ),
        Signal(
            "fan_both_ways",
            _("current of a fan in one direction against the other"),
            "percent",
            ("fan_current", "fan_direction"),
            _HALF_DAY,
            drive_signals.fan_both_ways,
            per=("fan_current",),
        ),
        Signal(
            "since_turned",
            _("minutes since the fans changed direction"),
            "min",
            ("fan_direction",),
            drive_signals.LONGEST_MINUTES + 5,
            drive_signals.since_turned,
        ),
        Signal(
            "moisture_step",
            _("change of an electrode from one moment to the next"),
            "percent",
            ("wood_moisture",),
            5,
            drive_signals.step_change,
            per=("wood_moisture",),
        ),
        Signal(
            "moisture_jump",
            _("wood moisture of the last hour against the hour before"),
            "percent",
            ("wood_moisture",),
            2 * drive_signals.JUMP_MINUTES + 5,
            drive_signals.jump,
            per=("wood_moisture",),
        ),
        Signal(
            "moisture_minus_mates",
            _("wood moisture at an electrode less the mean of the others"),
            "percent",
            ("wood_moisture",),
            5,
            drive_signals.minus_mates,
            per=("wood_moisture",),
            least_places=2,
        ),
        Signal(
            "dry_bulb_silence",
            _("whether a dry bulb gives no usable reading"),
            "",
            ("air_temperature",),
            5,
            drive_signals.silence("air_temperature"),
            per=("air_temperature",),
        ),
        Signal(
            "wet_bulb_silence",
            _("whether a wet bulb gives no usable reading"),
            "",
            ("wet_bulb",),
            5,
            drive_signals.silence("wet_bulb"),
            per=("wet_bulb",),
        ),
        Signal(
            "data_age",
            _("minutes since anything was heard of the kiln"),
            "min",
            (),
            drive_signals.LONGEST_MINUTES + 5,
            drive_signals.data_age,
        ),
    )
}


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
