"""Why a job is where it is: what stands in the way of sooner, what it costs there, and what sooner would cost.

The job is taken out of the plan, everything else stays; then the earlier shifts are walked through, and the first rule
that forbids each is named. What "sooner" costs is therefore the price with everything else held; moving other jobs
as well may be cheaper.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from .frame import PARTS, Frame
from .inserting import Inserting, Option
from .problem import LOCKED_OUT, Problem
from .state import JobAt, State
from .words import in_words

#: So many causes are named, those that forbid most shifts first.
MOST_CAUSES = 3


Forbidden = tuple[str, str, tuple[tuple[str, str | int], ...]]


@dataclass(frozen=True)
class Cause:
    """What forbids so many earlier shifts: the rule, and a sentence with its values, minutes under names in `_min`."""

    rule: str
    pattern: str
    values: tuple[tuple[str, str | int], ...]
    shifts: int

    def text(self, problem: Problem) -> str:
        """The sentence with minutes counted from the problem's origin."""
        return self.pattern.format(**{name: in_words(problem, name, value) for name, value in self.values})


@dataclass(frozen=True)
class Sooner:
    """The cheapest earlier place with everything else held: when, and what it costs more (may be less than nothing)."""

    start_min: int
    more_cents: int


@dataclass(frozen=True)
class Reason:
    """Why a job is where it is, or nowhere."""

    job: str
    is_placed: bool
    own_cents: int
    caused_cents: int
    grouped_with: tuple[str, ...]
    causes: tuple[Cause, ...]
    sooner: Sooner | None


def reason_of(state: State, ref: str) -> Reason:
    """Explain the place of a job in a complete plan.

    Parameters
    ----------
    state : State
        the plan
    ref : str
        the job

    Returns
    -------
    Reason
        its own cost (delay, overtime, move, or being left out) and what else it causes (drying lost, its stop), the
        jobs that share its stop, what stands in the way of sooner, and the cheapest earlier place if there is one

    Raises
    ------
    KeyError
        for a job that the problem does not have.
    """
    frame = state.frame
    job = frame.number_of_job[ref]
    at = state.at.get(job)
    without = _without(state, job)
    own = frame.leave_out_price(job) if at is None else state.job_price(job, at)
    spared = state.price() - without.price() - own + frame.leave_out_price(job)
    options = list(Inserting(without).options(job, interrupt=True))
    return Reason(
        job=ref,
        is_placed=at is not None,
        own_cents=_cents(own),
        caused_cents=_cents(spared),
        grouped_with=_grouped_with(state, job, at),
        causes=_causes(without, job, at, options),
        sooner=_sooner(at, options, own + spared),
    )


def _cents(parts: int) -> int:
    return round(parts / PARTS)


def _without(state: State, job: int) -> State:
    """The plan without a job; its stop goes where nobody else needs it, and the charges as early as they may."""
    without = state.copy()
    return without if job in without.at and without.take_out(job) else state


def _grouped_with(state: State, job: int, at: JobAt | None) -> tuple[str, ...]:
    frame = state.frame
    if at is None or frame.jobs[job].needs_state not in LOCKED_OUT:
        return ()
    return tuple(
        frame.jobs[one].ref
        for one in frame.jobs_of[frame.kiln_of[job]]
        if one != job
        and frame.jobs[one].needs_state in LOCKED_OUT
        and one in state.at
        and state.at[one].place == at.place
    )


def _sooner(at: JobAt | None, options: list[Option], now: int) -> Sooner | None:
    """The cheapest option before the place it has; for a job that is left out, the cheapest of all."""
    earlier = [one for one in options if at is None or one.at.start_min < at.start_min]
    best = min(earlier, key=lambda one: (one.price, one.at.start_min), default=None)
    return None if best is None else Sooner(best.at.start_min, _cents(best.price - now))


def _causes(without: State, job: int, at: JobAt | None, options: list[Option]) -> tuple[Cause, ...]:
    """Count the rules that forbid the shifts before the place the job has."""
    frame = without.frame
    until = frame.problem.horizon_min if at is None else at.start_min
    possible = {one.at.shift for one in options}
    counted: Counter[Forbidden] = Counter()
    for number, shift in enumerate(frame.shifts):
        if shift.end_min > 0 and shift.start_min < until and number not in possible:
            found = _forbids(without, job, number, until)
            if found is not None:
                counted[found] += 1
    return tuple(Cause(*found, shifts) for found, shifts in counted.most_common(MOST_CAUSES))


def _forbids(without: State, job: int, number: int, until: int) -> Forbidden | None:
    """Name the first rule that forbids a shift to the job; None where none does by itself."""
    frame, shift, of = without.frame, without.frame.shifts[number], without.frame.jobs[job]
    last = min(shift.end_min - 1, shift.overtime_end_min - of.duration_min, until - 1)
    for before, lag_min in frame.after[job]:
        first = without.at.get(before)
        ref = frame.jobs[before].ref
        if first is None:
            return _said("after", "{job}, for which it waits, is left out", job=ref)
        ended = first.start_min + frame.jobs[before].duration_min + lag_min
        if last < ended:
            return _said("after", "it waits for {job} until {until_min}", job=ref, until_min=ended)
    if last < of.parts_min:
        return _said("parts", "its parts arrive {from_min}", from_min=of.parts_min)
    if last < of.earliest_min:
        return _said("earliest", "it may not start before {from_min}", from_min=of.earliest_min)
    begin = max(shift.start_min, of.from_min)
    skills = ", ".join(f"{count} {skill}" for skill, count in frame.crew_of[job])
    if not _has_qualified(frame, job, number):
        return _said("skill", "no crew with its skills ({skills}) is on shift", skills=skills)
    room = [
        (max(begin, region.from_min), min(last, region.to_min - of.duration_min))
        for region in frame.regions[job]
        if max(begin, region.from_min) <= min(last, region.to_min - of.duration_min)
    ]
    if not room:
        state = {
            "running": "running",
            "empty": "open and empty for long enough",
            "still": "stopped for long enough",
        }
        return _said("state", "kiln {kiln} is not {state}", kiln=of.kiln, state=state.get(of.needs_state, "free"))
    if all(without.earliest_crew(job, number, low, high) is None for low, high in room):
        return _said("booked", "everybody with its skills ({skills}) has other work", skills=skills)
    if of.needs_state in LOCKED_OUT:
        return _said("opening", "no opening of kiln {kiln} has room, or nobody is free to lock it out", kiln=of.kiln)
    if of.needs_state == "running":
        return _said("state", "kiln {kiln} is not running then, as its charges now stand", kiln=of.kiln)
    return None


def _said(rule: str, pattern: str, **values: str | int) -> Forbidden:
    return rule, pattern, tuple(values.items())


def _has_qualified(frame: Frame, job: int, shift: int) -> bool:
    empty = State(frame)
    of, there = frame.jobs[job], frame.shifts[shift]
    last = min(there.end_min - 1, there.overtime_end_min - of.duration_min)
    return last >= there.start_min and empty.earliest_crew(job, shift, there.start_min, last) is not None
