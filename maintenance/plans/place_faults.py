"""Why a place on record no longer holds: by the checker of plans, else by the simple rule."""

from collections.abc import Collection, Mapping

from django.utils.translation import gettext as _

from maintenance.models import WorkOrder
from maintenance.plans.desk import Desk
from maintenance.plans.lock_outs import somebody_locks_out


def faults_of_places(desk: Desk, loose: Mapping[str, str], aside: Mapping[str, str]) -> dict[str, str]:
    """Say of every place on record that does not hold any more why.

    What is in hand is nobody's to place any more. ``loose`` are the places that the checker refuses, ``aside`` the jobs
    that are no part of a plan; of what a plan can say nothing of, the simple rule speaks.
    """
    by_checker = somebody_locks_out(desk)
    found = {}
    for ref in desk.placed_refs:
        order = desk.orders[ref]
        if ref in desk.in_hand or ref not in desk.jobs:
            continue
        if ref in aside:
            found[ref] = aside[ref]
        elif by_checker and not lies_in_downtime(order):
            found[ref] = loose.get(ref, "")
        elif order.placement.end_at <= desk.now_at:
            found[ref] = why_not_drawn(desk, ref)
        else:
            people = [given.person for given in order.assignments.all()]
            found[ref] = " ".join(desk.look(order, order.placement.start_at, people).faults)
    return {ref: why for ref, why in found.items() if why}


def pins_let_go(
    desk: Desk, loose: Mapping[str, str], aside: Mapping[str, str], kept: Collection[str]
) -> dict[str, str]:
    """Say of every job that somebody keeps at its place, and that a plan cannot keep there, why.

    ``kept`` are the jobs that the plan's problem keeps where they are.
    """
    why = {**faults_of_places(desk, loose, aside), **loose}
    for ref in desk.placed_refs:
        if ref not in kept and ref in desk.jobs and ref not in desk.in_hand and desk.orders[ref].placement.is_pinned:
            why.setdefault(ref, _("It does not hold beside the others that are kept by hand."))
    return {ref: text for ref, text in why.items() if ref not in kept and desk.orders[ref].placement.is_pinned}


def lies_in_downtime(order: WorkOrder) -> bool:
    """Say whether a job lies in a time in which its kiln is down anyway: no opening, no charge."""
    placed = order.placement
    return order.needs_state == "still" and placed.after_charge_id is None and placed.during_charge_id is None


def why_not_drawn(desk: Desk, ref: str) -> str:
    """Say why a place on record is none that a plan could keep."""
    order = desk.orders[ref]
    if order.placement.end_at <= desk.now_at:
        return _("Its time is over, and nobody has begun.")
    names = [given.person.name for given in order.assignments.all()]
    if not names:
        return _("Nobody is given to it.")
    return _("Its time has begun, or %(names)s does not work here then.") % {"names": ", ".join(names)}
