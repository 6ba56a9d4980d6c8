"""Figures of a whole charge, each one number: what drift charts and trends look at.

A figure that the readings cannot carry is left out with the reason. Figures are named by codes; one that speaks of a
place carries it (``plate_minus_psychrometer:left``). Spans and thresholds are our own choice.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from plant.basics.marked import gettext_noop as _
from plant.basics.sentences import Sentence
from plant.readings.calculations.charge_formulas import (
    BAND_K,
    Charge,
    NoFigureError,
    evaporation,
    fan_current,
    heat_open_valve_kw,
    heat_per_valve,
    heat_up_h,
    heat_up_valve_h,
    in_both_units,
    left_right_k,
    mean_of_signal,
    mean_valve,
    outside_band_h,
    overshoot_k,
    plate_minus_psychrometer,
    spray_holding,
    time_to_humidity_h,
    wet_left_right_k,
)
from plant.readings.calculations.climate_frame import Frame
from plant.readings.calculations.climate_view import places_of_quantity


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: `Signal`'s counterpart for a whole charge.

    ``needs`` are quantities or keys without which there is nothing; ``per`` is the quantity for each place of which
    there is a figure, empty for one of the whole chamber.
    """

    code: str
    name: str
    unit: str
    needs: tuple[str, ...]
    compute: Callable[["Charge", str], float]
    per: str = ""
    least_places: int = 1


@dataclass(frozen=True, slots=True)
class ChargeFigures:
    """The figures of one charge by code, and for those that there are not the reason."""

    values: Mapping[str, float]
    why_not: Mapping[str, Sentence]


def charge_figures(frame: Frame, codes: Collection[str] | None = None) -> ChargeFigures:
    """Compute the figures of a charge that a kiln's channels can serve.

    Parameters
    ----------
    frame : Frame
        From the charge's loading (or a little earlier) to its unloading; other charges must not be in it.
    codes : Collection[str], optional
        Which figures; all if it is not given.
    """
    charge = Charge(frame)
    values: dict[str, float] = {}
    why_not: dict[str, Sentence] = {}
    keys = frozenset(frame.values)
    for code in figure_codes(keys) if codes is None else codes:
        stem, _colon, place = code.partition(":")
        if codes is not None and not _is_served(code, keys):
            why_not[code] = Sentence.of("figure.not_measured")
            continue
        try:
            values[code] = _figure(stem).compute(charge, place)
        except NoFigureError as error:
            why_not[code] = error.why
    return ChargeFigures(values, why_not)


def figure_codes(keys: Collection[str]) -> tuple[str, ...]:
    """Return the codes of all figures that a kiln with such channels can have."""
    return tuple(f"{stem}:{place}".rstrip(":") for stem in FIGURES for place in figure_places(stem, keys))


def figure_places(code: str, keys: Collection[str]) -> tuple[str, ...]:
    """Return the places for which a kiln with such channels can have a figure; one is empty for the whole chamber."""
    figure = _figure(code)
    if not all(need in keys if ":" in need else places_of_quantity(need, keys) for need in figure.needs):
        return ()
    if not figure.per:
        return ("",)
    places = places_of_quantity(figure.per, keys)
    return places if len(places) >= figure.least_places else ()


def is_figure_served(code: str, keys: Collection[str]) -> bool:
    """Say whether a kiln with such channels can have a figure."""
    stem, _colon, place = code.partition(":")
    return place in figure_places(stem, keys)


@lru_cache(maxsize=4096)
def _is_served(code: str, keys: frozenset[str]) -> bool:
    """As `is_figure_served`; a trial asks it for the same kiln charge after charge."""
    return is_figure_served(code, keys)


def check_figure(code: str) -> None:
    """Refuse a code that names no figure.

    Raises
    ------
    ValueError
        Names what is not known.
    """
    stem, colon, place = code.partition(":")
    figure = _figure(stem)
    if colon and (not place or not figure.per):
        raise ValueError(f"figure {code!r}: {stem} has no such place")


def figure_unit(code: str) -> str:
    """Return the unit of a figure; ValueError for one that does not exist."""
    return _figure(code.partition(":")[0]).unit


def _figure(stem: str) -> Figure:
    if stem not in FIGURES:
        raise ValueError(f"figure {stem!r} is not known; known are {', '.join(FIGURES)}")
    return FIGURES[stem]


_BULBS = ("air_temperature", "wet_bulb")
_SIDES = ("air_temperature:left", "air_temperature:right", "fan_direction")
_HEAT_UP = ("air_temperature", "set_air_temperature")

FIGURES: Final[dict[str, Figure]] = {
    figure.code: figure
    for figure in (
        Figure(
            "heat_up_h",
            _("heat-up time, corrected for start and outside temperature"),
            "h",
            _HEAT_UP,
            heat_up_h,
        ),
        Figure(
            "heat_up_valve_h",
            _("hours of fully open heating valve that the heat-up took, corrected"),
            "h",
            (*_HEAT_UP, "heating_valve"),
            heat_up_valve_h,
        ),
        Figure(
            "heat_per_valve",
            _("heat for each degree between medium and air with the valve fully open"),
            "kW/K",
            ("air_temperature", "heating_valve", "heat_power", "heating_supply_temperature"),
            heat_per_valve,
        ),
        Figure(
            "heat_open_valve_kw",
            _("heat that the fully open heating valve would give"),
            "kilowatt",
            ("heating_valve", "heat_power"),
            heat_open_valve_kw,
        ),
        Figure(
            "spray_holding",
            _("spray that it takes to hold the humidity of the conditioning"),
            "percent",
            ("wet_bulb", "set_wet_bulb", "spray_valve", "flap_position"),
            spray_holding,
        ),
        Figure(
            "time_to_humidity_h",
            f"time the spray takes for {in_both_units(4)} of wet bulb",
            "h",
            ("wet_bulb", "set_wet_bulb", "spray_valve"),
            time_to_humidity_h,
        ),
        Figure(
            "evaporation", _("water given off per hour, of the dry mass"), "percent/h", ("wood_moisture",), evaporation
        ),
        Figure("overshoot_k", _("overshoot of the temperature after heating up"), "K", _HEAT_UP, overshoot_k),
        Figure(
            "outside_band_h",
            f"hours more than {in_both_units(BAND_K)} off the set points while drying",
            "h",
            ("air_temperature", "set_air_temperature"),
            outside_band_h,
        ),
        Figure(
            "fan_current_left",
            _("fan current at full speed while air enters on the left"),
            "ampere",
            ("fan_current", "fan_direction"),
            fan_current(1.0),
            per="fan_current",
        ),
        Figure(
            "fan_current_right",
            _("fan current at full speed while air enters on the right"),
            "ampere",
            ("fan_current", "fan_direction"),
            fan_current(-1.0),
            per="fan_current",
        ),
        Figure(
            "fan_share",
            _("current of a fan against the mean of the others"),
            "percent",
            ("fan_current",),
            mean_of_signal("fan_share", "heating_up", "drying"),
            per="fan_current",
            least_places=2,
        ),
        Figure("left_right_k", _("dry bulb on the left less dry bulb on the right"), "K", _SIDES, left_right_k),
        Figure(
            "wet_left_right_k",
            _("wet bulb on the left less wet bulb on the right"),
            "K",
            ("wet_bulb:left", "wet_bulb:right"),
            wet_left_right_k,
        ),
        Figure(
            "air_drop_k",
            _("air entering the stack less air leaving it"),
            "K",
            _SIDES,
            mean_of_signal("air_drop", "drying"),
        ),
        Figure(
            "plate_minus_psychrometer",
            _("EMC of the plate less EMC by the psychrometer"),
            "percent",
            ("emc", *_BULBS),
            plate_minus_psychrometer,
            per="emc",
        ),
        Figure(
            "wet_minus_set_k",
            _("wet bulb less its set point"),
            "K",
            ("wet_bulb", "set_wet_bulb"),
            mean_of_signal("wet_bulb_above_set", "drying"),
        ),
        Figure(
            "dry_minus_set_k",
            _("dry bulb less its set point"),
            "K",
            _HEAT_UP,
            mean_of_signal("dry_bulb_above_set", "drying"),
        ),
        Figure(
            "heating_valve_pct",
            _("mean of the heating valve while drying"),
            "percent",
            ("heating_valve",),
            mean_valve("heating_valve"),
        ),
        Figure(
            "spray_valve_pct",
            _("mean of the spray valve while drying"),
            "percent",
            ("spray_valve",),
            mean_valve("spray_valve"),
        ),
        Figure(
            "flap_position_pct",
            _("mean of the flaps while drying"),
            "percent",
            ("flap_position",),
            mean_valve("flap_position"),
        ),
    )
}
