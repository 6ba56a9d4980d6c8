"""Temperatures and volumes in the mill's own units; everything is stored in °C and m³."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import template
from django.utils.translation import gettext as _

from plant.frame.calculations.units import BOARD_FEET
from plant.mill.units import reading_scale, temperature_scale, volume_scale
from plant.models import Mill
from plant.templatetags.kilnward import DASH, fixed, quantity

register = template.Library()


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


@register.filter
def temperature(celsius: Decimal | float | int | None, mill: Mill | None) -> str:
    """{{ value|temperature:mill }}: a temperature in the mill's unit."""
    return temperature_in(celsius, mill)


@register.filter
def volume(cubic_metres: Decimal | float | int | None, mill: Mill | None) -> str:
    """{{ value|volume:mill }}: a volume in the mill's unit, whole."""
    return volume_in(cubic_metres, mill)


@register.simple_tag(takes_context=True)
def show_volume(context: Mapping[str, Any], cubic_metres: Decimal | None, decimals: int = 1) -> str:
    """{% show_volume value 1 %}: a volume in the mill's unit with so many decimals of a cubic metre."""
    return volume_in(cubic_metres, context.get("mill"), decimals)


@register.simple_tag(takes_context=True)
def show_reading(context: Mapping[str, Any], value: Decimal | None, unit: str) -> str:
    """{% show_reading value "°C" %}: a reading in the mill's unit."""
    return reading_in(value, unit, context.get("mill"))


@register.simple_tag(takes_context=True)
def reading_unit(context: Mapping[str, Any], unit: str) -> str:
    """{% reading_unit "°C" %}: the unit in which the mill takes a reading."""
    return reading_scale(unit, context.get("mill")).unit
