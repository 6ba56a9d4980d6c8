"""Plans that were cut off: they end early with the best that was found by then, and failed means there is none."""

from __future__ import annotations

import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from maintenance.board.comparing import compare
from maintenance.models import Placement, Plan, WorkOrder
from maintenance.placing.checking import check
from maintenance.placing.plan import Plan as Found
from maintenance.placing.plan_reading import read_plan
from maintenance.plans import working_out
from maintenance.plans.accepting import PLAN_TASK, accept_plan, want_plan
from maintenance.plans.placing_all import place_all
from maintenance.plans.seen_plan import lead_words
from maintenance.plans.standing import standing_now, standing_of
from maintenance.plans.working_out import end_given_up, work_out
from plant.basics.sentences import all_to_json
from plant.models import Job, Mill
from tests.factories import MONDAY, UserFactory
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.placing_by_hand import as_bytes
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme
from tests.maintenance.plans.test_plans import Inside, no_progress

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def order() -> WorkOrder:
    programme()
    on_shift()
    return job()


class Shot(Inside):
    """A solver that wrote its best so far and was then killed."""

    def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
        super().__init__(problem, answer, seconds)
        self.code, self.last = -9, {}


class ShotAtOnce(Shot):
    """A solver that was killed before it had found anything."""

    def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
        super().__init__(problem, answer, seconds)
        answer.unlink()


class Slow(Inside):
    """A solver that has written its best so far and does not come to its end."""

    def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
        super().__init__(problem, answer, seconds)
        self.deadline, self.code = 0.0, None

    def listen(self, _seconds: float) -> bool:
        return True


def worked_out(monkeypatch: pytest.MonkeyPatch, solver: type[Inside]) -> Plan:
    monkeypatch.setattr(working_out, "Solver", solver)
    plan = want_plan(seconds=2, by=UserFactory(role="planner"))
    work_out(plan.pk, no_progress)
    plan.refresh_from_db()
    return plan


def assert_can_be_accepted(plan: Plan, order: WorkOrder) -> None:
    assert plan.state == Plan.State.ENDED_EARLY and plan.is_to_decide
    assert (plan.cost_cents, plan.ended_at) == (standing_of(plan).cost.total, NOW)
    assert [one["number"] for one in plan.changes] == [order.number]
    accepted = accept_plan(plan, by=plan.wanted_by, version=plan.version)
    assert accepted.placed == [order.number]
    assert Placement.objects.get().work_order == order


def test_a_plan_whose_solver_was_killed_ends_early_and_is_accepted_like_any_other(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder
) -> None:
    plan = worked_out(monkeypatch, Shot)

    assert "signal 9" in plan.failure and not plan.is_best
    assert_can_be_accepted(plan, order)


def test_a_plan_whose_time_ran_out_ends_early(monkeypatch: pytest.MonkeyPatch, order: WorkOrder) -> None:
    monkeypatch.setattr(working_out, "LOOK_EVERY_S", 0.0)

    plan = worked_out(monkeypatch, Slow)

    assert "did not end in its time" in plan.failure
    assert_can_be_accepted(plan, order)


def test_a_plan_without_any_plan_has_failed(monkeypatch: pytest.MonkeyPatch, order: WorkOrder) -> None:
    plan = worked_out(monkeypatch, ShotAtOnce)

    assert (plan.state, plan.plan, plan.is_to_decide) == (Plan.State.FAILED, {}, False)


class Killed(BaseException):
    """Stands for the end of the worker's process: nothing of ours runs after it."""


def cut_off(monkeypatch: pytest.MonkeyPatch, solver: type[Inside]) -> Plan:
    """Let a worker die while it works a plan out, and leave what its process had stored."""
    with monkeypatch.context() as patch:

        def dies(_plan: Plan, _why: str) -> None:
            raise Killed

        patch.setattr(working_out, "_end_early", dies)
        with pytest.raises(Killed):
            worked_out(patch, solver)
    plan = Plan.objects.get()
    assert plan.state == Plan.State.UNDER_WAY
    return plan


def test_a_worker_killed_after_a_best_was_written_leaves_it_to_the_next(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder
) -> None:
    plan = cut_off(monkeypatch, Shot)

    work_out(plan.pk, no_progress)

    plan.refresh_from_db()
    assert_can_be_accepted(plan, order)


def test_a_worker_killed_before_any_plan_lets_the_next_begin_anew(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder
) -> None:
    plan = cut_off(monkeypatch, ShotAtOnce)
    monkeypatch.setattr(working_out, "Solver", Inside)

    work_out(plan.pk, no_progress)

    plan.refresh_from_db()
    assert plan.state == Plan.State.WORKED_OUT


@pytest.mark.parametrize(("solver", "state"), [(Shot, "ended"), (ShotAtOnce, "failed")])
def test_a_plan_that_the_background_gave_up_ends_with_what_there_is(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, solver: type[Inside], state: str
) -> None:
    plan = cut_off(monkeypatch, solver)
    assert end_given_up() == 0

    Job.objects.filter(what=PLAN_TASK).update(state=Job.State.FAILED, finished_at=NOW, failure="it vanished")

    assert (end_given_up(), end_given_up()) == (1, 0)
    plan.refresh_from_db()
    assert plan.state == state


def test_an_attempt_that_was_overtaken_changes_nothing_of_an_accepted_plan(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder
) -> None:
    plan = worked_out(monkeypatch, Inside)
    late = Plan.objects.get(pk=plan.pk)
    accept_plan(plan, by=plan.wanted_by)

    working_out._end_early(late, "too late")

    plan.refresh_from_db()
    assert (plan.state, plan.failure) == (Plan.State.ACCEPTED, "")


def test_the_page_says_that_it_was_cut_off_and_offers_to_accept_it(
    monkeypatch: pytest.MonkeyPatch, client: Client, order: WorkOrder
) -> None:
    plan = worked_out(monkeypatch, Shot)
    client.force_login(plan.wanted_by)  # type: ignore[arg-type]

    text = client.get(plan.get_absolute_url()).content.decode()

    assert "ended early" in text and "Kept is the best plan found by then." in text
    assert reverse("maintenance:plan-accept", args=[plan.pk]) in text
    assert "waits for a decision" in client.get(reverse("maintenance:plans")).content.decode()


def test_the_command_that_is_killed_leaves_the_best_plan_so_far(tmp_path: Path) -> None:
    problem, answer = tmp_path / "problem.json", tmp_path / "plan.json"
    asked = drawn_mill(40, 4, 1)
    problem.write_bytes(as_bytes(asked))
    process = subprocess.Popen(
        [sys.executable, "manage.py", "place", "--problem", problem, "--plan", answer, "--seconds", "600"],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        while not answer.exists() and process.poll() is None:
            time.sleep(0.05)
        assert process.poll() is None
    finally:
        process.kill()
        process.wait()

    found = read_plan(answer.read_bytes())
    assert isinstance(found, Found) and check(asked, found).holds


# --- as it stood -----------------------------------------------------------------------------------------


@pytest.fixture
def loose(order: WorkOrder) -> WorkOrder:
    """A job that the board shows placed, where nobody can lock the kiln out in time."""
    job()
    place_all(NOW)
    Placement.objects.filter(work_order=order).update(start_at=OPENING_FROM, end_at=OPENING_FROM + timedelta(hours=1.5))
    assert order.number in standing_now(NOW).loose
    return order


def test_as_it_stood_counts_a_place_that_the_board_shows_as_placed(
    monkeypatch: pytest.MonkeyPatch, loose: WorkOrder
) -> None:
    standing = standing_now(NOW)
    assert standing.cost.left_out > 0 == standing.cost_as_shown.left_out

    plan = worked_out(monkeypatch, Inside)

    assert plan.as_it_stood_cents == standing.cost_as_shown.total
    assert plan.as_it_stood["cost_cents"]["left_out"] == 0
    (change,) = [one for one in plan.changes if one["number"] == loose.number]
    assert change["from"]["start_at"] == OPENING_FROM.isoformat() and change["from"]["broken"]
    assert "as it stood, with 1 place that no longer held" in lead_words(plan, Mill.objects.get())


def test_the_comparison_shows_the_place_on_record_and_that_it_does_not_hold(
    monkeypatch: pytest.MonkeyPatch, loose: WorkOrder
) -> None:
    plan = worked_out(monkeypatch, Inside)

    found = compare(standing_now(NOW), standing_of(plan))

    (row,) = [row for row in found.rows if row.ref == loose.number]
    assert row.left is not None and row.left.start_at == OPENING_FROM and row.left.broken
    assert row.why.startswith("Its place does not hold")
    assert {part: left for part, left, _right, _more in found.parts}["left_out"] == 0


def test_another_place_for_a_job_whose_place_does_not_hold_is_priced_against_the_place_shown(loose: WorkOrder) -> None:
    verdict = standing_now(NOW).try_place(loose.number, OPENING_FROM + timedelta(hours=4))

    assert verdict.holds and verdict.more_cents == sum(verdict.parts.values())
    assert "left_out" not in verdict.parts


def test_a_plan_cut_off_still_says_which_places_had_not_held(monkeypatch: pytest.MonkeyPatch, loose: WorkOrder) -> None:
    plan: Any = worked_out(monkeypatch, Shot)

    (change,) = [one for one in plan.changes if one["number"] == loose.number]
    assert change["from"]["broken"] == all_to_json(standing_now(NOW).loose[loose.number])
