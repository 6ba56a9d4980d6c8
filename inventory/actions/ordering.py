"""Purchase orders: draw up, change, send, take in, withdraw."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from math import ceil
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from inventory.actions.moves import receive
from inventory.actions.refusals import OrderRefused
from inventory.advice import refresh_advice
from inventory.models import Bin, Part, PurchaseOrder, PurchaseOrderLine, ReorderAdvice, StockMove, SupplierTerms
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, Sentences, typed
from plant.models import Change, Mill, NumberSeries, User

SERIES = "purchase order"
State = PurchaseOrder.State


@dataclass
class DrawnUp:
    """What drawing up orders came to."""

    orders: list[PurchaseOrder] = field(default_factory=list)
    lines: list[PurchaseOrderLine] = field(default_factory=list)
    without_supplier: list[Part] = field(default_factory=list)


@transaction.atomic
def draw_up_orders(day: date, by: User | None) -> DrawnUp:
    """Put all that is to order today into orders, one for each supplier; twice on a day orders nothing twice.

    A part that stands in an order drawn up before is left as it is there; what was sent is counted by the advice.
    """
    require(by, "draw up orders")
    _one_at_a_time()
    refresh_advice(day, list(Part.objects.in_use().to_order()))
    wanted = ReorderAdvice.objects.filter(part__in=Part.objects.in_use().to_order()).select_related("part")
    terms = _terms_of(advice.part_id for advice in wanted)
    result = DrawnUp()
    for advice in wanted.order_by("part__name"):
        if advice.part_id not in terms:
            result.without_supplier.append(advice.part)
            continue
        line = _add_line(terms[advice.part_id], advice.order_quantity, advice.reason, by)
        result.lines.append(line)
        if line.order not in result.orders:
            result.orders.append(line.order)
    return result


@transaction.atomic
def order_part(part: Part, quantity: Decimal, by: User | None, reason: str = "") -> PurchaseOrderLine:
    """Put a part into the order that is drawn up for its supplier; one that stands there gets the new quantity."""
    require(by, "draw up orders")
    _refuse_quantity(part, quantity)
    _one_at_a_time()
    terms = _terms_of([part.pk]).get(part.pk)
    if terms is None:
        raise OrderRefused(_("Nobody delivers %(part)s yet: enter a supplier on its page first.") % {"part": part.name})
    known = PurchaseOrderLine.objects.filter(part=part, order__state=State.DRAWN_UP).select_related("order").first()
    if known:
        _set_quantity(known, quantity, by)
        return known
    return _add_line(terms, quantity, typed(reason) or (Sentence.of("order.by_hand"),), by)


@transaction.atomic
def change_quantities(order: PurchaseOrder, quantities: dict[int, Decimal], version: int, by: User | None) -> None:
    """Change how many are ordered (line id -> quantity) while the order waits to be sent; 0 takes a line out."""
    require(by, "draw up orders")
    _claim(order, version, [State.DRAWN_UP])
    lines = list(order.lines.select_related("part", "order").filter(pk__in=quantities))
    removed = [line for line in lines if not quantities[line.pk]]
    if len(removed) == order.lines.count():
        raise OrderRefused(_("No line of %(order)s would be left: withdraw the order instead.") % {"order": order})
    for line in lines:
        if line not in removed:
            _refuse_quantity(line.part, quantities[line.pk])
            _set_quantity(line, quantities[line.pk], by)
    for line in removed:
        Change.record(order, "line taken out", by=by, before={line.part.code: _plain(line.quantity)})
        line.delete()
        _new_version(order)


@transaction.atomic
def send(order: PurchaseOrder, by: User | None, promised_on: date, version: int | None = None) -> None:
    """Mark an order as sent, with the day the supplier promises."""
    require(by, "draw up orders")
    _refuse_past(promised_on)
    _claim(order, version, [State.DRAWN_UP])
    _move(order, by, State.SENT, sent_at=clock.now(), promised_on=promised_on)


@transaction.atomic
def promise(order: PurchaseOrder, by: User | None, promised_on: date, version: int | None = None) -> None:
    """Keep another day that the supplier promises now."""
    require(by, "draw up orders")
    _refuse_past(promised_on)
    _claim(order, version, [State.SENT, State.PART_ARRIVED])
    _move(order, by, State(order.state), promised_on=promised_on)


@transaction.atomic
def withdraw(order: PurchaseOrder, by: User | None, reason: str, version: int | None = None) -> None:
    """Withdraw an order; what has arrived of it stays booked."""
    require(by, "draw up orders")
    if not reason.strip():
        raise OrderRefused(_("Say why the order is withdrawn."))
    _claim(order, version, [State.DRAWN_UP, State.SENT, State.PART_ARRIVED])
    _move(order, by, State.WITHDRAWN, note=reason.strip())


@dataclass(frozen=True)
class Received:
    """A delivery that was booked, and by how much it exceeds what was ordered."""

    move: StockMove
    surplus: Decimal


def receive_line(
    order_line: PurchaseOrderLine,
    quantity: Decimal,
    *,
    by: User | None,
    key: UUID,
    bin: Bin | None = None,  # noqa: A002 (the trade's word)
    lot_code: str = "",
    expires_on: date | None = None,
    reason: str = "",
) -> Received:
    """Book a delivery of an order line; more than was ordered is booked too, and said."""
    move = receive(
        order_line.part,
        quantity,
        by=by,
        key=key,
        bin=bin,
        lot_code=lot_code,
        expires_on=expires_on,
        order_line=order_line,
        reason=reason,
    )
    order_line.refresh_from_db()
    return Received(move, order_line.surplus)


def likely_arrival(order: PurchaseOrder, day: date) -> date:
    """Return the day on which all of an order should be there if it is sent on a day: its longest lead time."""
    terms = SupplierTerms.objects.filter(supplier=order.supplier_id, part__order_lines__order=order)
    return day + timedelta(days=ceil(max((one.lead_time_days for one in terms), default=0)))


def _one_at_a_time() -> None:
    # Giving out no number still locks the series: two who draw up at once do it one after the other.
    NumberSeries.take(SERIES, 0)


def _terms_of(part_ids: Iterable[int]) -> dict[int, SupplierTerms]:
    """Return part id -> the terms to order on: the preferred ones, else the cheapest."""
    found = SupplierTerms.objects.filter(part__in=list(part_ids)).select_related("part", "supplier")
    return {terms.part_id: terms for terms in found.order_by("is_preferred", "-unit_price")}


def _add_line(terms: SupplierTerms, quantity: Decimal, reason: Sentences, by: User | None) -> PurchaseOrderLine:
    order = PurchaseOrder.objects.filter(supplier=terms.supplier, state=State.DRAWN_UP).order_by("pk").first()
    if order is None:
        order = PurchaseOrder.objects.create(
            number=f"PO-{NumberSeries.take(SERIES):04d}",
            supplier=terms.supplier,
            drawn_up_at=clock.now(),
            drawn_up_by=by,
        )
        Change.record(order, "state", by=by, after={"state": str(State.DRAWN_UP)})
    line = order.lines.create(part=terms.part, quantity=quantity, unit_price=terms.unit_price, reason=reason)
    _new_version(order)
    Change.record(order, "line added", by=by, after={terms.part.code: _plain(quantity)}, said=reason)
    return line


def _set_quantity(line: PurchaseOrderLine, quantity: Decimal, by: User | None) -> None:
    before, line.quantity = line.quantity, quantity
    if before == quantity:
        return
    line.save(update_fields=["quantity"])
    _new_version(line.order)
    code = line.part.code
    Change.record(line.order, "quantity", by=by, before={code: _plain(before)}, after={code: _plain(quantity)})


def _new_version(order: PurchaseOrder) -> None:
    PurchaseOrder.objects.filter(pk=order.pk).update(version=F("version") + 1)


def _claim(order: PurchaseOrder, version: int | None, states: list[State]) -> PurchaseOrder:
    """Lock the order and see that it is still what its editor saw."""
    fresh = PurchaseOrder.objects.select_for_update().get(pk=order.pk)
    if fresh.state not in states:
        raise OrderRefused(
            _("%(order)s is %(state)s by now: this cannot be done any more.")
            % {"order": fresh.number, "state": fresh.get_state_display()}
        )
    if version is not None and fresh.version != version:
        raise OrderRefused(
            _("Somebody changed %(order)s meanwhile: look at it again, then repeat what you wanted to do.")
            % {"order": fresh.number}
        )
    order.state = fresh.state
    return fresh


def _move(order: PurchaseOrder, by: User | None, state: State, note: str = "", **fields: Any) -> None:
    """Change the order's state and what goes with it, keep the history, and bring the advice of its parts along."""
    names = ["state", *(name for name in fields if name == "promised_on")]
    before = {name: _shown(getattr(order, name)) for name in names}
    fields["state"] = state
    for name, value in fields.items():
        setattr(order, name, value)
    order.save(update_fields=list(fields))
    _new_version(order)
    Change.record(
        order, "state", by=by, before=before, after={name: _shown(getattr(order, name)) for name in names}, note=note
    )
    parts = Part.objects.filter(order_lines__order=order).order_by("pk")
    refresh_advice(clock.today(Mill.objects.current().zone), list(parts))


def _refuse_past(day: date) -> None:
    if day < clock.today(Mill.objects.current().zone):
        raise OrderRefused(_("%(day)s has passed: write today or a later day.") % {"day": day.isoformat()})


def _refuse_quantity(part: Part, quantity: Decimal) -> None:
    if not quantity > 0 or quantity % part.unit_step:
        raise OrderRefused(
            _("%(number)s %(part)s cannot be ordered: write a quantity above 0, in whole units where it is counted.")
            % {"number": _plain(quantity), "part": part.name}
        )


def _shown(value: date | str | None) -> str:
    return value.isoformat() if isinstance(value, date) else str(value or "")


def _plain(quantity: Decimal) -> str:
    return f"{Decimal(quantity).normalize():f}"
