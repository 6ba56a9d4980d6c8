"""The check of plans of the second form: the sum by hand, and every kind of damage, wherever it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.inserting import greedy_plan
from maintenance.placing.plan import PlacedJob, Plan, Stop
from maintenance.placing.problem import Charge, Kiln, Problem
from maintenance.placing.solving import solve
from tests.maintenance.placing.drawn_second import odd_of_second_form, small_of_second_form
from tests.maintenance.placing.second_by_hand import LAST, a_second_mill, a_second_plan, at
from tests.maintenance.placing.test_placing_check import (
    is_caught_wherever_it_is_done,
    job_damage,
    kiln,
    restated,
    stop_damage,
)

Damage = Callable[[Problem, Plan], Iterator[Plan]]
#: Problems that are solved to the end: they have stops in down times, waits for the yard, late and short charges.
SOLVED = (4, 7, 15, 20, 25, 32, 59, 67, 93, 98, 101, 112, 127, 128)


@pytest.fixture(scope="module")
def plans() -> list[tuple[Problem, Plan]]:
    """Give good plans: by hand, to the end, and by rule of thumb."""
    found = [(a_second_mill(), a_second_plan())]
    for seed in SOLVED:
        plan = solve(small_of_second_form(seed), 20, workers=0).plan
        assert plan is not None
        found.append((small_of_second_form(seed), plan))
    for seed in range(40):
        problem = odd_of_second_form(seed)
        plan = greedy_plan(Frame(problem)).to_plan()
        # By this rule alone safety work may be left out, and pins moved.
        if not {one.rule for one in check(problem, plan).broken} <= {"safety", "pin"}:
            raise AssertionError(seed, check(problem, plan).broken)
        if check(problem, plan).holds:
            found.append((problem, plan))
    return found


def test_good_plans_pass(plans: list[tuple[Problem, Plan]]) -> None:
    assert len(plans) > 25
    assert [check(problem, plan).broken for problem, plan in plans] == [()] * len(plans)


def test_the_plan_by_hand_costs_what_was_summed_by_hand() -> None:
    assert check(a_second_mill(), a_second_plan()).cost == a_second_plan().cost


# --- damage -------------------------------------------------------------------------------------------


def charges_of(problem: Problem) -> Iterator[tuple[Kiln, int, Charge]]:
    for one in problem.kilns:
        for index, charge in enumerate(one.charges):
            yield one, index, charge


def with_start(plan: Plan, tag: str, index: int, start: int) -> Plan:
    starts = list(plan.charge_starts[tag])
    starts[index] = start
    return replace(plan, charge_starts={**plan.charge_starts, tag: tuple(starts)})


def loaded_while_the_yard_is_shut(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for one, index, charge in charges_of(problem):
        latest = charge.start_min + (problem.max_delay_min if charge.may_wait_min is None else charge.may_wait_min)
        for start in range(charge.start_min + 1, latest + 1) if charge.start_min > 0 else ():
            spans = problem.yard if problem.yard is not None else ((-LAST, 9 * LAST),)
            is_shut = not any(a <= start and start + charge.loading_min <= b for a, b in spans)
            if is_shut and index < len(one.charges) - 1 and not charge.goes_on:
                yield with_start(plan, one.tag, index, start)


def longer_than_it_may_wait(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for one, index, charge in charges_of(problem):
        if charge.may_wait_min is not None and charge.start_min > 0:
            yield with_start(plan, one.tag, index, charge.start_min + charge.may_wait_min + 1)


def in_progress_and_waiting(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for one, index, charge in charges_of(problem):
        if charge.start_min <= 0:
            yield with_start(plan, one.tag, index, charge.start_min + 1)


def of_stops_in_down(change: Callable[[Kiln, Stop, int], Stop | None]) -> Damage:
    def changed(problem: Problem, plan: Plan, stop: Stop) -> Stop | None:
        return None if stop.in_down is None else change(kiln(problem, stop.kiln), stop, stop.in_down)

    return stop_damage(changed)


def to_past_the_sentinel(one: Kiln, stop: Stop, index: int) -> Stop | None:
    return replace(stop, end_min=9 * LAST) if one.down[index].unloaded else None


def work_that_wants_it_empty_in_one_that_stands_loaded(problem: Problem, plan: Plan) -> Iterator[Problem]:
    for job in problem.jobs:
        placed = plan.jobs.get(job.ref)
        stop = None if placed is None or placed.stop is None else plan.stops[placed.stop]
        if stop is None or job.needs_state != "still":
            continue
        is_loaded = stop.in_down is not None and not kiln(problem, stop.kiln).down[stop.in_down].unloaded
        if is_loaded or stop.in_charge is not None:
            others = (replace(one, needs_state="empty") if one is job else one for one in problem.jobs)
            yield replace(problem, jobs=tuple(others))


def again_in_the_same_down_time(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for stop in plan.stops:
        if stop.in_down is not None:
            yield replace(plan, stops=(*plan.stops, stop))


def a_cut_beside_one_that_lasts_longer(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for stop in plan.stops:
        one = kiln(problem, stop.kiln)
        if stop.in_down is None or stop.end_min <= one.down[stop.in_down].end_min:
            continue
        for index, charge in enumerate(one.charges[:-1]):
            start, down = plan.charge_starts[one.tag][index], one.down[stop.in_down]
            if not down.unloaded and start <= down.end_min < start + charge.length_min:
                extra = replace(stop, in_down=None, in_charge=index, set_up_start_min=start, end_min=start)
                yield replace(plan, stops=(*plan.stops, extra))


def while_the_kiln_is_down(problem: Problem, plan: Plan) -> Iterator[Plan]:
    for job in problem.jobs:
        placed = plan.jobs.get(job.ref)
        if placed is None or job.needs_state != "running" or not job.duration_min:
            continue
        for down in kiln(problem, job.kiln).down:
            for start in (down.start_min, down.end_min - 1, down.start_min - job.duration_min + 1):
                yield replace(plan, jobs={**plan.jobs, job.ref: replace(placed, start_min=start)})


def while_it_heats_again(problem: Problem, plan: Plan) -> Iterator[Plan]:
    """In the charge that a stop in a down time stretches, a minute before it is warm again."""
    for stop in plan.stops:
        one = kiln(problem, stop.kiln)
        if stop.in_down is None or stop.end_min <= one.down[stop.in_down].end_min or one.down[stop.in_down].unloaded:
            continue
        for job in problem.jobs:
            placed = plan.jobs.get(job.ref)
            if placed and placed.charge is not None and job.kiln == one.tag and job.duration_min:
                start = stop.end_min + one.reheat_min - 1
                yield replace(plan, jobs={**plan.jobs, job.ref: replace(placed, start_min=start)})


def over_another_stop(problem: Problem, plan: Plan) -> Iterator[Plan]:
    """Each pair of a kiln's stops, one of them laid over the other."""
    for index, stop in enumerate(plan.stops):
        for other in plan.stops:
            if other is not stop and other.kiln == stop.kiln and other.end_min > other.set_up_start_min:
                length = max(1, stop.end_min - stop.set_up_start_min)
                laid = replace(stop, set_up_start_min=other.set_up_start_min, end_min=other.set_up_start_min + length)
                yield replace(plan, stops=(*plan.stops[:index], laid, *plan.stops[index + 1 :]))


def of_the_plan_by_hand(number: int, **changes: int | None) -> Damage:
    """Change one stop of the plan by hand."""

    def damage(problem: Problem, plan: Plan) -> Iterator[Plan]:
        if plan.jobs.keys() == a_second_plan().jobs.keys():
            changed = replace(plan.stops[number], **changes)  # type: ignore[arg-type]
            yield replace(plan, stops=(*plan.stops[:number], changed, *plan.stops[number + 1 :]))

    return damage


def of_a_job_by_hand(ref: str, **changes: int | None) -> Damage:
    def changed(problem: Problem, plan: Plan, of: str, placed: PlacedJob) -> PlacedJob | None:
        return replace(placed, **changes) if of == ref else None  # type: ignore[arg-type]

    return job_damage(changed)


DAMAGES: dict[str, tuple[Damage, set[str]]] = {
    "a charge loaded while the yard is shut": (loaded_while_the_yard_is_shut, {"yard"}),
    "a charge that waits longer than it may": (longer_than_it_may_wait, {"charge start"}),
    "a charge in progress that waits": (in_progress_and_waiting, {"charge start"}),
    "a stop before the kiln is down": (
        of_stops_in_down(lambda one, stop, index: replace(stop, set_up_start_min=one.down[index].start_min - 1)),
        {"stop place"},
    ),
    "a stop once the kiln is up again": (
        of_stops_in_down(lambda one, stop, index: replace(stop, set_up_start_min=one.down[index].end_min)),
        {"stop place"},
    ),
    "a stop of a down time that there is not": (
        of_stops_in_down(lambda one, stop, index: replace(stop, in_down=len(one.down))),
        {"stop place"},
    ),
    "a stop of down time -1": (
        of_stops_in_down(lambda one, stop, index: replace(stop, in_down=-1)),
        {"stop place"},
    ),
    "a stop in a down time and in a charge": (
        of_stops_in_down(lambda one, stop, index: replace(stop, in_charge=0)),
        {"stop place"},
    ),
    "a stop in a down time and in an opening": (
        of_stops_in_down(lambda one, stop, index: replace(stop, before_charge=0)),
        {"stop place"},
    ),
    "a stop in a down time that is too short": (
        of_stops_in_down(lambda one, stop, index: replace(stop, end_min=stop.set_up_start_min - 1)),
        {"stop length"},
    ),
    "a stop of an unloaded kiln beyond every charge": (of_stops_in_down(to_past_the_sentinel), {"stop place"}),
    "two stops in one down time": (again_in_the_same_down_time, {"one stop"}),
    "an interruption beside a stop that outlasts the down time": (a_cut_beside_one_that_lasts_longer, {"one stop"}),
    "running work while the kiln is down": (while_the_kiln_is_down, {"state"}),
    "running work while the charge is warmed again": (while_it_heats_again, {"state"}),
    "stops that overlap": (over_another_stop, {"two stops"}),
    "a stop before the waiting charge has cooled": (
        of_the_plan_by_hand(1, set_up_start_min=at(3, 0, 29)),
        {"stop place"},
    ),
    "a stop once unloading has begun": (of_the_plan_by_hand(1, set_up_start_min=at(3, 6)), {"stop place"}),
    "a stop that lasts into the unloading": (of_the_plan_by_hand(1, end_min=at(3, 6, 1)), {"stop place"}),
    "a stop in the opening while the charge still waits": (
        of_the_plan_by_hand(2, set_up_start_min=at(3, 7, 59)),
        {"stop place"},
    ),
    "running work while the charge waits": (
        of_a_job_by_hand("RUNS", charge=0, start_min=at(3, 2), stop=None),
        {"state"},
    ),
    "work in a down time's stop of another kiln": (of_a_job_by_hand("DOWN", stop=5), {"state"}),
    "work before its stop in a down time is set up": (of_a_job_by_hand("DOWN", start_min=7069), {"set-up"}),
    "work after its stop in a down time": (of_a_job_by_hand("UNLOADED", start_min=9411), {"restore"}),
    "a plan of the first form": (lambda problem, plan: iter([replace(plan, form=1)]), {"form"}),
}


@pytest.mark.parametrize("name", DAMAGES)
def test_damage_is_caught_wherever_it_is_done(name: str, plans: list[tuple[Problem, Plan]]) -> None:
    is_caught_wherever_it_is_done(name, *DAMAGES[name], plans)


def test_work_that_wants_the_kiln_empty_is_caught_where_it_stands_loaded(plans: list[tuple[Problem, Plan]]) -> None:
    caught = 0
    for problem, plan in plans:
        for other in work_that_wants_it_empty_in_one_that_stands_loaded(problem, plan):
            caught += 1
            assert {"state"} & {fault.rule for fault in check(other, plan).broken}
    assert caught >= 3


def test_a_yard_that_has_no_more_hours_is_said_of_the_charge_that_waits() -> None:
    problem = replace(a_second_mill(), yard=((at(0, 6), at(0, 22)),))

    broken = check(problem, a_second_plan()).broken

    assert {str(one.said["what"]) for one in broken if one.rule == "yard"} == {"K1, charge 0", "K2, charge 0"}


@pytest.mark.parametrize("part", ["later", "margin", "interruption"])
def test_a_cent_too_little_in_any_part_is_caught(part: str, plans: list[tuple[Problem, Plan]]) -> None:
    for problem, plan in plans:
        cost = replace(plan.cost, **{part: getattr(plan.cost, part) - 1})

        broken = check(problem, replace(plan, cost=cost, stated_total_cents=cost.total)).broken

        assert {fault.where for fault in broken} == {part, "total"}


def test_what_the_programme_does_at_night_is_allowed() -> None:
    """The second charge of the mill by hand is loaded at midnight, when the yard is shut, a minute later it is not."""
    plan, problem = a_second_plan(), a_second_mill()

    assert check(problem, plan).holds
    moved = restated(problem, with_start(plan, "K1", 1, at(4, 0, 1)))
    assert {one.rule for one in check(problem, moved).broken} == {"yard"}


def test_what_comes_later_is_summed_over_the_mill_and_rounded_once() -> None:
    """Two charges, each ten minutes late: a sixth of what an hour costs them together, half a cent is one."""
    first, *others = a_second_mill().kilns[0].charges
    one, other = a_second_mill().kilns

    def later(first_cents: int, second_cents: int) -> int:
        kilns = (
            replace(one, charges=(replace(first, later_cents_per_hour=first_cents, promised_end_min=4790), *others)),
            replace(
                other,
                charges=(
                    replace(other.charges[0], later_cents_per_hour=second_cents, promised_end_min=4790),
                    other.charges[1],
                ),
            ),
        )
        return check(replace(a_second_mill(), kilns=kilns), a_second_plan()).cost.later

    assert (later(1, 1), later(1, 2), later(2, 2), later(3, 0)) == (0, 1, 1, 1)
