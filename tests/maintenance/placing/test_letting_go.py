"""Which pins are let go, so that all the others hold: never more than must be."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.letting_go import pins_to_let_go, smallest_cover
from maintenance.placing.pins import faulty_pins
from maintenance.placing.plan import Stop
from maintenance.placing.problem import Charge, Issued, Job, Kiln, Person, Problem, Shift
from maintenance.placing.standing import KeptPlace, KeptStop
from tests.maintenance.placing.drawn_placing import drawn_mill

HOUR = 60


def mill(*pins: tuple[str, int, int, str], **changes: object) -> Problem:
    """Jobs that need no state, each kept at an hour for some hours with somebody, on one long shift."""
    jobs = tuple(
        Job(
            ref=ref,
            kiln="K1",
            needs_state="any",
            duration_min=hours * HOUR,
            crew=(("mechanical", 1),),
            earliest_min=0,
            parts_min=0,
            due_min=24 * HOUR,
            latest_min=24 * HOUR,
            safety=False,
            delay_cents_per_hour=number,
            late_cents_per_hour=0,
            leave_out_cents=1000,
        )
        for number, (ref, _at, hours, _person) in enumerate(pins)
    )
    people = tuple(Person(one, frozenset({"mechanical"}), ()) for one in ("oda", "per"))
    return Problem(
        origin=date(2026, 3, 2),
        horizon_min=24 * HOUR,
        max_delay_min=0,
        overtime_cents_per_person_hour=0,
        kilns=(Kiln("K1", 0, 0, 0, 0, 0, 0, 4, (Charge(24 * HOUR, 0, 0, 0, 0, 0, 0),)),),
        people=people,
        shifts=(Shift("S1", 0, 23 * HOUR, 24 * HOUR, ("oda", "per")),),
        jobs=jobs,
        issued={ref: Issued(at * HOUR, frozenset({person})) for ref, at, _hours, person in pins},
        pinned=frozenset(ref for ref, *_rest in pins),
        **changes,  # type: ignore[arg-type]
    )


def let_go(problem: Problem) -> tuple[str, ...]:
    kept = {ref: KeptPlace(one.start_min, one.people) for ref, one in problem.issued.items()}
    return pins_to_let_go(Frame(problem), kept)


def test_pins_that_hold_are_all_kept() -> None:
    assert let_go(mill(("A", 0, 2, "oda"), ("B", 2, 2, "oda"), ("C", 0, 4, "per"))) == ()


def test_of_one_long_job_against_two_short_ones_the_long_one_goes() -> None:
    assert let_go(mill(("A", 1, 8, "oda"), ("B", 2, 1, "oda"), ("C", 5, 1, "oda"), ("D", 2, 1, "per"))) == ("A",)


def test_of_two_against_each_other_the_one_whose_delay_costs_less_goes() -> None:
    assert let_go(mill(("A", 1, 2, "oda"), ("B", 2, 2, "oda"))) == ("A",)
    assert let_go(mill(("B", 2, 2, "oda"), ("A", 1, 2, "oda"))) == ("B",)


def test_safety_work_is_the_last_to_go() -> None:
    problem = mill(("A", 1, 2, "oda"), ("B", 2, 2, "oda"))
    jobs = (replace(problem.jobs[0], safety=True), problem.jobs[1])
    assert let_go(replace(problem, jobs=jobs)) == ("B",)


def test_somebody_who_has_lost_the_skill_loses_their_pin_alone() -> None:
    problem = mill(("A", 0, 2, "oda"), ("B", 0, 2, "per"))
    people = (problem.people[0], replace(problem.people[1], skills=frozenset()))
    assert let_go(replace(problem, people=people)) == ("B",)


def test_a_stop_of_the_shift_takes_what_lies_outside() -> None:
    problem = mill(("A", 0, 2, "oda"), ("B", 4, 2, "oda"))
    shifts = (replace(problem.shifts[0], end_min=3 * HOUR, overtime_end_min=3 * HOUR),)
    assert let_go(replace(problem, shifts=shifts)) == ("B",)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 12), st.integers(1, 6), st.sampled_from(["oda", "per"])), min_size=1, max_size=7)
)
def test_no_smaller_set_would_do(drawn: list[tuple[int, int, str]]) -> None:
    problem = mill(*((f"J{n}", at, hours, person) for n, (at, hours, person) in enumerate(drawn)))
    gone = let_go(problem)

    def is_sound(refs: set[str]) -> bool:
        left = {ref: one for ref, one in problem.issued.items() if ref not in refs}
        return not faulty_pins(Frame(replace(problem, issued=left, pinned=frozenset(left))))

    assert is_sound(set(gone))
    for size in range(len(gone)):
        assert not any(is_sound(set(some)) for some in combinations(sorted(problem.pinned), size))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_plan_that_holds_loses_no_pin(seed: int) -> None:
    asked = drawn_mill(12, 4, seed)
    plan = greedy_plan(Frame(asked)).to_plan()
    # Once it is accepted, charges begin when it says.
    kilns = tuple(
        replace(
            kiln,
            charges=tuple(
                replace(charge, start_min=start)
                for charge, start in zip(kiln.charges, plan.charge_starts[kiln.tag], strict=True)
            ),
        )
        for kiln in asked.kilns
    )
    people = {ref: frozenset(person for person, _skill in at.crew) for ref, at in plan.jobs.items()}
    issued = {ref: Issued(at.start_min, people[ref]) for ref, at in plan.jobs.items()}
    problem = replace(asked, kilns=kilns, issued=issued, pinned=frozenset(issued))
    stops = [KeptStop(one.kiln, _place(one), one.set_up_start_min, one.person) for one in plan.stops]
    kept = {}
    for ref, at in plan.jobs.items():
        place = None if at.charge is None else 2 * at.charge + 1
        kept[ref] = KeptPlace(at.start_min, people[ref], place if at.stop is None else _place(plan.stops[at.stop]))

    assert pins_to_let_go(Frame(problem), kept, stops) == ()


def _place(stop: Stop) -> int:
    return 2 * stop.before_charge if stop.before_charge is not None else 2 * (stop.in_charge or 0) + 1


def test_clashes_that_share_nothing_are_covered_each_by_itself() -> None:
    clashes = [frozenset({f"A{n}", f"B{n}"}) for n in range(40)]
    order = [f"{side}{n}" for side in "AB" for n in range(40)]
    assert smallest_cover(clashes, order) == {f"A{n}" for n in range(40)}
