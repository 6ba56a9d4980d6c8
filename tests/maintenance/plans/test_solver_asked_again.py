"""A solver that is killed, or ends with nonsense, is asked once more, from its best so far; then the plan ends."""

from __future__ import annotations

import json
import os
import signal
from datetime import timedelta
from pathlib import Path

import pytest

from maintenance.models import Plan, WorkOrder
from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import due_date_plan
from maintenance.placing.plan import Unfinished, plan_to_json, unfinished_to_json
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import Progress, solve
from maintenance.plans import working_out
from maintenance.plans.accepting import want_plan
from maintenance.plans.working_out import Solver, work_out
from tests.factories import MONDAY, UserFactory
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing_mill import job, on_shift, programme
from tests.maintenance.plans.test_plans import Inside, no_progress

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def order() -> WorkOrder:
    programme()
    on_shift()
    return job()


class Asked:
    """What each start of the solver found at the place of its answer."""

    def __init__(self) -> None:
        self.found: list[bool] = []


@pytest.fixture
def asked() -> Asked:
    return Asked()


def dying(asked: Asked, times: int, *, has_written: bool) -> type[Solver]:
    """A real process of the solver that is killed in its middle so many times, with its best so far written or not."""

    class Dying(Solver):
        def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
            asked.found.append(answer.exists())
            super().__init__(problem, answer, seconds)
            if len(asked.found) <= times:
                if has_written:
                    best = due_date_plan(Frame(read_problem(problem.read_bytes())[0])).to_plan()
                    answer.write_text(json.dumps(plan_to_json(best)))
                os.kill(self.process.pid, signal.SIGKILL)

    return Dying


def worked_out(monkeypatch: pytest.MonkeyPatch, solver: type) -> Plan:
    monkeypatch.setattr(working_out, "Solver", solver)
    plan = want_plan(seconds=2, by=UserFactory(role="planner"))
    work_out(plan.pk, no_progress)
    plan.refresh_from_db()
    return plan


@pytest.mark.parametrize("has_written", [True, False])
def test_a_solver_killed_once_is_asked_again_from_its_best(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked, has_written: bool
) -> None:
    plan = worked_out(monkeypatch, dying(asked, 1, has_written=has_written))

    assert (plan.state, plan.failure) == (Plan.State.WORKED_OUT, "")
    assert asked.found == [False, has_written] and plan.starts == 2


def test_a_solver_killed_twice_ends_the_plan_early_with_its_best(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked
) -> None:
    plan = worked_out(monkeypatch, dying(asked, 9, has_written=True))

    assert plan.state == Plan.State.ENDED_EARLY and plan.is_to_decide
    assert len(asked.found) == 2
    assert "signal 9" in plan.failure and "It was asked twice." in plan.failure


def test_a_solver_killed_twice_without_any_plan_fails_it_with_a_plain_reason(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked
) -> None:
    plan = worked_out(monkeypatch, dying(asked, 9, has_written=False))

    assert (plan.state, plan.plan, len(asked.found)) == (Plan.State.FAILED, {}, 2)
    assert "no memory left" in plan.failure and "What is on record stays as it was." in plan.failure


def nonsense(asked: Asked, times: int, content: bytes | None, code: int = 0) -> type[Inside]:
    class Nonsense(Inside):
        def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
            asked.found.append(answer.exists())
            super().__init__(problem, answer, seconds)
            if len(asked.found) <= times:
                self.code = code
                if content is None:
                    answer.unlink()
                else:
                    answer.write_bytes(content)

    return Nonsense


@pytest.mark.parametrize("content", [b"", b"\x00\xff", b"[]", b'{"format": "placing-plan/1"}', None])
@pytest.mark.parametrize("code", [0, 2, 3, 134])
def test_a_solver_that_ends_with_nonsense_is_asked_again(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked, content: bytes | None, code: int
) -> None:
    plan = worked_out(monkeypatch, nonsense(asked, 1, content, code))

    assert (plan.state, asked.found) == (Plan.State.WORKED_OUT, [False, False])


def test_nonsense_twice_fails_the_plan(monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked) -> None:
    plan = worked_out(monkeypatch, nonsense(asked, 9, b"no plan at all"))

    assert (plan.state, len(asked.found)) == (Plan.State.FAILED, 2)
    assert "left no plan that can be read" in plan.failure


def test_a_plan_that_somebody_stopped_is_not_begun_anew(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked
) -> None:
    class Stopped(dying(asked, 9, has_written=True)):  # type: ignore[misc]
        def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
            super().__init__(problem, answer, seconds)
            Plan.objects.update(wants_stop=True)

    plan = worked_out(monkeypatch, Stopped)

    assert (plan.state, len(asked.found)) == (Plan.State.ENDED_EARLY, 1)


def test_a_power_cut_lets_the_next_worker_go_on_from_the_best(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked
) -> None:
    class PowerCutError(BaseException):
        pass

    def cut(_plan: Plan, _why: str) -> None:
        raise PowerCutError

    with monkeypatch.context() as patch:
        patch.setattr(working_out, "MOST_STARTS", 1)
        patch.setattr(working_out, "_end_early", cut)
        with pytest.raises(PowerCutError):
            worked_out(patch, dying(asked, 9, has_written=True))
    plan = Plan.objects.get()
    assert (plan.state, plan.starts) == (Plan.State.UNDER_WAY, 1)
    monkeypatch.setattr(working_out, "Solver", dying(asked, 0, has_written=False))

    work_out(plan.pk, no_progress)

    plan.refresh_from_db()
    assert (plan.state, asked.found, plan.starts) == (Plan.State.WORKED_OUT, [False, True], 2)


def test_what_it_begins_with_is_not_lost() -> None:
    problem = drawn_mill(12, 4, 1)
    best = solve(problem, 3, workers=0).plan
    assert best is not None
    told: list[Progress] = []

    again = solve(problem, 0.2, told.append, workers=0, begin=read_plan(json.dumps(plan_to_json(best)).encode()))  # type: ignore[arg-type]

    assert again.plan is not None and check(problem, again.plan).holds
    assert told[0].total_cents == best.cost.total >= again.plan.cost.total


def test_what_was_not_found_in_time_is_said_so_and_not_asked_again(
    monkeypatch: pytest.MonkeyPatch, order: WorkOrder, asked: Asked
) -> None:
    """The time is up before the safety job has a place: nothing is proven, and nothing broke off."""
    WorkOrder.objects.filter(pk=order.pk).update(is_safety=True, safety_at=NOW + timedelta(days=20))
    left = Unfinished({}, (), {}, (order.number,), form=1)
    content = json.dumps(unfinished_to_json(left)).encode()

    plan = worked_out(monkeypatch, nonsense(asked, 9, content, code=3))

    assert (plan.state, plan.starts) == (Plan.State.FAILED, 1)
    assert plan.failure == (
        f"In the time given no place was found for {order.number}, nor proof that there is none. Give more time."
    )
