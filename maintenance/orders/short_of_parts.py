"""Work whose parts others took: it is told at once, so that whoever looks at it, or at its place, sees it."""

from collections.abc import Collection, Sequence
from typing import Any

from django.utils.formats import date_format
from django.utils.timezone import localtime

from inventory.actions import reserve
from inventory.models import Part, Reservation
from inventory.shelf import Claim
from maintenance.models import WorkOrder
from maintenance.orders.raising import update_readiness
from plant.basics.sentences import Sentence
from plant.models import Change, User


def describe_work(sources: Collection[str]) -> dict[str, str]:
    """Return number -> when the work is placed and how it stands, for those who would take its parts."""
    found = WorkOrder.objects.filter(number__in=sources).select_related("placement")
    said = {}
    for order in found:
        placed = getattr(order, "placement", None)
        state = str(order.get_state_display())
        said[order.number] = f"{state}, {date_format(localtime(placed.start_at), 'D j M H:i')}" if placed else state
    return said


def note_what_was_taken(
    sender: type, *, part: Part, claims: Sequence[Claim], by: User | None, reason: str, **_kwargs: Any
) -> None:
    """Keep with each work order that its parts are gone, and bring along whether it is ready.

    The entry in its history also lets every place be looked at anew: whoever shows places asks whether they hold.
    """
    lost = {claim.reservation.source: claim for claim in claims}
    orders = list(WorkOrder.objects.filter(number__in=lost).order_by("pk"))
    for order in orders:
        missing = part.amount(lost[order.number].missing)
        after, said = {"part": part.code, "missing": missing}, Sentence.of("parts.gone", amount=missing, part=part.name)
        Change.record(order, "parts gone", by=by, after=after, said=said, note=reason)
    update_readiness(orders)


def set_aside_again(sender: type, *, reservation: Reservation, by: User | None, **_kwargs: Any) -> None:
    """Set parts aside again for work that is still to be done, when the issue that had used them up was wrong."""
    order = WorkOrder.objects.unfinished().filter(number=reservation.source).first()
    if order is None:
        return
    one = reservation
    reserve(one.part, one.quantity, one.needed_on, one.source, one.purpose, one.is_planned, by)
    update_readiness([order])
