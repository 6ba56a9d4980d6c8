"""Eight weeks, planned anew every day while charges end otherwise than predicted: with and without calm and buffer."""

from __future__ import annotations

import sys

from maintenance.placing.plan import Plan
from maintenance.placing.problem import Problem
from maintenance.placing.solving import solve
from tests.benchmarks.harness import Measured, Target
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.replanning import Course, Habit, run_through

SEED, SPREAD, WAGE_CENTS_PER_HOUR, SECONDS_A_DAY = 11, 0.06, 3500, 3.0
CALM_CENTS = 1000
HABITS = (
    Habit("neither calm nor buffer", 0, has_buffer=False),
    Habit("calm", CALM_CENTS, has_buffer=False),
    Habit("buffer", 0, has_buffer=True),
    Habit("calm and buffer", CALM_CENTS, has_buffer=True),
    Habit("four times the calm, and buffer", 4 * CALM_CENTS, has_buffer=True),
)


def run(kilns: int = 12, weeks: int = 8, seconds: float = SECONDS_A_DAY) -> list[Measured]:
    """Live through the same luck with every habit; calm must bring fewer moves."""
    problem = drawn_mill(kilns, weeks, SEED)
    courses = [run_through(problem, habit, _answer(seconds), SPREAD, WAGE_CENTS_PER_HOUR, SEED) for habit in HABITS]
    first = courses[0]
    for course in courses:
        sys.stderr.write(_line(course) + "\n")
    return [
        Measured(
            f"placing anew every day, {weeks} weeks: moves with {course.habit.name}",
            course.moves,
            first.moves,
            "moves",
            course.moves / max(1, first.moves),
            Target(most=1),
            _line(course),
        )
        for course in courses[1:]
        if course.habit.move_cents
    ]


def _answer(seconds: float):  # type: ignore[no-untyped-def]
    def answer(problem: Problem) -> Plan | None:
        return solve(problem, seconds).plan

    return answer


def _line(course: Course) -> str:
    return (
        f"{course.habit.name}: {course.cents / 100:,.0f} spent, {course.moves} moves, {course.late_moves} of them "
        f"within 48 h, {course.in_vain} crews in vain, {course.left_out} jobs left out"
    )
