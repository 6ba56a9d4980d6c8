"""Which lines stand in which band of the climate chart, what they are called, and in which unit they are shown."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from numpy.typing import NDArray

from plant.basics.units import CELSIUS, FAHRENHEIT, Scale
from plant.models import Channel
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA
from plant.physics.quantities import QUANTITIES
from plant.pictures.climate_chart.lines import Source, humidity_sources

Word = str | Promise


@dataclass(frozen=True, slots=True)
class Shown:
    """How the chart is read: the unit of temperatures, and whether humidity is EMC, relative humidity or depression."""

    temperature: Scale = CELSIUS
    measure: str = "emc"
    pressure_pa: float = STANDARD_PRESSURE_PA

    @property
    def temperature_code(self) -> str:
        """Return the code of the unit in an address."""
        return "f" if self.temperature is FAHRENHEIT else "c"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as ``shown = kept * factor + offset``, with so many decimals."""

    word: str
    decimals: int = 1
    factor: float = 1.0
    offset: float = 0.0

    def shown(self, kept: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return values in this unit."""
        return kept if (self.factor, self.offset) == (1.0, 0.0) else kept * self.factor + self.offset


@dataclass(frozen=True, slots=True)
class BandPlan:
    """A band: what stands in it, how tall it is, and what its axis shows at least.

    ``look`` is ``lines``, ``steps`` for what only has a few values, each with a word, or ``events``.
    """

    code: str
    title: Word
    unit: Unit
    quantities: tuple[str, ...] = ()
    look: str = "lines"
    height: str = "middle"
    least_span: float = 1.0
    holds: tuple[float, ...] = ()
    words: tuple[tuple[float, Word], ...] = ()


PERCENT = Unit("%", 0)
HUES: Final = {
    "air_temperature": "timber",
    "wet_bulb": "steam",
    "wood_temperature": "sound",
    "set_air_temperature": "ink",
    "set_wet_bulb": "soft",
    "emc": "steam",
    "relative_humidity": "steam",
    "set_emc": "ink",
    "set_relative_humidity": "ink",
    "heating_valve": "timber",
    "spray_valve": "steam",
    "flap_position": "mind",
    "fan_speed": "ink",
    "fan_direction": "steam",
    "fan_current": "ink",
    "wood_moisture": "timber",
    "heat_power": "timber",
    "heating_supply_temperature": "timber",
    "outside_temperature": "soft",
    "outside_humidity": "steam",
    "door_open": "alarm",
    "message": "alarm",
}
"""The tint of a line; dash, letter and name go with it."""

MEASURES: Final[dict[str, Word]] = {
    "emc": gettext_lazy("EMC"),
    "rh": gettext_lazy("relative humidity"),
    "depression": gettext_lazy("wet-bulb depression"),
}
PLACES: Final[dict[str, Word]] = {
    "left": gettext_lazy("left"),
    "right": gettext_lazy("right"),
    "middle": gettext_lazy("middle"),
}
SENSORS: Final[dict[str, Word]] = {
    "wet_bulb": gettext_lazy("from the psychrometer"),
    "set_wet_bulb": gettext_lazy("from the set points of both bulbs"),
    "emc": gettext_lazy("from the EMC plate"),
    "set_emc": gettext_lazy("from the set point of the EMC"),
    "relative_humidity": gettext_lazy("from the humidity sensor"),
    "set_relative_humidity": gettext_lazy("from the set point of the humidity"),
}


def band_plans(shown: Shown) -> tuple[BandPlan, ...]:
    """Return the bands from above to below."""
    scale = shown.temperature
    degrees = Unit(scale.unit, 1, float(scale.factor), float(scale.offset))
    humidity = {
        "emc": BandPlan("humidity", _("EMC"), Unit("%"), least_span=4, height="tall"),
        "rh": BandPlan("humidity", _("Relative humidity"), Unit("%"), least_span=20, height="tall"),
        "depression": BandPlan(
            "humidity",
            _("Wet-bulb depression"),
            Unit("K" if scale is CELSIUS else scale.unit, 1, float(scale.factor)),
            least_span=5,
            height="tall",
        ),
    }[shown.measure]
    temperatures = ("air_temperature", "wet_bulb", "set_air_temperature", "set_wet_bulb", "wood_temperature")
    ways = ((1.0, _("from the left")), (0.0, _("standing")), (-1.0, _("from the right")))
    return (
        BandPlan("temperatures", _("Temperatures"), degrees, temperatures, height="tall", least_span=10),
        humidity,
        BandPlan(
            "settings",
            _("Valves, flaps, fan speed"),
            PERCENT,
            ("heating_valve", "spray_valve", "flap_position", "fan_speed"),
            holds=(0, 100),
        ),
        BandPlan("direction", _("Direction of the air"), Unit("", 0), ("fan_direction",), "steps", "low", words=ways),
        BandPlan("current", _("Fan current"), Unit("A"), ("fan_current",), least_span=5, holds=(0,)),
        BandPlan("moisture", _("Wood moisture"), Unit("%"), ("wood_moisture",), least_span=5),
        BandPlan("heat", _("Heat"), Unit("kW", 0), ("heat_power",), least_span=20, holds=(0,)),
        BandPlan("medium", _("Heating medium"), degrees, ("heating_supply_temperature",), least_span=10),
        BandPlan("outside", _("Outside"), degrees, ("outside_temperature",), least_span=10),
        BandPlan("outside-humidity", _("Outside humidity"), PERCENT, ("outside_humidity",), holds=(0, 100)),
        BandPlan(
            "door",
            _("Main door"),
            Unit("", 0),
            ("door_open",),
            "steps",
            "low",
            words=((1.0, _("open")), (0.0, _("shut"))),
        ),
        BandPlan("message", _("Messages of the controller"), Unit("", 0), ("message",), "events", "low"),
    )


def sources_of(plan: BandPlan, sources: Sequence[Source], shown: Shown) -> list[Source]:
    """Return what stands in a band: the readings of its quantities; of humidity also what was worked out."""
    if plan.code == "humidity":
        return humidity_sources(sources, shown.measure, shown.pressure_pa)
    return [one for quantity in plan.quantities for one in sources if one.quantity == quantity]


def name_of(one: Source, shown: Shown) -> str:
    """Call a line by what it measures, where, and from what it was worked out."""
    is_depression = one.worked_out_from and shown.measure == "depression"
    if is_depression:
        what = _("depression of the set points") if one.quantity.startswith("set_") else _("wet-bulb depression")
    elif one.worked_out_from and one.quantity == "emc":
        what = _("EMC")
    else:
        what = str(Channel.Quantity(one.quantity).label)
    where = place_word(one.place)
    origin = "" if is_depression or not one.worked_out_from else str(SENSORS[one.worked_out_from])
    return ", ".join(part for part in (f"{what} {where}".strip(), origin) if part)


def place_word(place: str) -> str:
    """Say a channel's place."""
    return str(PLACES.get(place, place.replace("-", " ")))


def shown_sources(sources: Iterable[Source]) -> list[Source]:
    """Put the lines of a chart in order: by quantity as they are listed, left before right, numbers by size."""
    order = list(QUANTITIES)
    return sorted(sources, key=lambda one: (order.index(one.quantity), _place_order(one.place)))


def _place_order(place: str) -> tuple[int, int, str]:
    if place in ("", "left", "middle", "right"):
        return ("", "left", "middle", "right").index(place), 0, ""
    return (4, int(place), "") if place.isdigit() else (5, 0, place)
