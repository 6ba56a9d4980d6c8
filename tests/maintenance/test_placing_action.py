"""Placing from the database: which rows make the windows and people, what is kept, what is said."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from inventory.models import PurchaseOrder, PurchaseOrderLine, Reservation
from maintenance.actions.placing import (
    RulesBrokenError,
    pin,
    place_all,
    place_by_hand,
    take_out_of_plan,
    unpin,
)
from maintenance.models import Placement, WorkOrder, WorkPart
from plant.models import Absence, Change, Charge, Downtime, Phase
from tests.factories import MONDAY, DowntimeFactory, PartFactory, SupplierFactory, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def _placed(order: WorkOrder) -> Placement:
    order.refresh_from_db()
    return order.placement


def _again(order: WorkOrder) -> WorkOrder:
    return WorkOrder.objects.get(pk=order.pk)


def test_a_job_goes_into_the_opening_after_locking_out_with_who_can_do_it() -> None:
    charge, _next = programme()
    oda, order = on_shift(), job()
    on_shift("per", skills=("electrical",))
    result = place_all(NOW)
    placed = _placed(order)
    assert (result.placed, result.fresh, order.state) == (1, 1, "placed")
    assert placed.start_at == OPENING_FROM + timedelta(minutes=60)
    assert placed.end_at - placed.start_at == timedelta(minutes=90)
    assert placed.after_charge == charge
    assert [given.person for given in order.assignments.all()] == [oda]
    assert "first empty time" in placed.why


def test_a_running_job_lies_in_its_charge() -> None:
    charge, _next = programme()
    on_shift()
    order = job(needs_state="running")
    place_all(NOW)
    assert _placed(order).during_charge == charge


def test_work_on_a_kiln_that_stands_needs_no_opening() -> None:
    programme()
    on_shift()
    DowntimeFactory(start_at=MONDAY - timedelta(hours=1), end_at=None, kind=Downtime.Kind.UNPLANNED)
    order = job(needs_state="still")
    place_all(NOW)
    assert _placed(order).start_at < OPENING_FROM


def test_working_it_out_again_changes_nothing() -> None:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    before, changes = _again(order).version, Change.objects.count()
    again = place_all(NOW)
    assert (again.placed, again.fresh, again.moved) == (1, 0, 0)
    assert (_again(order).version, Change.objects.count()) == (before, changes)


def test_a_place_moves_with_the_opening_and_says_so() -> None:
    charge, following = programme()
    on_shift()
    order = job()
    place_all(NOW)
    for row in (charge, following):
        Phase.objects.filter(charge=row).exclude(kind__in=["loading"]).delete()
    Charge.objects.filter(pk=charge.pk).update(end_at=OPENING_FROM + timedelta(hours=20))
    Phase.objects.filter(charge=charge).update(end_at=OPENING_FROM + timedelta(hours=20))
    result = place_all(NOW)
    assert result.moved == 1
    assert _placed(order).start_at > OPENING_FROM + timedelta(hours=20)
    assert "given up" in order.placement.why
    assert Change.objects.about(order).last().act == "moved"  # type: ignore[union-attr]


def test_without_anybody_on_shift_the_job_has_no_place_and_says_why() -> None:
    programme()
    order = job(skills=("steam-fitting",))
    result = place_all(NOW)
    assert result.without_place == 1
    assert "steam fitting" in _again(order).no_place_why


def test_a_place_that_can_no_longer_be_held_is_given_up_and_the_job_is_ready_again() -> None:
    programme(charges=1)
    oda = on_shift()
    order = job()
    place_all(NOW)
    Absence.objects.create(person=oda, start_at=MONDAY, end_at=MONDAY + timedelta(days=90))
    place_all(NOW)
    again = _again(order)
    assert (again.state, hasattr(again, "placement"), again.assignments.count()) == ("ready", False, 0)
    assert "given up" in again.no_place_why


def test_a_skill_that_runs_out_before_the_opening_does_not_count() -> None:
    programme(charges=1)
    on_shift(until=MONDAY.date() + timedelta(days=2))
    order = job()
    place_all(NOW)
    assert "without a free crew" in _again(order).no_place_why


def test_one_person_may_bring_both_skills_of_a_crew_of_one() -> None:
    programme()
    on_shift("per")
    both = on_shift("ada", skills=("mechanical", "lock-out"))
    order = job(skills=("mechanical", "lock-out"), crew=1)
    place_all(NOW)
    assert [given.person for given in _again(order).assignments.all()] == [both]


def test_a_second_pair_of_hands_may_be_anybody() -> None:
    programme()
    on_shift()
    on_shift("per", skills=())
    order = job(crew=2)
    place_all(NOW)
    assert _again(order).assignments.count() == 2


def _with_part(order: WorkOrder) -> None:
    part = PartFactory()
    reservation = Reservation.objects.create(
        part=part, quantity=1, needed_on=MONDAY.date(), source=order.number, created_at=MONDAY
    )
    WorkPart.objects.create(work_order=order, part=part, quantity=1, reservation=reservation)


def test_a_job_whose_part_nobody_has_promised_is_not_placed() -> None:
    programme()
    on_shift()
    order = job()
    _with_part(order)
    result = place_all(NOW)
    assert (result.waiting_for_parts, result.without_place) == (1, 1)
    assert "no supplier has promised" in _again(order).no_place_why


def test_a_job_waits_for_the_morning_after_its_part_is_promised() -> None:
    programme(charges=3)
    on_shift()
    order = job()
    _with_part(order)
    purchase = PurchaseOrder.objects.create(
        number="PO-1", supplier=SupplierFactory(), state="sent", drawn_up_at=MONDAY, promised_on=OPENING_TO.date()
    )
    PurchaseOrderLine.objects.create(order=purchase, part=PartFactory(), quantity=1, unit_price=Decimal(3))
    place_all(NOW)
    assert _placed(order).start_at > OPENING_TO + timedelta(days=1)


def test_safety_work_without_a_place_is_shouted_about() -> None:
    programme()
    order = job(is_safety=True, safety_at=MONDAY + timedelta(days=1))
    on_shift()
    (shout,) = place_all(NOW).shouts
    assert (shout.level, shout.number) == ("alarm", order.number)
    # The nearest opening is held for it all the same.
    assert _placed(order).start_at > OPENING_FROM


def test_the_planner_puts_a_job_where_it_fits_and_it_stays_there() -> None:
    programme(charges=3)
    oda, planner, order = on_shift(), UserFactory(role="planner"), job()
    at = OPENING_FROM + timedelta(hours=2)
    place_by_hand(order, at, [oda], by=planner, version=order.version)
    place_all(NOW)
    placed = _placed(order)
    assert (placed.start_at, placed.is_pinned, order.state) == (at, True, "placed")
    assert Change.objects.about(order).last().by == planner  # type: ignore[union-attr]


def test_a_place_that_breaks_rules_is_refused_with_every_rule() -> None:
    programme()
    per, order = on_shift("per", skills=("electrical",)), job()
    Absence.objects.create(person=per, start_at=MONDAY, end_at=MONDAY + timedelta(days=90), reason="leave")
    with pytest.raises(RulesBrokenError) as refused:
        place_by_hand(order, MONDAY + timedelta(hours=3), [per], by=UserFactory(role="planner"))
    words = " ".join(refused.value.messages)
    assert "K1 is not empty" in words
    assert "Per is away" in words
    assert not Placement.objects.exists()


def test_nobody_is_given_to_two_jobs_at_once() -> None:
    programme()
    oda, planner = on_shift(), UserFactory(role="planner")
    first, second = job(), job()
    at = OPENING_FROM + timedelta(hours=2)
    place_by_hand(first, at, [oda], by=planner)
    with pytest.raises(RulesBrokenError, match=f"Oda is at {first.number}"):
        place_by_hand(second, at + timedelta(minutes=30), [oda], by=planner)


def test_the_wrong_crew_is_named() -> None:
    programme()
    per = on_shift("per", skills=("electrical",))
    with pytest.raises(RulesBrokenError, match="do not bring what it takes: 1 × mechanical"):
        place_by_hand(job(), OPENING_FROM + timedelta(hours=2), [per], by=UserFactory(role="planner"))


def test_a_technician_may_not_place_work() -> None:
    programme()
    with pytest.raises(PermissionDenied):
        place_by_hand(job(), OPENING_FROM + timedelta(hours=2), [on_shift()], by=UserFactory(role="technician"))


def test_a_stale_version_is_refused() -> None:
    programme()
    oda, planner, order = on_shift(), UserFactory(role="planner"), job()
    place_by_hand(order, OPENING_FROM + timedelta(hours=2), [oda], by=planner, version=0)
    with pytest.raises(ValidationError, match="changed this meanwhile"):
        place_by_hand(order, OPENING_FROM + timedelta(hours=3), [oda], by=planner, version=0)


def test_work_under_way_is_not_moved_and_its_people_are_taken() -> None:
    programme()
    oda = on_shift()
    busy, waiting = job(), job()
    place_by_hand(busy, OPENING_FROM + timedelta(minutes=60), [oda], by=None)
    WorkOrder.objects.filter(pk=busy.pk).update(state="under_way")
    place_all(NOW)
    assert _placed(waiting).start_at >= _placed(busy).end_at


def test_a_pinned_place_that_no_longer_holds_stays_and_is_said() -> None:
    programme()
    oda, order = on_shift(), job()
    place_by_hand(order, OPENING_FROM + timedelta(hours=2), [oda], by=None)
    Absence.objects.create(person=oda, start_at=MONDAY, end_at=MONDAY + timedelta(days=90))
    (shout,) = place_all(NOW).shouts
    assert "does not hold: Oda is away" in shout.text
    assert _placed(order).is_pinned


def test_a_pin_can_be_taken_off_and_the_job_out_of_the_plan() -> None:
    programme()
    planner, order = UserFactory(role="planner"), job()
    place_by_hand(order, OPENING_FROM + timedelta(hours=2), [on_shift()], by=planner)
    unpin(order, by=planner)
    assert not _placed(order).is_pinned
    pin(_again(order), by=planner)
    take_out_of_plan(_again(order), by=planner)
    again = _again(order)
    assert (again.state, hasattr(again, "placement")) == ("ready", False)
    acts = [change.act for change in Change.objects.about(order)]
    assert acts[:4] == ["placed", "unpinned", "pinned", "taken out of the plan"]


def test_the_number_of_queries_does_not_grow_with_placed_jobs(django_assert_max_num_queries: Any) -> None:
    programme(charges=4)
    on_shift()
    on_shift("per")
    for _n in range(8):
        job()
    place_all(NOW)
    with django_assert_max_num_queries(22):
        place_all(NOW)


def test_an_overdue_safety_job_can_be_placed_by_hand_and_is_shouted_about() -> None:
    programme(charges=3)
    oda, order = on_shift(), job(is_safety=True, safety_at=MONDAY + timedelta(days=1))
    at = OPENING_FROM + timedelta(hours=2)
    warnings = place_by_hand(order, at, [oda], by=UserFactory(role="planner"))
    assert "after its safety date" in warnings[0]
    (shout,) = place_all(NOW).shouts
    assert (shout.level, _placed(order).start_at) == ("alarm", at)
