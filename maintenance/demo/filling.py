"""What the demo's pages do not wait for: readings and what the watches say to them, the day's work, a first plan.

One piece of background work brings them in this order. Each leaves alone what is there, so that it goes on where it was
cut off and ends with the same. The day's work of every morning waits meanwhile: it would miss the watches' jobs.
"""

import time
from collections.abc import Callable
from dataclasses import asdict
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from maintenance.day.run import DAY_TASK, run_day
from maintenance.demo.readings import Brought, bring_readings, kilns_with_channels
from maintenance.models import DayRun, Plan
from maintenance.plans.accepting import PLAN_TASK, want_plan
from plant import clock
from plant.background import daily
from plant.background.process import identity
from plant.background.queueing import enqueue, start_again
from plant.background.registry import Progress
from plant.background.running import run_job
from plant.background.sweep import release, sweep
from plant.frame.calculations.sentences import Sentence
from plant.models import Job, JobAttempt

FILL_TASK = "fill the demo mill"
PLAN_NAME = "The first plan"
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
        daily.put_off(DAY_TASK, day.isoformat(), timezone.now() + DAY_WAITS)
    return job


def unfinished() -> Job | None:
    """Return the filling that is on its way or was given up."""
    return Job.objects.filter(what=FILL_TASK).exclude(state=Job.State.FINISHED).first()


def fill(progress: Progress, day: date, until: datetime, *, reading_days: int, plan_seconds: int) -> dict[str, Any]:
    """Bring readings, then the day's work, then a plan; return what came of the readings."""
    kilns = kilns_with_channels().count() if reading_days > 0 else 0
    steps = kilns + 2

    def tell_of_readings(done: int) -> None:
        progress(done, steps, Sentence.of("demo.readings", done=done, kilns=kilns))

    def tell_of_plan() -> None:
        progress(kilns + 1, steps, Sentence.of("demo.plan"))

    brought = bring_readings(reading_days, until=until, progress=tell_of_readings) if kilns else Brought()
    progress(kilns, steps, Sentence.of("demo.day"))
    if not DayRun.objects.filter(day=day, finished_at__isnull=False).exists():
        run_day(day)
    tell_of_plan()
    if plan_seconds > 0:
        _work_out_plan(plan_seconds, tell_of_plan)
    daily.put_off(DAY_TASK, day.isoformat(), timezone.now())
    progress(steps, steps)
    return asdict(brought)


def _work_out_plan(seconds: int, while_waiting: Callable[[], None]) -> None:
    """Work the first plan out, unless there is one; in this process, or in the worker that was quicker."""
    if not Plan.objects.exists():
        want_plan(name=PLAN_NAME, seconds=seconds, by=None)
    plan = first_plan()
    if plan is not None and plan.is_at_work:
        see_done(Job.objects.get(what=PLAN_TASK, key=f"plan {plan.pk}"), while_waiting)


def first_plan() -> Plan | None:
    """Return the plan that came with the demo."""
    return Plan.objects.filter(name=PLAN_NAME).order_by("pk").first()


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
