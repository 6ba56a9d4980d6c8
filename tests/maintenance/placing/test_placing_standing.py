"""A plan as it stands: built again from places that were kept, and asked what another place would mean."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan, put_dearest_anew
from maintenance.placing.plan import Plan
from maintenance.placing.problem import Issued
from maintenance.placing.standing import (
    KeptPlace,
    KeptStop,
    Moves,
    issued_plan,
    stand,
    state_of_plan,
)
from maintenance.placing.state import State
from tests.maintenance.placing.drawn_placing import drawn_mill, drawn_small
from tests.maintenance.placing.placing_by_hand import a_job, a_mill

seeds = st.integers(0, 10_000)


def kept(plan: Plan) -> tuple[dict[str, KeptPlace], list[KeptStop]]:
    """Keep a plan as the records do: start, people and opening or charge of each job, and who locks out."""
    at = [2 * s.before_charge if s.before_charge is not None else 2 * (s.in_charge or 0) + 1 for s in plan.stops]
    places = {}
    for ref, job in plan.jobs.items():
        place = at[job.stop] if job.stop is not None else None if job.charge is None else 2 * job.charge + 1
        places[ref] = KeptPlace(job.start_min, frozenset(person for person, _skill in job.crew), place)
    stops = [
        KeptStop(stop.kiln, place, stop.set_up_start_min, stop.person)
        for stop, place in zip(plan.stops, at, strict=True)
    ]
    return places, stops


def facts(state: State) -> object:
    running = [{place: sorted(work) for place, work in one.items()} for one in state.work]
    return state.at, state.stops, state.starts, [sorted(one) for one in state.busy], running


@given(seeds)
@settings(max_examples=60, deadline=None)
def test_a_plan_that_was_kept_stands_as_it_was(seed: int) -> None:
    frame = Frame(drawn_small(seed, jobs=5))
    plan = greedy_plan(frame).to_plan()

    state, loose = stand(frame, *kept(plan))

    assert loose == ()
    assert state.cost().total <= plan.cost.total


def test_a_large_plan_stands_to_the_cent() -> None:
    frame = Frame(drawn_mill(12, 4, 21))
    plan = greedy_plan(frame).to_plan()

    state, loose = stand(frame, *kept(plan))

    assert (loose, state.cost()) == ((), plan.cost)
    rebuilt = state_of_plan(frame, plan)
    assert rebuilt is not None
    assert rebuilt.to_plan() == plan


@given(seeds, st.integers(-2000, 2000), st.booleans(), st.data())
@settings(max_examples=120, deadline=None)
def test_what_a_move_means_is_what_the_checker_says(seed: int, by_min: int, same: bool, data: st.DataObject) -> None:
    problem = drawn_small(seed, jobs=5)
    moves = Moves(greedy_plan(Frame(problem)))
    if not moves.plan.jobs:
        return
    ref = data.draw(st.sampled_from(sorted(moves.plan.jobs)))
    at = moves.plan.jobs[ref]
    people = frozenset(person for person, _skill in at.crew) if same else None

    move = moves.move(ref, at.start_min + by_min, people)

    verdict = check(problem, replace(move.plan, bound_cents=0))
    assert move.plan.jobs[ref].start_min == at.start_min + by_min
    assert (move.broken == ()) == (not set(verdict.broken) - set(moves.verdict.broken))
    assert move.more_cents == verdict.cost.total - moves.verdict.cost.total == sum(move.parts.values())


@given(seeds, st.data())
@settings(max_examples=60, deadline=None)
def test_where_a_job_stands_it_costs_nothing_to_leave_it(seed: int, data: st.DataObject) -> None:
    moves = Moves(greedy_plan(Frame(drawn_small(seed, jobs=5))))
    if not moves.plan.jobs:
        return
    ref = data.draw(st.sampled_from(sorted(moves.plan.jobs)))
    at = moves.plan.jobs[ref]

    move = moves.move(ref, at.start_min, frozenset(person for person, _skill in at.crew))

    assert move.broken == ()
    assert move.more_cents <= 0


@given(seeds, st.data())
@settings(max_examples=60, deadline=None)
def test_a_job_taken_out_and_put_back_leaves_no_trace(seed: int, data: st.DataObject) -> None:
    state = greedy_plan(Frame(drawn_small(seed, jobs=5)))
    if not state.at:
        return
    job = data.draw(st.sampled_from(sorted(state.at)))
    kiln, at = state.frame.kiln_of[job], state.at[job]
    other = state.copy()
    if not other.take_out(job):
        assert facts(other) == facts(state)
        return
    stop = state.stops[kiln].get(at.place) if state.frame.jobs[job].needs_state in ("empty", "still") else None
    other.put(job, at, stop, list(state.starts[kiln]))

    assert facts(other) == facts(state)


def test_every_rule_that_a_place_breaks_is_named_and_a_place_nearby_offered() -> None:
    problem = a_mill(a_job("J1", earliest_min=600), a_job("J2"))
    moves = Moves(greedy_plan(Frame(problem)))

    move = moves.move("J1", 100, None)

    assert {one.rule for one in move.broken} >= {"earliest", "shift"}
    assert move.near
    assert all(moves.move("J1", minute, None).broken == () for minute, _cents in move.near)


def test_whoever_is_elsewhere_breaks_a_rule() -> None:
    problem = a_mill(a_job("J1"), a_job("J2"))
    moves = Moves(greedy_plan(Frame(problem)))
    there = moves.plan.jobs["J2"]
    busy = frozenset(person for person, _skill in there.crew)

    move = moves.move("J1", there.start_min, busy)

    assert {one.rule for one in move.broken} == {"two places"}


def test_a_job_that_nobody_knows_is_an_error() -> None:
    moves = Moves(greedy_plan(Frame(a_mill(a_job("J1")))))

    with pytest.raises(KeyError):
        moves.move("J9", 400, None)


# --- first plans from what stands ------------------------------------------------------------------------


@given(seeds)
@settings(max_examples=60, deadline=None)
def test_putting_the_dearest_jobs_anew_never_costs_more_and_holds(seed: int) -> None:
    frame = Frame(drawn_small(seed, jobs=5))
    state = greedy_plan(frame)
    if not frame.must <= state.at.keys():
        return
    before = state.price()

    anew = put_dearest_anew(state)

    assert anew.price() <= before == state.price()
    assert check(frame.problem, anew.to_plan()).holds


def test_a_job_that_is_dear_to_keep_waiting_interrupts_a_charge_though_other_work_runs_in_it() -> None:
    dear = a_job("DEAR", needs_state="still", due_min=0, delay_cents_per_hour=9000, leave_out_cents=10**7)
    run = a_job("RUN", needs_state="running", due_min=0, delay_cents_per_hour=10)
    state = greedy_plan(Frame(a_mill(dear, run)))

    anew = put_dearest_anew(state)

    assert any(stop.in_charge is not None for stop in anew.to_plan().stops)
    assert anew.cost().total < state.cost().total
    assert {"DEAR", "RUN"} <= anew.to_plan().jobs.keys()


@given(seeds)
@settings(max_examples=60, deadline=None)
def test_what_is_issued_and_still_holds_is_a_plan_without_a_move(seed: int) -> None:
    problem = drawn_small(seed, jobs=5)
    plan = greedy_plan(Frame(problem)).to_plan()
    issued = {
        ref: Issued(at.start_min, frozenset(person for person, _skill in at.crew)) for ref, at in plan.jobs.items()
    }
    again = replace(problem, issued=issued, move_cents=100, pinned=frozenset())

    frame = Frame(again)
    _state, loose = stand(frame, {ref: KeptPlace(one.start_min, one.people) for ref, one in issued.items()})
    state = issued_plan(frame)

    if frame.must <= state.at.keys():
        verdict = check(again, state.to_plan())
        assert verdict.holds
        # Only what finds nobody to lock out, where nothing tells who did, is put elsewhere.
        assert verdict.cost.moves <= 100 * len(loose)
