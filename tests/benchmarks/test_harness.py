import json

import pytest

from tests.benchmarks import harness
from tests.benchmarks.__main__ import main
from tests.benchmarks.harness import BenchmarkError, Measured, report

HELD = Measured("walk the yard", 0.5, 10.0, "s", 20.0, "at least 20x as fast", holds=True)
MISSED = Measured("count the boards", 2.0, 10.0, "s", 5.0, "at least 20x as fast", holds=False)


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[Measured]:
    found = [HELD]
    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", lambda name: found)
    return found


def test_a_line_has_both_figures_the_ratio_the_target_and_the_verdict() -> None:
    said = "walk the yard ours 0.5 s baseline 10 s ratio 20 target at least 20x as fast holds"
    assert " ".join(HELD.line().split()) == said
    assert MISSED.line().endswith("falls short")


def test_the_columns_of_lines_stand_under_each_other() -> None:
    held, missed = report([HELD, MISSED], as_json=False).splitlines()
    for word in ("ours", "baseline", "ratio", "target"):
        assert held.index(f" {word} ") == missed.index(f" {word} ")
    assert held.index("holds") == missed.index("falls short")


def test_it_ends_with_one_when_a_benchmark_falls_short(
    measured: list[Measured], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["recurrence"]) == 0
    measured.append(MISSED)
    assert main(["recurrence"]) == 1
    assert "falls short" in capsys.readouterr().out


def test_json_holds_every_field(measured: list[Measured], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recurrence", "--json"]) == 0
    assert [Measured(**fields) for fields in json.loads(capsys.readouterr().out)] == measured


def test_an_unknown_name_is_answered_with_the_known_ones(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recurence"]) == 2
    assert "unknown benchmark recurence: choose from" in capsys.readouterr().err


def test_a_benchmark_whose_results_differ_is_not_reported(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def differ(name: str) -> list[Measured]:
        raise BenchmarkError("other dates")

    monkeypatch.setattr("tests.benchmarks.__main__.run_benchmark", differ)
    assert main(["recurrence"]) == 2
    assert capsys.readouterr().err == "other dates\n"


def test_every_module_with_the_prefix_is_found() -> None:
    assert "recurrence" in harness.available()
    assert harness.chosen([]) == [name for name in harness.available() if not name.startswith("long_")]
    assert "long_placing" in harness.available() and harness.chosen(["long_placing"]) == ["long_placing"]
