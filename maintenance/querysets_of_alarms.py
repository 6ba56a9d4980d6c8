"""What alarms of entry can answer."""

from typing import TYPE_CHECKING

from django.apps import apps
from django.db import models
from django.db.models import Exists, OuterRef, Q

if TYPE_CHECKING:
    from maintenance.models.alarms import EntryAlarm  # noqa: F401


class EntryAlarmQuerySet(models.QuerySet["EntryAlarm"]):
    """Alarms, and what followed them."""

    def raised(self) -> "EntryAlarmQuerySet":
        """Alarms, with ``is_over`` (it is no longer so) and ``is_answered`` (somebody said what was done)."""
        follows = apps.get_model("maintenance", "EntryAlarm").objects.filter(raising=OuterRef("pk"))
        return self.filter(act="raised").annotate(
            is_over=Exists(follows.filter(act="over")), is_answered=Exists(follows.filter(act="answered"))
        )

    def still_so(self) -> "EntryAlarmQuerySet":
        """Alarms whose fact is not known to be over."""
        return self.raised().filter(is_over=False)

    def shown(self) -> "EntryAlarmQuerySet":
        """Alarms that nobody has answered, or whose fact still stands; with what a line about them says."""
        return (
            self.raised()
            .filter(Q(is_over=False) | Q(is_answered=False))
            .select_related("kiln", "permit")
            .order_by("at", "id")
        )
