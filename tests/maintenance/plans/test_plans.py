"""Plans: worked out beside what stands, and accepted only where they still hold."""

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from maintenance.day.run import run_day
from maintenance.models import KilnStop, Placement, Plan, WorkOrder
from maintenance.placing.checking import check
from maintenance.placing.plan import plan_to_json
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import solve
from maintenance.plans import working_out
from maintenance.plans.accepting import accept_plan, set_aside, stop_plan, want_daily_plan, want_plan
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.desk import load_desk
from maintenance.plans.places import RulesBrokenError, pin
from maintenance.plans.placing_all import place_all
from maintenance.plans.standing import drawn_of, standing_now, standing_of
from maintenance.plans.working_out import work_out
from plant.background.running import run_job
from plant.models import Absence, Charge, Downtime, Job, Person
from plant.templatetags.said import said as in_words
from tests.factories import MONDAY, UserFactory
from tests.maintenance.placing_mill import OPENING_FROM, OPENING_TO, job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


def planner() -> Any:
    return UserFactory(role="planner")


def no_progress(_done: int, _total: int, _note: str = "") -> None:
    pass


class Inside:
    """The solver in the test's own process, where no second Python has to start."""

    def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
        asked, _remarks = read_problem(problem.read_bytes())
        told = solve(asked, seconds, workers=0)
        assert told.plan is not None
        answer.write_text(json.dumps(plan_to_json(told.plan)))
        self.steps: list[dict[str, Any]] = []
        self.last = {"is_best": told.is_best, "due_date_cents": told.due_date_cents}
        self.said, self.code, self.process = "", 0, self

    def __enter__(self) -> "Inside":
        return self

    def __exit__(self, *_exception: object) -> None:
        pass

    def listen(self, _seconds: float) -> bool:
        return False

    def wait(self) -> None:
        pass


@pytest.fixture
def inside(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(working_out, "Solver", Inside)


def worked_out(**ways: Any) -> Plan:
    """Work a plan out as the background does, with the solver in a process of its own."""
    plan = want_plan(seconds=2, by=planner(), **ways)
    work_out(plan.pk, no_progress)
    plan.refresh_from_db()
    return plan


def places() -> dict[str, tuple[datetime, datetime]]:
    return {one.work_order.number: (one.start_at, one.end_at) for one in Placement.objects.select_related("work_order")}


def test_a_plan_is_worked_out_by_the_background_and_changes_nothing_before_it_is_accepted() -> None:
    charge, _next = programme()
    oda, order = on_shift(), job()
    plan = want_plan(name="first", seconds=15, by=planner())

    run_job(Job.objects.get(key=f"plan {plan.pk}").pk)

    plan.refresh_from_db()
    assert (plan.state, plan.failure, plan.is_best) == (Plan.State.WORKED_OUT, "", True)
    assert plan.bound_cents == plan.cost_cents <= plan.due_date_cents <= plan.as_it_stood_cents
    assert check(drawn_of(plan).problem, standing_of(plan).plan).holds
    assert places() == {}

    accepted = accept_plan(plan, by=plan.wanted_by, version=plan.version)

    order.refresh_from_db()
    assert (accepted.placed, order.state, order.placement.after_charge) == ([order.number], "placed", charge)
    assert [given.person for given in order.assignments.all()] == [oda]
    (stop,) = KilnStop.objects.all()
    assert stop.lock_out_at >= OPENING_FROM
    assert (stop.person, stop.plan, stop.after_charge) == (oda, plan, charge)
    assert stop.lock_out_at + timedelta(minutes=order.kiln.lock_out_minutes) <= order.placement.start_at
    assert standing_now(NOW).loose == {}
    plan.refresh_from_db()
    assert (plan.state, [one["number"] for one in plan.changes]) == ("accepted", [order.number])


@pytest.mark.usefixtures("inside")
def test_a_plan_worked_out_twice_by_a_worker_that_died_is_one_plan() -> None:
    programme()
    on_shift(), job()
    plan = worked_out()
    told = plan.plan

    assert work_out(plan.pk, no_progress) == {"state": "worked_out"}
    plan.refresh_from_db()
    assert plan.plan == told


@pytest.fixture
def a_plan(inside: None) -> Plan:
    """A plan of one job that is worked out."""
    programme()
    on_shift()
    job()
    return worked_out()


def test_a_pin_set_meanwhile_keeps_a_plan_from_being_accepted(a_plan: Plan) -> None:
    order = WorkOrder.objects.get()
    at = OPENING_FROM + timedelta(hours=4)
    place_by_hand(order, at, None, by=a_plan.wanted_by)

    with pytest.raises(RulesBrokenError, match="kept at its place by hand and was moved"):
        accept_plan(a_plan, by=a_plan.wanted_by)

    assert places()[order.number][0] == at
    a_plan.refresh_from_db()
    assert a_plan.state == Plan.State.WORKED_OUT


def test_somebody_who_falls_ill_keeps_a_plan_from_being_accepted(a_plan: Plan) -> None:
    Absence.objects.create(
        person=Person.objects.get(code="oda"), start_at=OPENING_FROM, end_at=OPENING_TO + timedelta(days=1)
    )

    with pytest.raises(RulesBrokenError, match="no longer holds"):
        accept_plan(a_plan, by=a_plan.wanted_by)

    assert (places(), KilnStop.objects.count()) == ({}, 0)


def test_work_that_was_withdrawn_meanwhile_is_passed_over(a_plan: Plan) -> None:
    order = WorkOrder.objects.get()
    WorkOrder.objects.update(state=WorkOrder.State.WITHDRAWN, withdrawn_why="done by the maker")

    accepted = accept_plan(a_plan, by=a_plan.wanted_by)

    assert (list(accepted.passed_over), places()) == ([order.number], {})


def test_work_raised_meanwhile_keeps_the_place_it_has(a_plan: Plan) -> None:
    other = job(needs_state="running", due_at=NOW + timedelta(days=1))
    place_all(NOW)
    kept = places()[other.number]

    accept_plan(a_plan, by=a_plan.wanted_by)

    assert len(places()) == 2
    assert places()[other.number] == kept


def test_a_plan_is_decided_about_once(a_plan: Plan) -> None:
    set_aside(a_plan, by=a_plan.wanted_by, version=a_plan.version)

    with pytest.raises(ValidationError, match="Somebody decided"):
        accept_plan(a_plan, by=a_plan.wanted_by, version=a_plan.version)
    with pytest.raises(ValidationError, match="set aside"):
        accept_plan(a_plan, by=a_plan.wanted_by)


def test_a_technician_neither_wants_nor_accepts_plans(a_plan: Plan) -> None:
    per = UserFactory(username="per", role="technician")

    for act in (lambda: want_plan(by=per), lambda: accept_plan(a_plan, by=per), lambda: stop_plan(a_plan, by=per)):
        with pytest.raises(PermissionDenied):
            act()


@pytest.mark.usefixtures("inside")
def test_what_was_supposed_is_looked_at_and_not_accepted() -> None:
    programme()
    oda = on_shift()
    job()
    away = {
        "kind": "away",
        "person": oda.pk,
        "from": OPENING_FROM.isoformat(),
        "until": (OPENING_TO + timedelta(days=1)).isoformat(),
    }
    plan = worked_out(suppositions=[away])
    assert plan.state == Plan.State.WORKED_OUT
    assert all(place[0] > OPENING_TO for place in places().values())

    with pytest.raises(ValidationError, match="not on record"):
        accept_plan(plan, by=plan.wanted_by)


def test_each_day_brings_one_plan_to_look_at_where_there_is_work() -> None:
    programme()
    assert want_daily_plan(NOW.date()) is None
    on_shift()
    job()

    plan = want_daily_plan(NOW.date())

    assert plan is not None and plan.wanted_by is None
    assert want_daily_plan(NOW.date()) is None
    assert want_daily_plan(NOW.date() + timedelta(days=1)) is not None


# --- what goes wrong ---------------------------------------------------------------------------------


@pytest.fixture
def stands() -> Iterator[dict[str, tuple[datetime, datetime]]]:
    """What is placed stays as it is, whatever becomes of the solver."""
    programme()
    on_shift()
    job()
    place_all(NOW)
    before = places()
    assert before
    yield before
    assert places() == before


@pytest.mark.usefixtures("stands")
def test_a_solver_that_is_killed_leaves_what_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    listen = working_out.Solver.listen

    def shot(self: working_out.Solver, seconds: float) -> bool:
        self.process.kill()
        return listen(self, seconds)

    monkeypatch.setattr(working_out.Solver, "listen", shot)
    plan = worked_out()

    assert (plan.state, plan.plan) == (Plan.State.FAILED, {})
    assert "signal 9" in plan.failure


@pytest.mark.usefixtures("stands")
def test_a_solver_that_does_not_come_back_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(working_out, "GRACE_S", -10.0)
    monkeypatch.setattr(working_out, "LOOK_EVERY_S", 0.0)
    plan = worked_out()

    assert plan.state == Plan.State.FAILED
    assert "did not end in its time" in plan.failure


@pytest.mark.usefixtures("stands")
def test_an_error_on_the_way_is_told_and_the_plan_does_not_look_as_if_it_were_at_work(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(*_given: object) -> None:
        raise RuntimeError("no room on the disk")

    monkeypatch.setattr(working_out, "_run", broken)
    with pytest.raises(RuntimeError):
        worked_out()

    assert Plan.objects.get().state == Plan.State.FAILED


@pytest.mark.usefixtures("stands")
@pytest.mark.usefixtures("inside")
def test_a_plan_that_the_checker_refuses_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    read = working_out.read_plan

    def spoilt(content: bytes) -> Any:
        return read(content.replace(b'"start_min": ', b'"start_min": 1'))

    monkeypatch.setattr(working_out, "read_plan", spoilt)
    plan = worked_out()

    assert (plan.state, plan.plan) == (Plan.State.FAILED, {})
    assert "does not hold" in plan.failure


def test_a_stop_keeps_the_best_found_so_far() -> None:
    programme(charges=6)
    on_shift()
    for _n in range(3):
        job()
    plan = want_plan(seconds=120, by=planner())
    stop_plan(plan, by=plan.wanted_by)

    work_out(plan.pk, no_progress)

    plan.refresh_from_db()
    assert plan.state == Plan.State.WORKED_OUT
    with pytest.raises(ValidationError, match="not being worked out"):
        stop_plan(plan, by=plan.wanted_by)


def test_without_a_job_there_is_no_plan() -> None:
    programme()
    on_shift()

    assert "no job to place" in worked_out().failure


@pytest.mark.usefixtures("inside")
def test_a_safety_date_that_no_opening_meets_is_told_before_solving_with_what_could_be_done() -> None:
    programme()
    on_shift()
    order = job(is_safety=True, safety_at=NOW + timedelta(days=2), due_at=NOW + timedelta(days=2))
    plan = worked_out()

    assert plan.state == Plan.State.WORKED_OUT
    assert "no opening long enough" in in_words(plan.unsafe[order.number])
    assert "The nearest one begins Fri" in in_words(plan.unsafe[order.number])
    assert "interrupt the charge for" in in_words(plan.unsafe[order.number])


@pytest.mark.parametrize("seconds", [0, -5, 10_000])
def test_a_plan_is_given_a_time_that_makes_sense(seconds: int) -> None:
    with pytest.raises(ValidationError, match="A plan is given"):
        want_plan(seconds=seconds, by=None)


# --- by hand on the board ------------------------------------------------------------------------------


def test_a_job_put_on_the_board_stays_there_and_is_locked_out_by_somebody() -> None:
    programme()
    oda, order = on_shift(), job()
    at = OPENING_FROM + timedelta(hours=3)

    verdict = place_by_hand(order, at, None, by=planner())

    order.refresh_from_db()
    assert (verdict.faults, verdict.people) == ((), (str(oda.pk),))
    assert (order.placement.start_at, order.placement.is_pinned) == (at, True)
    assert KilnStop.objects.get().person == oda


def test_a_place_that_breaks_rules_is_refused_with_each_and_a_better_time_nearby() -> None:
    programme()
    on_shift()
    order = job()

    with pytest.raises(RulesBrokenError) as refusal:
        place_by_hand(order, NOW + timedelta(hours=2), None, by=planner())

    (said,) = refusal.value.messages
    assert "K1 is not open and empty" in said
    assert "charge" in said and "is in it from" in said
    assert places() == {}
    assert standing_now(NOW).try_place(order.number, NOW + timedelta(hours=2)).near


def test_work_longer_than_the_opening_lets_the_next_charge_wait_and_says_so() -> None:
    _first, second = programme()
    on_shift()
    order = job()
    begin = second.begin_at
    at = OPENING_TO - timedelta(minutes=90)
    verdict = standing_now(NOW).try_place(order.number, at)
    if not verdict.holds:
        at = OPENING_TO - timedelta(minutes=60)

    place_by_hand(order, at, None, by=planner())

    second.refresh_from_db()
    order.refresh_from_db()
    assert second.begin_at == order.placement.end_at + timedelta(minutes=order.kiln.restore_minutes) > begin
    assert standing_now(NOW).loose == {}


def test_work_at_a_loaded_kiln_may_interrupt_the_charge_and_the_record_says_so() -> None:
    first, _second = programme()
    on_shift()
    order = job(needs_state="still")
    end, at = first.end_at, MONDAY + timedelta(days=2, hours=3)

    verdict = place_by_hand(order, at, None, by=planner())

    assert verdict.is_interruption
    assert verdict.parts["interruption"] > 0
    first.refresh_from_db()
    assert first.end_at > end
    down = Downtime.objects.get()
    assert (down.kind, order.number in down.cause) == (Downtime.Kind.PLANNED, True)


@pytest.mark.usefixtures("inside")
def test_a_pinned_job_keeps_its_place_in_a_new_plan() -> None:
    programme()
    on_shift()
    order, _other = job(), job()
    place_all(NOW)
    order.refresh_from_db()
    pin(order, by=planner())
    at = places()[order.number]

    plan = worked_out()
    accept_plan(plan, by=plan.wanted_by)

    assert places()[order.number] == at
    assert Charge.objects.count() == 2
    assert load_desk(NOW).orders[order.number].placement.is_pinned


# --- the day's run and the checker -----------------------------------------------------------------------


def test_the_day_leaves_no_place_that_the_checker_refuses_and_names_who_locks_out() -> None:
    programme()
    oda = on_shift()
    first, second = job(), job()
    place_all(NOW)
    # Both begin as soon as the kiln is empty: nobody is left to lock it out.
    Placement.objects.filter(work_order=first).update(start_at=OPENING_FROM, end_at=OPENING_FROM + timedelta(hours=1.5))
    assert first.number in standing_now(NOW + timedelta(minutes=11)).loose

    assert place_all(NOW).moved == 1
    standing = standing_now(NOW + timedelta(minutes=22))
    assert (standing.loose, standing.broken) == ({}, ())
    assert set(places()) == {first.number, second.number}
    assert KilnStop.objects.get().person == oda


def test_a_pinned_place_that_does_not_hold_is_left_to_the_planner() -> None:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    pin(order, by=planner())
    Placement.objects.update(start_at=OPENING_FROM, end_at=OPENING_FROM + timedelta(hours=1.5))
    kept = places()

    assert place_all(NOW).moved == 0
    assert places() == kept


def test_where_nobody_on_record_may_lock_out_only_work_that_needs_no_lock_out_is_placed_and_it_is_shouted() -> None:
    programme()
    on_shift(skills=("mechanical",))
    running, outside, inside = job(needs_state="running"), job(needs_state="any"), job()

    shouts = place_all(NOW).shouts

    assert set(places()) == {running.number, outside.number}
    assert [(one.level, "Nobody on record may lock a kiln out: 1 job" in one.text) for one in shouts] == [
        ("alarm", True)
    ]
    inside.refresh_from_db()
    assert in_words(inside.no_place_why) == "Nobody on record may lock K1 out. Enter that skill for those who have it."


def test_an_accepted_plan_is_left_alone_by_the_next_run_of_the_day(a_plan: Plan) -> None:
    accept_plan(a_plan, by=a_plan.wanted_by)
    kept = places()

    run_day(NOW.date())

    assert places() == kept


def test_accepting_one_plan_sets_the_others_aside_that_were_made_for_other_places(a_plan: Plan) -> None:
    other = worked_out()
    accept_plan(a_plan, by=a_plan.wanted_by)

    other.refresh_from_db()
    assert (other.state, other.decided_by) == (Plan.State.SET_ASIDE, None)


@pytest.mark.usefixtures("inside")
def test_a_place_that_what_is_supposed_takes_away_is_still_named() -> None:
    programme()
    oda = on_shift()
    order = job()
    place_all(NOW)
    until = (OPENING_TO + timedelta(days=1)).isoformat()
    away = {"kind": "away", "person": oda.pk, "from": OPENING_FROM.isoformat(), "until": until}
    plan = worked_out(suppositions=[away])

    (change,) = plan.changes
    assert change["from"]["start_at"] == places()[order.number][0].isoformat()
    assert "away" in in_words(change["from"]["broken"])


@pytest.mark.parametrize("days", [-400, 400])
def test_a_time_that_nobody_plans_is_said_with_its_year(days: int) -> None:
    programme()
    on_shift()
    order = job()

    said = in_words(standing_now(NOW).try_place(order.number, NOW + timedelta(days=days)).faults)

    assert "not in the time that is planned" in said
    assert str((NOW + timedelta(days=days)).year) in said
