"""What alarms of entry can answer."""

from typing import TYPE_CHECKING

from django.apps import apps
from django.db import models
from django.db.models import Exists, OuterRef, Q

if TYPE_CHECKING:
    from maintenance.models.alarms import EntryAlarm  # noqa: F401


def _followed_by(act: str) -> Exists:
    alarms = apps.get_model("maintenance", "EntryAlarm").objects
    return Exists(alarms.filter(raising=OuterRef("pk"), act=act))


def _is_answered() -> Exists:
    """Whether somebody said what was done since the last that was reported."""
    alarms = apps.get_model("maintenance", "EntryAlarm").objects
    later = alarms.filter(raising=OuterRef("raising"), act="cause", id__gt=OuterRef("id"))
    return Exists(alarms.filter(~Exists(later), raising=OuterRef("pk"), act="answered"))


class EntryAlarmQuerySet(models.QuerySet["EntryAlarm"]):
    """Alarms, and what followed them."""

    def raised(self) -> "EntryAlarmQuerySet":
        """Alarms, with ``is_over`` (it is no longer so) and ``is_answered`` (somebody said what was done, since the last that
        was reported)."""
        return self.filter(act="raised").annotate(is_over=_followed_by("over"), is_answered=_is_answered())

    def still_so(self) -> "EntryAlarmQuerySet":
        """Alarms whose fact is not known to be over."""
        return self.raised().filter(~_followed_by("over"))

    def shown(self) -> "EntryAlarmQuerySet":
        """Alarms that nobody has answered, or whose fact still stands; with what a line about them says."""
        found = self.raised().filter(Q(~_followed_by("over")) | Q(~_is_answered()))
        return found.select_related("kiln", "permit").prefetch_related("followed_by").order_by("at", "id")
