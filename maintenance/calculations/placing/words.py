"""Say minutes and money of a placing problem in words."""

from __future__ import annotations

from datetime import timedelta

from .problem import Problem

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAY_MIN, HOUR_MIN = 1440, 60


def moment(problem: Problem, minute: int) -> str:
    """Name a minute as a day and a time, counted from the origin (a day of a clock change is not looked at)."""
    days, rest = divmod(minute, DAY_MIN)
    on = problem.origin + timedelta(days=days)
    return f"{DAYS[on.weekday()]} {on.isoformat()} {rest // HOUR_MIN:02}:{rest % HOUR_MIN:02}"
