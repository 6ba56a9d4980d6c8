"""Work that runs beside the pages: what is wanted, each attempt at it, and whether the worker lives.

The instants here are the machine's own (``timezone.now()``), never the mill's present of ``plant.clock``: a day fixed for
a demonstration must not make a worker look dead.
"""

from datetime import timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.fields import SentencesField
from plant.models.querysets_of_background import JobAttemptQuerySet, JobQuerySet


class Job(models.Model):
    """One piece of background work, wanted once under its key."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        UNDER_WAY = "under_way", _("under way")
        FINISHED = "finished", _("finished")
        FAILED = "failed", _("failed")

    key = models.CharField(_("key"), max_length=200, unique=True)
    what = models.CharField(_("what"), max_length=80)
    arguments = models.JSONField(default=dict)
    state = models.CharField(_("state"), max_length=10, choices=State.choices, default=State.WAITING)
    wanted_at = models.DateTimeField(_("wanted"))
    wanted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    not_before_at = models.DateTimeField(_("not before"))
    started_at = models.DateTimeField(_("started"), null=True, blank=True)
    finished_at = models.DateTimeField(_("ended"), null=True, blank=True)
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(default=0)
    progress_note = SentencesField()
    result = models.JSONField(null=True, blank=True)
    #: Why it cannot be done, or the trace of what went wrong in it.
    failed_why = SentencesField()
    failure = models.TextField(_("failure"), blank=True)
    # The row of the queue that stands for this job; it vanishes in the transaction that ends an attempt.
    queue_row = models.BigIntegerField(null=True, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-wanted_at", "-id"]
        # Serves the page (by state, newest first) and the sweep (what waits).
        indexes = [models.Index(fields=["state", "-wanted_at"], name="job_by_state")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["waiting", "under_way", "finished", "failed"]), name="job_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["finished", "failed"], finished_at__isnull=False)
                | Q(state__in=["waiting", "under_way"], finished_at__isnull=True),
                name="job_ended_has_instant",
            ),
        ]

    def __str__(self) -> str:
        return self.key

    def get_absolute_url(self) -> str:
        """Return the job's page."""
        return reverse("plant:background-job", args=[self.pk])

    @property
    def took(self) -> timedelta | None:
        """Return how long its last attempt lasted; None where it has not ended."""
        return self.finished_at - self.started_at if self.started_at and self.finished_at else None

    @property
    def failure_in_short(self) -> str:
        """Say why it failed: of a trace, the last line is the reason."""
        from plant.frame.saying import say

        return say(self.failed_why) or self.failure.strip().rpartition("\n")[2]


class JobAttempt(models.Model):
    """One start of a job, written before its work begins, so that a worker that dies leaves a trace."""

    class Outcome(models.TextChoices):
        RUNNING = "running", _("under way")
        DONE = "done", _("finished")
        FAILED = "failed", _("failed")
        VANISHED = "vanished", _("its worker vanished")
        INTERRUPTED = "interrupted", _("stopped with the server")

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="attempts")
    started_at = models.DateTimeField(_("started"))
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)
    outcome = models.CharField(max_length=12, choices=Outcome.choices, default=Outcome.RUNNING)
    # The process, as plant.background.process writes it: host, number, and start, so that a reused number is no match.
    worker = models.CharField(_("worker"), max_length=160)

    objects = JobAttemptQuerySet.as_manager()

    class Meta:
        ordering = ["job", "id"]
        constraints = [
            models.UniqueConstraint(fields=["job"], condition=Q(ended_at__isnull=True), name="attempt_one_at_a_time"),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, outcome="running")
                | (Q(ended_at__isnull=False) & ~Q(outcome="running")),
                name="attempt_ended_has_outcome",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")), name="attempt_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.job_id} {self.started_at:%Y-%m-%d %H:%M} {self.outcome}"


class Heartbeat(models.Model):
    """The one row that says whether the worker lives and which server looks after it."""

    name = models.CharField(max_length=20, unique=True)
    # When a worker last took or ended anything from the queue, and which process it was.
    at = models.DateTimeField(_("last heard"), null=True, blank=True)
    worker = models.CharField(max_length=160, blank=True)
    # The row of the queue with the question "do you live?" that was asked last.
    queue_row = models.BigIntegerField(null=True, blank=True)
    # The server process that starts and restarts the worker, and when it last looked.
    keeper = models.CharField(max_length=160, blank=True)
    kept_at = models.DateTimeField(null=True, blank=True)
    restarts = models.PositiveIntegerField(default=0)
    restarted_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name
