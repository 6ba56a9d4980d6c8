"""Temperatures and volumes in the mill's own units; everything is stored in °C and m³."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import template

from plant.frame.units import reading_in, reading_scale, temperature_in, volume_in
from plant.models import Mill

register = template.Library()


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
