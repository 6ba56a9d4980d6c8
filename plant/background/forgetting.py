"""How long the record of background work is kept: what went well for a season, what failed for a year."""

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django_q.models import Task as QueueResult

from plant.background.registry import frequent
from plant.models import Job

# Our own choice. A failure waits longer: somebody may yet want to look at it, or start it again.
FINISHED_KEPT = timedelta(days=90)
FAILED_KEPT = timedelta(days=365)
# What is done every few minutes would bury the rest.
FREQUENT_KEPT = timedelta(days=2)
# So many are taken off a day, in portions between which pages may write.
MOST_A_DAY = 20_000
PORTION = 500


def forget_old_work(moment: datetime) -> dict[str, int]:
    """Delete what ended long ago, with its attempts, and what the queue kept of it; return what -> how many.

    A key that is forgotten could be wanted again, and would then be done again: keys name a day or an act of their
    own, and every task is idempotent.
    """
    return {
        "finished": _delete(Job.objects.finished().filter(finished_at__lt=moment - FINISHED_KEPT)),
        "finished and frequent": _delete(
            Job.objects.finished().filter(what__in=frequent(), finished_at__lt=moment - FREQUENT_KEPT)
        ),
        "failed": _delete(Job.objects.failed().filter(finished_at__lt=moment - FAILED_KEPT)),
        # The queue itself keeps only what broke outside a job: see plant.background.queueing.
        "kept by the queue": _delete(QueueResult.objects.filter(stopped__lt=moment - FAILED_KEPT)),
    }


def _delete(old: "QuerySet[Any, Any]") -> int:
    """Delete rows in portions, the oldest first."""
    gone = 0
    while gone < MOST_A_DAY:
        with transaction.atomic():
            portion = list(old.order_by("pk").values_list("pk", flat=True)[:PORTION])
            # Asked again with the condition: a failed job may have been started again meanwhile.
            old.filter(pk__in=portion).delete()
        gone += len(portion)
        if len(portion) < PORTION:
            break
    return gone
