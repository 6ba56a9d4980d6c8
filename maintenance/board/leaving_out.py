"""Leave a job out of the plan, until somebody puts it back or up to a day; no safety work past its safety date."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.models import WorkOrder
from maintenance.plans.desk import has_place
from maintenance.plans.places import bring_parts_along, locked_for_placing, take_place_away
from plant import clock
from plant.basics.sentences import Sentence, Sentences
from plant.models import Change, Mill, User

LEFT_OUT = ("left_out_at", "left_out_by", "left_out_why", "not_before_on")


@transaction.atomic
def take_out_of_plan(
    work_order: WorkOrder,
    *,
    why: str,
    by: User | None,
    not_before_on: date | None = None,
    version: int | None = None,
) -> WorkOrder:
    """Take a job out of the plan: it has no place before a day, or, where none is named, until it is put back.

    Raises ValidationError without a reason, for a day that is not ahead, and for safety work that would miss its date.
    """
    order = locked_for_placing(work_order, by, version)
    zone = Mill.objects.current().zone
    today = clock.today(zone)
    why = why.strip()[:200]
    if not why:
        raise ValidationError(_("Say why it is left out of the plan: the next person will ask."), code="why")
    if not_before_on is not None and not_before_on <= today:
        raise ValidationError(_("Name a day after today, or none: then it stays out until it is put back."))
    _refuse_past_safety(order, not_before_on, today, zone)
    before = {**_facts(order), "state": str(order.state)}
    order.left_out_at, order.left_out_by = clock.now(), by
    order.left_out_why, order.not_before_on = why, not_before_on
    order.save(update_fields=[*LEFT_OUT])
    said = say_left_out(order)
    if has_place(order):
        take_place_away(order, said, by=by, act="taken out of the plan", after=_facts(order))
    else:
        order.no_place_why = said
        order.version += 1
        order.save(update_fields=["no_place_why", "version"])
        Change.record(order, "taken out of the plan", by=by, before=before, after=_facts(order), said=said)
    bring_parts_along(order)
    return order


@transaction.atomic
def put_back_into_plan(work_order: WorkOrder, *, by: User | None, version: int | None = None) -> WorkOrder:
    """Let the day's work look for a place again; asked twice, nothing more happens."""
    order = locked_for_placing(work_order, by, version)
    if order.left_out_at is None:
        return order
    before = _facts(order)
    order.left_out_at, order.left_out_by, order.left_out_why, order.not_before_on = None, None, "", None
    order.no_place_why = (Sentence.of("place.put_back"),)
    order.version += 1
    order.save(update_fields=[*LEFT_OUT, "no_place_why", "version"])
    Change.record(order, "put back into the plan", by=by, before=before, after=_facts(order))
    return order


def _refuse_past_safety(order: WorkOrder, not_before_on: date | None, today: date, zone: ZoneInfo) -> None:
    if not order.is_safety and order.safety_at is None:
        return
    latest_on = (order.safety_at or order.due_at).astimezone(zone).date()
    facts = {"number": order.number, "day": date_format(latest_on, "j F Y")}
    if latest_on <= today:
        words = _("%(number)s is safety work and must be done by %(day)s: it stays in the plan.")
        raise ValidationError(words % facts, code="safety")
    if not_before_on is None or not_before_on > latest_on:
        words = _(
            "%(number)s is safety work and must be done by %(day)s: it cannot be left out past that. Name a day up to "
            "then before which it is not wanted, or leave it in the plan."
        )
        raise ValidationError(words % facts, code="safety")


def say_left_out(order: WorkOrder) -> Sentences:
    """Say who left a job out of the plan, when, why and how long; nothing where it is not."""
    if order.left_out_at is None:
        return ()
    who = str(order.left_out_by) if order.left_out_by else Sentence.of("who.program")
    facts = {"who": who, "said_on": order.left_out_at, "why": order.left_out_why.rstrip(".")}
    if order.not_before_on is None:
        return (Sentence.of("left_out.until_put_back", **facts),)
    return (Sentence.of("left_out.until_day", **facts, not_before_on=order.not_before_on),)


def _facts(order: WorkOrder) -> dict[str, Any]:
    return {
        "left_out": order.left_out_at is not None,
        "left_out_why": order.left_out_why,
        "not_before_on": order.not_before_on.isoformat() if order.not_before_on else None,
    }
