"""Change what a job that has not begun is to be: its title, dates, hours, people and cost; never without a reason."""

from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.models import WorkOrder
from maintenance.plans.places import bring_parts_along, keep_place_that_holds, locked_for_placing
from plant import clock
from plant.basics.sentences import Sentences
from plant.models import Change, User

# What a place hangs on: the rest may change under a job that has one.
BEARS_ON_PLACE = frozenset({"earliest_at", "hours", "crew", "due_at", "safety_at"})


@dataclass(frozen=True)
class Particulars:
    """What may be changed of a job, under the names of its fields."""

    title: str
    due_at: datetime
    earliest_at: datetime | None
    hours: Decimal
    crew: int
    cost_of_delay_per_day: Decimal
    safety_at: datetime | None


@dataclass(frozen=True)
class Changed:
    """What a change came to: the fields that are different, and why the place was given up, where it was."""

    names: tuple[str, ...]
    lost_place_why: Sentences = ()


@transaction.atomic
def change_particulars(
    work_order: WorkOrder,
    wanted: Particulars,
    *,
    why: str,
    said: Sentences = (),
    by: User | None,
    version: int | None = None,
) -> Changed:
    """Change a job that has not begun; it keeps its place only where that still holds.

    Raises ValidationError for a stale version, for work that has begun, without a reason, and for dates that cannot
    be; where one field is at fault it is keyed by that field. The reason is ``why``, which somebody typed, or ``said``,
    which the program has to say. Raises PermissionDenied for who may not place work.
    """
    order = locked_for_placing(work_order, by, version)
    names = tuple(one.name for one in fields(wanted) if getattr(order, one.name) != getattr(wanted, one.name))
    if not names:
        return Changed(())
    _refuse(order, wanted, names, has_reason=bool(why.strip() or said))
    before = {name: _said(getattr(order, name)) for name in names}
    for name in names:
        setattr(order, name, getattr(wanted, name))
    order.version += 1
    order.save(update_fields=[*names, "version"])
    after = {name: _said(getattr(wanted, name)) for name in names}
    Change.record(order, "changed", by=by, before=before, after=after, note=why.strip()[:200], said=said)
    lost = keep_place_that_holds(order, by=by) if BEARS_ON_PLACE.intersection(names) else ()
    bring_parts_along(WorkOrder.objects.get(pk=order.pk))
    return Changed(names, lost)


def _said(value: Any) -> Any:
    """Return a value as a history keeps it."""
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return value.isoformat() if isinstance(value, datetime) else value


def _refuse(order: WorkOrder, wanted: Particulars, names: tuple[str, ...], *, has_reason: bool) -> None:
    faults: dict[str, str] = {}
    now = clock.now()
    if not has_reason:
        faults["why"] = _("Say why: the history keeps the reason.")
    last_at = order.latest_at
    if last_at is not None and wanted.safety_at is None:
        faults["safety_at"] = _("This is safety work: it keeps a safety date.")
    elif last_at is not None and wanted.safety_at is not None and wanted.safety_at > last_at and not has_reason:
        faults["why"] = _("The safety date becomes later: say why waiting is safe.")
    for name in ("due_at", "safety_at"):
        day = getattr(wanted, name)
        if name in names and day is not None and day < now:
            faults.setdefault(name, _("This is over. By when must it be done from now on?"))
    # What is as it was is not called a fault now: it may come from files, or from a task sheet.
    if wanted.safety_at and wanted.due_at > wanted.safety_at and {"due_at", "safety_at"} & set(names):
        faults.setdefault("due_at", _("It would be due after its safety date: choose an earlier day."))
    if wanted.earliest_at and wanted.earliest_at > wanted.due_at and {"due_at", "earliest_at"} & set(names):
        faults.setdefault("earliest_at", _("It may not start before it is due already: choose an earlier day."))
    if faults:
        raise ValidationError(dict(faults))
