"""``manage.py place``: exit codes, files and what it says, as a process of its own and without a database."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from django.core.management import call_command

from maintenance.management.commands import place as command
from maintenance.placing.checking import check
from maintenance.placing.plan import Plan, Unfinished, unfinished_to_json
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.problem import Problem
from maintenance.placing.solving import Answer, _Solving
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.placing_by_hand import a_job, a_mill, a_mixed_mill, as_bytes, file_of

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    return tmp_path / "problem.json", tmp_path / "plan.json"


def run(problem: Path, plan: Path, seconds: str = "2") -> int:
    """Run the command in this process, and give its exit code."""
    try:
        call_command("place", problem=problem, plan=plan, seconds=float(seconds))
    except SystemExit as leaving:
        return int(leaving.code or 0)
    return 0


def test_as_a_process_it_writes_a_plan_that_holds(files: tuple[Path, Path]) -> None:
    problem, plan = files
    asked = drawn_mill(12, 4, 1)
    problem.write_bytes(as_bytes(asked))

    done = subprocess.run(
        [sys.executable, "manage.py", "place", "--problem", problem, "--plan", plan, "--seconds", "3"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )

    assert (done.returncode, done.stdout) == (0, "")
    assert "gap" in done.stderr and "jobs placed" in done.stderr
    found = read_plan(plan.read_bytes())
    assert isinstance(found, Plan) and check(asked, found).holds
    assert [one.name for one in plan.parent.iterdir() if one.suffix == ".part"] == []


def test_a_faulty_problem_leaves_with_1_and_names_every_fault(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    problem, plan = files
    problem.write_text(json.dumps(file_of(a_mixed_mill()) | {"horizon_min": 1.5, "move_cents": -1}))

    assert run(problem, plan) == 1

    said = capsys.readouterr().err.splitlines()
    assert [line.split(":")[0] for line in said] == ["horizon_min", "move_cents"]
    assert not plan.exists()


def test_where_no_plan_can_exist_it_leaves_with_2_and_writes_why(files: tuple[Path, Path]) -> None:
    problem, plan = files
    problem.write_bytes(as_bytes(a_mill(a_job("S1", safety=True, latest_min=300))))

    assert run(problem, plan) == 2

    written = json.loads(plan.read_text())
    assert written["format"] == "placing-plan/1"
    assert [(one["job"], one["rule"]) for one in written["impossible"]] == [("S1", "crew")]
    assert written["impossible"][0]["text"].startswith("No shift has the crew of S1 (1 mechanical)")
    assert "by Mon 2 Mar" in written["impossible"][0]["text"] and "05:00" in written["impossible"][0]["text"]


def test_optional_work_that_can_lie_nowhere_is_left_out_with_its_reason_and_refuses_nothing(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    problem, plan = files
    three = (("mechanical", 2), ("electrical", 1))
    asked = a_mill(
        a_job(), a_job("THREE", needs_state="empty", crew=three), a_job("NEXT", after=(("THREE", 0),)), form=2
    )
    asked = replace(asked, kilns=(replace(asked.kilns[0], max_people_inside=2),))
    problem.write_bytes(as_bytes(asked))

    assert run(problem, plan) == 0

    written = json.loads(plan.read_text())
    assert written["jobs"].keys() == {"J1"}
    assert [(one["job"], one["rule"]) for one in written["cannot"]] == [("THREE", "inside"), ("NEXT", "after")]
    assert written["cannot"][0]["text"].startswith("THREE needs 3 people inside kiln K1, where 2 may be.")
    assert written["cannot"][1]["text"] == "NEXT waits for THREE, which has no place."
    assert "THREE is left out" in capsys.readouterr().err
    found = read_plan(plan.read_bytes())
    assert isinstance(found, Plan) and [one.job for one in found.cannot] == ["THREE", "NEXT"]


def test_what_is_not_found_in_time_is_not_impossible(files: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """The job that is due first takes the only hour of the other, by both rules of thumb; then the time is up."""
    problem, plan = files
    both = a_job(safety=True, crew=(("mechanical", 2),))
    first = replace(both, ref="FIRST", due_min=0, delay_cents_per_hour=600)
    only_hour = replace(both, ref="ONLY HOUR", due_min=419, latest_min=420, delay_cents_per_hour=1)
    asked = a_mill(first, only_hour, form=2)
    problem.write_bytes(as_bytes(asked))
    monkeypatch.setattr(_Solving, "_solve_alone", lambda self, task: None)

    assert run(problem, plan) == 3

    written = json.loads(plan.read_text())
    assert written["format"] == "placing-plan/2" and written["unfinished"] is True
    assert (list(written["jobs"]), written["without_place"]) == (["FIRST"], ["ONLY HOUR"])
    found = read_plan(plan.read_bytes())
    assert isinstance(found, Unfinished)
    assert json.loads(json.dumps(unfinished_to_json(found))) == written
    # What lies there is no plan to begin with.
    monkeypatch.undo()
    assert run(problem, plan) == 0 and isinstance(read_plan(plan.read_bytes()), Plan)


def test_five_hundred_jobs_of_one_kiln_keep_the_time(files: tuple[Path, Path]) -> None:
    """The way out may take ten seconds; told by the processor's time, so that a busy machine changes little."""
    problem, plan = files
    states = ("running", "empty", "still", "any")
    jobs = [
        a_job(f"J{number}", needs_state=states[number % 4], duration_min=20 + number % 50, due_min=number * 20)
        for number in range(500)
    ]
    asked = a_mill(*jobs, form=2)
    problem.write_bytes(as_bytes(asked))
    began = time.process_time()

    assert run(problem, plan, seconds="4") == 0

    assert time.process_time() - began < 4 + 10
    found = read_plan(plan.read_bytes())
    assert isinstance(found, Plan) and check(asked, found).holds


@pytest.mark.parametrize("seconds", ["0", "-3", "nan", "inf"])
def test_a_time_that_is_none_is_refused(files: tuple[Path, Path], seconds: str) -> None:
    assert run(*files, seconds=seconds) == 1


def test_a_file_that_is_not_there_and_one_that_cannot_be_written_are_said(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    problem, plan = files
    assert run(problem, plan) == 1
    problem.write_bytes(as_bytes(a_mill()))
    assert run(problem, plan.parent / "nowhere" / "plan.json") == 1

    assert capsys.readouterr().err.count("No such file") == 2


def test_a_plan_that_does_not_hold_is_never_written(
    files: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    problem, plan = files
    problem.write_bytes(as_bytes(a_mill(a_job())))
    plan.write_text("the plan before")

    def wrong(problem: Problem, *_: object, **__: object) -> Answer:
        return Answer(Plan({}, (), {}))

    monkeypatch.setattr(command, "solve", wrong)

    assert run(problem, plan) == 1
    assert "does not hold" in capsys.readouterr().err
    assert plan.read_text() == "the plan before"


def test_a_wrong_call_is_no_impossible_problem() -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "place"], cwd=ROOT, capture_output=True, text=True, check=False, timeout=60
    )

    assert done.returncode == 1
    assert "--problem" in done.stderr
