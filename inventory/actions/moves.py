"""Book what comes onto the shelf and what leaves it.

Every booking carries a key made where it was entered: a second try with the same key changes nothing and returns the
moves of the first. The part's row is locked while a move is booked, so that two people who take the last piece at once
do it one after the other; whoever books moves of several parts in one transaction does so in the order of their ids.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar
from uuid import UUID, uuid5

from django.db import transaction
from django.db.models import F, Value
from django.utils.translation import gettext as _

from inventory.actions.claims import Lacked, lacking, losing_claims, refuse_unnamed
from inventory.actions.refusals import MoveRefused
from inventory.advice import refresh_advice
from inventory.calculations.stock import LotOnShelf, NotEnoughStock, Place, pick_first_expired
from inventory.models import Bin, Lot, Part, PurchaseOrder, PurchaseOrderLine, Reservation, StockLevel, StockMove
from inventory.signals import set_aside_fell_short
from plant import clock
from plant.access import require
from plant.fields import QuantityField
from plant.models import Change, Mill, User

ZERO = Decimal(0)
T = TypeVar("T")
Kind = StockMove.Kind


@dataclass(frozen=True)
class Entry:
    """What one booking has in common over its ledger rows."""

    part: Part
    kind: str
    by: User | None
    key: UUID
    reason: str = ""
    reservation: Reservation | None = None
    order_line: PurchaseOrderLine | None = None
    takes_back: StockMove | None = None


@transaction.atomic
def receive(
    part: Part,
    quantity: Decimal,
    *,
    by: User | None,
    key: UUID,
    bin: Bin | None = None,  # noqa: A002 (the trade's word)
    lot_code: str = "",
    expires_on: date | None = None,
    order_line: PurchaseOrderLine | None = None,
    reason: str = "",
) -> StockMove:
    """Book goods in, against a line of an order where there is one.

    A part that keeps only for a time always gets a lot; without a date its shelf life counts from today. Raises
    MoveRefused, PermissionDenied.
    """
    require(by, "move stock")
    entry = Entry(part, Kind.RECEIPT, by, key, reason, order_line=order_line)
    if earlier := _begin(entry, quantity):
        return earlier[0]
    lot = _lot_for_receipt(part, lot_code, expires_on)
    if order_line:
        _book_on_line(order_line, part, quantity, by)
    return tell_and_advise(entry, book_row(entry, bin or part.bin, lot, quantity, 0))


@transaction.atomic
def issue(
    part: Part,
    quantity: Decimal,
    *,
    by: User | None,
    key: UUID,
    reservation: Reservation | None = None,
    lot: Lot | None = None,
    reason: str = "",
    take_expired: bool = False,
    take_from: Collection[str] = (),
    lacked: Lacked | None = None,
) -> list[StockMove]:
    """Take parts off the shelf, first expired first; one ledger row for each bin and lot.

    An expired lot is taken only where it is named and ``take_expired`` and a reason say so. What is set aside for
    others is taken only where ``take_from`` names their sources, with a reason, by somebody who may. ``lacked`` is what
    claims lacked before the caller set more aside for this. Raises TakesFromOthers, MoveRefused, PermissionDenied.
    """
    require(by, "take parts" if reservation else "move stock")
    entry = Entry(part, Kind.ISSUE, by, key, reason, reservation)
    if earlier := _begin(entry, -quantity):
        return earlier
    lacked = lacking(part) if lacked is None else lacked
    levels = _levels_to_take(part, lot)
    if lot and take_expired:
        if not reason.strip():
            raise MoveRefused(_("Lot %(lot)s has expired: say why it is taken all the same.") % {"lot": lot.code})
        # Without its date the lot counts as fit.
        shelf = [LotOnShelf(_place(level), level.on_hand) for level in levels]
    else:
        shelf = [_on_shelf(level) for level in levels]
    try:
        picks = pick_first_expired(shelf, part.name, quantity, _today(), part.unit_shown)
    except NotEnoughStock as refusal:
        raise MoveRefused(str(refusal)) from None
    at = {_place(level): level for level in levels}
    if reservation:
        use_reservation(reservation, part, quantity)
    moves = [
        book_row(entry, at[pick.place].bin, at[pick.place].lot, -pick.quantity, number)
        for number, pick in enumerate(picks)
    ]
    return tell_and_advise(entry, moves, lacked, take_from)


@transaction.atomic
def give_back(
    part: Part,
    quantity: Decimal,
    *,
    by: User | None,
    key: UUID,
    reservation: Reservation | None = None,
    lot: Lot | None = None,
    bin: Bin | None = None,  # noqa: A002
    reason: str = "",
) -> StockMove:
    """Put unused parts back: into the lot named, or the one last taken for the reservation. Raises MoveRefused."""
    require(by, "take parts" if reservation else "move stock")
    entry = Entry(part, Kind.RETURN, by, key, reason, reservation)
    if earlier := _begin(entry, quantity):
        return earlier[0]
    if reservation:
        use_reservation(reservation, part, -quantity)
        taken = reservation.moves.filter(kind=Kind.ISSUE).select_related("lot", "bin").last()
        if taken:
            lot, bin = lot or taken.lot, bin or taken.bin  # noqa: A001
    if lot is None and part.shelf_life_days:
        raise MoveRefused(
            _("%(part)s keeps only for a time: say into which lot the parts go back.") % {"part": part.name}
        )
    return tell_and_advise(entry, book_row(entry, bin or part.bin, lot, quantity, 0))


@transaction.atomic
def count(
    part: Part,
    bin: Bin,  # noqa: A002
    lot: Lot | None,
    counted: Decimal,
    *,
    by: User | None,
    key: UUID,
    expected: Decimal | None = None,
    reason: str = "",
) -> StockMove | None:
    """Book the difference between what was counted and the record; None where they agree.

    ``expected`` is what the record said when counting began: where it has moved since, the count is refused.
    """
    require(by, "move stock")
    if counted < 0:
        raise MoveRefused(_("Counted %(number)s: write 0 or more.") % {"number": _plain(counted)})
    _refuse_fractions(part, counted)
    lock_part(part)
    agreed = Change.objects.about(part).filter(act="counted", after__key=str(key))
    if (earlier := moves_of(key)) or agreed.exists():
        return earlier[0] if earlier else None
    level = _level(part, bin, lot)
    if expected is not None and expected != level.on_hand:
        raise MoveRefused(
            _("%(what)s was %(then)s when you began and is %(now)s now: something was booked meanwhile. Count again.")
            % {"what": _place(level), "then": _plain(expected), "now": _plain(level.on_hand)}
        )
    if counted == level.on_hand:
        figures = {"bin": bin.code, "lot": lot.code if lot else "", "on_hand": _plain(counted)}
        Change.record(part, "counted", by=by, before=figures, after={**figures, "key": str(key)})
        return None
    entry, lacked = Entry(part, Kind.COUNT, by, key, reason), lacking(part)
    return tell_and_advise(entry, book_row(entry, bin, lot, counted - level.on_hand, 0), lacked)


@transaction.atomic
def scrap(
    part: Part,
    quantity: Decimal,
    *,
    by: User | None,
    key: UUID,
    reason: str,
    bin: Bin | None = None,  # noqa: A002
    lot: Lot | None = None,
) -> StockMove:
    """Throw parts away; a reason is required. Raises MoveRefused."""
    require(by, "move stock")
    if not reason.strip():
        raise MoveRefused(_("Say why the parts are thrown away."))
    entry = Entry(part, Kind.SCRAP, by, key, reason)
    if earlier := _begin(entry, -quantity):
        return earlier[0]
    lacked = lacking(part)
    return tell_and_advise(entry, book_row(entry, bin or part.bin, lot, -quantity, 0), lacked)


@transaction.atomic
def transfer(
    part: Part,
    quantity: Decimal,
    from_bin: Bin,
    to_bin: Bin,
    lot: Lot | None = None,
    *,
    by: User | None,
    key: UUID,
    reason: str = "",
) -> list[StockMove]:
    """Move parts to another bin: one row that takes, one that adds. Raises MoveRefused."""
    require(by, "move stock")
    if from_bin == to_bin:
        raise MoveRefused(_("Both bins are %(bin)s: choose another bin to put the parts into.") % {"bin": to_bin})
    entry = Entry(part, Kind.TRANSFER, by, key, reason)
    if earlier := _begin(entry, ZERO, moved=quantity):
        return earlier
    return [book_row(entry, from_bin, lot, -quantity, 0), book_row(entry, to_bin, lot, quantity, 1)]


def _begin(entry: Entry, change: Decimal, moved: Decimal | None = None) -> list[StockMove]:
    """Check the quantity, lock the part, and return the moves that were booked with this key before."""
    quantity = abs(change) if moved is None else moved
    asked = moved if moved is not None else (-change if entry.kind in (Kind.ISSUE, Kind.SCRAP) else change)
    if not asked > 0:
        raise MoveRefused(
            _("%(number)s %(part)s: write a quantity above 0.") % {"number": _plain(asked), "part": entry.part.name}
        )
    _refuse_fractions(entry.part, quantity)
    lock_part(entry.part)
    earlier = moves_of(entry.key)
    same = all(move.part_id == entry.part.pk and move.kind == entry.kind for move in earlier)
    if earlier and not (same and sum((move.quantity for move in earlier), ZERO) == change):
        raise MoveRefused(
            _("This form was already used for another booking (%(booked)s). Open it again and enter this one anew.")
            % {"booked": f"{earlier[0].get_kind_display()} {earlier[0].part.name}"}
        )
    return earlier


def tell_and_advise(
    entry: Entry, moved: T, lacked: Lacked | None = None, take_from: Collection[str] | None = None
) -> T:
    """Tell whose parts are gone, bring the advice along with the shelf, and hand on what was booked.

    With ``take_from`` somebody had the choice: then those who lose by it must be named there. What is spoiled or was
    not there when it was counted is a fact.
    """
    refresh_advice(_today(), [entry.part])
    losing = losing_claims(entry.part, lacked, entry.reservation) if lacked is not None else []
    if losing and take_from is not None and entry.by is not None:
        refuse_unnamed(losing, take_from, entry.reason, entry.by)
    if losing:
        set_aside_fell_short.send(StockMove, part=entry.part, claims=losing, by=entry.by, reason=entry.reason.strip())
    return moved


def lock_part(part: Part) -> None:
    # Rows that only point to the part (reservations, order lines) need not wait for this lock.
    Part.objects.select_for_update(no_key=True).get(pk=part.pk)


def _row_key(key: UUID, number: int) -> UUID:
    return uuid5(key, str(number)) if number else key


def moves_of(key: UUID) -> list[StockMove]:
    """Return the ledger rows that were booked with a key, in their order."""
    found: list[StockMove] = []
    while move := StockMove.objects.select_related("part").filter(key=_row_key(key, len(found))).first():
        found.append(move)
    return found


def book_row(entry: Entry, bin_: Bin, lot: Lot | None, change: Decimal, number: int) -> StockMove:
    """Add one row to the ledger, bring the running sum along, and keep who, when, before and after."""
    level = _level(entry.part, bin_, lot)
    before, after = level.on_hand, level.on_hand + change
    if after < 0:
        raise MoveRefused(
            _(
                "%(wanted)s of %(what)s cannot be taken: %(held)s on hand. Take %(held)s or less, take the rest from "
                "another bin or lot, or book a count first if more lies there."
            )
            % {"wanted": entry.part.amount(-change), "what": _place(level), "held": entry.part.amount(before)}
        )
    StockLevel.objects.filter(pk=level.pk).update(on_hand=F("on_hand") + Value(change, output_field=QuantityField()))
    move = StockMove.objects.create(
        key=_row_key(entry.key, number),
        part=entry.part,
        bin=bin_,
        lot=lot,
        kind=entry.kind,
        quantity=change,
        at=clock.now(),
        by=entry.by,
        reservation=entry.reservation,
        order_line=entry.order_line,
        takes_back=entry.takes_back,
        reason=entry.reason.strip(),
    )
    where = {"bin": bin_.code, "lot": lot.code if lot else ""}
    Change.record(
        entry.part,
        f"stock: {entry.kind}",
        by=entry.by,
        before={**where, "on_hand": _plain(before)},
        after={**where, "on_hand": _plain(after)},
        note=entry.reason.strip(),
    )
    return move


def _level(part: Part, bin_: Bin, lot: Lot | None) -> StockLevel:
    if lot and lot.part_id != part.pk:
        raise MoveRefused(
            _("Lot %(lot)s is a lot of %(other)s, not of %(part)s: choose one of its lots.")
            % {"lot": lot.code, "other": lot.part.name, "part": part.name}
        )
    level, _created = StockLevel.objects.select_for_update().get_or_create(
        part=part, bin=bin_, lot=lot, defaults={"on_hand": ZERO}
    )
    return level


def _levels_to_take(part: Part, lot: Lot | None) -> list[StockLevel]:
    found = StockLevel.objects.filter(part=part, on_hand__gt=0).select_related("part", "bin", "lot").order_by("pk")
    return list(found.filter(lot=lot) if lot else found)


def _on_shelf(level: StockLevel) -> LotOnShelf:
    lot = level.lot
    return LotOnShelf(_place(level), level.on_hand, lot.expires_on if lot else None, lot.received_on if lot else None)


def _lot_for_receipt(part: Part, code: str, expires_on: date | None) -> Lot | None:
    today = _today()
    if expires_on and expires_on < today:
        raise MoveRefused(
            _("The goods expired on %(day)s: do not book them in, send them back to the supplier.")
            % {"day": expires_on.isoformat()}
        )
    code = code.strip()
    if not (code or expires_on or part.shelf_life_days):
        return None
    expires_on = expires_on or part.expires_on_after(today)
    lot, is_new = Lot.objects.get_or_create(
        part=part,
        code=code or _code_of_the_day(part, today, expires_on),
        defaults={"received_on": today, "expires_on": expires_on},
    )
    if not is_new and lot.expires_on != expires_on:
        raise MoveRefused(
            _("Lot %(lot)s is known with the expiry date %(known)s: write that date, or another lot if it is one.")
            % {"lot": lot.code, "known": lot.expires_on.isoformat() if lot.expires_on else _("none")}
        )
    return lot


def _code_of_the_day(part: Part, today: date, expires_on: date | None) -> str:
    """Name a lot without a code by the day it came; one of that day with another expiry gets a number."""
    named = Lot.objects.filter(part=part, code__startswith=today.isoformat())
    same = named.filter(expires_on=expires_on).first()
    if same:
        return same.code
    taken = named.count()
    return f"{today.isoformat()}-{taken + 1}" if taken else today.isoformat()


def use_reservation(reservation: Reservation, part: Part, quantity: Decimal) -> None:
    """Count what was taken for a reservation (below zero: brought back) and close it once all was taken."""
    fresh = Reservation.objects.select_for_update().get(pk=reservation.pk)
    if fresh.part_id != part.pk:
        raise MoveRefused(
            _("%(source)s has %(part)s reserved, not %(other)s: choose the right part.")
            % {"source": fresh.source, "part": fresh.part.name, "other": part.name}
        )
    if quantity > 0 and fresh.closed_at:
        raise MoveRefused(
            _("Nothing is reserved for %(source)s any more: issue the parts without a reservation, with a reason.")
            % {"source": fresh.source}
        )
    used = fresh.used + quantity
    if used < 0:
        raise MoveRefused(
            _("%(source)s has taken %(used)s: bring back so many or fewer.")
            % {"source": fresh.source, "used": part.amount(fresh.used)}
        )
    fields: dict[str, Any] = {"used": F("used") + Value(quantity, output_field=QuantityField())}
    if quantity > 0 and used >= fresh.quantity:
        fields["closed_at"] = clock.now()
    Reservation.objects.filter(pk=fresh.pk).update(**fields)


def _book_on_line(line: PurchaseOrderLine, part: Part, quantity: Decimal, by: User | None) -> None:
    """Count a receipt on its order line and move the order's state."""
    order = PurchaseOrder.objects.select_for_update().get(pk=line.order_id)
    if line.part_id != part.pk:
        raise MoveRefused(_("This line of %(order)s is for another part.") % {"order": order.number})
    if order.state not in (PurchaseOrder.State.SENT, PurchaseOrder.State.PART_ARRIVED):
        raise MoveRefused(
            _(
                "%(order)s is %(state)s: only an order that was sent and is still open takes a delivery. "
                "Book it without order."
            )
            % {"order": order.number, "state": order.get_state_display()}
        )
    PurchaseOrderLine.objects.filter(pk=line.pk).update(
        received=F("received") + Value(quantity, output_field=QuantityField())
    )
    is_open = order.lines.filter(received__lt=F("quantity")).exists()
    state = PurchaseOrder.State.PART_ARRIVED if is_open else PurchaseOrder.State.ARRIVED
    if state != order.state:
        PurchaseOrder.objects.filter(pk=order.pk).update(state=state, version=F("version") + 1)
        Change.record(order, "state", by=by, before={"state": order.state}, after={"state": str(state)})


def _refuse_fractions(part: Part, quantity: Decimal) -> None:
    if quantity % part.unit_step:
        raise MoveRefused(
            _("%(number)s %(part)s: this part is counted in whole units (%(unit)s).")
            % {"number": _plain(quantity), "part": part.name, "unit": part.unit}
        )


def _place(level: StockLevel) -> Place:
    return Place(level.part.name, level.bin.code, level.lot.code if level.lot else "")


def _today() -> date:
    return clock.today(Mill.objects.current().zone)


def _plain(quantity: Decimal) -> str:
    return f"{Decimal(quantity).normalize():f}"
