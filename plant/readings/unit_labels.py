"""How the units of readings are written on pages."""

from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.reading_units import known_unit

UNIT_LABELS: Final[dict[str, str | Promise]] = {
    "degC": "°C",
    "degF": "°F",
    "kelvin": "K",
    "percent": "%",
    "one": _("1 (fraction)"),
    "ampere": "A",
    "milliampere": "mA",
    "kilowatt": "kW",
    "watt": "W",
    "megawatt": "MW",
    "number": _("number"),
}


def unit_label(unit: str) -> str:
    """Return a unit as it is written; one that nobody knows as it is."""
    return str(UNIT_LABELS.get(known_unit(unit) or "", unit))


def kept_unit_label(quantity: str) -> str:
    """Return the unit in which a quantity is kept; nothing for plain numbers."""
    unit = QUANTITIES[quantity].unit
    return "" if unit in ("one", "number") else unit_label(unit)
