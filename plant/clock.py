"""The mill's present: the one place that knows what time it is."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils import timezone


def now() -> datetime:
    """Return the present instant (UTC), on the fixed day where KILNWARD_TODAY gives one."""
    real = timezone.now()
    if not settings.KILNWARD_TODAY:
        return real
    try:
        fixed = date.fromisoformat(settings.KILNWARD_TODAY)
    except ValueError:
        raise ImproperlyConfigured(
            f"KILNWARD_TODAY is {settings.KILNWARD_TODAY!r}: write a day as YYYY-MM-DD or leave it empty."
        ) from None
    return real + timedelta(days=(fixed - real.date()).days)


def today(zone: ZoneInfo) -> date:
    """Return the calendar day at the mill."""
    return now().astimezone(zone).date()


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """Return the instant at which a local day begins."""
    return datetime.combine(day, time(), tzinfo=zone).astimezone(ZoneInfo("UTC"))
