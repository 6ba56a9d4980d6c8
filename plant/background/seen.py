"""What somebody wants to know of the worker at a glance."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from plant.background.heartbeat import NAME
from plant.background.supervise import SILENT_BEATS
from plant.models import Heartbeat, Job, JobAttempt


class Life(models.TextChoices):
    """How the worker is."""

    LIVES = "lives", _("the worker lives")
    ALL_BUSY = "all_busy", _("all workers are busy")
    SILENT = "silent", _("the worker is silent")
    NOT_SERVED = "not_served", _("no worker")


LOOKS = {Life.LIVES: "sound", Life.ALL_BUSY: "steam", Life.SILENT: "mind", Life.NOT_SERVED: "alarm"}


# So long nothing may be done before every page says so.
IDLE_AFTER = timedelta(minutes=10)


def idle_since(moment: datetime) -> datetime | None:
    """Return since when no background work was done, where that is too long; one query while all is well."""
    beat = Heartbeat.objects.filter(name=NAME).first()
    if beat is None or beat.at is None:
        # Nobody ever did any: that matters once something waits.
        waited = Job.objects.waiting().filter(not_before_at__lte=moment - IDLE_AFTER).order_by("not_before_at")
        return waited.values_list("not_before_at", flat=True).first()
    if moment - beat.at <= IDLE_AFTER:
        return None
    # A worker may be at one long task.
    longest = timedelta(seconds=settings.TASK_TIMEOUT_S)
    at_work = JobAttempt.objects.live().filter(started_at__gte=moment - longest)
    return None if at_work.exists() else beat.at


@dataclass(frozen=True)
class WorkerSeen:
    """The worker's life, since when it was not heard, and how often it was started anew."""

    life: Life
    heard_before: timedelta | None
    restarts: int
    restarted_at: datetime | None

    @property
    def look(self) -> str:
        """Return the tint of its tag."""
        return LOOKS[self.life]


def worker_seen(moment: datetime, under_way: int) -> WorkerSeen:
    """Judge the worker from its heartbeat and from how many jobs are under way; one query."""
    beat = Heartbeat.objects.filter(name=NAME).first() or Heartbeat()
    patience = timedelta(seconds=SILENT_BEATS * settings.HEARTBEAT_S)
    # The server renews its charge with each beat, but not while it is starting a worker anew.
    if not beat.keeper or beat.kept_at is None or moment - beat.kept_at > 3 * patience:
        life = Life.NOT_SERVED
    elif under_way >= settings.Q_CLUSTER["workers"]:
        # They cannot answer, so that silence means nothing.
        life = Life.ALL_BUSY
    elif beat.at is not None and moment - beat.at <= patience:
        life = Life.LIVES
    else:
        life = Life.SILENT
    heard_before = None if beat.at is None else max(moment - beat.at, timedelta())
    return WorkerSeen(life, heard_before, beat.restarts, beat.restarted_at)
