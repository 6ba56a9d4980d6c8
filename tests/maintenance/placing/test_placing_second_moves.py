"""What is offered, kept and moved in problems of the second form holds and costs what is said."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.doubt import doubt
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import Inserting, Option
from maintenance.placing.offering import offers, places_for, room_in, why_not, without_job
from maintenance.placing.reasons import reason_of
from maintenance.placing.solving import solve
from maintenance.placing.standing import Moves, state_of_plan
from maintenance.placing.state import State
from tests.maintenance.placing.drawn_second import odd_of_second_form, small_of_second_form
from tests.maintenance.placing.placing_by_hand import a_mill
from tests.maintenance.placing.test_placing_timing import placed_by_rule


def a_state(seed: int, is_small: bool) -> State | None:
    return placed_by_rule(Frame(small_of_second_form(seed) if is_small else odd_of_second_form(seed)))


def interruptions(state: State) -> int:
    return sum(course.is_interrupted for kiln in range(len(state.frame.kilns)) for course in state.courses(kiln))


def taken(state: State, option: Option) -> State:
    other = state.copy()
    Inserting(other).take(option)
    return other


@given(st.integers(0, 10**9), st.booleans())
@settings(max_examples=150, deadline=None)
def test_every_option_holds_and_costs_what_it_says(seed: int, is_small: bool) -> None:
    state = a_state(seed, is_small)
    if state is None:
        return
    frame = state.frame

    for job in range(len(frame.jobs)):
        without = without_job(state, job)
        if job in without.at:
            continue
        for option in Inserting(without).options(job, interrupt=True):
            other = taken(without, option)
            assert other.is_free_of_clashes()
            assert other.price() - without.price() == option.price - frame.leave_out_price(job)
        for option in offers(without, job):
            other = taken(without, option)
            assert other.starts == without.starts and interruptions(other) == interruptions(without)
            assert other.price() - without.price() == option.price - frame.leave_out_price(job)


@given(st.integers(0, 10**9), st.booleans())
@settings(max_examples=100, deadline=None)
def test_a_plan_read_again_is_the_state_that_it_was_made_of(seed: int, is_small: bool) -> None:
    state = a_state(seed, is_small)
    if state is None:
        return

    again = state_of_plan(state.frame, state.to_plan())

    assert again is not None
    assert (again.at, again.stops, again.starts) == (state.at, state.stops, state.starts)
    assert again.cost() == state.cost()


@given(st.integers(0, 10**9), st.booleans())
@settings(max_examples=60, deadline=None)
def test_whatever_is_asked_of_a_plan_has_an_answer(seed: int, is_small: bool) -> None:
    state = a_state(seed, is_small)
    if state is None:
        return
    frame, moves = state.frame, Moves(state)

    for job, of in enumerate(frame.jobs):
        assert reason_of(state, of.ref).job == of.ref
        without = without_job(state, job)
        for place in places_for(frame, job):
            assert why_not(without, job, place).code
            if of.needs_state != "any":
                from_min, to_min = room_in(without, frame.kiln_of[job], place)
                moves.move(of.ref, max(0, (from_min + to_min) // 2), None)


@given(st.integers(0, 10**9), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_plan_in_which_nothing_is_in_doubt_holds_whole(seed: int, is_small: bool) -> None:
    state = a_state(seed, is_small)
    if state is None:
        return

    assert doubt(state.frame.problem, state.to_plan(), spread=0, draws=1).all_hold == 1


def test_a_programme_that_breaks_a_promise_by_itself_is_proven_with_nothing_to_place() -> None:
    problem = a_mill(form=2)
    kiln = problem.kilns[0]
    late = replace(kiln.charges[1], promised_end_min=kiln.charges[1].start_min, later_cents_per_hour=60)
    problem = replace(problem, kilns=(replace(kiln, charges=(kiln.charges[0], late, kiln.charges[2])),))

    answer = solve(problem, 5, workers=0)

    assert answer.plan is not None and answer.is_best
    assert answer.plan.bound_cents == answer.plan.cost.later == late.length_min
