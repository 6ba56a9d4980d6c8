"""How a price of waiting is told: labels of its assumptions, and sentences that say how it was found."""

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from maintenance.losses.price_of_waiting import KINDS
from maintenance.losses.waiting_loss import Assumptions
from plant.basics.units import Scale
from plant.frame.figures import fixed, quantity
from plant.frame.units import temperature_in, temperature_scale
from plant.models import Mill

LABELS: dict[str, Promise] = {
    "dry_bulb_c": gettext_lazy("Dry bulb in the chamber"),
    "wet_bulb_c": gettext_lazy("Wet bulb in the chamber"),
    "wet_bulb_shown_c": gettext_lazy("Wet bulb as shown"),
    "reads_too_warm_k": gettext_lazy("Reads too warm by"),
    "outside_c": gettext_lazy("Temperature outside"),
    "outside_rh_pct": gettext_lazy("Humidity outside"),
    "hot_h_per_day": gettext_lazy("Hours a day that it is hot"),
    "vented_anyway_pct": gettext_lazy("Air that the flaps would have let out anyway"),
    "longer_drying_pct": gettext_lazy("Charges take longer by"),
    "gap_mm": gettext_lazy("Width of the gap"),
    "gap_height_m": gettext_lazy("Height of the gap"),
    "gap_length_m": gettext_lazy("Length of the gap"),
    "height_to_neutral_m": gettext_lazy("Height from the gap to the middle of the door"),
    "discharge": gettext_lazy("Discharge coefficient"),
    "open_area_cm2": gettext_lazy("Open area"),
    "pressure_pa": gettext_lazy("Pressure at the flap"),
    "minutes_per_day": gettext_lazy("Minutes a day that it stands open"),
    "door_width_m": gettext_lazy("Width of the door"),
    "door_height_m": gettext_lazy("Height of the door"),
    "flow_factor": gettext_lazy("Share of the full exchange"),
    "length_m": gettext_lazy("Length of bare pipe"),
    "outer_diameter_mm": gettext_lazy("Outer diameter of the pipe"),
    "pipe_c": gettext_lazy("Temperature of the pipe"),
    "ambient_c": gettext_lazy("Air around the pipe"),
    "emissivity": gettext_lazy("Emissivity"),
    "insulation_mm": gettext_lazy("Insulation that belongs there"),
    "conductivity_w_mk": gettext_lazy("Its conductivity"),
    "hole_mm": gettext_lazy("Diameter of the hole"),
    "steam_bar": gettext_lazy("Steam pressure above the air's"),
    "behind_bar": gettext_lazy("Pressure behind the hole above the air's"),
    "feed_water_c": gettext_lazy("Feed water"),
    "leak_h_per_day": gettext_lazy("Hours a day that it leaks"),
    "leak_l_min": gettext_lazy("Leak"),
    "water_c": gettext_lazy("Hot water"),
    "replaced_c": gettext_lazy("Water that comes back or is made up"),
    "area_m2": gettext_lazy("Area"),
    "u_now_w_m2k": gettext_lazy("U value as it is"),
    "u_sound_w_m2k": gettext_lazy("U value of a sound wall"),
    "followed_pct": gettext_lazy("Share of the error that the timber follows"),
    "basic_density_kg_m3": gettext_lazy("Oven-dry mass in a m³ of green timber"),
    "heat_kwh_per_kg": gettext_lazy("Heat for a kg of water"),
    "degraded_pct": gettext_lazy("Timber that loses its margin by checks"),
    "fans": gettext_lazy("Fans"),
    "affected_fans": gettext_lazy("Fans that are affected"),
    "speed_pct": gettext_lazy("Their speed (0: they stand)"),
    "exponent": gettext_lazy("Exponent of the air speed"),
    "above_fibre_saturation_pct": gettext_lazy("Drying time above fibre saturation"),
    "colder_by_k": gettext_lazy("Colder than the other side by"),
    "lagging_pct": gettext_lazy("Time in which that side lags"),
}
HINTS: dict[str, Promise] = {
    "vented_anyway_pct": gettext_lazy("While timber gives off water, the control shuts the flaps a little further."),
    "longer_drying_pct": gettext_lazy("No published figure: 0 until the mill knows better."),
    "gap_mm": gettext_lazy("Measure it with a feeler gauge or a strip of paper, kiln cold and locked out."),
    "discharge": gettext_lazy("0.6 to 0.65 for sharp edges; 0.73 is what the table of leaking traps implies."),
    "pressure_pa": gettext_lazy("What the fans hold at the flap: measure it, 10 Pa is common practice."),
    "u_now_w_m2k": gettext_lazy("Sound 0.25 to 0.35, damp 0.6, damaged 1, cold bridge 2, bare metal frame 3.5."),
    "degraded_pct": gettext_lazy("No published figure: 0 until the mill's own grading tells."),
    "exponent": gettext_lazy("0.8 is the textbook's upper end for wet timber; 0.5 is our choice."),
    "emissivity": gettext_lazy("Rusty steel 0.8, paint 0.9, bright sheet metal 0.1."),
    "followed_pct": gettext_lazy("Our choice: how far the timber follows the drier climate until the charge ends."),
}
BOUND_WHY: dict[str, Promise] = {
    "door_gap": gettext_lazy(
        "What physics says is a lower bound: running fans press the air out harder than buoyancy does."
    ),
    "threshold": gettext_lazy(
        "What physics says is a lower bound: running fans draw air in harder than buoyancy does."
    ),
    "open_door": gettext_lazy("It is an estimate: the rule was made for cold rooms, and no fan was running in them."),
    "open_flap": gettext_lazy("It is an estimate, as good as the pressure at the flap is known."),
    "poor_wall": gettext_lazy("It is an estimate, as good as the U value is known; a hand finds only gross places."),
    "bare_pipe": gettext_lazy("What physics says is a lower bound: wind or a fan nearby takes several times as much."),
    "steam_leak": gettext_lazy("It is at most so much at a trap: condensate takes up a part of the hole."),
    "water_leak": gettext_lazy("It is an estimate, as good as the leak is known."),
    "warm_wet_bulb": gettext_lazy("It is assumed: nobody measured how far the timber follows the drier climate."),
    "less_air": gettext_lazy("It is an estimate: how much wet timber gains from air speed differs by species."),
    "cold_side": gettext_lazy("It is at most so much: the whole charge is taken to wait for the cold side."),
}
KELVIN_F = Scale("°F", Decimal("1.8"), Decimal(0), 1)


def scale_of(unit: str, decimals: int, mill: Mill | None) -> Scale:
    """Return the unit in which the mill takes an assumption: its own for temperatures and differences of them."""
    scale = temperature_scale(mill)
    if unit == "°C":
        return scale
    if unit == "K" and scale.unit == "°F":
        return KELVIN_F
    return Scale(unit, Decimal(1), Decimal(0), decimals)


def own_first(loss: str) -> list[Any]:
    """Return the fields of a kind of loss: what is its own before what it shares with others."""
    kind = KINDS[loss]
    own = kind.__annotations__
    return sorted(fields(kind), key=lambda one: one.name not in own)


def told_assumptions(loss: str, values: Mapping[str, str], mill: Mill | None) -> list[tuple[Promise, str]]:
    """Return label and value with unit of each assumption of a price that is kept."""
    told = []
    for one in own_first(loss):
        scale = scale_of(one.metadata["unit"], one.metadata["decimals"], mill)
        shown = fixed(scale.rounded(Decimal(values[one.name])), scale.decimals)
        told.append((LABELS[one.name], f"{shown} {scale.unit}".strip()))
    return told


# Said in this order; a name in brackets is an assumption or a figure of the computation.
SENTENCES: dict[str, tuple[Promise, ...]] = {
    "door_gap": (
        gettext_lazy(
            "Warm moist air leaves through the upper half of the gap and cold air comes in below: %(flow_m3_h)s m³ an "
            "hour, driven by buoyancy alone."
        ),
    ),
    "threshold": (
        gettext_lazy(
            "Cold air comes in at the foot and as much chamber air leaves further up: %(flow_m3_h)s m³ an hour, driven "
            "by buoyancy alone."
        ),
    ),
    "open_flap": (
        gettext_lazy("Under a pressure of %(pressure_pa)s Pa the flap lets %(flow_m3_h)s m³ an hour through."),
    ),
    "poor_wall": (
        gettext_lazy("A square metre lets %(more_w_m2)s W more through than a sound one; all of it %(heat_kw)s kW."),
        gettext_lazy("The inner surface is at %(inner_surface_c)s and the chamber's dew point at %(dew_point_c)s."),
        gettext_lazy(
            "In still air the outer skin is at %(outer_surface_c)s there, and at %(sound_outer_surface_c)s where it "
            "is sound."
        ),
    ),
    "open_door": (
        gettext_lazy(
            "Through the open door %(air_kg_s)s kg of dry air a second change places: %(heat_kw)s kW while it is open, "
            "counted for %(minutes_per_day)s minutes a day."
        ),
    ),
    "bare_pipe": (
        gettext_lazy(
            "A metre of bare pipe gives off %(bare_w_m)s W in still air, with its insulation %(insulated_w_m)s W; over "
            "%(length_m)s m the difference is %(heat_kw)s kW, counted for %(hot_h_per_day)s h a day."
        ),
    ),
    "steam_leak": (
        gettext_lazy(
            "Through the hole %(steam_kg_h)s kg of steam leave an hour, each with %(heat_kj_kg)s kJ more than the feed "
            "water: %(heat_kw)s kW, counted for %(leak_h_per_day)s h a day."
        ),
    ),
    "water_leak": (
        gettext_lazy(
            "%(water_kg_h)s kg of hot water an hour give up their heat for nothing: %(heat_kw)s kW, counted for "
            "%(leak_h_per_day)s h a day."
        ),
    ),
    "warm_wet_bulb": (
        gettext_lazy(
            "The chamber shows %(shown_rh_pct)s %% relative humidity and has %(true_rh_pct)s %%; its equilibrium "
            "moisture content is %(true_emc_pct)s %% in place of %(shown_emc_pct)s %%."
        ),
        gettext_lazy(
            "The timber ends %(drier_pct)s points drier than wanted: %(water_kg)s kg of water a day are driven out for "
            "nothing."
        ),
        gettext_lazy(
            "Drier air also checks timber: 3 points of humidity make oak above 40 %% moisture dry 20 %% faster."
        ),
    ),
    "less_air": (
        gettext_lazy(
            "%(flow_pct)s %% of the air is left; timber above fibre saturation dries at %(rate_pct)s %% of its rate, "
            "below it the air speed hardly counts."
        ),
        gettext_lazy("Over a whole charge the kiln dries %(lost_pct)s %% less."),
        gettext_lazy("A fan at that speed draws %(fan_power_pct)s %% of its power; that saving is not counted."),
    ),
    "cold_side": (
        gettext_lazy(
            "At its temperature the cold side dries at %(cold_rate_pct)s %% of the rate; counting the sides' turns it "
            "is %(rate_pct)s %%, and the kiln dries %(lost_pct)s %% less."
        ),
    ),
}
LEAVING_AIR: tuple[Promise, ...] = (
    gettext_lazy(
        "Each kg of dry air takes %(chamber_kj_kg)s kJ along, most of it in its vapour, and %(outside_kj_kg)s kJ come "
        "back: %(heat_kw)s kW and %(water_kg_h)s kg of water an hour. Temperatures alone would show %(sensible_kw)s kW."
    ),
    gettext_lazy(
        "%(counted_h)s h a day count: the chamber is hot for %(hot_h_per_day)s h, and %(vented_anyway_pct)s %% of the "
        "air would have gone out through the flaps anyway."
    ),
)
WET_INSIDE = gettext_lazy("So the inner surface is wet: water gets into the wall and makes it worse.")
LAGS = gettext_lazy("A charge takes %(longer_drying_pct)s %% longer because the timber at the leak lags.")


def how_found(loss: str, terms: Assumptions, figures: Mapping[str, float], mill: Mill | None) -> list[str]:
    """Say in sentences how a price was found; the last one says which way the truth may lie."""
    numbers = {**{one.name: getattr(terms, one.name) for one in fields(terms)}, **figures}
    said = {name: _told(name, value, mill) for name, value in numbers.items()}
    sentences = list(SENTENCES[loss])
    if "sensible_kw" in numbers:
        sentences += LEAVING_AIR
    if numbers.get("longer_drying_pct"):
        sentences.append(LAGS)
    if numbers.get("is_wet"):
        sentences.append(WET_INSIDE)
    return [*(str(sentence) % said for sentence in sentences), str(BOUND_WHY[loss])]


def _told(name: str, value: float, mill: Mill | None) -> str:
    """Write a figure so that three of its digits or so count."""
    if name.endswith("_c"):
        return temperature_in(value, mill, 1)
    return quantity(Decimal(repr(float(value))), 2 if abs(value) < 10 else 1 if abs(value) < 100 else 0)
