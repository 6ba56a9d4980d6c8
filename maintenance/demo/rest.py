"""What the demo's pages do not wait for: readings and what the watches say to them, the day's work, a first plan.

They come in this order. Each leaves alone what is there, so that all of it goes on where it was cut off, and ends with
the same.
"""

from collections.abc import Callable
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from maintenance.day.run import run_day
from maintenance.demo.filling import see_done
from maintenance.demo.readings import Brought, bring_readings, kilns_with_channels
from maintenance.models import DayRun, Plan
from maintenance.plans.accepting import PLAN_TASK, want_plan
from plant.background import daily
from plant.background.registry import Progress
from plant.basics.sentences import Sentence
from plant.models import Job

PLAN_NAME = "The first plan"


def bring_rest(
    progress: Progress, day: date, until: datetime, *, reading_days: int, plan_seconds: int
) -> dict[str, Any]:
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
    daily.put_off(DayRun.TASK, day.isoformat(), timezone.now())
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
