"""The solver of placing: best where all can be searched, published optima, and an answer for every problem."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.checking import check
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.plan import Plan
from maintenance.placing.problem import Issued, Person, Problem, Shift
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import Answer, Progress, solve
from tests.maintenance.placing.drawn_placing import DAY_MIN, ORIGIN, drawn_mill, drawn_odd, drawn_small
from tests.maintenance.placing.placing_by_hand import a_job, a_mill, a_mixed_mill, as_bytes
from tests.maintenance.placing.placing_shops import job_shop
from tests.maintenance.placing.searched_placing import least_total

ALONE = 0
#: Job shops that are solved in a second; the benchmark has more of them.
QUICK_SHOPS = ("ft06", "la01", "la05")
SEARCHED_SEEDS = (*range(22), 40, 65)


def best_plan(problem: Problem, seconds: float = 20) -> Plan:
    """Solve to the end, and give the plan that has passed the check."""
    answer = solve(problem, seconds, workers=ALONE)
    assert answer.plan is not None, answer
    assert check(problem, answer.plan).broken == ()
    assert answer.is_best
    return answer.plan


@pytest.mark.parametrize("seed", SEARCHED_SEEDS)
def test_it_costs_what_searching_through_every_plan_finds(seed: int) -> None:
    problem = drawn_small(seed)

    answer = solve(problem, 20, workers=ALONE)

    found = None if answer.plan is None else answer.plan.cost.total
    assert found == least_total(problem)
    assert answer.plan is None or (answer.is_best and answer.plan.bound_cents == found)


@pytest.mark.parametrize("name", QUICK_SHOPS)
def test_a_job_shop_reaches_its_published_optimum(name: str) -> None:
    """Optima of Fisher and Thompson (1963) and Lawrence (1984), as published collections give them."""
    problem, makespan = job_shop(name)

    assert best_plan(problem, 60).cost.total == makespan


def test_one_technician_works_in_the_order_of_smith() -> None:
    """W. E. Smith, Naval Research Logistics Quarterly 3 (1956) 59-66: shortest time by weight goes first."""
    times = {"A": (30, 60), "B": (90, 600), "C": (45, 90), "D": (60, 1200), "E": (15, 30), "F": (20, 300)}
    jobs = [
        a_job(
            ref, duration_min=minutes, due_min=0, latest_min=DAY_MIN, late_cents_per_hour=0, delay_cents_per_hour=price
        )
        for ref, (minutes, price) in times.items()
    ]
    shift = Shift("S", 0, 300, 400, ("P1",))
    problem = a_mill(*jobs, people=(Person("P1", frozenset({"mechanical"})),), shifts=(shift,))

    def price(order: tuple[str, ...]) -> int:
        done, sixtieths = 0, 0
        for ref in order:
            done += times[ref][0]
            sixtieths += done * times[ref][1]
        return (sixtieths + 30) // 60

    by_smith = tuple(sorted(times, key=lambda ref: times[ref][0] / times[ref][1]))
    plan = best_plan(problem)

    assert plan.cost.total == price(by_smith) == min(price(order) for order in permutations(times))


def answer_holds(problem: Problem, answer: Answer) -> bool:
    """Whether every job has an answer: a plan that passes the check, or the reason why there is none."""
    if answer.plan is None:
        return bool(answer.faults or answer.hopeless) and all(one.said for one in answer.hopeless)
    rules = [cents for cents in (answer.due_date_cents, answer.greedy_cents) if cents is not None]
    total = answer.plan.cost.total
    return check(problem, answer.plan).holds and all(total <= cents for cents in rules)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**9))
def test_every_problem_has_a_plan_that_holds_or_a_reason(seed: int) -> None:
    try:
        problem, _ = read_problem(as_bytes(drawn_odd(seed)))
    except FaultyFileError as error:
        assert error.faults
        return

    assert answer_holds(problem, solve(problem, 5, workers=ALONE))


def test_in_two_processes_it_is_better_than_the_rules_of_thumb_and_says_how_far_it_is() -> None:
    problem = drawn_mill(12, 4, 3)
    heard: list[Progress] = []

    def is_better() -> bool:
        return heard[-1].total_cents < heard[0].total_cents and heard[-1].bound_cents > 0

    answer = solve(problem, 60, heard.append, is_better)

    assert answer.plan is not None and answer_holds(problem, answer)
    assert answer.plan.bound_cents > 0
    assert heard[0].seconds < 1 and not answer.failure
    assert heard[-1].total_cents == answer.plan.cost.total < heard[0].total_cents
    assert all(one.bound_cents <= answer.plan.cost.total for one in heard)


def test_it_stops_when_it_is_asked_to() -> None:
    answer = solve(drawn_mill(12, 4, 3), 60, wants_stop=lambda: True)

    assert answer.plan is not None
    assert answer.plan.seconds < 5


def test_a_kiln_is_interrupted_where_that_is_cheaper_and_not_where_it_is_dearer() -> None:
    def interrupted(delay_cents_per_hour: int) -> bool:
        problem = a_mill(
            a_job(needs_state="still", due_min=0, delay_cents_per_hour=delay_cents_per_hour, leave_out_cents=10**8)
        )
        return any(stop.in_charge is not None for stop in best_plan(problem).stops)

    assert interrupted(10_000)
    assert not interrupted(1000)


def test_two_jobs_of_one_opening_share_its_stop() -> None:
    jobs = [a_job(f"J{number}", needs_state=state) for number, state in enumerate(("empty", "still"))]

    assert len(best_plan(a_mill(*jobs)).stops) == 1


def test_a_pin_holds_and_an_issued_job_moves_only_where_that_pays() -> None:
    def start_of_sent(move_cents: int) -> int:
        job = a_job("SENT", due_min=400, latest_min=9000, delay_cents_per_hour=60)
        issued = {"SENT": Issued(DAY_MIN + 400, frozenset({"P2"}))}
        return best_plan(a_mill(job, issued=issued, move_cents=move_cents)).jobs["SENT"].start_min

    # A day later costs 24 hours at 60 cents.
    assert start_of_sent(1400) == 360
    assert start_of_sent(1500) == DAY_MIN + 400
    pinned = best_plan(a_mixed_mill()).jobs["PIN"]
    assert (pinned.start_min, pinned.crew) == (3 * DAY_MIN + 400, (("P2", "mechanical"),))


@pytest.mark.parametrize(
    ("changes", "rule", "said"),
    [
        ({"latest_min": 300}, "crew", "latest_at=300"),
        ({"parts_min": 4000, "latest_min": 4030}, "dates", "from_at=4000"),
        ({"needs_state": "empty", "latest_min": 2000, "due_min": 0}, "opening", "hopeless.nearest begin_at="),
        ({"earliest_min": 840, "latest_min": 1500}, "crew", "('number', 1), ('skill', 'mechanical')"),
        ({"crew": (("mechanical", 3),)}, "crew", "('number', 3), ('skill', 'mechanical')"),
    ],
)
def test_safety_work_that_cannot_be_done_in_time_is_named_with_its_cause(
    changes: dict[str, object], rule: str, said: str
) -> None:
    answer = solve(a_mill(a_job(), a_job("S1", safety=True, **changes)), 10, workers=ALONE)

    assert answer.plan is None
    (hopeless,) = answer.hopeless
    assert (hopeless.job, hopeless.rule) == ("S1", rule)
    assert said in str(hopeless)


def test_nobody_who_may_lock_out_is_a_cause() -> None:
    people = (Person("P1", frozenset({"mechanical"})), Person("P2", frozenset()), Person("P3", frozenset()))

    answer = solve(a_mill(a_job(needs_state="empty", safety=True), people=people), 10, workers=ALONE)

    assert [one.rule for one in answer.hopeless] == ["lock-out"]


def test_safety_work_that_clashes_is_named_and_no_other() -> None:
    """Four jobs of a whole shift for two people with the skill, of which the third is in nobody's way."""
    clashing = [a_job(f"S{n}", safety=True, duration_min=480, latest_min=900) for n in range(3)]
    other = a_job("S9", safety=True, crew=(("electrical", 1),), latest_min=6000)

    answer = solve(a_mill(*clashing, other), 10, workers=ALONE)

    assert {one.job for one in answer.hopeless} == {"S0", "S1", "S2"}
    assert {one.rule for one in answer.hopeless} == {"together"}


@pytest.mark.parametrize(
    ("issued", "said"),
    [
        (Issued(100, frozenset({"P1"})), "no shift"),
        (Issued(400, frozenset({"P3"})), "skills"),
        (Issued(400, frozenset({"P1", "P2"})), "skills"),
        (Issued(7 * DAY_MIN, frozenset({"P1"})), "horizon"),
    ],
)
def test_a_pin_that_breaks_a_rule_is_a_fault_of_the_input(issued: Issued, said: str) -> None:
    problem = a_mill(a_job("PIN"), issued={"PIN": issued}, pinned=frozenset({"PIN"}))

    answer = solve(problem, 5, workers=ALONE)

    assert answer.plan is None and not answer.hopeless
    assert any(fault.place == "issued.PIN" and said in fault.text for fault in answer.faults)


def test_pins_that_break_a_rule_together_are_faults() -> None:
    both = {ref: Issued(400, frozenset({"P1"})) for ref in ("A", "B")}

    answer = solve(a_mill(a_job("A"), a_job("B"), issued=both, pinned=frozenset(both)), 5, workers=ALONE)

    assert ["B" in fault.place for fault in answer.faults] == [True]


def test_an_empty_problem_has_an_empty_plan() -> None:
    assert best_plan(a_mill()).jobs == {}
    assert best_plan(Problem(ORIGIN, 100, 0, 0, (), (), (), ())).cost.total == 0
