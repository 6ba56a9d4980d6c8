"""A place for a job as somebody wants it, and kept there: on the board, from an opening, or typed."""

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime

from django.db import transaction

from maintenance.models import WorkOrder
from maintenance.plans.accepting import Accepted, carry_out
from maintenance.plans.desk import load_desk
from maintenance.plans.places import RulesBrokenError, bring_parts_along, locked_for_placing
from maintenance.plans.standing import Verdict, standing_on, taken_up
from maintenance.plans.what_stood import remember, what_stands
from plant import clock
from plant.basics.sentences import Sentence
from plant.frame.saying import say
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
        raise RulesBrokenError([say(one) for one in verdict.faults])
    before = what_stands()
    put = Sentence.of("place.put", who=str(by) if by else Sentence.of("who.program"))
    standing = now.with_plan(verdict.plan)
    carry_out(desk, now.plan, standing, {order.number}, Accepted(), by=by, words=(put, *verdict.warnings))
    bring_parts_along(desk.orders[order.number])
    remember(before, failing=now.failing, by=by, work_order=order)
    to_order = desk.to_order(desk.orders[order.number], verdict.start_at)
    return replace(verdict, warnings=(*verdict.warnings, *to_order))
