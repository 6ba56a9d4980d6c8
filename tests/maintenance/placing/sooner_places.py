"""Look for a place sooner than the one a job has, without asking the rules that say why there is none.

In every shift each start at which something begins or ends is tried, with every crew and, where the work is locked out,
with every set-up that could be; what is found counts only where the checker passes the whole plan.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

from maintenance.placing.checking import check
from maintenance.placing.inserting import EVERY_SHIFT, Inserting, Option, seats
from maintenance.placing.problem import LOCKED_OUT
from maintenance.placing.reasons import Sooner, forbidden_shifts, reason_of
from maintenance.placing.state import JobAt, State, StopAt, state_of
from plant.basics.sentences import Sentence

#: Besides the instants at which something ends, a start is tried every so many minutes.
STEP_MIN = 30
ROUNDED_CENTS = 4


def said_wrongly(state: State, ref: str) -> list[str]:
    """Hold what is said of why a job is not sooner against the checker: every sentence, and what sooner costs."""
    job = state.frame.number_of_job[ref]
    at, reason, forbidden = state.at[job], reason_of(state, ref), forbidden_shifts(state, ref)
    without = state.copy()
    if not without.take_out(job):
        # Its charges do not hold without it: nothing was looked at but how it stands.
        without = state
    said_of_none = [cause.said for cause in reason.causes if cause.said not in forbidden.values()]
    wrong = [f"{ref} is said to be kept off by {said}, but in no shift" for said in said_of_none]
    for shift, said in forbidden.items():
        begins_min = _begins_min(state, job, said)
        if begins_min is not None:
            there, duration_min = state.frame.shifts[shift], state.frame.jobs[job].duration_min
            last_min = min(there.end_min - 1, there.overtime_end_min - duration_min, at.start_min - 1)
            if last_min >= begins_min:
                wrong.append(f"{ref} is kept off shift {shift} by {said}, but it may start then")
            continue
        found = place_in_shift(without, job, shift, at.start_min)
        if found is not None:
            wrong.append(f"{ref} is kept off shift {shift} by {said}, but it fits: {found}")
    wrong += _sooner_is_wrong(state, without, job)
    return wrong


def _begins_min(state: State, job: int, said: Sentence) -> float | None:
    """From when the job may start by what is said, taken from problem and plan; None where that is not what is said."""
    of, ref = state.frame.jobs[job], str(dict(said.values).get("job"))
    match said.code:
        case "cause.parts":
            return of.parts_min
        case "cause.earliest":
            return of.earliest_min
        case "cause.left_out":
            return float("inf") if state.frame.number_of_job[ref] not in state.at else -float("inf")
        case "cause.after":
            before = state.frame.number_of_job[ref]
            return state.at[before].start_min + state.frame.jobs[before].duration_min + dict(of.after)[ref]
    return None


def _sooner_is_wrong(state: State, without: State, job: int) -> list[str]:
    """Carry out each way that is offered, and hold the plan it makes, its price and its charges against the checker."""
    ref = state.frame.jobs[job].ref
    ways, options = reason_of(state, ref).ways, list(Inserting(without).options(job, interrupt=True, each=EVERY_SHIFT))
    wrong = []
    if len({way.shift for way in ways}) < len(ways):
        wrong.append(f"{ref} has two ways in one shift: {ways}")
    for way in ways:
        if way.start_min >= state.at[job].start_min:
            wrong.append(f"{ref} is offered {way.start_min}, which is not sooner")
        found = [_carried_out(state, without, one) for one in options if _is_way(state, one, way)]
        # Four parts of the cost are rounded to the cent each, in the plan as it is and in the other.
        if not any(
            one is not None and abs(one[0] - way.more_cents) <= ROUNDED_CENTS and one[1] == way.charges_later_min
            for one in found
        ):
            wrong.append(f"{ref} could be at {way.start_min} by {way}, the checker finds {found}")
    return wrong


def _is_way(state: State, option: Option, way: Sooner) -> bool:
    people = tuple(state.frame.people[person].ref for person, _skill in option.at.crew)
    return (option.at.start_min, option.at.place, people) == (way.start_min, way.place, way.people)


def _carried_out(state: State, without: State, option: Option) -> tuple[int, int] | None:
    """What the checker asks more for the plan with an option, and how much later a charge of its kiln begins."""
    problem, moved, before = state.frame.problem, without.copy(), state.to_plan()
    Inserting(moved).take(option)
    after = moved.to_plan()
    verdict = check(problem, after)
    if not verdict.holds:
        return None
    kiln = state.frame.jobs[option.job].kiln
    pairs = zip(before.charge_starts[kiln], after.charge_starts[kiln], strict=True)
    later = max((then - now for now, then in pairs), default=0)
    return verdict.cost.total - check(problem, before).cost.total, later


def place_in_shift(without: State, job: int, shift: int, until_min: int) -> JobAt | None:
    """Give a place of the job in a shift that starts before a time, all else as it is, which the checker passes."""
    for at, stop in _tries(without, job, shift, until_min):
        kiln = without.frame.kiln_of[job]
        stops = [dict(one) for one in without.stops]
        if stop is not None:
            stops[kiln][at.place] = stop
        tried = state_of(without.frame, {**without.at, job: at}, stops)
        if tried is not None and tried.is_sound() and check(without.frame.problem, tried.to_plan()).holds:
            return at
    return None


def _tries(without: State, job: int, shift: int, until_min: int) -> Iterator[tuple[JobAt, StopAt | None]]:
    frame = without.frame
    of, there, kiln = frame.jobs[job], frame.shifts[shift], frame.kilns[frame.kiln_of[job]]
    low = max(there.start_min, of.from_min)
    high = min(there.end_min, there.overtime_end_min - of.duration_min + 1, until_min)
    for start_min in _starts(without, job, low, high):
        crew = _crew(without, job, shift, start_min)
        if crew is None:
            continue
        for region in frame.regions[job]:
            at = JobAt(region.place, shift, start_min, crew)
            if of.needs_state not in LOCKED_OUT:
                yield at, None
                continue
            end_min = start_min + of.duration_min + kiln.restore_min
            stop = without.stops[frame.kiln_of[job]].get(region.place)
            if stop is not None:
                yield at, replace(stop, end_min=max(stop.end_min, end_min))
                continue
            for set_up in _set_ups(without, job, region.place, start_min, crew):
                yield at, replace(set_up, end_min=end_min)


def _starts(without: State, job: int, low: int, high: int) -> list[int]:
    """Instants in [low, high): the first, every half an hour, and when somebody or something becomes free."""
    frame, kiln = without.frame, without.frame.kiln_of[job]
    instants = {low, *range(low - low % STEP_MIN + STEP_MIN, high, STEP_MIN)}
    for busy in without.busy:
        instants |= {end for _, end in busy[max(0, bisect_left(busy, (low, 0)) - 1) :] if end < high}
    for index in range(len(frame.kilns[kiln].charges) - 1):
        ready_min = without.ended(kiln, index) + frame.kilns[kiln].set_up_min
        instants |= {ready_min, without.starts[kiln][index] + frame.kilns[kiln].charges[index].loading_min}
    return sorted(one for one in instants if low <= one < high)


def _crew(without: State, job: int, shift: int, start_min: int) -> tuple[tuple[int, str], ...] | None:
    frame = without.frame
    people = [
        person
        for person in frame.shift_people[shift]
        if without.is_free(person, start_min, start_min + frame.jobs[job].duration_min)
    ]
    slots = [skill for skill, count in frame.crew_of[job] for _ in range(count)]
    for chosen in product(people, repeat=len(slots)):
        if len(set(chosen)) == len(slots) and all(
            skill in frame.people[person].skills for person, skill in zip(chosen, slots, strict=True)
        ):
            return seats(frame, job, sorted(chosen))
    return None


def _set_ups(
    without: State, job: int, place: int, start_min: int, crew: tuple[tuple[int, str], ...]
) -> Iterator[StopAt]:
    """Every set-up of the first shifts that leaves time for the work: as early as can be in each."""
    frame, kiln = without.frame, without.frame.kiln_of[job]
    set_up_min = frame.set_up_min(kiln, place)
    for shift, begin_min, person in Inserting(without).set_ups(kiln, place, start_min):
        if begin_min + set_up_min <= start_min:
            yield StopAt(begin_min, start_min, shift, person)
