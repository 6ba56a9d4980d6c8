"""What a plan changes for people, in the order in which it matters, and which parts of it can be accepted alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from maintenance.models import WorkOrder
from maintenance.models.querysets import SHORT_NOTICE

#: A move by less, of the same people and not at short notice, is folded away. Our own choice.
MINUTES = timedelta(hours=1)


@dataclass(frozen=True)
class Where:
    """When and by whom a job is done; ``broken`` says why that place no longer holds."""

    start_at: datetime
    end_at: datetime
    people: str
    broken: Any = ""


@dataclass(frozen=True)
class Change:
    """A job that is elsewhere than it stands now."""

    number: str
    title: str
    kiln: str
    was: Where | None
    now: Where | None
    #: Sentences as they are kept.
    why: Any
    is_safety: bool
    #: Whether it was, or will be, within the time at which people are told at once.
    is_soon: bool

    @property
    def has_other_crew(self) -> bool:
        """Say whether somebody else does it than before."""
        return self.was is not None and self.now is not None and self.was.people != self.now.people

    @property
    def is_small(self) -> bool:
        """Say whether it moves by minutes only, and nobody need know of that today."""
        if self.was is None or self.now is None or self.is_soon or self.has_other_crew or self.was.broken:
            return False
        return abs(self.now.start_at - self.was.start_at) < MINUTES

    @property
    def rank(self) -> int:
        """Say what matters more: safety, the next two days, another crew, the rest."""
        return 0 if self.is_safety else 1 if self.is_soon else 2 if self.has_other_crew else 3


def changes_of(kept: Sequence[Mapping[str, Any]], seen_at: datetime) -> list[Change]:
    """Read the changes as they are kept with a plan, what matters most first; one query for the names of the jobs."""
    orders = WorkOrder.objects.filter(number__in=[one["number"] for one in kept]).in_bulk(field_name="number")

    def where(one: Mapping[str, Any] | None) -> Where | None:
        if one is None:
            return None
        span = (datetime.fromisoformat(one["start_at"]), datetime.fromisoformat(one["end_at"]))
        return Where(*span, ", ".join(one["people"]), one.get("broken", ""))

    found = []
    for one in kept:
        order, was, now = orders.get(one["number"]), where(one["from"]), where(one["to"])
        is_soon = any(at and at.start_at < seen_at + SHORT_NOTICE and at.end_at > seen_at for at in (was, now))
        title, is_safety = (order.title, order.latest_at is not None) if order else ("", False)
        found.append(Change(one["number"], title, one["kiln"], was, now, one["why"], is_safety, is_soon))
    return sorted(found, key=lambda one: (one.rank, _first(one), one.number))


def _first(one: Change) -> float:
    """Return the time that a change leads to, or that it takes a job away from."""
    at = one.now or one.was
    return at.start_at.timestamp() if at else 0.0


@dataclass(frozen=True)
class Part:
    """What can be accepted alone: the jobs of one kiln, or those of one day."""

    key: str
    name: str
    numbers: tuple[str, ...]


def parts_of(changes: Sequence[Change]) -> list[Part]:
    """List the kilns, then the days that jobs go to; none where there is but one of them."""
    kilns: dict[str, list[str]] = {}
    days: dict[str, list[str]] = {}
    names: dict[str, str] = {}
    for one in sorted(changes, key=lambda one: (_first(one), one.number)):
        kilns.setdefault(one.kiln, []).append(one.number)
        if one.now is not None:
            day = timezone.localtime(one.now.start_at).date()
            days.setdefault(day.isoformat(), []).append(one.number)
            names[day.isoformat()] = date_format(day, "D j M")
    found = [Part(f"kiln:{tag}", tag, tuple(numbers)) for tag, numbers in sorted(kilns.items())]
    by_day = [Part(f"day:{day}", names[day], tuple(numbers)) for day, numbers in days.items()]
    return [*(found if len(found) > 1 else []), *(by_day if len(by_day) > 1 else [])]
