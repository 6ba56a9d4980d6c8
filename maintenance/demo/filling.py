"""Filling the demo with what its pages do not wait for: wanted once, seen done, given back when it is cut off.

It is one piece of background work (``maintenance.demo.rest``). The day's work of every morning waits meanwhile: it
would miss the jobs of the watches.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from maintenance.models import DayRun
from plant import clock
from plant.background import daily
from plant.background.process import identity
from plant.background.queueing import enqueue, start_again
from plant.background.running import run_job
from plant.background.sweep import release, sweep
from plant.models import Job, JobAttempt

FILL_TASK = "fill the demo mill"
# A demo that never comes to be filled gets its day's work all the same.
DAY_WAITS = timedelta(hours=1)
LOOK_EVERY_S = 0.5


@transaction.atomic
def want_filled(day: date, *, reading_days: int, plan_seconds: int) -> Job:
    """Want the demo filled; what is on its way goes on as it was wanted, and what was given up is begun again.

    Readings end with the instant at which it is wanted first, however often it is cut off.
    """
    on_its_way = unfinished()
    if on_its_way is not None:
        if on_its_way.state == Job.State.FAILED:
            start_again(on_its_way.pk, by=None)
        return on_its_way
    job = enqueue(
        FILL_TASK,
        f"{FILL_TASK} {day} {reading_days} {plan_seconds}",
        {
            "day": day.isoformat(),
            "until": clock.now().isoformat(),
            "reading_days": reading_days,
            "plan_seconds": plan_seconds,
        },
    )
    if job.state == Job.State.WAITING:
        daily.put_off(DayRun.TASK, day.isoformat(), timezone.now() + DAY_WAITS)
    return job


def unfinished() -> Job | None:
    """Return the filling that is on its way or was given up."""
    return Job.objects.filter(what=FILL_TASK).exclude(state=Job.State.FINISHED).first()


@dataclass(frozen=True, slots=True)
class Filling:
    """How far the filling is, for a page."""

    job: Job

    @property
    def has_failed(self) -> bool:
        """Say whether it was given up."""
        return self.job.state == Job.State.FAILED

    @property
    def why(self) -> str:
        """Say why it was given up."""
        return self.job.failure_in_short

    @property
    def mark(self) -> str:
        """Return what is another whenever there is something new to say."""
        note = self.job.progress_note[0].code if self.job.progress_note else ""
        return f"{self.job.state} {self.job.progress_done} {note}"


def seen_filling() -> Filling | None:
    """Return how far the filling is; None once all is there; one query."""
    job = unfinished()
    return Filling(job) if job else None


def see_done(job: Job, while_waiting: Callable[[], None] = lambda: None) -> None:
    """Do a job here until it is finished or given up; where another process has it, wait for that."""
    while True:
        # Where nobody serves, nobody else looks for what a process left behind that is gone.
        sweep()
        job.refresh_from_db()
        if job.state in (Job.State.FINISHED, Job.State.FAILED):
            return
        if not run_job(job.pk):
            while_waiting()
            time.sleep(LOOK_EVERY_S)


def give_back() -> None:
    """Let what this process is at, and was told to end, wait again for whoever goes on with it."""
    release(list(JobAttempt.objects.live().filter(worker=identity())), JobAttempt.Outcome.INTERRUPTED)
