"""What to order: which rows count for what, and that the advice is kept once with its reason."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from inventory.advice import refresh_advice
from inventory.models import Part, PurchaseOrder, PurchaseOrderLine, ReorderAdvice, Reservation, StockLevel, StockMove
from plant.frame.saying import say
from tests.factories import MONDAY, MillFactory, PartFactory, SupplierFactory, SupplierTermsFactory

pytestmark = pytest.mark.django_db
TODAY = MONDAY.date()


@pytest.fixture(autouse=True)
def _monday(settings: Any) -> None:
    settings.KILNWARD_TODAY = "2026-03-02"
    MillFactory()


def _part(on_hand: int = 0, **changes: Any) -> Part:
    part: Part = PartFactory(**changes)
    SupplierTermsFactory(part=part)
    if on_hand:
        StockLevel.objects.create(part=part, bin=part.bin, on_hand=Decimal(on_hand))
    return part


def _reserve(part: Part, quantity: int, days: int, source: str = "WO-0001", is_planned: bool = True) -> Reservation:
    return Reservation.objects.create(
        part=part,
        quantity=Decimal(quantity),
        needed_on=TODAY + timedelta(days=days),
        source=source,
        is_planned=is_planned,
        created_at=MONDAY,
    )


def _issue(part: Part, quantity: int, days_ago: int, reservation: Reservation | None = None) -> None:
    StockMove.objects.create(
        key=uuid4(),
        part=part,
        bin=part.bin,
        kind=StockMove.Kind.ISSUE,
        quantity=Decimal(-quantity),
        at=MONDAY - timedelta(days=days_ago),
        reservation=reservation,
    )


def _advice(part: Part) -> ReorderAdvice:
    refresh_advice(TODAY)
    return ReorderAdvice.objects.get(part=part)


def test_need_within_the_lead_time_is_ordered_in_whole_packs_and_says_why() -> None:
    part = _part(on_hand=5)
    _reserve(part, 18, 14)
    advice = _advice(part)
    assert advice.planned_need == 18
    assert advice.order_quantity == 20
    assert "Planned in the 21 days it takes to arrive: 18." in say(advice.reason)


def test_need_after_the_lead_time_can_wait() -> None:
    part = _part()
    _reserve(part, 18, 30)
    assert _advice(part).order_quantity == 0


def test_foreseen_need_counts_as_planned_but_is_not_set_aside() -> None:
    part = _part()
    _reserve(part, 2, 3)
    _reserve(part, 4, 10, source="foreseen-7-2026-03-12")
    advice = _advice(part)
    assert (advice.planned_need, advice.reserved) == (6, 2)


def test_a_closed_reservation_and_what_was_taken_are_no_longer_needed() -> None:
    part = _part()
    _reserve(part, 9, 3)
    Reservation.objects.update(used=Decimal(4))
    closed = _reserve(part, 7, 3, source="WO-0002")
    closed.closed_at = MONDAY
    closed.save()
    assert _advice(part).planned_need == 5


def test_planned_use_is_not_counted_again_as_random_use() -> None:
    planned, random = _part(code="planned"), _part(code="random")
    for n in range(6):
        done = _reserve(planned, 1, -30 * n, source=f"WO-{n:04d}")
        _issue(planned, 1, 30 * n + 1, done)
        _issue(random, 1, 30 * n + 1)
    Reservation.objects.update(closed_at=MONDAY)
    assert _advice(planned).reorder_point == 0
    assert _advice(random).reorder_point > 0


def test_what_a_defect_took_is_random_use() -> None:
    part = _part()
    for n in range(6):
        _issue(part, 1, 30 * n + 1, _reserve(part, 1, -30 * n, source=f"WO-{n:04d}", is_planned=False))
    Reservation.objects.update(closed_at=MONDAY)
    assert "6 issues" in say(_advice(part).reason)


def test_a_delivery_on_the_way_saves_a_second_order_and_a_late_one_is_marked() -> None:
    part = _part()
    _reserve(part, 8, 10)
    order = PurchaseOrder.objects.create(
        number="PO-0001",
        supplier=SupplierFactory(),
        state=PurchaseOrder.State.SENT,
        drawn_up_at=MONDAY,
        promised_on=TODAY + timedelta(days=5),
    )
    PurchaseOrderLine.objects.create(order=order, part=part, quantity=Decimal(10), unit_price=Decimal(3))
    advice = _advice(part)
    assert (advice.on_order, advice.order_quantity, advice.is_late) == (10, 0, False)
    PurchaseOrder.objects.update(promised_on=TODAY - timedelta(days=2))
    assert _advice(part).is_late


def test_a_part_without_supplier_is_advised_on_and_says_what_lacks() -> None:
    part: Part = PartFactory()
    _reserve(part, 3, 0)
    advice = _advice(part)
    assert advice.order_quantity == 3
    assert "No supplier is known" in say(advice.reason)


def test_working_it_out_twice_keeps_one_advice_a_part() -> None:
    part = _part()
    _reserve(part, 3, 2)
    assert [refresh_advice(TODAY), refresh_advice(TODAY), refresh_advice(TODAY, [part])] == [1, 1, 1]
    assert ReorderAdvice.objects.count() == 1


def test_a_part_no_longer_kept_has_no_advice() -> None:
    part = _part()
    refresh_advice(TODAY)
    Part.objects.filter(pk=part.pk).update(is_active=False)
    refresh_advice(TODAY)
    assert not ReorderAdvice.objects.exists()


def test_the_number_of_queries_does_not_grow_with_the_parts(django_assert_max_num_queries: Any) -> None:
    for n in range(15):
        _reserve(_part(on_hand=n + 1, code=f"p{n}"), 1, 3)
    with django_assert_max_num_queries(16):
        refresh_advice(TODAY)


def test_a_part_of_today_has_no_use_to_tell_of_though_the_ledger_is_old() -> None:
    _issue(_part(code="old", since_at=MONDAY - timedelta(days=426)), 1, 426)
    advice = _advice(_part(code="new", criticality="stops"))
    assert "No record of use yet: too few days to tell what is used besides." in say(advice.reason)
    assert "426" not in say(advice.reason)


def test_what_was_used_is_counted_from_the_parts_first_record_on() -> None:
    part = _part(since_at=MONDAY - timedelta(days=100))
    _issue(part, 1, 200)
    assert "1 issue in 200 days" in say(_advice(part).reason)
    young = _part(code="young", since_at=MONDAY - timedelta(days=9))
    _issue(young, 1, 1)
    advice = ReorderAdvice.objects.filter(part=young)
    refresh_advice(TODAY, [young])
    assert "Too few days to tell what is used besides: 1 issue in 9 days on record." in say(advice.get().reason)


def test_a_part_that_stops_the_kiln_says_what_it_means_that_none_is_there() -> None:
    advice = _advice(_part(criticality="stops"))
    assert (advice.reorder_point, advice.order_quantity, advice.on_hand) == (1, 10, 0)
    assert advice.stockout_risk > 0
    assert say(advice.reason).startswith(
        "None is there: if one is needed, the kiln is stopped for the 21 days that it takes to arrive."
    )
    assert "None is there" not in _advice(_part(code="waits", criticality="waits")).reason
    assert "None is there" not in _advice(_part(code="there", criticality="stops", on_hand=1)).reason
