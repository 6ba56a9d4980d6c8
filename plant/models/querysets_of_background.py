"""What many jobs and attempts can answer."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Count, Exists, OuterRef

if TYPE_CHECKING:
    from plant.models import Job, JobAttempt  # noqa: F401


class JobQuerySet(models.QuerySet["Job"]):
    """Pieces of background work."""

    def waiting(self) -> "JobQuerySet":
        """Only what waits for a worker."""
        return self.filter(state="waiting")

    def under_way(self) -> "JobQuerySet":
        """Only what a worker does now."""
        return self.filter(state="under_way")

    def finished(self) -> "JobQuerySet":
        """Only what was done."""
        return self.filter(state="finished")

    def failed(self) -> "JobQuerySet":
        """Only what was given up."""
        return self.filter(state="failed")

    def forgotten_by_the_queue(self, moment: datetime) -> "JobQuerySet":
        """What is due and waits, but no row of the queue stands for it."""
        from django_q.models import OrmQ

        row = OrmQ.objects.filter(pk=OuterRef("queue_row"))
        return self.waiting().filter(~Exists(row), not_before_at__lte=moment)

    def counts(self) -> dict[str, int]:
        """Return state -> how many; one query."""
        found = dict(self.order_by().values_list("state").annotate(count=Count("pk")))
        return {state: found.get(state, 0) for state in ("waiting", "under_way", "finished", "failed")}

    def for_the_page(self) -> "JobQuerySet":
        """With what the page shows of each: who wanted it, how many attempts."""
        return self.select_related("wanted_by__person").annotate(attempt_count=Count("attempts"))


class JobAttemptQuerySet(models.QuerySet["JobAttempt"]):
    """Starts of jobs."""

    def live(self) -> "JobAttemptQuerySet":
        """Only attempts that have not ended, as far as the record knows."""
        return self.filter(ended_at__isnull=True)
