"""Background work of upkeep."""

from dataclasses import asdict
from datetime import date
from typing import Any

from maintenance.actions.daily import run_day
from plant.background.registry import CannotBeDoneError, Progress, register_daily, task
from plant.models import Mill

DAY_TASK = "the day's work"


@task(DAY_TASK)
def work_out_day(progress: Progress, day: str) -> dict[str, Any]:
    """Do the day's work; a second time on the same day changes nothing more."""
    try:
        summary = run_day(date.fromisoformat(day), progress=progress)
    except Mill.DoesNotExist:
        raise CannotBeDoneError("No mill is loaded yet: load a mill's files first.") from None
    return asdict(summary)


register_daily(DAY_TASK, hour=4)
