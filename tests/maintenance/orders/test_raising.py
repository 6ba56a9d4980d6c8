"""Raising work orders: what is copied, what is set aside, and when a job is ready."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from inventory.models import Lot, Part, PurchaseOrder, PurchaseOrderLine, ReorderAdvice, Reservation, StockLevel
from maintenance.models import TaskPart, TaskSheet, TaskSkill, TaskStep, WorkOrder
from maintenance.orders.raising import raise_work_order, update_readiness
from maintenance.orders.supply import missing_parts
from plant.basics.sentences import typed
from plant.models import Change
from plant.templatetags.said import said as in_words
from tests.factories import (
    MONDAY,
    KilnFactory,
    PartFactory,
    PartKindFactory,
    SkillFactory,
    SupplierFactory,
    TaskSheetFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _monday(settings: Any) -> None:
    settings.KILNWARD_TODAY = "2026-03-02"


def _sheet() -> TaskSheet:
    sheet = TaskSheetFactory(crew=2)
    TaskStep.objects.create(sheet=sheet, no=1, text="Feel the bearing", reading_name="noise", reading_unit="dB")
    TaskSkill.objects.create(sheet=sheet, skill=SkillFactory(), persons=2)
    TaskPart.objects.create(sheet=sheet, part_kind=PartKindFactory(), quantity=Decimal(2))
    return sheet


def _raise(**changes: Any) -> WorkOrder:
    given: dict[str, Any] = {
        "kiln": KilnFactory(),
        "title": "Grease the fan bearings",
        "origin": WorkOrder.Origin.STANDING_TASK if "standing_task" in changes else WorkOrder.Origin.ASKED_FOR,
        "due_at": MONDAY + timedelta(days=10),
    }
    return raise_work_order(**{**given, **changes})


def _lay_on_shelf(part: Part, quantity: int, lot: Lot | None = None) -> None:
    StockLevel.objects.create(part=part, bin=part.bin, lot=lot, on_hand=Decimal(quantity))


def test_a_work_order_takes_steps_skills_crew_and_hours_from_its_sheet() -> None:
    order = _raise(sheet=_sheet())
    assert order.number == "WO-0001"
    assert (order.hours, order.crew, order.needs_state) == (Decimal("1.5"), 2, "empty")
    assert [step.reading_name for step in order.steps.all()] == ["noise"]
    assert [(skill.skill.code, skill.persons) for skill in order.skills.all()] == [("mechanical", 2)]


def test_what_the_caller_gives_goes_before_the_sheet() -> None:
    order = _raise(sheet=_sheet(), hours=Decimal(4), crew=1, needs_state="still")
    assert (order.hours, order.crew, order.needs_state) == (Decimal(4), 1, "still")


def test_numbers_run_on() -> None:
    orders = [_raise(hours=Decimal(1), needs_state="any") for _ in range(2)]
    assert [order.number for order in orders] == ["WO-0001", "WO-0002"]


def test_a_work_order_without_sheet_and_hours_is_refused() -> None:
    with pytest.raises(ValueError, match="hours"):
        _raise()
    assert not WorkOrder.objects.exists()


def test_the_auditor_may_not_raise_work() -> None:
    with pytest.raises(PermissionDenied):
        _raise(sheet=_sheet(), by=UserFactory(role="auditor"))


def test_raising_is_on_record_with_who_did_it() -> None:
    planner = UserFactory(role="planner")
    order = _raise(sheet=_sheet(), by=planner, why=typed("Asked for on the round."))
    (change,) = Change.objects.about(order)
    assert (change.act, change.by, change.words.startswith("Asked for")) == ("raised", planner, True)


def test_the_parts_are_set_aside_for_the_due_day() -> None:
    part = PartFactory()
    order = _raise(sheet=_sheet(), due_at=datetime(2026, 3, 10, 23, 30, tzinfo=UTC))
    reservation = Reservation.objects.get()
    assert (reservation.part, reservation.quantity, reservation.source) == (part, Decimal(2), order.number)
    # Half past midnight at the mill
    assert reservation.needed_on.isoformat() == "2026-03-11"
    assert order.parts.get().reservation == reservation


def test_what_somebody_raises_is_in_the_advice_at_once() -> None:
    part = PartFactory()
    _raise(sheet=_sheet(), by=UserFactory(role="planner"), due_at=MONDAY)
    assert ReorderAdvice.objects.get(part=part).order_quantity == 2


def test_the_part_that_fits_the_component_goes_before_the_fuller_shelf() -> None:
    sheet = _sheet()
    fitting = PartFactory(code="wick-fitting")
    fitting.fits.add(sheet.kind)
    _lay_on_shelf(PartFactory(code="wick-other"), 9)
    assert _raise(sheet=sheet).parts.get().part == fitting


def test_of_two_that_fit_the_one_with_more_on_hand_is_taken() -> None:
    PartFactory(code="a-few")
    _lay_on_shelf(many := PartFactory(code="many"), 9)
    assert _raise(sheet=_sheet()).parts.get().part == many


def test_a_part_that_nobody_keeps_is_named() -> None:
    order = _raise(sheet=_sheet())
    assert "wet-bulb wick" in in_words(order.why)
    assert not order.parts.exists()


def test_work_without_parts_is_ready() -> None:
    order = _raise(hours=Decimal(1), needs_state="any")
    update_readiness([order])
    order.refresh_from_db()
    assert order.state == "ready"


def test_work_waits_until_its_parts_lie_on_the_shelf() -> None:
    part, order = PartFactory(), _raise(sheet=_sheet())
    assert not update_readiness([order])
    assert missing_parts([order])[order.pk][0].missing == 2
    _lay_on_shelf(part, 2)
    assert update_readiness([order]) == 1
    order.refresh_from_db()
    assert order.state == "ready"
    assert Change.objects.about(order).filter(act="state").count() == 1


def test_an_earlier_job_has_the_first_claim() -> None:
    _lay_on_shelf(PartFactory(), 3)
    sheet = _sheet()
    later, earlier = _raise(sheet=sheet), _raise(sheet=sheet, due_at=MONDAY + timedelta(days=3))
    update_readiness([later, earlier])
    assert set(WorkOrder.objects.values_list("number", "state")) == {("WO-0001", "raised"), ("WO-0002", "ready")}
    assert missing_parts([later])[later.pk][0].missing == 1


def test_an_expired_lot_does_not_make_work_ready() -> None:
    part = PartFactory()
    lot = Lot.objects.create(part=part, code="L1", received_on=MONDAY.date(), expires_on=MONDAY.date() - timedelta(1))
    _lay_on_shelf(part, 5, lot)
    assert not update_readiness([_raise(sheet=_sheet())])


def test_ready_work_falls_back_when_its_part_was_taken() -> None:
    part, order = PartFactory(), _raise(sheet=_sheet())
    _lay_on_shelf(part, 2)
    update_readiness([order])
    StockLevel.objects.update(on_hand=Decimal(0))
    update_readiness([order])
    order.refresh_from_db()
    assert order.state == "raised"


def test_the_number_of_queries_does_not_grow_with_the_orders(django_assert_max_num_queries: Any) -> None:
    part, sheet = PartFactory(), _sheet()
    _lay_on_shelf(part, 1)
    orders = [_raise(sheet=sheet, due_at=MONDAY + timedelta(days=n + 2)) for n in range(12)]
    with django_assert_max_num_queries(7):
        assert len(missing_parts(orders)) == 12


def test_missing_parts_arrive_with_the_delivery_that_is_enough() -> None:
    part, order = PartFactory(), _raise(sheet=_sheet())
    for number, days in (("PO-1", 4), ("PO-2", 9)):
        purchase = PurchaseOrder.objects.create(
            number=number,
            supplier=SupplierFactory(),
            state=PurchaseOrder.State.SENT,
            drawn_up_at=MONDAY,
            promised_on=MONDAY.date() + timedelta(days=days),
        )
        PurchaseOrderLine.objects.create(order=purchase, part=part, quantity=Decimal(1), unit_price=Decimal(3))
    assert missing_parts([order])[order.pk][0].arrives_on == MONDAY.date() + timedelta(days=9)
    PurchaseOrder.objects.filter(number="PO-2").update(state=PurchaseOrder.State.WITHDRAWN)
    assert missing_parts([order])[order.pk][0].arrives_on is None
