"""Why a place on record no longer holds where no plan could keep it, and which pins a plan lets go."""

from collections.abc import Collection, Mapping

from django.utils.translation import gettext as _

from maintenance.plans.desk import Desk


def pins_let_go(desk: Desk, failing: Mapping[str, str], kept: Collection[str]) -> dict[str, str]:
    """Say of every job that somebody keeps at its place, and that a plan cannot keep there, why.

    ``failing`` are the places that no longer hold, with why; ``kept`` the jobs that the plan's problem keeps.
    """
    found = {}
    for ref in desk.placed_refs:
        order = desk.orders[ref]
        if order.placement.is_pinned and ref in desk.to_place and ref not in desk.in_hand and ref not in kept:
            found[ref] = failing.get(ref) or _("It does not hold beside the others that are kept by hand.")
    return found


def why_not_drawn(desk: Desk, ref: str) -> str:
    """Say why a place on record is none that a plan could keep."""
    order = desk.orders[ref]
    if order.placement.end_at <= desk.now_at:
        return _("Its time is over, and nobody has begun.")
    names = [given.person.name for given in order.assignments.all()]
    if not names:
        return _("Nobody is given to it.")
    return _("Its time has begun, or %(names)s does not work here then.") % {"names": ", ".join(names)}
