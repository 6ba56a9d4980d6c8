import json
from collections.abc import Iterator
from dataclasses import asdict

import pytest

from tests.benchmarks import harness
from tests.benchmarks.__main__ import main
from tests.benchmarks.harness import BenchmarkError, Measured, Target, at_least, at_most

HELD = Measured("walk the yard", 0.5, 10.0, "s", 20.0, at_least(20))
MISSED = Measured("count the boards", 2.0, 10.0, "s", 5.0, at_least(20))


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[Measured]:
    found = [HELD]
    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", lambda name: iter(found))
    return found


def test_a_line_has_both_figures_the_ratio_the_target_and_the_verdict() -> None:
    said = "walk the yard ours 0.5 s baseline 10 s ratio 20 target at least 20 holds"
    assert " ".join(HELD.line().split()) == said
    assert MISSED.line().endswith("falls short")


def test_the_columns_of_lines_stand_under_each_other() -> None:
    held, missed = HELD.line(), MISSED.line()
    for word in ("ours", "baseline", "ratio", "target"):
        assert held.index(f" {word} ") == missed.index(f" {word} ")
    assert held.index("holds") == missed.index("falls short")


@pytest.mark.parametrize(
    ("target", "ratio", "holds", "fails"),
    [
        (at_most(2), 2, True, False),
        (at_most(2), 2.9, False, False),
        (at_most(2), 3.1, False, True),
        (at_least(0.6), 0.6, True, False),
        (at_least(0.6), 0.41, False, False),
        (at_least(0.6), 0.39, False, True),
        (at_least(0.6), 0, False, True),
        # What does not rest on the clock is the same on every machine.
        (Target(most=0.1), 0.11, False, True),
        (Target(most=0), 0, True, False),
        (Target(most=0), 1, False, True),
        (Target(0.93, 0.97), 0.95, True, False),
        (Target(0.93, 0.97), 0.98, False, True),
        (Target(0.93, 0.97), 0.92, False, True),
        (Target(1, 1), 1, True, False),
        (Target(), 17, True, False),
    ],
)
def test_a_busy_machine_explains_half_as_much_again_and_no_more(
    target: Target, ratio: float, holds: bool, fails: bool
) -> None:
    one = Measured("walk the yard", ratio, 1, "s", ratio, target)
    assert (one.holds, one.fails) == (holds, fails)


def test_targets_are_said_in_words() -> None:
    targets = (at_least(1 / 3), at_most(20), Target(0.93, 0.97), Target(1, 1), Target())
    assert [str(one) for one in targets] == ["at least 0.3333", "at most 20", "0.93 to 0.97", "1", "is told"]


def test_it_ends_with_one_when_a_line_fails(measured: list[Measured], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recurrence"]) == 0
    measured.append(Measured("count the boards", 2.0, 30.0, "s", 15.0, at_least(20)))
    assert main(["recurrence"]) == 0
    assert "falls short" in capsys.readouterr().out
    measured.append(MISSED)
    assert main(["recurrence"]) == 1


def test_what_fails_is_measured_once_more_where_that_is_asked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    runs = iter([[MISSED], [HELD]])
    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", lambda name: iter(next(runs)))
    assert main(["recurrence", "--again"]) == 0
    assert [line.split("  ")[0] for line in capsys.readouterr().out.splitlines()] == [MISSED.name, HELD.name]


def test_those_left_out_are_not_run(monkeypatch: pytest.MonkeyPatch) -> None:
    run: list[str] = []

    def note(name: str) -> Iterator[Measured]:
        run.append(name)
        yield HELD

    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", note)
    assert main(["recurrence", "watches", "readings", "--but", "watches", "readings"]) == 0
    assert run == ["recurrence"]
    assert main(["--but", "wotches"]) == 2


def test_each_line_is_printed_as_it_ends(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    printed = []

    def run(name: str) -> Iterator[Measured]:
        yield HELD
        printed.append(capsys.readouterr().out)
        yield HELD

    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", run)
    assert main(["recurrence"]) == 0
    assert printed == [HELD.line() + "\n"]


def test_json_holds_every_field_and_the_verdict(measured: list[Measured], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recurrence", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == [{**asdict(HELD), "holds": True, "fails": False}]


def test_an_unknown_name_is_answered_with_the_known_ones(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recurence"]) == 2
    assert "unknown benchmark recurence: choose from" in capsys.readouterr().err


@pytest.mark.parametrize("fault", [BenchmarkError("other dates"), ZeroDivisionError("other dates")])
def test_one_that_cannot_be_run_keeps_none_of_the_others_from_it(
    fault: Exception, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(name: str) -> Iterator[Measured]:
        if name == "recurrence":
            raise fault
        yield HELD

    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", run)
    assert main(["recurrence", "watches"]) == 2
    told = capsys.readouterr()
    assert told.out == HELD.line() + "\n"
    assert "recurrence:" in told.err and "other dates" in told.err


def test_every_module_with_the_prefix_is_found() -> None:
    assert "recurrence" in harness.available()
    assert harness.chosen([]) == [name for name in harness.available() if not name.startswith("long_")]
    assert "long_placing" in harness.available() and harness.chosen(["long_placing"]) == ["long_placing"]
