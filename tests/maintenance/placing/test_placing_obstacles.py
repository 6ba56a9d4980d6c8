"""What keeps a job from having a place: the smallest sets of causes."""

from __future__ import annotations

import pytest

from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.obstacles import smallest_obstacles
from maintenance.placing.problem import Issued, Job, Problem
from tests.maintenance.placing.drawn_placing import DAY_MIN, drawn_mill
from tests.maintenance.placing.placing_by_hand import a_job, a_mill


def obstacles(*jobs: Job, of: str = "J1", **changes: object) -> tuple[tuple[str, ...], ...]:
    problem = a_mill(*jobs, **changes)
    return smallest_obstacles(problem, greedy_plan(Frame(problem)).to_plan(), of)


def cheap(ref: str = "J1", **changes: object) -> Job:
    return a_job(ref, leave_out_cents=1, due_min=0, **changes)


def test_a_job_that_is_only_too_dear_has_room_as_it_is() -> None:
    assert obstacles(cheap()) == ((),)


def test_parts_that_come_too_late_are_the_cause() -> None:
    assert obstacles(cheap(parts_min=6 * DAY_MIN + 600)) == (("parts",),)


def test_a_kiln_that_is_never_in_the_right_state_or_a_crew_that_is_never_there_are_named_together() -> None:
    """Two are electrical, but one of them is away on the only day with an opening long enough."""
    both = obstacles(cheap(needs_state="empty", duration_min=200, crew=(("electrical", 2),), earliest_min=6 * DAY_MIN))
    assert both == (("earliest",),)
    assert obstacles(cheap(crew=(("electrical", 3),))) == (("crew",),)


def test_a_job_whose_people_are_all_taken_names_the_other_work() -> None:
    """B keeps everybody mechanical for the whole of the only day."""
    issued = {"B": Issued(360, frozenset({"P1", "P2"}))}
    mill = a_mill()
    found = obstacles(
        cheap(duration_min=120, crew=(("mechanical", 2),)),
        a_job("B", duration_min=600, crew=(("mechanical", 2),)),
        issued=issued,
        pinned=frozenset({"B"}),
        shifts=mill.shifts[:1],
    )
    assert found[0] == ("other work",)
    assert set(found[1:]) == {("crew",)}


def test_two_causes_that_only_help_together_are_one_set() -> None:
    late = {"parts_min": 7 * DAY_MIN, "earliest_min": 7 * DAY_MIN}
    assert obstacles(cheap(**late)) == (("parts", "earliest"),)


def test_a_job_that_waits_for_one_that_is_left_out_says_so() -> None:
    found = obstacles(cheap("A", parts_min=7 * DAY_MIN), cheap(after=(("A", 0),)))
    assert found == (("after",),)


def test_every_left_out_job_of_a_drawn_mill_has_causes_that_make_room() -> None:
    problem: Problem = drawn_mill(12, 4, 2)
    plan = greedy_plan(Frame(problem)).to_plan()
    left_out = [job.ref for job in problem.jobs if job.ref not in plan.jobs]
    assert left_out
    assert all(smallest_obstacles(problem, plan, ref) for ref in left_out)


def test_an_unknown_job_is_an_error() -> None:
    with pytest.raises(KeyError):
        obstacles(a_job(), of="NOBODY")
