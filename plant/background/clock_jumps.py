"""The machine's clock was set: what waits for an instant must not wait for it once more."""

import logging
import time
from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django_q.models import OrmQ, Schedule

from plant.models import Job

logger = logging.getLogger(__name__)

# Slewing by the network's time moves a clock by less between two looks.
JUMP_S = 30.0
# What was due soon by the old clock is done at once rather than late.
SOON = timedelta(minutes=10)


class ClockWatch:
    """Compares the machine's clock with the one that is never set."""

    def __init__(self) -> None:
        self.ahead_s = time.time() - _never_set_s()

    def look(self) -> float:
        """Return by how many seconds the clock was set since the last look; 0 where it was not."""
        ahead_s = time.time() - _never_set_s()
        jump_s, self.ahead_s = ahead_s - self.ahead_s, ahead_s
        return jump_s if abs(jump_s) > JUMP_S else 0.0


def _never_set_s() -> float:
    """Return the seconds since the start of the machine, its sleep included where the system tells that."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)


@transaction.atomic
def follow(jump_s: float) -> None:
    """Bring the queue to the new time.

    Set back, rows of the queue lie in the future and nobody would take them; the two schedules too. What a worker has
    in hand stays with it: the claim of its attempt holds whatever the clock says.
    """
    logger.warning("The machine's clock was set by %+.0f s; the background work follows.", jump_s)
    now = timezone.now()
    Schedule.objects.filter(next_run__gt=now).update(next_run=now)
    if jump_s > 0:
        return
    in_hand = Job.objects.under_way().exclude(queue_row=None).values("queue_row")
    rows = OrmQ.objects.filter(key=settings.Q_CLUSTER["name"], lock__gte=now).exclude(pk__in=in_hand)
    rows.update(lock=now - timedelta(seconds=1))
    waiting = Job.objects.waiting()
    waiting.filter(not_before_at__range=(now, now + timedelta(seconds=-jump_s) + SOON)).update(not_before_at=now)
    waiting.filter(wanted_at__gt=now).update(wanted_at=now)
