"""The units a mill has chosen, and figures written in them; everything is stored in °C and m³."""

from decimal import Decimal

from django.utils.translation import gettext as _

from plant.basics.units import BOARD_FEET, CELSIUS, CUBIC_METRES, FAHRENHEIT, FEET, METRES, Scale
from plant.frame.figures import DASH, fixed, quantity
from plant.models import Mill


def temperature_scale(mill: Mill | None) -> Scale:
    """Return the unit in which the mill reads temperatures; °C before there is one."""
    is_fahrenheit = mill is not None and mill.temperature_unit == Mill.TemperatureUnit.FAHRENHEIT
    return FAHRENHEIT if is_fahrenheit else CELSIUS


def height_scale(mill: Mill | None) -> Scale:
    """Return how a mill reads heights: in feet where it reads temperatures in °F."""
    return FEET if temperature_scale(mill) is FAHRENHEIT else METRES


def volume_scale(mill: Mill | None) -> Scale:
    """Return the unit in which the mill counts timber; m³ before there is one."""
    is_board_feet = mill is not None and mill.volume_unit == Mill.VolumeUnit.BOARD_FEET
    return BOARD_FEET if is_board_feet else CUBIC_METRES


def reading_scale(unit: str, mill: Mill | None) -> Scale:
    """Return the unit in which the mill takes a reading that the catalogue asks for in a unit."""
    if unit == CELSIUS.unit and temperature_scale(mill) is FAHRENHEIT:
        return FAHRENHEIT
    return Scale(unit, Decimal(1), Decimal(0), 3)


def temperature_in(celsius: Decimal | float | int | None, mill: Mill | None, decimals: int = 1) -> str:
    """Write a temperature with its unit and at most so many decimals."""
    if celsius is None:
        return DASH
    scale = temperature_scale(mill)
    return f"{quantity(scale.shown(Decimal(str(celsius))), decimals)} {scale.unit}"


def volume_in(cubic_metres: Decimal | float | int | None, mill: Mill | None, decimals: int = 0) -> str:
    """Write a volume with its unit; board feet always as whole ones."""
    if cubic_metres is None:
        return DASH
    value, scale = Decimal(str(cubic_metres)), volume_scale(mill)
    if scale is BOARD_FEET:
        return _("%(count)s board feet") % {"count": fixed(scale.shown(value), 0)}
    return f"{fixed(value, decimals)} {scale.unit}"


def reading_in(value: Decimal | None, unit: str, mill: Mill | None) -> str:
    """Write a reading, kept in a unit of the catalogue, as the mill reads it."""
    if value is None:
        return DASH
    scale = reading_scale(unit, mill)
    return f"{quantity(scale.shown(value), scale.decimals)} {scale.unit}".strip()
