"""What permits and moves of a chamber's door can answer."""

from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models

if TYPE_CHECKING:
    from maintenance.models.entry import EntryMove, EntryPermit  # noqa: F401


class EntryPermitQuerySet(models.QuerySet["EntryPermit"]):
    """Openings of chambers, and their closings."""

    def still_open(self) -> "EntryPermitQuerySet":
        """Openings that nobody has closed."""
        return self.filter(act="opened", closing__isnull=True)

    def forced_closings(self, since_at: datetime | None = None) -> "EntryPermitQuerySet":
        """Closings with an incomplete list, the newest first."""
        found = self.filter(act="closed", left_open__isnull=False)
        if since_at is not None:
            found = found.filter(at__gte=since_at)
        return found.select_related("kiln", "opening", "by__person").order_by("-at", "-id")


class EntryMoveQuerySet(models.QuerySet["EntryMove"]):
    """Moves at a chamber's door."""

    def that_count(self, permits: "Collection[EntryPermit]") -> "EntryMoveQuerySet":
        """Return the moves of permits in their order, without what was taken back and the taking back."""
        found = self.filter(permit__in=permits, taken_back_by__isnull=True).exclude(act="taken_back")
        return found.select_related("person").order_by("id")
