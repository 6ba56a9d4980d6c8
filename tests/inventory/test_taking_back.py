"""A wrong booking is taken back: by a further entry that names it, once, and as far as the shelf allows."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db.models import Sum
from django.test import Client
from django.urls import reverse

from inventory.actions import MoveRefused, count, issue, receive, receive_line, reserve, take_back, transfer
from inventory.models import Part, PurchaseOrder, Reservation, StockLevel, StockMove
from inventory.use import months_of_use
from plant import clock
from plant.models import User
from tests.factories import BinFactory, MillFactory, UserFactory
from tests.inventory.storeroom_things import keeper, kept_part, mill_today, signed_in

pytestmark = pytest.mark.django_db


def on_hand(part: Part) -> Decimal:
    held = StockLevel.objects.filter(part=part).aggregate(all=Sum("on_hand"))["all"]
    assert held == StockMove.objects.filter(part=part).aggregate(all=Sum("quantity"))["all"]
    return held


def used(part: Part) -> Decimal:
    return sum((month.total for month in months_of_use(part, mill_today(), MillFactory().zone)), Decimal(0))


def issued(part: Part, quantity: int, by: User | None = None, **values: object) -> StockMove:
    return issue(part, Decimal(quantity), by=by, key=uuid4(), **values)[0]  # type: ignore[arg-type]


def test_an_issue_taken_back_is_on_the_shelf_again_and_was_no_use() -> None:
    part, bo = kept_part(on_hand=14), keeper()
    issued(part, 2)
    wrong = issued(part, 10)
    assert used(part) == 12
    back = take_back(wrong, by=bo, key=uuid4(), reason="typed 10 for 1")
    assert (back.takes_back, back.quantity, back.by, back.reason) == (wrong, 10, bo, "typed 10 for 1")
    assert (on_hand(part), used(part)) == (12, 2)


def test_the_advice_forgets_what_was_never_used() -> None:
    part = kept_part(on_hand=40)
    before = part.advice.reorder_point
    wrong = issued(part, 30)
    part.advice.refresh_from_db()
    assert part.advice.reorder_point > before
    take_back(wrong, by=None, key=uuid4(), reason="another part")
    part.advice.refresh_from_db()
    assert part.advice.reorder_point == before


def test_it_is_taken_back_once_and_the_second_hears_by_whom() -> None:
    part, bo, key = kept_part(on_hand=14), keeper(), uuid4()
    wrong = issued(part, 3)
    first = take_back(wrong, by=bo, key=key, reason="wrong part")
    assert take_back(wrong, by=bo, key=key, reason="wrong part") == first
    with pytest.raises(MoveRefused, match=r"taken back already, by .*wrong part"):
        take_back(wrong, by=bo, key=uuid4(), reason="again")
    with pytest.raises(MoveRefused, match="itself takes a booking back"):
        take_back(first, by=bo, key=uuid4(), reason="again")
    assert on_hand(part) == 14


def test_it_needs_a_reason_and_the_right() -> None:
    wrong = issued(kept_part(on_hand=3), 1)
    with pytest.raises(MoveRefused, match="what was wrong"):
        take_back(wrong, by=keeper(), key=uuid4(), reason=" ")
    with pytest.raises(PermissionDenied):
        take_back(wrong, by=UserFactory(username="per", role="technician"), key=uuid4(), reason="wrong part")


def test_a_receipt_of_a_lot_that_was_used_since_cannot_be_taken_back() -> None:
    part = kept_part()
    wrong = receive(part, Decimal(5), by=None, key=uuid4(), lot_code="L1", expires_on=mill_today() + timedelta(days=90))
    receive(part, Decimal(9), by=None, key=uuid4(), lot_code="L2", expires_on=mill_today() + timedelta(days=99))
    issued(part, 1)
    with pytest.raises(MoveRefused, match=r"lot L1.*4"):
        take_back(wrong, by=None, key=uuid4(), reason="never came")
    assert on_hand(part) == 13


def test_the_supplier_owes_again_what_did_not_come() -> None:
    part, bo = kept_part(), keeper()
    terms = part.terms.get()
    order = PurchaseOrder.objects.create(
        number="PO-0007", supplier=terms.supplier, drawn_up_at=clock.now(), state="sent"
    )
    line = order.lines.create(part=part, quantity=10, unit_price=3)
    states, moves = [], []
    for quantity in (4, 6):
        moves.append(receive_line(line, Decimal(quantity), by=bo, key=uuid4()).move)
    for move in reversed(moves):
        take_back(move, by=bo, key=uuid4(), reason="another order")
        order.refresh_from_db()
        line.refresh_from_db()
        states.append((order.state, line.received))
    assert states == [("part_arrived", 4), ("sent", 0)]


def test_after_a_count_the_count_is_taken_back_first() -> None:
    part = kept_part(on_hand=14)
    wrong = issued(part, 5)
    found = count(part, part.bin, None, Decimal(14), by=None, key=uuid4())
    assert found is not None
    with pytest.raises(MoveRefused, match="counted on"):
        take_back(wrong, by=None, key=uuid4(), reason="wrong part")
    take_back(found, by=None, key=uuid4(), reason="explained")
    take_back(wrong, by=None, key=uuid4(), reason="wrong part")
    assert (on_hand(part), used(part)) == (14, 0)


def test_a_count_that_agreed_lets_the_booking_stand() -> None:
    part = kept_part(on_hand=14)
    wrong = issued(part, 5)
    count(part, part.bin, None, Decimal(9), by=None, key=uuid4())
    with pytest.raises(MoveRefused, match="agreed with the record"):
        take_back(wrong, by=None, key=uuid4(), reason="wrong part")


def test_a_transfer_is_mended_by_a_transfer() -> None:
    part = kept_part(on_hand=14)
    other = BinFactory(code="X-99")
    moved = transfer(part, Decimal(2), part.bin, other, by=None, key=uuid4())
    with pytest.raises(MoveRefused, match="another transfer"):
        take_back(moved[0], by=None, key=uuid4(), reason="wrong bin")


def test_what_was_taken_for_a_reservation_counts_as_not_taken() -> None:
    part = kept_part(on_hand=14)
    claim = reserve(part, Decimal(6), mill_today(), "WO-0007")
    take_back(issued(part, 4, reservation=claim), by=None, key=uuid4(), reason="wrong part")
    assert Reservation.objects.get().used == 0


def test_the_keeper_takes_it_back_beside_the_entry(client: Client) -> None:
    signed_in(client)
    part = kept_part(on_hand=14)
    wrong = issued(part, 3)
    address = reverse("inventory:take-back", args=[part.code, wrong.pk])
    assert address in client.get(part.get_absolute_url()).content.decode()
    key = client.get(address).context["form"]["key"].value()
    page = client.post(address, {"key": key, "reason": "wrong part"}, follow=True).content.decode()
    assert "wrong, taken back" in page
    assert address not in page
    assert "taken back already" in client.get(address).content.decode()
    assert on_hand(part) == 14


def test_who_may_not_move_stock_sees_no_button(client: Client) -> None:
    signed_in(client, "technician")
    part = kept_part(on_hand=14)
    address = reverse("inventory:take-back", args=[part.code, issued(part, 3).pk])
    assert address not in client.get(part.get_absolute_url()).content.decode()
    assert client.post(address, {"key": str(uuid4()), "reason": "x"}).status_code == 403
