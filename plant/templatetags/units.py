"""Temperatures and volumes in the mill's own units; everything is stored in °C and m³."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import template
from django.utils.translation import gettext as _

from plant.models import Mill
from plant.templatetags.kilnward import DASH, fixed

register = template.Library()

BOARD_FEET_PER_M3 = Decimal("423.776")
"""A board foot is 144 cubic inches, an inch 25.4 mm exactly (international yard, 1959): 1 m³ = 423.776 board feet."""


def temperature_in(celsius: Decimal | float | int | None, mill: Mill | None, decimals: int = 0) -> str:
    """Write a temperature with its unit; °F = °C × 9/5 + 32 (NIST SP 811, appendix B.8)."""
    if celsius is None:
        return DASH
    value = Decimal(str(celsius))
    if mill is not None and mill.temperature_unit == Mill.TemperatureUnit.FAHRENHEIT:
        return f"{fixed(value * 9 / 5 + 32, decimals)} °F"
    return f"{fixed(value, decimals)} °C"


def volume_in(cubic_metres: Decimal | float | int | None, mill: Mill | None, decimals: int = 0) -> str:
    """Write a volume with its unit; board feet always as whole ones."""
    if cubic_metres is None:
        return DASH
    value = Decimal(str(cubic_metres))
    if mill is not None and mill.volume_unit == Mill.VolumeUnit.BOARD_FEET:
        return _("%(count)s board feet") % {"count": fixed(value * BOARD_FEET_PER_M3, 0)}
    return f"{fixed(value, decimals)} m³"


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
