"""Times, money and shares of plans in the mill's words."""

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.calculations.placing.problem import Problem
from maintenance.plan_problem import Drawn
from plant.models import Mill
from plant.templatetags.kilnward import fixed, quantity

#: How the calculations name a minute (``words.moment``).
MOMENT = re.compile(r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) (\d{4}-\d\d-\d\d) (\d\d):(\d\d)\b")


def money_words(cents: int, mill: Mill) -> str:
    """Say an amount in whole units of the mill's money; cents where it is less than ten."""
    decimals = 0 if abs(cents) >= 1000 or not cents % 100 else 2
    return f"{fixed(Decimal(cents) / 100, decimals)} {mill.currency}".strip()


def time_words(at: datetime, mill: Mill) -> str:
    """Say an instant as the mill's clocks show it."""
    return str(date_format(at.astimezone(mill.zone), "D j M, H:i"))


def day_words(on: date) -> str:
    """Say a day."""
    return str(date_format(on, "D j M Y"))


def hours_words(minutes: float) -> str:
    """Say a length of time in minutes or hours."""
    if minutes < 60:
        return _("%d min") % round(minutes)
    return _("%s h") % quantity(Decimal(minutes) / 60, 1)


def with_local_times(text: str, problem: Problem, at: Callable[[int], datetime], mill: Mill) -> str:
    """Put the mill's time where the calculations named a minute as a day and a time from the problem's origin."""

    def said(found: re.Match[str]) -> str:
        days = (date.fromisoformat(found[1]) - problem.origin).days
        return time_words(at(days * 1440 + int(found[2]) * 60 + int(found[3])), mill)

    return MOMENT.sub(said, text)


def drawn_text(text: str, drawn: Drawn, mill: Mill) -> str:
    """Say a sentence of the calculations about a problem that was drawn."""
    return with_local_times(text, drawn.problem, drawn.at, mill)


def minutes_between(base_at: datetime, at: datetime) -> int:
    """Return the whole minutes from minute 0 to an instant, rounded down."""
    return int((at - base_at) // timedelta(minutes=1))
