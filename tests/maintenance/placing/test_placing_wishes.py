"""What a wish costs: held against a search through every plan, and against plans that the checker has passed."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.plan import Plan
from maintenance.placing.problem import Issued, Problem, problem_to_json
from maintenance.placing.reading import read_problem
from maintenance.placing.wishes import Wish, neighbourhood, part_of, price_of, reduced, with_wish
from tests.maintenance.placing.drawn_placing import DAY_MIN, drawn_mill, drawn_odd, drawn_small
from tests.maintenance.placing.placing_by_hand import a_job, a_mill
from tests.maintenance.placing.searched_placing import least_total


def plan_of(problem: Problem) -> Plan:
    return greedy_plan(Frame(problem)).to_plan()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 3000), st.integers(0, 14), st.sampled_from(("by", "at", "from")))
def test_the_price_of_a_wish_is_that_of_a_search_through_every_plan(seed: int, minute: int, kind: str) -> None:
    problem = drawn_small(seed)
    of = problem.jobs[seed % len(problem.jobs)]
    wish = {
        "by": Wish(of.ref, until_min=minute),
        "at": Wish(of.ref, minute, minute + of.duration_min),
        "from": Wish(of.ref, from_min=minute),
    }[kind]
    without = least_total(problem)
    if without is None:
        return
    if kind == "from":
        # A job that is not wanted before a minute may still be left out.
        later = replace(of, earliest_min=max(of.earliest_min, minute))
        wished = least_total(
            replace(
                problem, jobs=tuple(later if one.ref == of.ref else one for one in problem.jobs), pinned=frozenset()
            )
        )
    else:
        wished = least_total(replace(problem, pinned=frozenset()), {of.ref: (wish.from_min or 0, wish.until_min or 0)})
    price = price_of(problem, plan_of(problem), wish, seconds=10)
    if price.is_met:
        # The greedy plan is not always the best one; but whoever has it need not pay for the wish.
        placed = plan_of(problem).jobs[of.ref]
        assert wish.from_min is None or placed.start_min >= wish.from_min
        assert wish.until_min is None or placed.start_min + of.duration_min <= wish.until_min
        assert price.most_cents == 0 and wished is not None
    elif wished is None:
        assert price.impossible
    else:
        assert not price.impossible
        assert price.is_whole and price.is_exact
        assert price.most_cents == wished - without


def test_what_the_plan_has_already_is_not_worked_out_again() -> None:
    problem = a_mill(a_job())
    plan = plan_of(problem)
    start_min = plan.jobs["J1"].start_min
    assert price_of(problem, plan, Wish("J1", until_min=start_min + 60)).is_met
    assert price_of(problem, plan, Wish("J1", start_min, start_min + 60)).is_met
    assert not price_of(problem, plan, Wish("J1", from_min=start_min + 1)).is_met


def test_where_rivals_cannot_be_proven_in_time_the_kiln_alone_answers() -> None:
    problem = drawn_mill(12, 4, 1)
    plan = plan_of(problem)
    of = max((job for job in problem.jobs if job.ref in plan.jobs), key=lambda job: plan.jobs[job.ref].start_min)
    wish = Wish(of.ref, from_min=plan.jobs[of.ref].start_min + 10)
    price = price_of(problem, plan, wish, seconds=3, most_jobs=90)
    assert price.is_exact
    assert of.kiln in price.kilns


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 3000))
def test_a_part_of_a_plan_holds_in_its_reduced_problem(seed: int) -> None:
    problem = drawn_odd(seed)
    plan = plan_of(problem)
    kept = check(problem, plan)
    if not kept.holds:
        return
    for kiln in problem.kilns:
        part = reduced(problem, plan, (kiln.tag,))
        assert check(part, part_of(plan, part)).holds
        # A reduced problem could be written into a file and read again.
        assert read_problem(json.dumps(problem_to_json(part)).encode())[0] == part


def test_in_a_large_mill_the_kiln_and_its_rivals_are_placed_anew_and_the_rest_stands() -> None:
    problem = drawn_mill(12, 4, 1)
    plan = plan_of(problem)
    of = next(job for job in problem.jobs if job.ref in plan.jobs and job.needs_state == "running")
    wish = Wish(of.ref, from_min=plan.jobs[of.ref].start_min + DAY_MIN)
    tags = neighbourhood(problem, plan, wish)
    assert of.kiln in tags and 1 < len(tags) < 4
    price = price_of(problem, plan, wish, seconds=10)
    assert not price.is_whole and price.kilns == tags
    assert price.is_exact and (price.start_min is None or price.start_min >= (wish.from_min or 0))
    inside = {job.ref for job in problem.jobs if job.kiln in tags}
    assert set(price.moved) < inside


def test_a_wish_that_no_opening_meets_says_why() -> None:
    problem = a_mill(a_job(needs_state="empty"), a_job("B"))
    price = price_of(problem, plan_of(problem), Wish("J1", until_min=600))
    assert price.impossible[0].said[0].code == "hopeless.no_opening"


def test_two_wishes_of_the_same_people_at_once_are_explained() -> None:
    """B is pinned with everybody who could do A in the only shift before A's wish."""
    issued = {"B": Issued(400, frozenset({"P1", "P2"}))}
    crew = (("mechanical", 2),)
    problem = a_mill(
        a_job("A", duration_min=90, crew=crew),
        a_job("B", duration_min=420, crew=crew),
        issued=issued,
        pinned=frozenset({"B"}),
    )
    price = price_of(problem, plan_of(problem), Wish("A", until_min=900), seconds=5)
    assert {one.job for one in price.impossible} == {"A", "B"}


def test_a_wish_for_a_pinned_job_lets_its_pin_go_and_keeps_all_others() -> None:
    issued = {"A": Issued(400, frozenset({"P1"})), "B": Issued(400, frozenset({"P2"}))}
    problem = a_mill(a_job("A"), a_job("B"), issued=issued, pinned=frozenset({"A", "B"}), move_cents=700)
    assert with_wish(problem, Wish("A", from_min=500)).pinned == {"B"}
    price = price_of(problem, plan_of(problem), Wish("A", from_min=500))
    assert (price.least_cents, price.most_cents, price.start_min, price.moved) == (700, 700, 500, ())


def test_a_wish_for_an_unknown_job_is_an_error() -> None:
    problem = a_mill(a_job())
    with pytest.raises(KeyError):
        price_of(problem, plan_of(problem), Wish("NOBODY", until_min=5))
