"""What was accepted or placed by hand is taken back as a whole, while nothing of it has begun."""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from maintenance.models import KilnStop, Placement, PlacingAct, Plan, WorkOrder
from maintenance.plans.accepting import accept_plan
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.places import set_pinned
from maintenance.plans.standing import standing_now
from maintenance.plans.taking_back import last_of_job, last_of_plan, take_back_place, take_back_plan
from maintenance.plans.what_stood import place_in, what_stands
from plant.models import Absence, Change, Charge, Downtime
from tests.factories import MONDAY, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme
from tests.maintenance.plans_made import made_plan, plan_of_two_kilns

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
IN_OPENING = OPENING_FROM + timedelta(hours=2)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def two_kilns() -> Plan:
    return plan_of_two_kilns()


def stands() -> dict[str, object]:
    """All that an act of placing can change, but for the count of edits."""
    found = what_stands()
    jobs = {number: place_in(facts) for number, facts in found["jobs"].items()}
    stops = {kiln: [{**one, "plan": None} for one in rows] for kiln, rows in found["stops"].items()}
    return {"jobs": jobs, "stops": stops, "charges": found["charges"], "downtimes": found["downtimes"]}


def test_an_accepted_plan_is_taken_back_as_a_whole_and_waits_for_a_decision_again(two_kilns: Plan) -> None:
    was, changes = stands(), two_kilns.changes
    accept_plan(two_kilns, by=two_kilns.wanted_by, version=0)
    assert stands() != was

    returned = take_back_plan(two_kilns, by=two_kilns.wanted_by, version=1)

    assert (stands(), returned) == (was, "2 jobs have no place again")
    two_kilns.refresh_from_db()
    assert (two_kilns.state, two_kilns.version, two_kilns.changes) == ("worked_out", 2, changes)
    assert (two_kilns.decided_at, two_kilns.decided_by) == (None, None)
    assert [(one.act, one.by) for one in Change.objects.about(two_kilns)] == [
        ("accepted", two_kilns.wanted_by),
        ("plan taken back", two_kilns.wanted_by),
    ]
    told = Change.objects.about(WorkOrder.objects.get(number="WO-1"))
    assert ("place taken back", two_kilns.wanted_by) in [(one.act, one.by) for one in told]
    accept_plan(two_kilns, by=two_kilns.wanted_by, version=2)
    assert set(Placement.objects.values_list("work_order__number", flat=True)) == {"WO-1", "WO-2"}


def test_parts_are_taken_back_one_after_the_other_the_last_first(two_kilns: Plan) -> None:
    was = stands()
    accept_plan(two_kilns, by=two_kilns.wanted_by, part=["WO-1"])
    first = stands()
    accept_plan(two_kilns, by=two_kilns.wanted_by)

    take_back_plan(two_kilns, by=two_kilns.wanted_by)
    assert stands() == first
    take_back_plan(two_kilns, by=two_kilns.wanted_by)
    assert stands() == was
    two_kilns.refresh_from_db()
    assert sorted(one["number"] for one in two_kilns.changes) == ["WO-1", "WO-2"]
    with pytest.raises(ValidationError, match="Nothing of this plan stands"):
        take_back_plan(two_kilns, by=two_kilns.wanted_by)


def test_a_place_by_hand_is_taken_back_and_the_place_before_returns_with_its_people(two_kilns: Plan) -> None:
    order = WorkOrder.objects.get(number="WO-1")
    accept_plan(two_kilns, by=None)
    was, lock_outs = stands(), set(KilnStop.objects.values_list("lock_out_at", "person"))
    place_by_hand(order, IN_OPENING + timedelta(hours=2), None, by=None)
    assert stands() != was and Placement.objects.get(work_order=order).is_pinned

    assert take_back_place(order, by=None) == "1 job goes back to where it was"

    assert stands() == was
    assert set(KilnStop.objects.values_list("lock_out_at", "person")) == lock_outs
    assert not Placement.objects.get(work_order=order).is_pinned
    assert standing_now(NOW).loose == {}


def test_a_pin_that_a_plan_let_go_keeps_its_job_again() -> None:
    programme()
    oda = on_shift()
    order = job()
    place_by_hand(order, IN_OPENING, None, by=None)
    absence = Absence.objects.create(person=oda, start_at=IN_OPENING, end_at=IN_OPENING + timedelta(hours=4))
    plan = made_plan(UserFactory(role="planner", username="vera"))
    assert order.number in plan.pins_let_go
    was = stands()
    accept_plan(plan, by=plan.wanted_by)
    assert not Placement.objects.get(work_order=order).is_pinned
    absence.delete()

    take_back_plan(plan, by=plan.wanted_by)

    assert stands() == was
    assert Placement.objects.get(work_order=order).is_pinned


def test_a_charge_that_gave_way_returns_and_the_stop_that_was_planned_is_no_more() -> None:
    first, second = programme()
    on_shift()
    order = job(hours=4)
    was = stands()
    # So late in the opening that the charge behind it waits.
    place_by_hand(order, OPENING_TO_WORK, None, by=None)
    second_at = Charge.objects.get(pk=second.pk).begin_at
    assert second_at > second.begin_at

    assert "1 charge has its former time" in take_back_place(order, by=None)

    assert stands() == was
    assert Charge.objects.get(pk=second.pk).begin_at == second.begin_at
    assert not Downtime.objects.exists()
    assert Change.objects.about(second).last().act == "moved back"  # type: ignore[union-attr]
    assert first.pk in Charge.objects.values_list("pk", flat=True)


OPENING_TO_WORK = MONDAY + timedelta(days=5, hours=-0.5)


@pytest.mark.parametrize("state", ["under_way", "done"])
def test_what_has_begun_is_not_taken_back(two_kilns: Plan, state: str) -> None:
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    WorkOrder.objects.filter(number="WO-2").update(state=state)
    was = stands()
    with pytest.raises(ValidationError, match=r"WO-2 is (under way|done)"):
        take_back_plan(two_kilns, by=two_kilns.wanted_by)
    assert stands() == was
    two_kilns.refresh_from_db()
    assert two_kilns.state == "accepted"


def test_work_whose_time_has_come_has_begun(two_kilns: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    start_at = Placement.objects.get(work_order__number="WO-1").start_at
    monkeypatch.setattr("plant.clock.now", lambda: start_at)
    with pytest.raises(ValidationError, match="The time of WO-1 has begun"):
        take_back_plan(two_kilns, by=two_kilns.wanted_by)


def test_what_somebody_changed_since_is_named_with_who_did_it(two_kilns: Plan) -> None:
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    rolf = UserFactory(role="planner", username="other")
    set_pinned(WorkOrder.objects.get(number="WO-2"), True, by=rolf)
    with pytest.raises(ValidationError) as refusal:
        take_back_plan(two_kilns, by=two_kilns.wanted_by)
    assert any(f"WO-2 was changed since (kept at its place, {rolf})" in one for one in refusal.value.messages)


def test_a_charge_told_since_stays_as_it_was_told() -> None:
    _first, second = programme()
    on_shift()
    order = job(hours=4)
    place_by_hand(order, OPENING_TO_WORK, None, by=None)
    moved = Charge.objects.get(pk=second.pk)
    Charge.objects.filter(pk=second.pk).update(end_at=moved.end_at + timedelta(hours=1))
    with pytest.raises(ValidationError, match="was told or moved since"):
        take_back_place(order, by=None)


def test_what_stood_before_and_would_not_hold_now_does_not_return(two_kilns: Plan) -> None:
    order, other = WorkOrder.objects.get(number="WO-1"), WorkOrder.objects.get(number="WO-2")
    oda = WorkOrder.objects.get(number="WO-1").assignments
    place_by_hand(order, IN_OPENING, None, by=None)
    crew = [given.person for given in oda.all()]
    set_pinned(order, False, by=None)
    order.refresh_from_db()
    place_by_hand(order, IN_OPENING + timedelta(hours=3), None, by=None)
    # Meanwhile whoever had it is wanted elsewhere at the time that it had.
    place_by_hand(other, IN_OPENING, crew, by=None)
    was = stands()
    with pytest.raises(ValidationError, match="would not hold any more"):
        take_back_place(order, by=None)
    assert stands() == was
    assert PlacingAct.objects.filter(taken_back_at=None).count() == 3


def test_two_who_take_back_at_once_take_back_once(two_kilns: Plan) -> None:
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    take_back_plan(two_kilns, by=two_kilns.wanted_by, version=1)
    with pytest.raises(ValidationError, match="Somebody decided about this plan meanwhile"):
        take_back_plan(two_kilns, by=two_kilns.wanted_by, version=1)


def test_a_technician_takes_nothing_back(two_kilns: Plan) -> None:
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    with pytest.raises(PermissionDenied):
        take_back_plan(two_kilns, by=UserFactory(role="technician"))


def test_nothing_is_offered_where_nothing_was_accepted(two_kilns: Plan) -> None:
    assert last_of_plan(two_kilns) is None
    assert last_of_job(WorkOrder.objects.get(number="WO-1")) is None


def test_whoever_has_not_seen_the_last_place_by_hand_takes_nothing_back(two_kilns: Plan) -> None:
    order = WorkOrder.objects.get(number="WO-1")
    place_by_hand(order, IN_OPENING, None, by=None)
    (first,) = PlacingAct.objects.all()
    set_pinned(order, False, by=None)
    place_by_hand(order, IN_OPENING + timedelta(hours=2), None, by=None)
    with pytest.raises(ValidationError, match="meanwhile"):
        take_back_place(order, by=None, act_id=first.pk)


def test_the_page_of_a_plan_says_what_returns_and_takes_it_back(client: Client, two_kilns: Plan) -> None:
    assert two_kilns.wanted_by
    client.force_login(two_kilns.wanted_by)
    page = two_kilns.get_absolute_url()
    assert "Take it back" not in client.get(page).content.decode()
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    assert "while nothing of it has begun: 2 jobs have no place again." in client.get(page).content.decode()
    answer = client.post(f"{page}take-back/", {"version": 1}, follow=True).content.decode()
    assert "Taken back: 2 jobs have no place again. The plan waits for a decision again." in answer
    assert "Take it back" not in answer and "Accept the plan" in answer
    assert not Placement.objects.exists()


def test_the_page_of_a_plan_says_why_it_cannot_be_taken_back(client: Client, two_kilns: Plan) -> None:
    assert two_kilns.wanted_by
    accept_plan(two_kilns, by=two_kilns.wanted_by)
    WorkOrder.objects.filter(number="WO-2").update(state="under_way")
    client.force_login(two_kilns.wanted_by)
    text = client.get(two_kilns.get_absolute_url()).content.decode()
    assert "It cannot be taken back any more:" in text and "WO-2 is under way." in text
    assert "take-back/" not in text


def test_the_page_of_a_job_takes_its_place_by_hand_back(client: Client, two_kilns: Plan) -> None:
    assert two_kilns.wanted_by
    client.force_login(two_kilns.wanted_by)
    order = WorkOrder.objects.get(number="WO-1")
    assert "Take the place by hand back" not in client.get(order.get_absolute_url()).content.decode()
    place_by_hand(order, IN_OPENING, None, by=two_kilns.wanted_by)
    assert "Take the place by hand back" in client.get(order.get_absolute_url()).content.decode()
    act = PlacingAct.objects.get()
    answer = client.post("/openings/work-orders/WO-1/take-back/", {"act": act.pk, "job": "1"}, follow=True)
    text = answer.content.decode()
    assert "The last place by hand of WO-1 is taken back: 1 job has no place again." in text
    assert "Take the place by hand back" not in text
