"""The mills that the solver is measured on are as loaded as they are said to be.

Bounds: what was measured on mills whose work is long and wanted at once (12 kilns, 4 weeks), as noted when they were
drawn up: mean 88 min, a tenth above 184, locked-out work 139; 27 to 33 % of people's minutes; 50 to 83 % of openings;
2.7 days from possible to due, a tenth below 0.2, a third within two days.
"""

from __future__ import annotations

from statistics import mean

from pytest import approx

from maintenance.placing.frame import Frame
from maintenance.placing.hopeless import find_hopeless
from maintenance.placing.reading import read_problem
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.loaded_mills import Load, load_of, loaded_mill
from tests.maintenance.placing.placing_by_hand import as_bytes

SEEDS = range(1, 8)


def loads() -> list[Load]:
    return [load_of(loaded_mill(12, 4, seed)) for seed in SEEDS]


def test_their_work_is_long() -> None:
    found = loads()

    assert len(loaded_mill(12, 4, 1).jobs) == 123
    assert mean(one.duration_mean_min for one in found) == approx(88, rel=0.05)
    assert mean(one.duration_tenth_min for one in found) == approx(184, rel=0.07)
    assert mean(one.locked_out_mean_min for one in found) == approx(139, rel=0.05)
    assert 280 <= mean(one.duration_longest_min for one in found) <= 345


def test_their_people_and_openings_are_taken_up() -> None:
    found = loads()

    assert all(0.24 <= one.people <= 0.36 for one in found) and 0.27 <= mean(one.people for one in found) <= 0.33
    assert all(0.4 <= one.openings <= 0.9 for one in found) and 0.5 <= mean(one.openings for one in found) <= 0.83


def test_their_work_is_wanted_at_once() -> None:
    found = loads()

    assert mean(one.days_mean for one in found) == approx(2.7, rel=0.1)
    assert mean(one.days_tenth for one in found) == approx(0.2, abs=0.1)
    assert mean(one.due_within_two_days for one in found) == approx(0.32, abs=0.04)


def test_the_other_drawn_mills_are_easier() -> None:
    easy = load_of(drawn_mill(12, 4, 1))

    assert easy.people < 0.24 and easy.openings < 0.4 and easy.due_within_two_days < 0.05


def test_they_are_files_without_a_fault_and_have_a_plan_each() -> None:
    for seed in SEEDS:
        problem = loaded_mill(12, 4, seed)

        assert read_problem(as_bytes(problem)) == (problem, [])
        assert find_hopeless(Frame(problem)) == ()
        assert loaded_mill(12, 4, seed) == problem
