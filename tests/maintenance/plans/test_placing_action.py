"""Placing from the database: which rows make the windows and people, what is kept, what is said."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from inventory.models import PurchaseOrder, PurchaseOrderLine, Reservation
from maintenance.board.leaving_out import take_out_of_plan
from maintenance.models import Assignment, KilnStop, Placement, WorkOrder, WorkPart
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.desk import RUNS_OVER
from maintenance.plans.places import RulesBrokenError, pin, unpin
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import standing_now
from plant.charges.calculations.known import SOONEST
from plant.models import Absence, Change, Charge, Downtime, Kiln, Person, Phase
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, DowntimeFactory, KilnFactory, PartFactory, SupplierFactory, UserFactory
from tests.maintenance.mill import a_user, opened
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, out_in_time, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
# An hour and a half after unloading: the kiln is locked out, the day shift is there.
AT = OPENING_FROM + timedelta(minutes=90)


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
    assert in_words(placed.why).startswith(
        "Not sooner: kiln K1 is not open and empty for long enough. Done 10 days before"
    )


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
    assert "given up" in in_words(order.placement.why)
    assert Change.objects.about(order).last().act == "moved"  # type: ignore[union-attr]


def test_without_anybody_on_shift_the_job_has_no_place_and_says_why() -> None:
    programme()
    on_shift(skills=("mechanical", "lock-out"))
    order = job(skills=("steam-fitting",))
    result = place_all(NOW)
    assert result.without_place == 1
    assert in_words(_again(order).no_place_why) == (
        "It needs 1 qualified for steam fitting; from 2 Mar 2026 on, when it may start, 0 are. Train somebody for it."
    )


def test_where_nobody_works_a_shift_that_is_said() -> None:
    programme()
    order = job(needs_state="any")
    place_all(NOW)
    assert in_words(_again(order).no_place_why) == "Nobody is on a shift. Put people on shifts."


def test_a_place_that_can_no_longer_be_held_is_given_up_and_the_job_is_ready_again() -> None:
    programme(charges=1)
    oda = on_shift()
    order = job()
    place_all(NOW)
    Absence.objects.create(person=oda, start_at=MONDAY, end_at=MONDAY + timedelta(days=90))
    place_all(NOW)
    again = _again(order)
    assert (again.state, hasattr(again, "placement"), again.assignments.count()) == ("ready", False, 0)
    assert "given up" in in_words(again.no_place_why)


def test_a_skill_that_runs_out_before_the_opening_does_not_count() -> None:
    programme(charges=1)
    on_shift(until=MONDAY.date() + timedelta(days=2))
    order = job()
    place_all(NOW)
    why = in_words(_again(order).no_place_why)
    assert "It needs 1 qualified for mechanical; from" not in why and "No crew is on shift for 1 h 30" in why


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
    assert "no supplier has promised" in in_words(_again(order).no_place_why)


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
    assert "K1 is not open and empty" in words
    assert "Per is away" in words
    assert not Placement.objects.exists()


def test_nobody_is_given_to_two_jobs_at_once() -> None:
    programme()
    oda, planner = on_shift(), UserFactory(role="planner")
    first, second = job(), job()
    at = OPENING_FROM + timedelta(hours=2)
    place_by_hand(first, at, [oda], by=planner)
    with pytest.raises(RulesBrokenError, match="Oda is at WO-"):
        place_by_hand(second, at + timedelta(minutes=30), [oda], by=planner)


def test_the_wrong_crew_is_named() -> None:
    programme()
    per = on_shift("per", skills=("electrical",))
    with pytest.raises(RulesBrokenError, match="Per has no skill mechanical"):
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


def _start(order: WorkOrder, *people: Person, minutes_ago: int = 10) -> None:
    """Let a job be under way in the opening; it is looked at an hour and a half after unloading."""
    at = AT - timedelta(minutes=minutes_ago)
    WorkOrder.objects.filter(pk=order.pk).update(state="under_way", started_at=at)
    for person in people:
        Assignment.objects.get_or_create(work_order=order, person=person)


def test_work_under_way_is_not_moved_and_its_people_are_taken() -> None:
    programme()
    out_in_time()
    oda = on_shift()
    busy, waiting = job(), job()
    place_by_hand(busy, OPENING_FROM + timedelta(minutes=60), [oda], by=None)
    _start(busy)
    place_all(AT)
    assert _placed(waiting).start_at == AT + timedelta(minutes=80)


def test_people_at_work_without_a_place_are_taken_too_and_running_over_is_counted_on() -> None:
    programme()
    out_in_time()
    oda = on_shift()
    busy, waiting = job(), job()
    _start(busy, oda, minutes_ago=100)
    place_all(AT)
    # Nobody else may lock out, and no lock-out is on record.
    assert _placed(waiting).start_at == AT + RUNS_OVER + timedelta(minutes=60)


def test_a_chamber_that_is_open_for_entry_is_locked_out_and_a_job_may_join(monkeypatch: pytest.MonkeyPatch) -> None:
    programme()
    out_in_time()
    oda = on_shift()
    busy, waiting = job(), job()
    _start(busy, oda, minutes_ago=20)
    monkeypatch.setattr("plant.clock.now", lambda: AT - timedelta(minutes=20))
    permit = opened(Kiln.objects.get(), a_user("technician", "tom"))
    place_all(AT)
    placed, lock_out = _placed(waiting), KilnStop.objects.get()
    assert placed.start_at == AT + timedelta(minutes=70)
    assert (lock_out.person, lock_out.ready_at) == (permit.locked_out_by, placed.end_at + timedelta(minutes=30))


def test_people_at_work_inside_count_among_those_who_may_be_inside() -> None:
    programme()
    out_in_time()
    Kiln.objects.update(max_people_inside=1)
    oda, per = on_shift(), on_shift("per")
    busy, waiting = job(), job()
    _start(busy, oda)
    place_all(AT)
    assert _placed(waiting).start_at == AT + timedelta(minutes=80)
    found = standing_now(AT).try_place(waiting.number, AT + timedelta(minutes=65), [str(per.pk)])
    assert in_words(found.faults) == "K1: 2 people are inside at Fri 6 Mar, 09:35."


def test_whoever_is_at_work_is_not_given_to_another_job_by_hand() -> None:
    programme()
    oda = on_shift()
    busy, waiting = job(), job()
    _start(busy, oda)
    found = standing_now(AT).try_place(waiting.number, AT + timedelta(minutes=65), [str(oda.pk)])
    assert "Oda is at work that is under way until Fri 6 Mar, 09:50." in in_words(found.faults)


def test_a_pinned_place_that_no_longer_holds_stays_and_is_said() -> None:
    programme()
    oda, order = on_shift(), job()
    place_by_hand(order, OPENING_FROM + timedelta(hours=2), [oda], by=None)
    Absence.objects.create(person=oda, start_at=MONDAY, end_at=MONDAY + timedelta(days=90))
    (kept,) = place_all(NOW).cleared
    assert kept.stays and "Oda is away" in in_words(kept.why)
    assert _placed(order).is_pinned


def test_a_pin_can_be_taken_off_and_the_job_out_of_the_plan() -> None:
    programme()
    planner, order = UserFactory(role="planner"), job()
    place_by_hand(order, OPENING_FROM + timedelta(hours=2), [on_shift()], by=planner)
    unpin(order, by=planner)
    assert not _placed(order).is_pinned
    pin(_again(order), by=planner)
    take_out_of_plan(_again(order), why="the fitter is not here", by=planner)
    again = _again(order)
    assert (again.state, hasattr(again, "placement")) == ("ready", False)
    acts = [change.act for change in Change.objects.about(order)]
    assert acts[:4] == ["placed", "may be moved again", "kept at its place", "taken out of the plan"]


def test_the_number_of_queries_does_not_grow_with_placed_jobs(
    django_assert_max_num_queries: Any, django_assert_num_queries: Any
) -> None:
    programme(charges=4)
    on_shift()
    on_shift("per")
    job()
    place_all(NOW)
    with django_assert_max_num_queries(36) as few:
        place_all(NOW)
    asked = len(few)
    for _n in range(8):
        job()
    place_all(NOW)
    with django_assert_num_queries(asked):
        place_all(NOW)


def test_an_overdue_safety_job_can_be_placed_by_hand_and_is_shouted_about() -> None:
    programme(charges=3)
    oda, order = on_shift(), job(is_safety=True, safety_at=MONDAY + timedelta(days=1))
    at = OPENING_FROM + timedelta(hours=2)
    said = place_by_hand(order, at, [oda], by=UserFactory(role="planner"))
    assert "after its safety date" in in_words(said.warnings[0])
    (shout,) = place_all(NOW).shouts
    assert (shout.level, _placed(order).start_at) == ("alarm", at)


# --- looked at again later the same day -----------------------------------------------------------


def _places() -> list[tuple[str, datetime, datetime, str]]:
    return list(Placement.objects.values_list("work_order__number", "start_at", "end_at", "why").order_by("pk"))


def test_later_the_same_day_only_what_was_not_started_moves_and_it_keeps_its_day() -> None:
    programme()
    out_in_time()
    oda = on_shift()
    over, now_on, ahead = job(), job(), job()
    place_by_hand(over, OPENING_FROM + timedelta(minutes=60), [oda], by=None)
    place_by_hand(now_on, OPENING_FROM + timedelta(minutes=150), [oda], by=None)
    for order in (over, now_on):
        unpin(_again(order), by=None)
    place_all(NOW)
    later_at = OPENING_FROM + timedelta(minutes=180)
    kept = [place for place in _places() if place[0] != over.number]
    result = place_all(later_at)
    assert (result.moved, result.fresh) == (1, 0)
    assert [place for place in _places() if place[0] != over.number] == kept
    moved = _placed(over)
    assert (moved.start_at, moved.start_at.date()) == (_placed(ahead).end_at, OPENING_FROM.date())
    assert "Had a place on Fri 6 Mar, 08:00, given up: Its time is over, and nobody has begun." in in_words(moved.why)
    before = _places()
    assert place_all(later_at + timedelta(minutes=1)).moved == 0
    assert _places() == before


def test_no_job_is_placed_into_an_opening_that_has_begun_by_the_clock_alone() -> None:
    programme()
    on_shift()
    waiting = job()
    place_all(AT)
    # The timber is still to be opened and unloaded, which takes two hours; then the kiln is locked out.
    assert _placed(waiting).start_at == AT + SOONEST + timedelta(hours=2) + timedelta(minutes=60)


def test_an_opening_without_a_known_beginning_does_not_push_its_work_along() -> None:
    KilnFactory()
    on_shift()
    order = job()
    place_all(MONDAY - timedelta(hours=4))
    at = _placed(order).start_at
    assert at.date() == MONDAY.date()
    result = place_all(at - timedelta(minutes=10))
    assert (result.moved, _placed(order).start_at) == (0, at)


def test_work_that_can_begin_at_once_begins_at_a_full_minute() -> None:
    KilnFactory()
    on_shift()
    order = job(needs_state="any")
    place_all(NOW + timedelta(seconds=7, microseconds=3))
    assert _placed(order).start_at == NOW + timedelta(minutes=1)
