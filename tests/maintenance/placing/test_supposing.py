"""Problems as they would be: what is supposed changes them, and nothing else in them; they stay free of faults."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.problem import Charge, Issued, Problem, problem_to_json
from maintenance.placing.reading import read_problem
from maintenance.placing.supposing import (
    Away,
    ChargeSlips,
    KilnKept,
    PartLate,
    Supposition,
    TakenUntilError,
    drying_lost_cents,
    let_go_of_pins,
    suppose,
)
from tests.maintenance.placing.drawn_placing import drawn_odd, drawn_small
from tests.maintenance.placing.placing_by_hand import a_job, a_mill

SEEDS = st.integers(0, 2000)


def as_read(problem: Problem) -> Problem:
    return read_problem(json.dumps(problem_to_json(problem)).encode())[0]


def starts(problem: Problem) -> list[int]:
    return [charge.start_min for charge in problem.kilns[0].charges]


def mill_of_three() -> Problem:
    """One kiln: a charge under way until minute 1000, one from 1500 to 2500, the sentinel at 20000."""
    mill = a_mill(a_job())
    charges = (
        Charge(-200, 100, 100, 800, 100, 50, 50),
        Charge(1500, 100, 100, 600, 100, 50, 50),
        Charge(20_000, 0, 0, 0, 0, 0, 0),
    )
    kiln = replace(mill.kilns[0], charges=charges, drying_cents_per_hour=6000)
    return replace(mill, kilns=(kiln, *mill.kilns[1:]), horizon_min=20_000)


@st.composite
def supposed(draw: st.DrawFn) -> tuple[Problem, Supposition]:
    seed = draw(SEEDS)
    problem = draw(st.sampled_from((drawn_small, drawn_odd)))(seed)
    kiln = draw(st.sampled_from(problem.kilns))
    from_min = draw(st.integers(-20, 120))
    until_min = from_min + draw(st.integers(1, 60))
    kinds: list[st.SearchStrategy[Any]] = [
        st.just(Away(frozenset({draw(st.sampled_from(problem.people)).ref}), from_min, until_min)),
        st.just(KilnKept(kiln.tag, from_min, until_min)),
        st.just(PartLate(frozenset(job.ref for job in problem.jobs[::2]), from_min)),
    ]
    if len(kiln.charges) > 1:
        number = draw(st.integers(0, len(kiln.charges) - 2))
        kinds.append(st.just(ChargeSlips(kiln.tag, number, draw(st.integers(0, 90)))))
    return problem, draw(st.one_of(kinds))


@settings(max_examples=200, deadline=None)
@given(supposed())
def test_a_supposed_problem_is_free_of_faults_and_nothing_else_changes(drawn: tuple[Problem, Supposition]) -> None:
    problem, supposition = drawn
    try:
        found = suppose(problem, supposition)
    except ValueError:
        assert isinstance(supposition, KilnKept | ChargeSlips)
        return
    assert as_read(found) == found
    if isinstance(supposition, ChargeSlips | KilnKept):
        assert replace(found, kilns=problem.kilns) == problem
        others = [(a, b) for a, b in zip(found.kilns, problem.kilns, strict=True) if b.tag != supposition.kiln]
        assert all(a == b for a, b in others)
        (before,) = [kiln for kiln in problem.kilns if kiln.tag == supposition.kiln]
        (after,) = [kiln for kiln in found.kilns if kiln.tag == supposition.kiln]
        later = zip(after.charges, before.charges, strict=True)
        assert all(a.start_min >= b.start_min and a.length_min >= b.length_min for a, b in later)
        assert all(
            a.start_min == b.start_min for a, b in zip(after.charges, before.charges, strict=True) if b.start_min <= 0
        )
        assert drying_lost_cents(problem, found) >= 0
    elif isinstance(supposition, Away):
        assert replace(found, people=problem.people) == problem
    else:
        assert replace(found, jobs=problem.jobs) == problem


@settings(max_examples=100, deadline=None)
@given(SEEDS, st.integers(1, 80), st.integers(1, 30))
def test_no_charge_is_in_a_kiln_that_is_kept_but_one_that_has_begun(seed: int, from_min: int, length: int) -> None:
    problem = drawn_odd(seed)
    kept = KilnKept(problem.kilns[0].tag, from_min, from_min + length)
    try:
        found = suppose(problem, kept)
    except ValueError:
        return
    until_min = min(kept.until_min, problem.horizon_min)
    for charge in found.kilns[0].charges[:-1]:
        end_min = charge.start_min + charge.length_min
        assert (
            charge.start_min <= 0 or end_min <= kept.from_min or charge.start_min >= until_min or not charge.length_min
        )


def test_a_charge_that_slips_pushes_the_next_only_as_far_as_the_gap_is_too_short() -> None:
    problem = mill_of_three()
    within_gap = suppose(problem, ChargeSlips("K1", 0, 400))
    beyond = suppose(problem, ChargeSlips("K1", 0, 600))
    assert starts(within_gap) == starts(problem)
    assert starts(beyond) == [-200, 1600, 20_000]
    assert beyond.kilns[0].charges[0].drying_min == 1400
    # The last charge of the time that is planned waits for nobody: no drying is lost.
    assert drying_lost_cents(problem, beyond) == 0
    assert drying_lost_cents(problem, suppose(problem, ChargeSlips("K1", 1, 17_590))) == 90 * 100


def test_a_charge_that_is_cooling_slips_by_a_longer_cooling() -> None:
    problem = mill_of_three()
    cooling = replace(problem.kilns[0].charges[0], start_min=-1120)
    kiln = replace(problem.kilns[0], charges=(cooling, *problem.kilns[0].charges[1:]))
    found = suppose(replace(problem, kilns=(kiln,)), ChargeSlips("K1", 0, 60)).kilns[0].charges[0]
    assert (found.drying_min, found.cooling_min) == (800, 110)


def test_a_kiln_that_is_kept_lets_its_charges_wait() -> None:
    problem = mill_of_three()
    assert starts(suppose(problem, KilnKept("K1", 1200, 1800)))[1] == 1800
    # A charge that would reach into it waits as well.
    assert starts(suppose(problem, KilnKept("K1", 2400, 3000)))[1] == 3000
    # It can be kept from when the charge that is in it is out.
    assert starts(suppose(problem, KilnKept("K1", 500, 1600)))[1] == 1600


def test_a_kiln_cannot_be_kept_while_a_charge_that_has_begun_is_in_it() -> None:
    with pytest.raises(TakenUntilError) as refusal:
        suppose(mill_of_three(), KilnKept("K1", 100, 900))
    assert refusal.value.until_min == 1000
    with pytest.raises(ValueError, match="outside"):
        suppose(mill_of_three(), KilnKept("K1", 30_000, 31_000))


@pytest.mark.parametrize(
    ("supposition", "error"),
    [
        (ChargeSlips("K9", 0, 10), KeyError),
        (ChargeSlips("K1", 2, 10), IndexError),
        (ChargeSlips("K1", -1, 10), IndexError),
        (ChargeSlips("K1", 0, -10), ValueError),
        (KilnKept("K9", 0, 10), KeyError),
        (Away(frozenset({"P1"}), 20, 10), ValueError),
    ],
)
def test_what_makes_no_sense_is_refused(supposition: Supposition, error: type[Exception]) -> None:
    with pytest.raises(error):
        suppose(mill_of_three(), supposition)


def test_a_late_part_never_comes_sooner() -> None:
    problem = a_mill(a_job("A", parts_min=500), a_job("B"))
    found = suppose(problem, PartLate(frozenset({"A"}), 300))
    assert found == problem
    assert [job.parts_min for job in suppose(problem, PartLate(frozenset({"A"}), 900)).jobs] == [900, 0]


def test_a_pin_that_no_longer_holds_is_let_go_and_others_stay() -> None:
    issued = {"A": Issued(420, frozenset({"P1"})), "B": Issued(600, frozenset({"P2"}))}
    problem = a_mill(a_job("A"), a_job("B"), issued=issued, pinned=frozenset({"A", "B"}))
    after = suppose(problem, Away(frozenset({"P1"}), 0, 1440))
    found, loose = let_go_of_pins(problem, after)
    assert loose == ("A",)
    assert found.pinned == {"B"}
    assert let_go_of_pins(problem, problem) == (problem, ())
