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


def in_words(problem: Problem, name: str, value: str | int) -> str | int:
    """Say a value of a sentence by its name: minutes end in `_min`, cents in `_cents`."""
    if name.endswith("_min"):
        return moment(problem, int(value))
    if name.endswith("_cents"):
        return f"{int(value) / 100:.2f}"
    return value
