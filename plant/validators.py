"""Checks of single values that several models and the loader share."""

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _


def validate_time_zone(value: str) -> None:
    """Refuse a name that the time zone data base does not know."""
    try:
        ZoneInfo(value)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValidationError(
            _("“%(value)s” is no time zone. Write an area and a city, for example Europe/Stockholm."),
            code="unknown_time_zone",
            params={"value": value},
        ) from None
