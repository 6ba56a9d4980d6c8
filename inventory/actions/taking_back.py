"""Take back what was booked wrongly: a further entry of the ledger that names the wrong one; both stay to be read."""

from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import F, Value
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from inventory.actions.claims import lacking
from inventory.actions.moves import Entry, book_row, lock_part, moves_of, tell_and_advise, use_reservation
from inventory.actions.refusals import MoveRefused
from inventory.models import PurchaseOrder, PurchaseOrderLine, Reservation, StockMove
from inventory.signals import issue_taken_back
from plant.access import require
from plant.fields import QuantityField
from plant.models import Change, User

Kind = StockMove.Kind
State = PurchaseOrder.State
# A transfer has two entries and is mended by another one.
CAN_BE_TAKEN_BACK = (Kind.RECEIPT, Kind.ISSUE, Kind.RETURN, Kind.COUNT, Kind.SCRAP)


@transaction.atomic
def take_back(wrong: StockMove, *, by: User | None, key: UUID, reason: str) -> StockMove:
    """Take a booking back as wrong: the shelf, what was taken for a reservation and what arrived of an order follow.

    Once only; refused where less than that lies there now, and where somebody counted the place since: what was
    counted is so, whatever was booked before. Raises MoveRefused, PermissionDenied.
    """
    require(by, "move stock")
    if not reason.strip():
        raise MoveRefused(_("Say what was wrong with the booking."))
    part = wrong.part
    lock_part(part)
    if earlier := moves_of(key):
        if earlier[0].takes_back_id == wrong.pk:
            return earlier[0]
        raise MoveRefused(_("This form was already used for another booking. Open it again."))
    refuse_what_stands(wrong)
    entry = Entry(part, Kind.UNDONE, by, key, reason, wrong.reservation, wrong.order_line, wrong)
    lacked = lacking(part)
    if wrong.reservation and wrong.kind == Kind.ISSUE:
        use_reservation(wrong.reservation, part, wrong.quantity)
    elif wrong.reservation and wrong.kind == Kind.RETURN:
        # What did not come back counts as taken, whether the reservation is closed by now or not.
        used = F("used") + Value(wrong.quantity, output_field=QuantityField())
        Reservation.objects.filter(pk=wrong.reservation.pk).update(used=used)
    if wrong.order_line and wrong.kind == Kind.RECEIPT:
        _take_off_line(wrong.order_line, wrong.quantity, by)
    move = book_row(entry, wrong.bin, wrong.lot, -wrong.quantity, 0)
    if wrong.reservation and wrong.kind == Kind.ISSUE:
        wrong.reservation.refresh_from_db()
        issue_taken_back.send(StockMove, reservation=wrong.reservation, by=by)
    return tell_and_advise(entry, move, lacked)


def refuse_what_stands(wrong: StockMove) -> None:
    """Refuse to take back what cannot be: no wrong booking of its own, taken back before, or counted over since."""
    if wrong.kind == Kind.UNDONE:
        raise MoveRefused(_("This entry itself takes a booking back. If that was wrong, book anew what happened."))
    if wrong.kind not in CAN_BE_TAKEN_BACK:
        raise MoveRefused(_("A transfer is not taken back: move the parts back by another transfer."))
    done = StockMove.objects.select_related("by__person").filter(takes_back=wrong).first()
    if done:
        raise MoveRefused(
            _("This booking was taken back already, by %(who)s on %(when)s: %(why)s")
            % {"who": done.by or _("the program"), "when": _when(done), "why": done.reason}
        )
    at_place = StockMove.objects.that_stand().filter(part=wrong.part, bin=wrong.bin, lot=wrong.lot)
    count = at_place.filter(kind=Kind.COUNT, pk__gt=wrong.pk).order_by("pk").last()
    if count:
        raise MoveRefused(
            _(
                "Bin %(bin)s was counted on %(when)s, after this booking, and the record put right. Taken back as well "
                "it would be wrong again. If the count is wrong too, take the count back first."
            )
            % {"bin": wrong.bin.code, "when": _when(count)}
        )
    where = {"after__bin": wrong.bin.code, "after__lot": wrong.lot.code if wrong.lot else ""}
    agreed = Change.objects.about(wrong.part).filter(act="counted", at__gt=wrong.at, **where).order_by("pk").last()
    if agreed:
        raise MoveRefused(
            _("Bin %(bin)s was counted on %(when)s, after this booking, and agreed with the record: it stands.")
            % {"bin": wrong.bin.code, "when": date_format(localtime(agreed.at), "j M Y, H:i")}
        )


def _take_off_line(line: PurchaseOrderLine, quantity: Decimal, by: User | None) -> None:
    """Let the supplier owe again what did not come; an order that was withdrawn stays so."""
    order = PurchaseOrder.objects.select_for_update().get(pk=line.order_id)
    PurchaseOrderLine.objects.filter(pk=line.pk).update(
        received=F("received") - Value(quantity, output_field=QuantityField())
    )
    if order.state not in (State.PART_ARRIVED, State.ARRIVED):
        return
    if not order.lines.filter(received__lt=F("quantity")).exists():
        state = State.ARRIVED
    else:
        state = State.PART_ARRIVED if order.lines.filter(received__gt=0).exists() else State.SENT
    if state != order.state:
        PurchaseOrder.objects.filter(pk=order.pk).update(state=state, version=F("version") + 1)
        Change.record(order, "state", by=by, before={"state": order.state}, after={"state": str(state)})


def _when(move: StockMove) -> str:
    return date_format(localtime(move.at), "j M Y, H:i")
