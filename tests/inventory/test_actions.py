"""Moves of the stock ledger."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.db.models import Sum

from inventory.actions import (
    MoveRefused,
    close_reservation,
    count,
    give_back,
    issue,
    receive,
    release,
    reserve,
    scrap,
    transfer,
)
from inventory.models import Lot, Part, PurchaseOrder, ReorderAdvice, Reservation, StockLevel, StockMove
from plant import clock
from plant.models import Change, Mill, User
from tests.factories import BinFactory, MillFactory, PartFactory, SupplierFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> User:
    MillFactory()
    return UserFactory(username="bo", role="storekeeper")


@pytest.fixture
def part(keeper: User) -> Part:
    return PartFactory()


def on_hand(part: Part) -> Decimal:
    return StockLevel.objects.filter(part=part).aggregate(Sum("on_hand"))["on_hand__sum"] or Decimal(0)


def ledger_sum(part: Part) -> Decimal:
    return StockMove.objects.filter(part=part).aggregate(Sum("quantity"))["quantity__sum"] or Decimal(0)


def test_what_comes_in_lies_on_the_shelf_and_the_history_says_who(part: Part, keeper: User) -> None:
    receive(part, Decimal(14), by=keeper, key=uuid4())
    receive(part, Decimal(6), by=keeper, key=uuid4())
    assert on_hand(part) == ledger_sum(part) == 20
    last = Change.objects.about(part).last()
    assert last is not None
    assert (last.by, last.before["on_hand"], last.after["on_hand"]) == (keeper, "14", "20")


def test_the_lot_that_expires_first_is_taken_first(part: Part, keeper: User) -> None:
    today = clock.now().date()
    for code, days in (("late", 300), ("early", 20)):
        receive(part, Decimal(5), by=keeper, key=uuid4(), lot_code=code, expires_on=today + timedelta(days=days))
    moves = issue(part, Decimal(7), by=keeper, key=uuid4())
    assert [(move.lot.code if move.lot else "", move.quantity) for move in moves] == [("early", -5), ("late", -2)]


def test_an_expired_lot_is_taken_only_by_name_and_with_a_reason(part: Part, keeper: User) -> None:
    today = clock.now().date()
    receive(part, Decimal(5), by=keeper, key=uuid4(), lot_code="old", expires_on=today + timedelta(days=9))
    Lot.objects.update(expires_on=today - timedelta(days=3))
    lot = Lot.objects.get()
    with pytest.raises(MoveRefused, match="5 more expired"):
        issue(part, Decimal(1), by=keeper, key=uuid4())
    with pytest.raises(MoveRefused, match="more expired"):
        issue(part, Decimal(1), by=keeper, key=uuid4(), lot=lot)
    with pytest.raises(MoveRefused, match="say why"):
        issue(part, Decimal(1), by=keeper, key=uuid4(), lot=lot, take_expired=True)
    issue(part, Decimal(1), by=keeper, key=uuid4(), lot=lot, take_expired=True, reason="for practice")
    assert on_hand(part) == 4


def test_a_part_that_keeps_for_a_time_always_gets_a_lot(keeper: User) -> None:
    plates = PartFactory(code="emc-50", name="EMC plates, pack of 50", unit="pack", shelf_life_days=365)
    move = receive(plates, Decimal(2), by=keeper, key=uuid4())
    assert move.lot is not None
    assert move.lot.expires_on == move.lot.received_on + timedelta(days=365)


def test_lots_without_a_code_are_named_by_the_day_they_came(part: Part, keeper: User) -> None:
    today = clock.now().date()
    for days in (30, 30, 60):
        receive(part, Decimal(1), by=keeper, key=uuid4(), expires_on=today + timedelta(days=days))
    lots = Lot.objects.order_by("expires_on").values_list("code", "levels__on_hand")
    day = clock.today(Mill.objects.current().zone).isoformat()
    assert list(lots) == [(day, 2), (f"{day}-2", 1)]


def test_setting_aside_by_a_person_brings_the_advice_along(part: Part, keeper: User) -> None:
    receive(part, Decimal(3), by=keeper, key=uuid4())
    reserve(part, Decimal(5), clock.now().date(), "WO-0007", by=keeper)
    assert part.advice.order_quantity > 0
    release("WO-0007", by=keeper)
    assert ReorderAdvice.objects.get().order_quantity == 0


def test_a_lot_has_one_expiry_date_and_expired_goods_stay_out(part: Part, keeper: User) -> None:
    today = clock.now().date()
    receive(part, Decimal(1), by=keeper, key=uuid4(), lot_code="L7", expires_on=today + timedelta(days=30))
    with pytest.raises(MoveRefused, match="known with the expiry date"):
        receive(part, Decimal(1), by=keeper, key=uuid4(), lot_code="L7", expires_on=today + timedelta(days=31))
    with pytest.raises(MoveRefused, match="send them back"):
        receive(part, Decimal(1), by=keeper, key=uuid4(), lot_code="L8", expires_on=today - timedelta(days=1))
    assert on_hand(part) == 1


def test_more_than_there_is_cannot_be_taken(part: Part, keeper: User) -> None:
    receive(part, Decimal(3), by=keeper, key=uuid4())
    with pytest.raises(MoveRefused, match=r"3 on hand in bin C2-1.*Issue 3 and order the rest"):
        issue(part, Decimal(4), by=keeper, key=uuid4())
    with pytest.raises(MoveRefused, match="Take 3 or less"):
        scrap(part, Decimal(4), by=keeper, key=uuid4(), reason="wet")
    assert on_hand(part) == ledger_sum(part) == 3


def test_the_database_itself_refuses_a_shelf_below_zero(part: Part, keeper: User) -> None:
    receive(part, Decimal(3), by=keeper, key=uuid4())
    with pytest.raises(IntegrityError, match="stock_not_below_zero"), transaction.atomic():
        StockLevel.objects.filter(part=part).update(on_hand=Decimal(-1))


@pytest.mark.parametrize("wrong", ["0", "-2", "1.5"])
def test_a_quantity_is_above_zero_and_whole_where_pieces_are_counted(part: Part, keeper: User, wrong: str) -> None:
    with pytest.raises(MoveRefused, match=r"above 0|whole units"):
        receive(part, Decimal(wrong), by=keeper, key=uuid4())
    assert not StockMove.objects.exists()


def test_what_is_sold_by_the_metre_may_be_cut(keeper: User) -> None:
    profile = PartFactory(code="seal", name="door seal profile", unit="m")
    receive(profile, Decimal("46.5"), by=keeper, key=uuid4())
    issue(profile, Decimal("0.25"), by=keeper, key=uuid4())
    assert on_hand(profile) == Decimal("46.25")


Booking = Callable[[Part, User, UUID], Any]


@pytest.mark.parametrize(
    "booking",
    [
        lambda part, by, key: receive(part, Decimal(2), by=by, key=key),
        lambda part, by, key: issue(part, Decimal(12), by=by, key=key),
        lambda part, by, key: give_back(part, Decimal(2), by=by, key=key, bin=part.bin),
        lambda part, by, key: count(part, part.bin, None, Decimal(9), by=by, key=key),
        lambda part, by, key: count(part, part.bin, None, Decimal(10), by=by, key=key),
        lambda part, by, key: scrap(part, Decimal(2), by=by, key=key, reason="rust"),
        lambda part, by, key: transfer(part, Decimal(2), part.bin, BinFactory(code="D1-1"), by=by, key=key),
    ],
    ids=["receipt", "issue over two lots", "return", "count", "count that agrees", "scrap", "transfer"],
)
def test_a_second_try_with_the_same_key_changes_nothing(part: Part, keeper: User, booking: Booking) -> None:
    receive(part, Decimal(10), by=keeper, key=uuid4())
    receive(part, Decimal(5), by=keeper, key=uuid4(), lot_code="L1")
    key = uuid4()
    first = booking(part, keeper, key)
    rows, changes = StockMove.objects.count(), Change.objects.count()
    assert booking(part, keeper, key) == first
    assert (StockMove.objects.count(), Change.objects.count()) == (rows, changes)
    assert on_hand(part) == ledger_sum(part)


def test_a_key_serves_one_booking_only(part: Part, keeper: User) -> None:
    key = uuid4()
    receive(part, Decimal(5), by=keeper, key=key)
    with pytest.raises(MoveRefused, match="already used for another booking"):
        receive(part, Decimal(6), by=keeper, key=key)
    with pytest.raises(MoveRefused, match="already used"):
        issue(part, Decimal(5), by=keeper, key=key)
    assert on_hand(part) == 5


def test_a_count_puts_the_figure_right_and_notices_what_was_booked_meanwhile(part: Part, keeper: User) -> None:
    receive(part, Decimal(14), by=keeper, key=uuid4())
    move = count(part, part.bin, None, Decimal(12), by=keeper, key=uuid4(), expected=Decimal(14))
    assert move is not None
    assert (move.quantity, on_hand(part)) == (-2, 12)
    with pytest.raises(MoveRefused, match="was 14 when you began and is 12 now"):
        count(part, part.bin, None, Decimal(13), by=keeper, key=uuid4(), expected=Decimal(14))


def test_a_transfer_leaves_the_sum_as_it_was(part: Part, keeper: User) -> None:
    receive(part, Decimal(10), by=keeper, key=uuid4())
    other = BinFactory(code="D1-1")
    transfer(part, Decimal(4), part.bin, other, by=keeper, key=uuid4())
    assert dict(StockLevel.objects.values_list("bin__code", "on_hand")) == {"C2-1": 6, "D1-1": 4}
    with pytest.raises(MoveRefused, match="choose another bin"):
        transfer(part, Decimal(1), other, other, by=keeper, key=uuid4())


def test_nothing_is_thrown_away_without_a_reason(part: Part, keeper: User) -> None:
    receive(part, Decimal(10), by=keeper, key=uuid4())
    with pytest.raises(MoveRefused, match="Say why"):
        scrap(part, Decimal(1), by=keeper, key=uuid4(), reason="  ")


def test_a_lot_of_another_part_is_refused(part: Part, keeper: User) -> None:
    other = receive(PartFactory(code="pin"), Decimal(1), by=keeper, key=uuid4(), lot_code="L1")
    with pytest.raises(MoveRefused, match="choose one of its lots"):
        scrap(part, Decimal(1), by=keeper, key=uuid4(), lot=other.lot, reason="wet")


# --- reservations --------------------------------------------------------------------------------


def test_taking_all_that_was_set_aside_closes_the_reservation(part: Part, keeper: User) -> None:
    technician = UserFactory(username="tor", role="technician")
    receive(part, Decimal(10), by=keeper, key=uuid4())
    wanted = reserve(part, Decimal(4), clock.now().date(), "WO-0007", by=technician)
    issue(part, Decimal(3), by=technician, key=uuid4(), reservation=wanted)
    assert Reservation.objects.still_wanted().get().used == 3
    issue(part, Decimal(1), by=technician, key=uuid4(), reservation=wanted)
    assert not Reservation.objects.still_wanted().exists()
    give_back(part, Decimal(2), by=technician, key=uuid4(), reservation=wanted)
    wanted.refresh_from_db()
    assert (wanted.used, on_hand(part)) == (2, 8)
    with pytest.raises(MoveRefused, match="bring back so many or fewer"):
        give_back(part, Decimal(3), by=technician, key=uuid4(), reservation=wanted)
    with pytest.raises(MoveRefused, match="reserved for WO-0007 any more"):
        issue(part, Decimal(1), by=technician, key=uuid4(), reservation=wanted)


def test_unused_parts_go_back_into_the_lot_they_came_from(keeper: User) -> None:
    plates = PartFactory(code="emc-50", unit="pack", shelf_life_days=365)
    received = receive(plates, Decimal(3), by=keeper, key=uuid4())
    wanted = reserve(plates, Decimal(2), clock.now().date(), "WO-0008")
    issue(plates, Decimal(2), by=keeper, key=uuid4(), reservation=wanted)
    assert give_back(plates, Decimal(1), by=keeper, key=uuid4(), reservation=wanted).lot == received.lot
    with pytest.raises(MoveRefused, match="into which lot"):
        give_back(plates, Decimal(1), by=keeper, key=uuid4())


def test_a_reservation_is_one_per_purpose_and_can_be_given_free(part: Part, keeper: User) -> None:
    day = clock.now().date()
    first = reserve(part, Decimal(4), day, "WO-0007")
    assert reserve(part, Decimal(6), day, "WO-0007") == first
    assert Reservation.objects.get().quantity == 6
    changes = Change.objects.count()
    reserve(part, Decimal(6), day, "WO-0007")
    assert Change.objects.count() == changes
    assert release("WO-0007") == 1
    assert release("WO-0007") == 0
    assert close_reservation(first) is False
    with pytest.raises(MoveRefused, match="above 0"):
        reserve(part, Decimal("0.5"), day, "WO-0009")


def test_a_reservation_serves_its_own_part_only(part: Part, keeper: User) -> None:
    receive(part, Decimal(4), by=keeper, key=uuid4())
    wanted = reserve(PartFactory(code="pin", name="electrode pins"), Decimal(1), clock.now().date(), "WO-0007")
    with pytest.raises(MoveRefused, match="has electrode pins reserved"):
        issue(part, Decimal(1), by=keeper, key=uuid4(), reservation=wanted)
    assert on_hand(part) == 4


# --- who may --------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["kiln_master", "planner", "technician", "manager", "auditor"])
def test_only_who_keeps_the_store_moves_stock(part: Part, keeper: User, role: str) -> None:
    other = UserFactory(username="els", role=role)
    receive(part, Decimal(4), by=keeper, key=uuid4())
    for attempt in (
        lambda: receive(part, Decimal(1), by=other, key=uuid4()),
        lambda: issue(part, Decimal(1), by=other, key=uuid4()),
        lambda: count(part, part.bin, None, Decimal(1), by=other, key=uuid4()),
        lambda: scrap(part, Decimal(1), by=other, key=uuid4(), reason="rust"),
        lambda: transfer(part, Decimal(1), part.bin, BinFactory(code="D1-1"), by=other, key=uuid4()),
        lambda: give_back(part, Decimal(1), by=other, key=uuid4()),
    ):
        with pytest.raises(PermissionDenied):
            attempt()
    assert on_hand(part) == 4


def test_an_order_that_was_not_sent_takes_no_delivery(part: Part, keeper: User) -> None:
    order = PurchaseOrder.objects.create(number="PO-0001", supplier=SupplierFactory(), drawn_up_at=clock.now())
    line = order.lines.create(part=part, quantity=Decimal(5), unit_price=Decimal(2))
    with pytest.raises(MoveRefused, match="drawn up: only an order that was sent"):
        receive(part, Decimal(5), by=keeper, key=uuid4(), order_line=line)
    assert on_hand(part) == 0
