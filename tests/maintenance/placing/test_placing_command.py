"""``manage.py place``: exit codes, files and what it says, as a process of its own and without a database."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

from maintenance.management.commands import place as command
from maintenance.placing.checking import check
from maintenance.placing.plan import Plan
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.problem import Problem
from maintenance.placing.solving import Answer
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
