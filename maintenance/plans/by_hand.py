"""A place for a job as somebody wants it, and kept there: on the board, from an opening, or typed."""

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.models import WorkOrder
from maintenance.plans.accepting import Accepted, carry_out
from maintenance.plans.desk import load_desk
from maintenance.plans.places import RulesBrokenError, bring_parts_along, locked_for_placing
from maintenance.plans.standing import Verdict, standing_on, taken_up
from plant import clock
from plant.models import Person, User


@transaction.atomic
def place_by_hand(
    work_order: WorkOrder,
    start_at: datetime,
    people: Collection[Person] | None,
    *,
    by: User | None,
    version: int | None = None,
) -> Verdict:
    """Put a job where the planner wants it, and keep it there; people None: whoever is free.

    Charges that must give way are loaded later. Among the warnings is what must yet be ordered for it. Raises
    RulesBrokenError with every rule that the place breaks as a sentence: nothing is stored then.
    """
    order = locked_for_placing(work_order, by, version)
    desk = taken_up(load_desk(clock.now()), order.number)
    now = standing_on(desk)
    chosen = None if people is None else [str(person.pk) for person in people]
    verdict = now.try_place(order.number, start_at, chosen)
    if not verdict.holds or verdict.plan is None:
        raise RulesBrokenError(list(verdict.faults))
    words = (_("Put here by %(who)s.") % {"who": by or _("the program itself")}, *verdict.warnings)
    standing = now.with_plan(verdict.plan)
    carry_out(desk, now.plan, standing, {order.number}, Accepted(), by=by, words=words)
    bring_parts_along(desk.orders[order.number])
    to_order = desk.to_order(desk.orders[order.number], verdict.start_at)
    return replace(verdict, warnings=(*verdict.warnings, to_order)) if to_order else verdict
