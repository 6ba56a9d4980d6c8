"""Why a place on record no longer holds where no plan could keep it, and which pins a plan lets go."""

from collections.abc import Collection, Mapping

from maintenance.models import WorkOrder
from maintenance.models.catalogue import NeedsState
from maintenance.plans.desk import Desk
from plant.basics.sentences import Sentence, Sentences
from plant.charges.calculations.openings import Windows


def pins_let_go(desk: Desk, failing: Mapping[str, Sentences], kept: Collection[str]) -> dict[str, Sentences]:
    """Say of every job that somebody keeps at its place, and that a plan cannot keep there, why.

    ``failing`` are the places that no longer hold, with why; ``kept`` the jobs that the plan's problem keeps.
    """
    found = {}
    for ref in desk.placed_refs:
        order = desk.orders[ref]
        if order.placement.is_pinned and ref in desk.to_place and ref not in desk.in_hand and ref not in kept:
            found[ref] = failing.get(ref) or (Sentence.of("fault.beside_pins"),)
    return found


def why_not_drawn(desk: Desk, ref: str) -> Sentence:
    """Say why a place on record is none that a plan could keep."""
    order = desk.orders[ref]
    if order.placement.end_at <= desk.now_at:
        return Sentence.of("fault.time_over")
    names = [given.person.name for given in order.assignments.all()]
    if not names:
        return Sentence.of("fault.nobody_given")
    return Sentence.of("fault.not_here", names=names)


def not_ready(desk: Desk) -> dict[str, Sentences]:
    """Say of every job whose time has begun, and which nobody has begun, that its kiln is not ready for it now."""
    found: dict[str, Sentences] = {}
    for ref in sorted(desk.in_hand & desk.to_place.keys()):
        order = desk.orders[ref]
        fault = _not_ready(order, desk.programme[order.kiln_id].windows)
        if fault is not None:
            found[ref] = (fault,)
    return found


def _not_ready(order: WorkOrder, windows: Windows) -> Sentence | None:
    facts = {"start_at": order.placement.start_at, "kiln": order.kiln.tag}
    is_open = any(one.is_now for one in windows.openings)
    if order.needs_state == NeedsState.EMPTY and not is_open:
        return Sentence.of("fault.not_yet_empty", **facts)
    if order.needs_state == NeedsState.STILL and not is_open and not any(one.is_now for one in windows.still):
        return Sentence.of("fault.not_yet_stopped", **facts)
    if order.needs_state == NeedsState.RUNNING and not any(one.is_now for one in windows.running):
        return Sentence.of("fault.not_yet_running", **facts)
    return None
