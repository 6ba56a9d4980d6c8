"""Reading the second form of a placing problem: its fields come back, and what cannot be is said with its place."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.problem import Charge, Down, Problem
from maintenance.placing.reading import read_problem
from tests.maintenance.placing.drawn_second import odd_of_second_form, small_of_second_form
from tests.maintenance.placing.placing_by_hand import a_mixed_mill, as_bytes, file_of
from tests.maintenance.placing.test_placing_reading import Change, put


def a_mill_of_second_form() -> Problem:
    """Give the mixed mill with a yard, a promise, a margin, and a time in which its kiln stands."""
    first, second, last = a_mixed_mill().kilns[0].charges
    told = replace(second, may_wait_min=0, promised_end_min=9000, later_cents_per_hour=300, margin_min=180)
    kiln = replace(a_mixed_mill().kilns[0], charges=(first, told, last), down=(Down(3000, 3600, False),))
    jobs = (replace(a_mixed_mill().jobs[0], keeps_margin=True), *a_mixed_mill().jobs[1:])
    return replace(a_mixed_mill(), kilns=(kiln,), jobs=jobs, yard=((360, 1320), (1320, 9000)), form=2)


def spans(most: int) -> st.SearchStrategy[tuple[tuple[int, int], ...]]:
    """Draw spans in order, none of which is empty or overlaps another."""
    ends = st.lists(st.integers(1, most), min_size=2, max_size=8, unique=True).map(sorted)
    return ends.map(lambda ends: tuple(zip(ends[::2], ends[1::2], strict=False)))


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Draw whatever the second form may say of the mixed mill."""
    problem = a_mixed_mill()
    kiln = problem.kilns[0]

    def charge(plain: Charge) -> Charge:
        return replace(
            plain,
            may_wait_min=draw(st.none() | st.integers(0, 9000)),
            promised_end_min=draw(st.none() | st.integers(plain.start_min, 20_000)),
            later_cents_per_hour=draw(st.integers(0, 10_000)),
            margin_min=draw(st.integers(0, 5000)),
        )

    down = tuple(Down(*span, unloaded=draw(st.booleans())) for span in draw(spans(10_000)))
    return replace(
        problem,
        yard=draw(st.none() | spans(20_000)),
        kilns=(replace(kiln, charges=tuple(charge(one) for one in kiln.charges), down=down),),
        jobs=tuple(replace(job, keeps_margin=draw(st.none() | st.booleans())) for job in problem.jobs),
        form=2,
    )


@given(problems())
def test_whatever_the_second_form_says_comes_back_as_it_was_written(problem: Problem) -> None:
    assert read_problem(as_bytes(problem))[0] == problem


@pytest.mark.parametrize("seed", range(12))
def test_drawn_problems_of_the_second_form_come_back_as_they_were_written(seed: int) -> None:
    for problem in (small_of_second_form(seed), odd_of_second_form(seed)):
        assert read_problem(as_bytes(problem))[0] == problem


def test_a_file_of_the_second_form_without_its_fields_means_what_the_first_means() -> None:
    content = file_of(a_mixed_mill())
    first, remarks = read_problem(json.dumps(content).encode())
    second, remarks_of_second = read_problem(json.dumps(content | {"format": "placing-problem/2"}).encode())

    assert replace(second, form=1) == first and remarks_of_second == remarks
    plan = greedy_plan(Frame(first)).to_plan()
    verdict = check(second, replace(plan, form=2))
    assert verdict.holds and verdict.cost == plan.cost


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        (put("colour", value="grey"), "colour", "no field"),
        (put("jobs", 0, "colour", value="grey"), "jobs[0].colour", "no field"),
        (put("kilns", 0, "charges", 1, "may_wait", value=9), "kilns[0].charges[1].may_wait", "no field"),
        (put("kilns", 0, "down", 0, "why", value="fan"), "kilns[0].down[0].why", "no field"),
        (put("yard", value={}), "yard", "not a list"),
        (put("yard", 0, value=[5]), "yard[0]", "list of two"),
        (put("yard", 0, value=[360.0, 1320]), "yard[0][0]", "whole number"),
        (put("yard", 0, value=[1320, 360]), "yard[0]", "before it begins"),
        (put("yard", 0, value=[360, 360]), "yard[0]", "no length"),
        (put("yard", value=[[360, 1320], [1200, 2000]]), "yard[1]", "before the one before it ends at 1320"),
        (put("yard", value=[]), "yard", "never opens"),
        (put("yard", value=[[-2000, -100]]), "yard", "never opens"),
        (put("yard", value=None), "yard", "not a list"),
        (put("kilns", 0, "charges", 1, "may_wait_min", value=-1), "kilns[0].charges[1].may_wait_min", "below 0"),
        (put("kilns", 0, "charges", 1, "may_wait_min", value=None), "kilns[0].charges[1].may_wait_min", "whole"),
        (put("kilns", 0, "charges", 1, "margin_min", value=-1), "kilns[0].charges[1].margin_min", "below 0"),
        (
            put("kilns", 0, "charges", 1, "later_cents_per_hour", value=-1),
            "kilns[0].charges[1].later_cents_per_hour",
            "below 0",
        ),
        (
            put("kilns", 0, "charges", 1, "promised_end_min", value=2279),
            "kilns[0].charges[1].promised_end_min",
            "before the start of the charge at 2280",
        ),
        (put("kilns", 0, "down", 0, "end_min", value=2999), "kilns[0].down[0]", "before it begins"),
        (put("kilns", 0, "down", 0, "unloaded", value=1), "kilns[0].down[0].unloaded", "neither true nor false"),
        (lambda c: c["kilns"][0]["down"][0].pop("unloaded"), "kilns[0].down[0].unloaded", "missing"),
        (
            lambda c: c["kilns"][0]["down"].append({"start_min": 100, "end_min": 3001, "unloaded": True}),
            "kilns[0].down[1]",
            "overlaps kilns[0].down[0]",
        ),
        (put("jobs", 0, "keeps_margin", value="yes"), "jobs[0].keeps_margin", "neither true nor false"),
    ],
)
def test_a_fault_of_the_second_form_is_named_with_its_place(change: Change, place: str, said: str) -> None:
    content: dict[str, Any] = file_of(a_mill_of_second_form())
    change(content)

    with pytest.raises(FaultyFileError) as caught:
        read_problem(json.dumps(content).encode())

    faults = [str(fault) for fault in caught.value.faults]
    assert any(fault.startswith(f"{place}: ") and said in fault for fault in faults), faults


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        (
            put("kilns", 0, "down", value=[{"start_min": 0, "end_min": 99_999, "unloaded": False}]),
            "kilns[0].down[0]",
            "to the horizon",
        ),
        (
            put("kilns", 0, "charges", 1, "margin_min", value=6000),
            "kilns[0].charges[1].margin_min",
            "6000 minutes leave no place: the charge runs for 5080",
        ),
    ],
)
def test_a_kiln_that_stands_for_good_and_a_margin_without_a_place_are_remarked_upon_and_read(
    change: Change, place: str, said: str
) -> None:
    content: dict[str, Any] = file_of(a_mill_of_second_form())
    change(content)

    _, remarks = read_problem(json.dumps(content).encode())

    assert [one.place for one in remarks] == [place] and said in remarks[0].text


def test_prices_of_zero_are_prices() -> None:
    content: dict[str, Any] = file_of(a_mill_of_second_form())
    for charge in content["kilns"][0]["charges"]:
        charge["later_cents_per_hour"] = 0
    for job in content["jobs"]:
        job |= {"delay_cents_per_hour": 0, "late_cents_per_hour": 0, "leave_out_cents": 0}
    content |= {"overtime_cents_per_person_hour": 0, "move_cents": 0}

    problem, remarks = read_problem(json.dumps(content).encode())

    assert remarks == [] and problem.kilns[0].charges[1].later_cents_per_hour == 0


def test_fields_of_the_second_form_are_only_remarked_upon_in_a_file_of_the_first() -> None:
    content = file_of(a_mill_of_second_form()) | {"format": "placing-problem/1"}

    problem, remarks = read_problem(json.dumps(content).encode())

    assert problem == a_mixed_mill()
    assert {one.place for one in remarks} == {
        "yard",
        "kilns[0].down",
        "jobs[0].keeps_margin",
        *(
            f"kilns[0].charges[1].{name}"
            for name in ("may_wait_min", "promised_end_min", "later_cents_per_hour", "margin_min")
        ),
    }
