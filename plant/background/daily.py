"""What is wanted each day, from the mill's clock, so that a missed hour is made up for once; and each quarter."""

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from plant import clock
from plant.background.queueing import enqueue, take_off
from plant.background.registry import dailies, each_tick
from plant.models import Job, Mill

QUARTER_S = 900


def want_what_is_due() -> list[Job]:
    """Want each daily task whose hour has come today; a second call on the same day changes nothing."""
    mill = Mill.objects.first()
    if mill is None:
        return []
    local = clock.now().astimezone(mill.zone)
    day = local.date().isoformat()
    return [
        enqueue(daily.name, key=_key(daily.name, day), arguments={"day": day})
        for daily in dailies()
        if local.hour >= daily.hour
    ]


def put_off(name: str, day: str, not_before_at: datetime) -> None:
    """Let a day's task wait for an instant of the machine's clock, unless it was begun already.

    Called again with an earlier instant it brings the task forward.
    """
    with transaction.atomic():
        job = enqueue(name, key=_key(name, day), arguments={"day": day}, not_before_at=not_before_at)
        waiting = Job.objects.waiting().select_for_update().filter(pk=job.pk)
        if waiting.exists():
            take_off(job.queue_row)
            waiting.update(not_before_at=not_before_at, queue_row=None)


def _key(name: str, day: str) -> str:
    return f"{name} {day}"


def want_each_tick() -> list[Job]:
    """Want what is looked after each quarter of an hour; a second call within it changes nothing."""
    # The mill's day may be a fixed one: the quarter is told by the machine's clock.
    quarter = int(timezone.now().timestamp()) // QUARTER_S
    if not Mill.objects.exists():
        return []
    return [enqueue(name, key=f"{name} {quarter}") for name in each_tick()]
