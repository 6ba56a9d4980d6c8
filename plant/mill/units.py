"""The units a mill has chosen."""

from decimal import Decimal

from plant.frame.calculations.units import BOARD_FEET, CELSIUS, CUBIC_METRES, FAHRENHEIT, FEET, METRES, Scale
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
