"""Jobs kept by hand at places that no longer hold: every plan works around them and says so."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from maintenance.day.run import run_day
from maintenance.models import KilnStop, Placement, Plan, WorkOrder
from maintenance.placing.plan import impossible_to_json, plan_to_json
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import solve
from maintenance.plans import working_out
from maintenance.plans.accepting import accept_plan, want_plan
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.places import RulesBrokenError, pin, set_pinned, unpin
from maintenance.plans.places_now import failing_places
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import forget, standing_of
from maintenance.plans.working_out import work_out
from plant.basics.sentences import typed
from plant.charges.shifting import Shift, shift_charges
from plant.models import Absence, Change, Person, Qualification
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, DowntimeFactory, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, programme
from tests.maintenance.plans.test_plans import Inside, no_progress

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)
    monkeypatch.setattr(working_out, "Solver", Inside)


@pytest.fixture
def kept() -> WorkOrder:
    """A job that somebody keeps in the opening on Friday, and another that nobody keeps; Oda or Per could do either."""
    programme(charges=3)
    on_shift()
    on_shift("per")
    order = job()
    job()
    place_all(NOW)
    order.refresh_from_db()
    pin(order, by=None)
    forget()
    return order


def crew(order: WorkOrder) -> Person:
    return order.assignments.get().person


def person_is_absent(order: WorkOrder) -> None:
    Absence.objects.create(person=crew(order), start_at=NOW, end_at=OPENING_TO + timedelta(days=30))


def person_left(order: WorkOrder) -> None:
    Person.objects.filter(pk=crew(order).pk).update(is_active=False)


def skill_is_lost(order: WorkOrder) -> None:
    Qualification.objects.filter(person=crew(order)).delete()


def opening_is_gone(order: WorkOrder) -> None:
    after = order.placement.after_charge_id
    shift_charges(order.kiln, {after: Shift(interrupted_at=NOW, longer=timedelta(days=2))}, why="fog", by=None)


def kiln_is_stopped(order: WorkOrder) -> None:
    WorkOrder.objects.filter(pk=order.pk).update(needs_state="running")
    DowntimeFactory(kiln=order.kiln, start_at=NOW - HOUR, end_at=None)


def time_has_passed(order: WorkOrder) -> None:
    Placement.objects.filter(work_order=order).update(start_at=NOW - 3 * HOUR, end_at=NOW - 1.5 * HOUR)


def nobody_locks_out_in_time(order: WorkOrder) -> None:
    Placement.objects.filter(work_order=order).update(start_at=OPENING_FROM, end_at=OPENING_FROM + 1.5 * HOUR)
    KilnStop.objects.all().delete()


WAYS = [
    person_is_absent,
    person_left,
    skill_is_lost,
    opening_is_gone,
    kiln_is_stopped,
    time_has_passed,
    nobody_locks_out_in_time,
]


def worked_out() -> Plan:
    plan = want_plan(seconds=2, by=UserFactory(role="planner"))
    work_out(plan.pk, no_progress)
    plan.refresh_from_db()
    return plan


@pytest.mark.parametrize("what_happens", WAYS)
def test_a_pin_that_no_longer_holds_is_planned_around_and_told(
    kept: WorkOrder, what_happens: Callable[[WorkOrder], None]
) -> None:
    what_happens(kept)
    forget()
    at = Placement.objects.get(work_order=kept).start_at

    plan = worked_out()

    assert plan.state == Plan.State.WORKED_OUT, plan.failure
    told = plan.pins_let_go[kept.number]
    assert told["why"] == failing_places(NOW).why[kept.number] and told["start_at"] == at.isoformat()
    assert plan.pins_let_go.keys() == {kept.number}


@pytest.mark.parametrize("what_happens", WAYS)
def test_accepting_does_what_the_plan_says_of_the_pin(
    kept: WorkOrder, what_happens: Callable[[WorkOrder], None]
) -> None:
    what_happens(kept)
    forget()
    at = Placement.objects.get(work_order=kept).start_at
    plan = worked_out()
    there = standing_of(plan).plan.jobs.get(kept.number)

    accept_plan(plan, by=plan.wanted_by)

    kept = WorkOrder.objects.get(pk=kept.pk)
    if there is None:
        assert (kept.placement.start_at, kept.placement.is_pinned, kept.pin_lost_why) == (at, True, ())
    else:
        assert kept.placement.start_at == plan.base_at + timedelta(minutes=there.start_min)  # type: ignore[operator]
        assert not kept.placement.is_pinned or kept.placement.start_at == at
        if kept.placement.start_at != at:
            assert in_words(plan.pins_let_go[kept.number]["why"]) in in_words(kept.pin_lost_why)
            assert "may be moved again" in [change.act for change in Change.objects.about(kept)]


def test_a_pin_lost_is_told_until_somebody_keeps_it_anew_or_lets_it_move(kept: WorkOrder, client: Client) -> None:
    nobody_locks_out_in_time(kept)
    forget()
    plan = worked_out()
    accept_plan(plan, by=plan.wanted_by)
    planner = UserFactory(role="planner")
    client.force_login(planner)
    why = in_words(WorkOrder.objects.get(pk=kept.pk).pin_lost_why)
    assert why

    for day in range(2):
        (shout,) = [one for one in run_day().shouts if one["number"] == kept.number]
        assert why in in_words(shout["said"]), day
    assert "is not kept at its place any more" in client.get("/openings/").content.decode()
    page = client.get(kept.get_absolute_url()).content.decode()
    assert "It is not kept at its place any more." in page and "Keep it here" in page and "It may move" in page

    answer = client.post(f"/openings/work-orders/{kept.number}/let-move/", {"job": "1"})

    assert answer["Location"] == kept.get_absolute_url()
    assert WorkOrder.objects.get(pk=kept.pk).pin_lost_why == ()
    assert not [one for one in run_day().shouts if one["number"] == kept.number]
    assert "It is not kept at its place" not in client.get(kept.get_absolute_url()).content.decode()


def test_whoever_keeps_it_anew_has_answered(kept: WorkOrder) -> None:
    WorkOrder.objects.filter(pk=kept.pk).update(pin_lost_why=typed("It was kept on Friday."))
    set_pinned(kept, True, by=UserFactory(role="planner"))
    assert WorkOrder.objects.get(pk=kept.pk).pin_lost_why == ()

    unpin(kept, by=None)
    WorkOrder.objects.filter(pk=kept.pk).update(pin_lost_why=typed("It was kept on Friday."))
    place_by_hand(kept, OPENING_FROM + 4 * HOUR, None, by=UserFactory(role="planner"))
    assert WorkOrder.objects.get(pk=kept.pk).pin_lost_why == ()


def test_a_job_without_a_place_may_be_let_go_but_not_kept(kept: WorkOrder) -> None:
    Placement.objects.filter(work_order=kept).delete()
    WorkOrder.objects.filter(pk=kept.pk).update(pin_lost_why=typed("It was kept on Friday."), state="ready")
    order = WorkOrder.objects.get(pk=kept.pk)
    with pytest.raises(ValidationError, match="no place to keep"):
        pin(order, by=None)
    unpin(order, by=None)
    assert WorkOrder.objects.get(pk=kept.pk).pin_lost_why == ()
    with pytest.raises(ValidationError, match="no place to keep"):
        unpin(order, by=None)


def test_the_plans_head_says_what_becomes_of_it(kept: WorkOrder, client: Client) -> None:
    person_is_absent(kept)
    forget()
    plan = worked_out()
    client.force_login(plan.wanted_by)  # type: ignore[arg-type]

    text = " ".join(client.get(plan.get_absolute_url()).content.decode().split())

    assert "1 job is kept at a place that no longer holds" in text
    assert in_words(plan.pins_let_go[kept.number]["why"]) in text
    assert "accepting the plan moves it there, and it is kept no longer" in text


def test_the_board_says_that_it_is_kept_by_hand(kept: WorkOrder, client: Client) -> None:
    person_is_absent(kept)
    forget()
    client.force_login(UserFactory(role="planner"))
    assert "kept by hand: you decide" in client.get("/openings/?days=7").content.decode()
    assert "It is kept here by hand" in client.get(kept.get_absolute_url()).content.decode()


def test_only_one_of_two_that_stand_against_each_other_is_let_go(kept: WorkOrder) -> None:
    other = WorkOrder.objects.exclude(pk=kept.pk).get()
    pin(other, by=None)
    Placement.objects.filter(work_order=other).update(
        start_at=kept.placement.start_at, end_at=kept.placement.end_at, after_charge_id=kept.placement.after_charge_id
    )
    other.assignments.update(person=crew(kept))
    forget()

    plan = worked_out()

    assert plan.state == Plan.State.WORKED_OUT
    (gone,) = plan.pins_let_go
    (left,) = {kept.number, other.number} - {gone}
    assert plan.problem["pinned"] == [left]
    assert left in in_words(plan.pins_let_go[gone]["why"])


def test_the_day_says_of_a_pin_what_the_board_says(kept: WorkOrder) -> None:
    person_is_absent(kept)
    forget()
    at = kept.placement.start_at
    why = failing_places(NOW).of(kept.number)

    (shout,) = [one for one in run_day().shouts if one["number"] == kept.number]

    assert why in in_words(shout["said"]) and "you decide" in in_words(shout["said"])
    placed = Placement.objects.get(work_order=kept)
    assert (placed.start_at, placed.is_pinned) == (at, True)


def test_a_pin_whose_time_has_passed_is_placed_anew_by_the_day_and_stays_told(kept: WorkOrder) -> None:
    time_has_passed(kept)
    forget()

    (shout,) = [one for one in run_day().shouts if one["number"] == kept.number]

    kept = WorkOrder.objects.get(pk=kept.pk)
    assert kept.placement.start_at > NOW and not kept.placement.is_pinned
    assert in_words(kept.pin_lost_why) in in_words(shout["said"]) and "It was kept on Mon 2 Mar" in in_words(
        kept.pin_lost_why
    )


def test_a_pin_given_anew_since_is_not_moved_by_an_older_plan(kept: WorkOrder) -> None:
    nobody_locks_out_in_time(kept)
    forget()
    plan = worked_out()
    moved_to = plan.base_at + timedelta(minutes=standing_of(plan).plan.jobs[kept.number].start_min)  # type: ignore[operator]
    place_by_hand(kept, moved_to + 1 * HOUR, None, by=plan.wanted_by)

    with pytest.raises(RulesBrokenError, match="kept at its place by hand and was moved"):
        accept_plan(plan, by=plan.wanted_by)


def test_a_bad_pin_of_a_job_raised_since_does_not_keep_a_plan_from_being_accepted(kept: WorkOrder) -> None:
    plan = worked_out()
    late = job()
    place_all(NOW)
    late.refresh_from_db()
    pin(late, by=None)
    late.assignments.all().delete()
    late.assignments.create(person=on_shift("una", skills=()))
    at = Placement.objects.get(work_order=late).start_at
    forget()
    assert late.number in failing_places(NOW).why

    accept_plan(plan, by=plan.wanted_by)

    placed = Placement.objects.get(work_order=late)
    assert (placed.start_at, placed.is_pinned) == (at, True)


def test_safety_work_kept_after_its_date_stays_and_is_shouted_about(kept: WorkOrder) -> None:
    WorkOrder.objects.filter(pk=kept.pk).update(is_safety=True, safety_at=NOW + timedelta(days=1))
    forget()

    plan = worked_out()

    assert plan.state == Plan.State.WORKED_OUT
    assert "after its safety date" in in_words(plan.unsafe[kept.number])
    assert plan.problem["pinned"] == [kept.number] and plan.pins_let_go == {}


class Answers(Inside):
    """The solver in the test's own process, which may also say that there is no plan."""

    def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
        asked, _remarks = read_problem(problem.read_bytes())
        told = solve(asked, 5, workers=0)
        assert not told.faults
        content = impossible_to_json(told.hopeless) if told.plan is None else plan_to_json(told.plan)
        answer.write_text(json.dumps(content))
        self.steps, self.last, self.said, self.process = [], {"is_best": told.is_best}, "", self
        self.code = 2 if told.plan is None else 0


def test_one_of_the_pins_that_leave_no_time_for_safety_work_is_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """Oda and Per are both kept at other work, all day on the only day on which the safety work can be done."""
    monkeypatch.setattr(working_out, "Solver", Answers)
    programme()
    on = MONDAY + timedelta(days=1)
    kept = {}
    for name in ("oda", "per"):
        person = on_shift(name)
        order = job(needs_state="any", hours=8)
        Placement.objects.create(work_order=order, start_at=on - HOUR, end_at=on + 7 * HOUR, is_pinned=True)
        order.assignments.create(person=person)
        WorkOrder.objects.filter(pk=order.pk).update(state="placed")
        kept[order.number] = order
    last_at = on + 9 * HOUR
    safety = job(is_safety=True, needs_state="any", earliest_at=on - HOUR, due_at=last_at, safety_at=last_at)

    plan = worked_out()

    assert plan.state == Plan.State.WORKED_OUT, plan.failure
    (gone,) = plan.pins_let_go
    assert gone in kept and safety.number in in_words(plan.pins_let_go[gone]["why"])
    assert safety.number in standing_of(plan).plan.jobs and plan.unsafe == {}
