"""Reading placing problems and plans: what is wrong is named with its place, all at once."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.plan import plan_to_json
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.problem import Problem
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import solve
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.placing_by_hand import a_mixed_mill, file_of


def read(content: object) -> Problem:
    return read_problem(json.dumps(content).encode())[0]


def faults_of(content: object) -> list[str]:
    with pytest.raises(FaultyFileError) as caught:
        read(content)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("problem", [a_mixed_mill(), drawn_mill(12, 4, 1)], ids=["by hand", "drawn"])
def test_a_problem_comes_back_as_it_was_written(problem: Problem) -> None:
    assert read(file_of(problem)) == problem


def test_a_plan_comes_back_as_it_was_written() -> None:
    plan = greedy_plan(Frame(a_mixed_mill())).to_plan(seconds=0.25)

    assert read_plan(json.dumps(plan_to_json(plan)).encode()) == plan


Change = Callable[[dict[str, Any]], object]


def put(*path: str | int, value: object) -> Change:
    """Make a change that sets what stands at a path."""

    def change(content: dict[str, Any]) -> None:
        at: Any = content
        for step in path[:-1]:
            at = at[step]
        at[path[-1]] = value

    return change


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        (lambda c: c.pop("pinned"), "pinned", "missing"),
        (lambda c: c["kilns"][0].pop("reheat_min"), "kilns[0].reheat_min", "missing"),
        (lambda c: c["kilns"][0]["charges"][1].pop("drying_min"), "kilns[0].charges[1].drying_min", "missing"),
        (lambda c: c["jobs"][2].pop("due_min"), "jobs[2].due_min", "missing"),
        (put("format", value="placing-problem/3"), "format", "placing-problem/1"),
        (put("format", value=["placing-problem/2"]), "format", "placing-problem/1"),
        (put("origin", value="2 March"), "origin", "date"),
        (put("horizon_min", value=10 * 366 * 1440), "horizon_min", "year"),
        (put("horizon_min", value=0), "horizon_min", "below 1"),
        (put("jobs", 0, "duration_min", value=600.0), "jobs[0].duration_min", "whole number"),
        (put("jobs", 0, "duration_min", value=True), "jobs[0].duration_min", "whole number"),
        (put("jobs", 0, "duration_min", value=-1), "jobs[0].duration_min", "below 0"),
        (put("jobs", 0, "duration_min", value=601), "jobs[0].duration_min", "longer than any shift"),
        (put("jobs", 0, "delay_cents_per_hour", value=-5), "jobs[0].delay_cents_per_hour", "below 0"),
        (put("jobs", 0, "late_cents_per_hour", value=10**18), "jobs[0].late_cents_per_hour", "too large"),
        (put("jobs", 0, "needs_state", value="warm"), "jobs[0].needs_state", "running, empty, still, any"),
        (put("jobs", 0, "safety", value=1), "jobs[0].safety", "neither true nor false"),
        (put("jobs", 0, "kiln", value="K9"), "jobs[0].kiln", "no kiln"),
        (put("jobs", 0, "after", value=[["NONE", 0]]), "jobs[0].after", "no job"),
        (put("jobs", 0, "after", value=[["IN", -1]]), "jobs[0].after[0][1]", "below 0"),
        (put("jobs", 0, "after", value=[["IN"]]), "jobs[0].after[0]", "list of two"),
        (put("jobs", 2, "after", value=[["AFTER", 0]]), "jobs[2].after", "circle"),
        (put("jobs", 1, "id", value="RUN"), "jobs[1].id", "already"),
        (put("kilns", 0, "charges", 1, "start_min", value=2000), "kilns[0].charges[1].start_min", "overlaps"),
        (put("kilns", 0, "charges", value=[]), "kilns[0].charges", "no charge"),
        (put("kilns", 0, "charges", 2, "start_min", value=9000), "kilns[0].charges[2].start_min", "horizon"),
        (put("kilns", 0, "max_people_inside", value="4"), "kilns[0].max_people_inside", "whole number"),
        (put("people", 0, "away", value=[[600, 500]]), "people[0].away[0]", "before it begins"),
        (put("people", 0, "skills", value=["a", "a"]), "people[0].skills[1]", "twice"),
        (put("shifts", 0, "end_min", value=100), "shifts[0]", "order"),
        (put("shifts", 0, "people", value=["P7"]), "shifts[0].people", "no person"),
        (put("issued", "NONE", value={"start_min": 0, "people": []}), "issued", "no job"),
        (put("issued", "SENT", "people", value=["P8"]), "issued.SENT.people", "no person"),
        (put("pinned", value=["RUN"]), "pinned[0]", "issued"),
        (put("pinned", value=["NONE"]), "pinned[0]", "no job"),
        (put("people", value={}), "people", "not a list"),
        (put("kilns", 0, value=7), "kilns[0]", "not an object"),
    ],
)
def test_a_fault_is_named_with_its_place(change: Change, place: str, said: str) -> None:
    content = file_of(a_mixed_mill())
    change(content)

    assert any(fault.startswith(f"{place}: ") and said in fault for fault in faults_of(content)), faults_of(content)


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        (put("jobs", 0, "crew", value={"welding": 1}), "jobs[0].crew.welding", "nobody has"),
        (put("jobs", 2, "crew", value={"mechanical": 4}), "jobs[2].crew", "inside"),
    ],
)
def test_a_job_that_nobody_can_do_is_told_and_left_out_and_the_others_are_placed(
    change: Change, place: str, said: str
) -> None:
    content: dict[str, Any] = file_of(a_mixed_mill())
    content["issued"], content["pinned"] = {}, []
    change(content)
    problem, remarks = read_problem(json.dumps(content).encode())
    assert any(one.place == place and said in one.text for one in remarks), remarks

    answer = solve(problem, 10, workers=0)
    assert answer.plan is not None and check(problem, answer.plan).broken == ()
    number = int(place[5])
    assert content["jobs"][number]["id"] not in answer.plan.jobs and answer.plan.jobs


def test_all_faults_are_listed_at_once() -> None:
    content: dict[str, Any] = file_of(a_mixed_mill())
    content["jobs"][0]["duration_min"] = 1.5
    content["people"][1]["away"] = [[9, 3]]
    del content["move_cents"]

    assert len(faults_of(content)) == 3


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "line 1"),
        (b"[]", "not a JSON object"),
        (b"\xff{}", "UTF-8"),
        (b"[" * 100_000, "cannot be read"),
        (b'{"horizon_min": ' + b"9" * 5000 + b"}", "cannot be read"),
    ],
)
def test_what_is_no_json_object_is_said_as_such(content: bytes, said: str) -> None:
    with pytest.raises(FaultyFileError, match=said):
        read_problem(content)


def test_a_key_that_is_there_twice_is_a_fault() -> None:
    content = json.dumps(file_of(a_mixed_mill())).replace('"move_cents": 1500', '"move_cents": 1500, "move_cents": 0')

    with pytest.raises(FaultyFileError, match="move_cents: is there more than once"):
        read_problem(content.encode())


def test_a_field_that_the_form_does_not_know_is_remarked_upon() -> None:
    content = file_of(a_mixed_mill()) | {"colour": "grey"}

    _, remarks = read_problem(json.dumps(content).encode())

    assert [remark.place for remark in remarks] == ["colour"]


def test_faults_of_a_plan_are_named_with_their_place() -> None:
    content: dict[str, Any] = plan_to_json(greedy_plan(Frame(a_mixed_mill())).to_plan())  # type: ignore[assignment]
    content["stops"][0]["end_min"] = 7.5
    content["jobs"]["RUN"]["charge"] = -1
    content["seconds"] = "soon"

    with pytest.raises(FaultyFileError) as caught:
        read_plan(json.dumps(content).encode())

    assert {fault.place for fault in caught.value.faults} == {"stops[0].end_min", "jobs.RUN.charge", "seconds"}
