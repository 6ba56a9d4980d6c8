"""Planning anew every day while charges end otherwise than predicted."""

from __future__ import annotations

import pytest

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.plan import Plan
from maintenance.placing.problem import Problem
from maintenance.placing.reading import read_problem
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.placing_by_hand import a_job, a_mill, as_bytes
from tests.maintenance.placing.replanning import Course, Habit, run_through

PLAIN = Habit("plain", 0, has_buffer=False)


def by_cost(problem: Problem) -> Plan:
    """Plan a day by rule of thumb; its problem must be free of faults, its plan must hold."""
    read, _ = read_problem(as_bytes(problem))
    plan = greedy_plan(Frame(read)).to_plan()
    broken = [one for one in check(read, plan).broken if one.rule != "safety"]
    assert broken == []
    return plan


def course(problem: Problem, habit: Habit = PLAIN, spread: float = 0.0, seed: int = 1) -> Course:
    return run_through(problem, habit, by_cost, spread, 3500, seed)


def test_without_doubt_the_course_costs_what_the_plan_does() -> None:
    jobs = (
        a_job("RUN", needs_state="running", due_min=0),
        a_job("IN", needs_state="empty", due_min=0),
        a_job("TOO", needs_state="still", due_min=0),
        a_job("LATER", parts_min=3000, due_min=0, after=(("IN", 10),)),
    )
    problem = a_mill(*jobs)
    planned = greedy_plan(Frame(problem)).to_plan()

    went = course(problem)

    assert (went.cents, went.moves, went.in_vain, went.left_out) == (planned.cost.total, 0, 0, 0)


@pytest.mark.parametrize("has_buffer", [False, True])
def test_every_day_of_a_drawn_mill_is_a_problem_without_faults(has_buffer: bool) -> None:
    went = course(drawn_mill(12, 4, 2), Habit("some", 500, has_buffer), spread=0.08)

    assert went.cents > 0
    assert went.left_out < 20


def test_luck_costs_moves_and_crews_in_vain() -> None:
    problem = drawn_mill(12, 4, 2)

    calm, rough = course(problem), course(problem, spread=0.1)

    assert calm.in_vain == 0
    assert rough.moves > calm.moves
    assert rough == course(problem, spread=0.1)
