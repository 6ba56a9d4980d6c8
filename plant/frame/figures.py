"""How figures look: numbers, shares and lengths of time."""

from datetime import timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _

DASH = "–"


def quantity(value: Decimal | int | None, decimals: int = 3) -> str:
    """Show a number with at most so many decimals and no idle zeros; None as a dash."""
    if value is None:
        return DASH
    rounded = round(Decimal(value), decimals).normalize()
    # normalize() turns 40 into 4E+1
    shown = rounded.quantize(Decimal(1)) if rounded == rounded.to_integral_value() else rounded
    return str(number_format(shown, force_grouping=abs(shown) >= 1000))


def fixed(value: Decimal | float | int | None, decimals: int = 1) -> str:
    """Show a number with exactly so many decimals; None as a dash."""
    if value is None:
        return DASH
    unit = Decimal(1).scaleb(-decimals)
    shown = Decimal(str(value)).quantize(unit, rounding=ROUND_HALF_UP)
    return str(number_format(shown, decimal_pos=decimals, force_grouping=abs(shown) >= 1000))


def percent(share: Decimal | float | None, decimals: int = 1) -> str:
    """Show a share of 1 as per cent; None as a dash."""
    return DASH if share is None else f"{fixed(Decimal(str(share)) * 100, decimals)} %"


def span(value: timedelta | None) -> str:
    """Show a length of time in the largest two units: 3 d 4 h, 6 h 40, 25 min."""
    return DASH if value is None else span_of_minutes(int(value.total_seconds() // 60))


def span_of_minutes(minutes: int) -> str:
    """Say a number of minutes in the largest two units."""
    days, hours, rest = minutes // 1440, minutes // 60 % 24, minutes % 60
    if days:
        return _("%(days)d d %(hours)d h") % {"days": days, "hours": hours}
    if hours:
        return _("%(hours)d h %(minutes)02d") % {"hours": hours, "minutes": rest} if rest else _("%d h") % hours
    return _("%d min") % rest
