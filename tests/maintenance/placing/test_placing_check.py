"""The independent check of plans: every kind of damage to a good plan is caught, wherever it is done."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import due_date_plan, greedy_plan
from maintenance.placing.plan import Cost, PlacedJob, Plan, Stop
from maintenance.placing.problem import Problem
from tests.maintenance.placing.drawn_placing import drawn_mill
from tests.maintenance.placing.placing_by_hand import a_job, a_mill, a_mixed_mill

Damage = Callable[[Problem, Plan], Iterator[Plan]]
#: Places at which each kind of damage is done to each plan.
MOST_PLACES = 25


def good_plans() -> list[tuple[Problem, Plan]]:
    mixed = a_mixed_mill()
    plans = [(mixed, greedy_plan(Frame(mixed)).to_plan())]
    for seed in (1, 2):
        problem = drawn_mill(12, 4, seed)
        plans += [(problem, rule(Frame(problem)).to_plan()) for rule in (due_date_plan, greedy_plan)]
    return plans


def job_damage(change: Callable[[Problem, Plan, str, PlacedJob], PlacedJob | None]) -> Damage:
    """Make a damage of a change to one placed job (None: the job offers nothing to damage)."""

    def damage(problem: Problem, plan: Plan) -> Iterator[Plan]:
        for ref, at in plan.jobs.items():
            changed = change(problem, plan, ref, at)
            if changed is not None:
                yield replace(plan, jobs={**plan.jobs, ref: changed})

    return damage


def stop_damage(change: Callable[[Problem, Plan, Stop], Stop | None]) -> Damage:
    """Make a damage of a change to one stop."""

    def damage(problem: Problem, plan: Plan) -> Iterator[Plan]:
        for index, stop in enumerate(plan.stops):
            changed = change(problem, plan, stop)
            if changed is not None:
                yield replace(plan, stops=(*plan.stops[:index], changed, *plan.stops[index + 1 :]))

    return damage


def starts_damage(change: Callable[[list[int]], None]) -> Damage:
    """Make a damage of a change to the starts of one kiln's charges."""

    def damage(problem: Problem, plan: Plan) -> Iterator[Plan]:
        for tag, starts in plan.charge_starts.items():
            changed = list(starts)
            change(changed)
            yield replace(plan, charge_starts={**plan.charge_starts, tag: tuple(changed)})

    return damage


def job(problem: Problem, ref: str):  # type: ignore[no-untyped-def]
    return next(one for one in problem.jobs if one.ref == ref)


def kiln(problem: Problem, tag: str):  # type: ignore[no-untyped-def]
    return next(one for one in problem.kilns if one.tag == tag)


def before_it_may(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob:
    return replace(at, start_min=max(job(problem, ref).earliest_min, job(problem, ref).parts_min) - 1)


def a_person_without_the_skill(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    for person in problem.people:
        if at.crew and at.crew[0][1] not in person.skills:
            return replace(at, crew=((person.ref, at.crew[0][1]), *at.crew[1:]))
    return None


def a_shift_without_the_person(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    for shift in problem.shifts:
        if at.crew and at.crew[0][0] not in shift.people:
            return replace(at, shift=shift.ref)
    return None


def while_away(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    for person in problem.people:
        if at.crew and person.away and person.ref == at.crew[0][0]:
            return replace(at, start_min=person.away[0][0])
    return None


def to_a_stop_of_another_kiln(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    others = [index for index, stop in enumerate(plan.stops) if stop.kiln != job(problem, ref).kiln]
    return replace(at, stop=others[0]) if at.stop is not None and others else None


def of_running_jobs(**changes: int | None) -> Callable[[Problem, Plan, str, PlacedJob], PlacedJob | None]:
    return lambda problem, plan, ref, at: replace(at, **changes) if at.charge is not None else None


def of_stopped_jobs(**changes: int | None) -> Callable[[Problem, Plan, str, PlacedJob], PlacedJob | None]:
    return lambda problem, plan, ref, at: replace(at, **changes) if at.stop is not None else None


def same_stop_again(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for stop in plan.stops:
        yield replace(plan, stops=(*plan.stops, stop))


def unknown_job(problem: Problem, plan: Plan) -> Iterator[Plan]:
    yield replace(plan, jobs={**plan.jobs, "NOBODY ASKED": next(iter(plan.jobs.values()))})


def safety_left_out(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for one in problem.jobs:
        if one.safety:
            yield replace(plan, jobs={ref: at for ref, at in plan.jobs.items() if ref != one.ref})


def safety_late(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    of = job(problem, ref)
    return replace(at, start_min=of.latest_min - of.duration_min + 1) if of.safety else None


def first_of_two_left_out(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for one in problem.jobs:
        if one.after and one.ref in plan.jobs:
            yield replace(plan, jobs={ref: at for ref, at in plan.jobs.items() if ref != one.after[0][0]})


def before_the_first_ends(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    after = job(problem, ref).after
    if not after or after[0][0] not in plan.jobs:
        return None
    first = plan.jobs[after[0][0]].start_min + job(problem, after[0][0]).duration_min
    return replace(at, start_min=first + after[0][1] - 1)


def another_job_of_its_crew_at_once(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    for other in plan.jobs.values():
        if other is not at and at.crew and other.crew and at.crew[0][0] == other.crew[0][0]:
            return replace(at, start_min=other.start_min, shift=other.shift)
    return None


def a_kiln_left_out(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for tag in plan.charge_starts:
        yield replace(plan, charge_starts={one: at for one, at in plan.charge_starts.items() if one != tag})


def start_of_charge_in_progress(starts: list[int]) -> None:
    starts[0] += 1


def charge_too_early(starts: list[int]) -> None:
    starts[1] -= 100_000


def charge_too_late(starts: list[int]) -> None:
    starts[-1] += 100_000


def one_start_less(starts: list[int]) -> None:
    del starts[-1]


def an_unlocked_person(problem: Problem, plan: Plan, stop: Stop) -> Stop | None:
    able = [person.ref for person in problem.people if "lock-out" not in person.skills]
    return replace(stop, person=able[0]) if able else None


def pinned_moved(problem: Problem, plan: Plan, ref: str, at: PlacedJob) -> PlacedJob | None:
    return replace(at, start_min=at.start_min + 1) if ref in problem.pinned else None


DAMAGES: dict[str, tuple[Damage, set[str]]] = {
    "a job before it may start": (job_damage(before_it_may), {"earliest"}),
    "a job after the horizon": (
        job_damage(lambda problem, plan, ref, at: replace(at, start_min=problem.horizon_min)),
        {"horizon"},
    ),
    "a job outside its shift": (
        job_damage(
            lambda problem, plan, ref, at: replace(
                at, start_min=next(one.end_min for one in problem.shifts if one.ref == at.shift)
            )
        ),
        {"shift"},
    ),
    "an unknown shift": (job_damage(lambda problem, plan, ref, at: replace(at, shift="none")), {"unknown"}),
    "a shift without the person": (job_damage(a_shift_without_the_person), {"shift"}),
    "somebody without the skill": (job_damage(a_person_without_the_skill), {"skill"}),
    "an unknown person": (
        job_damage(lambda problem, plan, ref, at: replace(at, crew=(("nobody", "mechanical"), *at.crew[1:]))),
        {"unknown"},
    ),
    "one person twice": (job_damage(lambda problem, plan, ref, at: replace(at, crew=at.crew + at.crew[:1])), {"crew"}),
    "nobody": (job_damage(lambda problem, plan, ref, at: replace(at, crew=())), {"crew"}),
    "work while away": (job_damage(while_away), {"away"}),
    "two jobs of one person at once": (job_damage(another_job_of_its_crew_at_once), {"two places"}),
    "a job waits not for another": (job_damage(before_the_first_ends), {"after"}),
    "what a job waits for is left out": (first_of_two_left_out, {"after"}),
    "safety work left out": (safety_left_out, {"safety"}),
    "safety work late": (job_damage(safety_late), {"safety"}),
    "an unknown job": (unknown_job, {"unknown"}),
    "a running job without a charge": (job_damage(of_running_jobs(charge=None)), {"state"}),
    "a running job in a stop": (job_damage(of_running_jobs(charge=None, stop=0)), {"state"}),
    "a running job in charge -1": (job_damage(of_running_jobs(charge=-1)), {"state"}),
    "a running job in the sentinel": (
        job_damage(
            lambda problem, plan, ref, at: (
                replace(at, charge=len(kiln(problem, job(problem, ref).kiln).charges) - 1)
                if at.charge is not None
                else None
            )
        ),
        {"state"},
    ),
    "a running job in another charge": (
        job_damage(lambda problem, plan, ref, at: replace(at, charge=at.charge + 1) if at.charge == 0 else None),
        {"state"},
    ),
    "a stopped job in stop -1": (job_damage(of_stopped_jobs(stop=-1)), {"state"}),
    "a stopped job in no stop": (job_damage(of_stopped_jobs(stop=None)), {"state"}),
    "a stopped job in an unknown stop": (job_damage(of_stopped_jobs(stop=10_000)), {"state"}),
    "a stopped job that names a charge": (job_damage(of_stopped_jobs(charge=0)), {"state"}),
    "a stopped job in another kiln's stop": (job_damage(to_a_stop_of_another_kiln), {"state"}),
    "two stops in one place": (same_stop_again, {"one stop"}),
    "a stop that ends too early": (
        stop_damage(lambda problem, plan, stop: replace(stop, end_min=stop.end_min - 1)),
        {"restore", "stop length"},
    ),
    "a stop that ends before it begins": (
        stop_damage(lambda problem, plan, stop: replace(stop, end_min=stop.set_up_start_min - 1)),
        {"stop length"},
    ),
    "a stop of an opening that there is not": (
        stop_damage(lambda problem, plan, stop: replace(stop, before_charge=99, in_charge=None)),
        {"stop place"},
    ),
    "a stop of opening -1": (
        stop_damage(lambda problem, plan, stop: replace(stop, before_charge=-1, in_charge=None)),
        {"stop place"},
    ),
    "a stop of no place": (
        stop_damage(lambda problem, plan, stop: replace(stop, before_charge=None, in_charge=None)),
        {"stop place"},
    ),
    "a stop of two places": (
        stop_damage(lambda problem, plan, stop: replace(stop, before_charge=1, in_charge=0)),
        {"stop place"},
    ),
    "an interruption of the sentinel": (
        stop_damage(
            lambda problem, plan, stop: replace(
                stop, before_charge=None, in_charge=len(kiln(problem, stop.kiln).charges) - 1
            )
        ),
        {"stop place"},
    ),
    "a stop while the charge before runs": (
        stop_damage(
            lambda problem, plan, stop: (
                replace(stop, set_up_start_min=plan.charge_starts[stop.kiln][stop.before_charge - 1])
                if stop.before_charge
                else None
            )
        ),
        {"stop place"},
    ),
    "a stop of an unknown kiln": (
        stop_damage(lambda problem, plan, stop: replace(stop, kiln="K0")),
        {"unknown"},
    ),
    "a set-up by somebody who may not": (stop_damage(an_unlocked_person), {"skill"}),
    "a set-up by nobody": (stop_damage(lambda problem, plan, stop: replace(stop, person="nobody")), {"unknown"}),
    "a set-up before its shift": (
        stop_damage(
            lambda problem, plan, stop: replace(
                stop, set_up_start_min=next(one.start_min for one in problem.shifts if one.ref == stop.shift) - 1
            )
        ),
        {"shift"},
    ),
    "the start of a charge in progress": (starts_damage(start_of_charge_in_progress), {"charge start"}),
    "a charge too early": (starts_damage(charge_too_early), {"charge start"}),
    "a charge too late": (starts_damage(charge_too_late), {"charge start"}),
    "a start too few": (starts_damage(one_start_less), {"charges"}),
    "a kiln without starts": (a_kiln_left_out, {"charges"}),
    "a pinned job moved": (job_damage(pinned_moved), {"pin"}),
}


@pytest.fixture(scope="module")
def plans() -> list[tuple[Problem, Plan]]:
    return good_plans()


def restated(problem: Problem, plan: Plan) -> Plan:
    """State the cost anew, so that only a hard rule can be what is broken."""
    cost = check(problem, plan).cost
    return replace(plan, cost=cost, stated_total_cents=cost.total)


def test_good_plans_pass(plans: list[tuple[Problem, Plan]]) -> None:
    assert [check(problem, plan).broken for problem, plan in plans] == [()] * len(plans)


def is_caught_wherever_it_is_done(
    name: str, damage: Damage, rules: set[str], plans: list[tuple[Problem, Plan]]
) -> None:
    """Do a damage to plans in many places, and ask for one of the rules each time."""
    damaged = 0
    for problem, plan in plans:
        every = list(damage(problem, plan))
        for one in random.Random(name).sample(every, min(len(every), MOST_PLACES)):
            damaged += 1
            broken = {fault.rule for fault in check(problem, restated(problem, one)).broken}
            assert broken & rules, f"{name}: {broken or 'nothing'} instead of {rules}"
    assert damaged


@pytest.mark.parametrize("name", DAMAGES)
def test_damage_is_caught_wherever_it_is_done(name: str, plans: list[tuple[Problem, Plan]]) -> None:
    is_caught_wherever_it_is_done(name, *DAMAGES[name], plans)


@pytest.mark.parametrize("part", ["drying_lost", "delay", "overtime", "set_up", "interruption", "left_out", "moves"])
def test_a_cent_too_little_in_any_part_is_caught(part: str, plans: list[tuple[Problem, Plan]]) -> None:
    for problem, plan in plans:
        cost = replace(plan.cost, **{part: getattr(plan.cost, part) - 1})

        broken = check(problem, replace(plan, cost=cost, stated_total_cents=cost.total)).broken

        assert {fault.where for fault in broken} == {part, "total"}


def test_a_total_or_a_bound_that_cannot_be_is_caught(plans: list[tuple[Problem, Plan]]) -> None:
    problem, plan = plans[0]

    assert not check(problem, replace(plan, stated_total_cents=plan.stated_total_cents + 1)).holds
    assert not check(problem, replace(plan, bound_cents=plan.cost.total + 1)).holds
    assert not check(problem, replace(plan, bound_cents=-1)).holds


def test_more_people_inside_than_may_be_is_caught() -> None:
    jobs = [a_job(f"J{number}", needs_state="empty", crew=(("mechanical", 1),)) for number in (1, 2)]
    problem = a_mill(*jobs)
    plan = greedy_plan(Frame(problem)).to_plan()
    at_once = {job.start_min for job in plan.jobs.values()}
    narrow = replace(problem, kilns=(replace(problem.kilns[0], max_people_inside=1),))

    assert len(at_once) == 1
    assert [fault.rule for fault in check(narrow, plan).broken] == ["inside"]


def test_a_running_job_that_meets_an_interruption_is_caught() -> None:
    problem = a_mixed_mill()
    plan = greedy_plan(Frame(problem)).to_plan()
    (interruption,) = [stop for stop in plan.stops if stop.in_charge is not None]
    run = replace(plan.jobs["RUN"], start_min=interruption.end_min + problem.kilns[0].reheat_min - 1, charge=0)

    broken = check(problem, restated(problem, replace(plan, jobs={**plan.jobs, "RUN": run}))).broken

    assert any(fault.said.code == "broken.interrupted" for fault in broken)


def test_the_cost_of_a_plan_is_the_sum_by_hand() -> None:
    """One hour late at 60 and 120 cents, 30 minutes of overtime of one person at 45.00, one stop, one job left out."""
    late = a_job("LATE", due_min=390, latest_min=390, delay_cents_per_hour=61, late_cents_per_hour=120)
    out = a_job("OUT", leave_out_cents=777)
    problem = a_mill(late, out)
    starts = tuple(charge.start_min for charge in problem.kilns[0].charges)
    plan = Plan(
        {"K1": (*starts[:2], starts[2] + 90)},
        (Stop("K1", 2, None, 7200 + 810, 7200 + 1000, "S5", "P1"),),
        {"LATE": PlacedJob(390, "S0", (("P1", "mechanical"),), None, None)},
    )

    # 90 min at 4,000 an hour; 60 min at 181 an hour; 30 min at 4,500 an hour.
    expected = Cost(drying_lost=6000, delay=181, overtime=2250, set_up=2500, left_out=777)
    assert check(problem, plan).cost == expected
    assert check(problem, replace(plan, cost=expected, stated_total_cents=expected.total)).holds


def test_parts_are_rounded_half_up_once() -> None:
    """Two jobs, each a minute late at 15 cents an hour: 2 x 0.25 = 0.5 cents, which is 1."""
    jobs = [a_job(f"J{n}", due_min=419, delay_cents_per_hour=15, late_cents_per_hour=0) for n in (1, 2)]
    plan = greedy_plan(Frame(a_mill(*jobs))).to_plan()

    assert plan.cost == Cost(delay=1)
