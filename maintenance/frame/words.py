"""Times, money, lengths of time and states of kilns in the mill's words."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.models.catalogue import NeedsState
from plant.frame.figures import fixed, quantity
from plant.models import Mill


def in_money(cents: int) -> Decimal:
    """Return an amount in whole units of the mill's money."""
    return Decimal(cents) / 100


def money_words(cents: int, mill: Mill) -> str:
    """Say an amount in whole units of the mill's money; cents where it is less than ten."""
    decimals = 0 if abs(cents) >= 1000 or not cents % 100 else 2
    return f"{fixed(in_money(cents), decimals)} {mill.currency}".strip()


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


def value_words(name: str, value: str | int, at: Callable[[int], datetime], mill: Mill) -> str:
    """Say a value of a sentence of the calculations by its name: minutes end in `_min`, cents in `_cents`."""
    if name.endswith("_min"):
        return time_words(at(int(value)), mill)
    return money_words(int(value), mill) if name.endswith("_cents") else str(value)


def minutes_between(base_at: datetime, at: datetime) -> int:
    """Return the whole minutes from minute 0 to an instant, rounded down."""
    return int((at - base_at) // timedelta(minutes=1))


def say_needed_state(needs_state: str) -> str:
    """Say the state that a job needs so that it can follow “the kiln must be”."""
    return _("in any state") if needs_state == NeedsState.ANY else str(NeedsState(needs_state).label)
