"""Purchase orders: from the advice to the shelf."""

import io
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from inventory.actions import (
    OrderRefused,
    change_quantities,
    draw_up_orders,
    likely_arrival,
    order_part,
    promise,
    receive_line,
    reserve,
    send,
    withdraw,
)
from inventory.advice import refresh_advice
from inventory.models import PurchaseOrder, ReorderAdvice, StockLevel, SupplierTerms
from plant import clock
from plant.frame.saying import say
from plant.models import Change
from tests.factories import SupplierFactory, UserFactory
from tests.inventory.storeroom_things import keeper, kept_part, mill_today, signed_in, wanted_part

pytestmark = pytest.mark.django_db
State = PurchaseOrder.State


def state(order: PurchaseOrder) -> str:
    return PurchaseOrder.objects.get(pk=order.pk).state


def test_what_is_to_order_goes_into_one_order_for_each_supplier() -> None:
    birch = SupplierFactory(code="birch", name="Birch Supply")
    wick, pin = wanted_part("wick-300"), wanted_part("pin", name="electrode pins")
    nozzle = wanted_part("nozzle", name="spray nozzle", supplier=birch)
    kept_part("plenty", on_hand=500)
    drawn = draw_up_orders(mill_today(), keeper())
    lines = {(line.order.supplier.code, line.part.code) for line in drawn.lines}
    assert lines == {("alder-works", wick.code), ("alder-works", pin.code), ("birch", nozzle.code)}
    assert sorted(order.number for order in drawn.orders) == ["PO-0001", "PO-0002"]
    assert all(say(line.reason).startswith("Planned in the 21 days it takes to arrive: 18.") for line in drawn.lines)


def test_drawing_up_twice_orders_nothing_twice() -> None:
    wanted_part()
    day, by = mill_today(), keeper()
    first = draw_up_orders(day, by)
    assert len(first.lines) == 1
    assert draw_up_orders(day, by).lines == []
    send(first.orders[0], by, day + timedelta(days=21))
    assert draw_up_orders(day, by).lines == []
    assert ReorderAdvice.objects.get().on_order == first.lines[0].quantity


def test_a_further_part_joins_the_order_that_waits_to_be_sent() -> None:
    wanted_part("wick-300")
    by = keeper()
    first = draw_up_orders(mill_today(), by).orders[0]
    wanted_part("pin")
    assert draw_up_orders(mill_today(), by).orders == [first]
    assert first.lines.count() == 2


def test_a_part_that_nobody_delivers_is_named() -> None:
    part = wanted_part()
    SupplierTerms.objects.all().delete()
    # Without a lead time only what is wanted today is to order.
    reserve(part, Decimal(20), mill_today(), "WO-0099")
    refresh_advice(mill_today(), [part])
    drawn = draw_up_orders(mill_today(), keeper())
    assert (drawn.lines, drawn.without_supplier) == ([], [part])
    with pytest.raises(OrderRefused, match="Nobody delivers"):
        order_part(part, Decimal(5), keeper())


def test_a_withdrawn_order_is_drawn_up_anew() -> None:
    wanted_part()
    by = keeper()
    order = draw_up_orders(mill_today(), by).orders[0]
    with pytest.raises(OrderRefused, match="Say why"):
        withdraw(order, by, " ")
    withdraw(order, by, "supplier closed")
    assert state(order) == State.WITHDRAWN
    assert draw_up_orders(mill_today(), by).orders[0].number == "PO-0002"


def test_quantities_change_until_the_order_is_sent_and_a_stale_editor_is_told() -> None:
    line = order_part(kept_part(), Decimal(10), keeper())
    order, by = PurchaseOrder.objects.get(), keeper()
    change_quantities(order, {line.pk: Decimal(30)}, order.version, by)
    line.refresh_from_db()
    assert line.quantity == 30
    with pytest.raises(OrderRefused, match="Somebody changed PO-0001 meanwhile"):
        change_quantities(order, {line.pk: Decimal(40)}, order.version, by)
    order.refresh_from_db()
    with pytest.raises(OrderRefused, match="withdraw the order instead"):
        change_quantities(order, {line.pk: Decimal(0)}, order.version, by)
    with pytest.raises(OrderRefused, match="whole units"):
        change_quantities(order, {line.pk: Decimal("2.5")}, order.version, by)
    send(order, by, mill_today())
    with pytest.raises(OrderRefused, match="is sent by now"):
        change_quantities(order, {line.pk: Decimal(40)}, order.version + 1, by)


def test_ordering_by_hand_twice_keeps_one_line() -> None:
    part, by = kept_part(), keeper()
    first = order_part(part, Decimal(10), by)
    assert order_part(part, Decimal(20), by) == first
    first.refresh_from_db()
    assert first.quantity == 20


def test_an_order_arrives_in_parts_and_more_than_ordered_is_said() -> None:
    by = keeper()
    wick, pin = order_part(kept_part("wick-300"), Decimal(10), by), order_part(kept_part("pin"), Decimal(5), by)
    order = wick.order
    send(order, by, mill_today())
    assert receive_line(wick, Decimal(4), by=by, key=uuid4()).surplus == 0
    assert state(order) == State.PART_ARRIVED
    key = uuid4()
    assert receive_line(wick, Decimal(8), by=by, key=key).surplus == 2
    assert receive_line(wick, Decimal(8), by=by, key=key).move.quantity == 8
    assert state(order) == State.PART_ARRIVED
    receive_line(pin, Decimal(5), by=by, key=uuid4())
    assert state(order) == State.ARRIVED
    assert StockLevel.objects.get(part=wick.part).on_hand == 12
    states = [change.after.get("state") for change in Change.objects.about(order) if change.act == "state"]
    assert states == ["drawn_up", "sent", "part_arrived", "arrived"]


def test_a_promised_day_lies_ahead_and_may_be_put_off() -> None:
    by, day = keeper(), mill_today()
    order = order_part(kept_part(), Decimal(10), by).order
    assert likely_arrival(order, day) == day + timedelta(days=21)
    with pytest.raises(OrderRefused, match="has passed"):
        send(order, by, day - timedelta(days=1))
    send(order, by, day)
    promise(order, by, day + timedelta(days=9))
    assert PurchaseOrder.objects.get().promised_on == day + timedelta(days=9)
    with pytest.raises(OrderRefused, match="is sent by now"):
        send(order, by, day)


@pytest.mark.parametrize("role", ["kiln_master", "technician", "manager", "auditor"])
def test_only_who_draws_up_orders_may(role: str) -> None:
    part = wanted_part()
    other = UserFactory(username="els", role=role)
    line = order_part(part, Decimal(10), keeper())
    for attempt in (
        lambda: draw_up_orders(mill_today(), other),
        lambda: order_part(part, Decimal(20), other),
        lambda: change_quantities(line.order, {line.pk: Decimal(3)}, 1, other),
        lambda: send(line.order, other, mill_today()),
        lambda: withdraw(line.order, other, "no"),
    ):
        with pytest.raises(PermissionDenied):
            attempt()


# --- pages ----------------------------------------------------------------------------------------


def test_the_storekeepers_morning(client: Client) -> None:
    part = wanted_part()
    signed_in(client)
    page = client.get("/stores/").content.decode()
    assert "1 part to order today." in page
    quantity = ReorderAdvice.objects.get().order_quantity.normalize()
    assert f"Order {quantity:f} today" in page
    assert "Planned in the 21 days it takes to arrive: 18." in page

    answer: Any = client.post("/stores/draw-up-orders/", follow=True)
    assert "Drawn up: PO-0001 with 1 line." in answer.content.decode()
    assert "drawn up, not sent" in client.get("/stores/").content.decode()

    order = PurchaseOrder.objects.get()
    line = order.lines.get()
    form = {"send-version": order.version, "send-promised_on": (mill_today() + timedelta(days=20)).isoformat()}
    answer = client.post("/stores/orders/PO-0001/send/", form, follow=True)
    assert "PO-0001 is marked as sent." in answer.content.decode()

    booking = client.get(f"/stores/receive/?part={part.code}&line={line.pk}")
    key = booking.context["form"]["key"].value()
    assert f'value="{line.quantity.normalize():f}"' in booking.content.decode()
    receipt = {"key": key, "quantity": line.quantity, "order_line": line.pk, "bin": part.bin_id}
    for _sent_twice in range(2):
        answer = client.post(f"/stores/receive/?part={part.code}&line={line.pk}", receipt)
    order.refresh_from_db()
    assert order.state == State.ARRIVED
    assert StockLevel.objects.get(part=part).on_hand == 14 + line.quantity
    assert "Nothing to order today, and no delivery is late." in client.get("/stores/").content.decode()


def test_a_late_order_stands_first_and_says_who_waits(client: Client) -> None:
    part, by = wanted_part(name="fan bearing set"), keeper()
    order = order_part(part, Decimal(10), by).order
    send(order, by, mill_today())
    other = order_part(kept_part("pin", supplier=SupplierFactory(code="birch")), Decimal(10), by).order
    PurchaseOrder.objects.filter(pk=order.pk).update(promised_on=mill_today() - timedelta(days=2))
    signed_in(client)
    page = client.get("/stores/orders/").content.decode()
    assert page.index(order.number) < page.index(other.number)
    assert "Late by 2 days" in page
    assert f"Waiting for it: WO-{part.pk:04d} (K2: Change the wicks)." in page
    assert "1 delivery is late; 1 order waits to be sent; 1 order is on its way." in page
    assert "Call the supplier." in client.get(order.get_absolute_url()).content.decode()


def test_a_stale_form_keeps_what_was_typed(client: Client) -> None:
    line = order_part(kept_part(), Decimal(10), keeper())
    url = f"/stores/orders/{line.order.number}/quantities/"
    signed_in(client)
    stale = {"lines-version": 0, f"lines-line_{line.pk}": "40"}
    answer = client.post(url, stale)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Somebody changed PO-0001 meanwhile" in page
    assert 'value="40"' in page
    again = {"lines-version": answer.context["quantities_form"]["version"].value(), f"lines-line_{line.pk}": "40"}
    assert client.post(url, again).status_code == 302
    line.refresh_from_db()
    assert line.quantity == 40


def test_a_wrong_day_is_answered_at_its_field(client: Client) -> None:
    order = order_part(kept_part(), Decimal(10), keeper()).order
    signed_in(client)
    answer = client.post(f"/stores/orders/{order}/send/", {"send-version": 1, "send-promised_on": "31.13.2026"})
    assert "Write a day as 2026-03-31." in answer.content.decode()
    assert state(order) == State.DRAWN_UP


def test_the_order_page_shows_its_history_in_words(client: Client) -> None:
    order = order_part(kept_part(), Decimal(10), keeper()).order
    send(order, keeper(), mill_today())
    signed_in(client, "auditor")
    page = client.get(order.get_absolute_url()).content.decode()
    assert "drawn up → sent, promised for" in page
    assert "added: wick-300 10" in page
    assert "Withdraw" not in page


def test_the_printed_order_says_what_how_many_and_for_when(client: Client) -> None:
    line = order_part(kept_part(name="Wick <300> & trough"), Decimal(30), keeper())
    signed_in(client, "auditor")
    answer: Any = client.get(f"/stores/orders/{line.order.number}/as-pdf/")
    assert answer["Content-Type"] == "application/pdf"
    page = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    for words in ("Order PO-0001", "To Alder Works", "Wick <300> & trough", "30 piece", "3.40", "102.00"):
        assert words in page
    assert "Please say on which day you can deliver." in page
    send(line.order, keeper(), mill_today())
    again: Any = client.get(f"/stores/orders/{line.order.number}/as-pdf/")
    assert "Promised for" in PdfReader(io.BytesIO(again.content)).pages[0].extract_text()


def test_the_list_of_orders_asks_the_same_number_of_queries_however_long(client: Client) -> None:
    part = wanted_part()

    def add_orders(numbers: range) -> None:
        for number in numbers:
            supplier = SupplierFactory(code=f"s{number}")
            order = PurchaseOrder.objects.create(
                number=f"X-{number}", supplier=supplier, state=State.SENT, drawn_up_at=clock.now()
            )
            order.lines.create(part=part, quantity=3, unit_price=1)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/stores/orders/").status_code == 200
        return len(captured)

    signed_in(client)
    add_orders(range(2))
    few = queries()
    add_orders(range(2, 40))
    assert queries() == few


def test_the_way_to_a_line_that_is_all_in_says_so_and_books_nothing(client: Client) -> None:
    part, by = kept_part(), keeper()
    line = order_part(part, Decimal(10), by)
    signed_in(client)
    url = f"/stores/receive/?part={part.code}&line={line.pk}"
    said = client.get(url, follow=True).content.decode()
    assert "Nothing can be booked in on PO-0001: the order is drawn up." in said
    send(line.order, by, mill_today())
    assert client.get(url).context["form"]["order_line"].value() == line.pk
    receive_line(line, Decimal(10), by=by, key=uuid4())
    answer: Any = client.get(url, follow=True)
    assert answer.redirect_chain == [("/stores/orders/PO-0001/", 302)]
    assert "of PO-0001 is all in already: nothing more is to come." in answer.content.decode()


def test_a_receipt_for_a_line_that_came_in_meanwhile_is_refused_at_its_field(client: Client) -> None:
    part, by = kept_part(), keeper()
    line = order_part(part, Decimal(10), by)
    send(line.order, by, mill_today())
    receive_line(line, Decimal(10), by=by, key=uuid4())
    signed_in(client)
    receipt = {"key": uuid4(), "quantity": "10", "order_line": line.pk, "bin": part.bin_id}
    said = client.post(f"/stores/receive/?part={part.code}&line={line.pk}", receipt).content.decode()
    assert "Nothing more is to come on this order" in said
    assert StockLevel.objects.get(part=part).on_hand == 10
