"""Why a job is where it is: what stands in the way of sooner, what it costs there, and what sooner would cost.

The job is taken out of the plan, everything else stays; then the earlier shifts are walked through, and the first rule
that forbids each is named. What "sooner" costs is therefore the price with everything else held; moving other jobs
as well may be cheaper.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from plant.basics.sentences import Sentence

from .frame import PARTS, Frame
from .inserting import EVERY_SHIFT, Inserting, Option
from .places import index_of, is_in_charge
from .problem import LOCKED_OUT, Job, crew_sentences
from .state import JobAt, State

#: So many causes are named, those that forbid most shifts first.
MOST_CAUSES = 3
#: So many ways to have a job sooner are given, the cheapest first, one in a shift.
MOST_WAYS = 3


@dataclass(frozen=True)
class Cause:
    """What forbids so many earlier shifts: a clause, whose instants are minutes."""

    said: Sentence
    shifts: int


@dataclass(frozen=True)
class Sooner:
    """An earlier place with everything else held: when, by whom, and what it costs more (may be less than nothing).

    ``interrupts`` is the number of the charge of its kiln that is interrupted for it, ``charges_later_min`` the most
    by which a charge of its kiln begins later than in the plan. Of ``more_cents``, ``late_cents`` weighs the minutes
    after its safety date, ``late_min`` fewer or more of them: a weight that steers, and no money.
    """

    start_min: int
    more_cents: int
    place: int
    shift: str
    people: tuple[str, ...]
    interrupts: int | None
    overtime_min: int
    charges_later_min: int
    late_min: int
    late_cents: int

    @property
    def money_cents(self) -> int:
        """What it costs more without the weight of its safety date."""
        return self.more_cents - self.late_cents


@dataclass(frozen=True)
class Reason:
    """Why a job is where it is, or nowhere."""

    job: str
    is_placed: bool
    own_cents: int
    caused_cents: int
    grouped_with: tuple[str, ...]
    causes: tuple[Cause, ...]
    ways: tuple[Sooner, ...]

    @property
    def sooner(self) -> Sooner | None:
        """The cheapest way to have it sooner, if there is one."""
        return next(iter(self.ways), None)


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
        jobs that share its stop, what stands in the way of sooner, and the cheapest earlier places, one in a shift

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
    options = _options(without, job)
    return Reason(
        job=ref,
        is_placed=at is not None,
        own_cents=_cents(own),
        caused_cents=_cents(spared),
        grouped_with=_grouped_with(state, job, at),
        causes=_causes(without, job, at, options),
        ways=_ways(state, without, at, options, own + spared),
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


def _ways(state: State, without: State, at: JobAt | None, options: list[Option], now: int) -> tuple[Sooner, ...]:
    """The cheapest options before the place it has, one in a shift and at a time; for one left out, of all."""
    found: list[Option] = []
    for one in sorted(options, key=lambda one: (one.price, one.at.start_min)):
        is_earlier = at is None or one.at.start_min < at.start_min
        if is_earlier and all(one.at.shift != of.at.shift and one.at.start_min != of.at.start_min for of in found):
            found.append(one)
            if len(found) == MOST_WAYS:
                break
    return tuple(_way(state, without, one, now) for one in found)


def _way(state: State, without: State, option: Option, now: int) -> Sooner:
    frame, job, at = state.frame, option.job, option.at
    of, kiln, place = frame.jobs[job], frame.kiln_of[job], at.place
    starts = without.starts[kiln] if option.starts is None else option.starts
    end_min = at.start_min + of.duration_min
    late_min = 0
    if of.late_cents_per_hour and job in state.at:
        was_end_min = state.at[job].start_min + of.duration_min
        late_min = max(0, end_min - of.latest_min) - max(0, was_end_min - of.latest_min)
    is_interrupting = of.needs_state in LOCKED_OUT and is_in_charge(place)
    return Sooner(
        start_min=at.start_min,
        more_cents=_cents(option.price - now),
        place=place,
        shift=frame.shifts[at.shift].ref,
        people=tuple(frame.people[person].ref for person, _skill in at.crew),
        interrupts=index_of(place) if is_interrupting else None,
        overtime_min=max(0, end_min - max(at.start_min, frame.shifts[at.shift].end_min)),
        charges_later_min=max((then - was for was, then in zip(state.starts[kiln], starts, strict=True)), default=0),
        late_min=late_min,
        late_cents=round(late_min * of.late_cents_per_hour / 60),
    )


def _causes(without: State, job: int, at: JobAt | None, options: list[Option]) -> tuple[Cause, ...]:
    """Count the rules that forbid the shifts before the place the job has."""
    counted = Counter(_forbidden(without, job, at, options).values())
    return tuple(Cause(found, shifts) for found, shifts in counted.most_common(MOST_CAUSES))


def forbidden_shifts(state: State, ref: str) -> dict[int, Sentence]:
    """Say of every shift before the place of a job, in which there is none for it, what forbids it."""
    job = state.frame.number_of_job[ref]
    without = _without(state, job)
    return _forbidden(without, job, state.at.get(job), _options(without, job))


def _options(without: State, job: int) -> list[Option]:
    return list(Inserting(without).options(job, interrupt=True, each=EVERY_SHIFT))


def _forbidden(without: State, job: int, at: JobAt | None, options: list[Option]) -> dict[int, Sentence]:
    frame = without.frame
    until = frame.problem.horizon_min if at is None else at.start_min
    possible = {one.at.shift for one in options}
    found = {}
    for number, shift in enumerate(frame.shifts):
        if shift.end_min > 0 and shift.start_min < until and number not in possible:
            said = _forbids(without, job, number, until)
            if said is not None:
                found[number] = said
    return found


def _forbids(without: State, job: int, number: int, until: int) -> Sentence | None:
    """Name the first rule that forbids a shift to the job; None where none does by itself."""
    frame, shift, of = without.frame, without.frame.shifts[number], without.frame.jobs[job]
    last = min(shift.end_min - 1, shift.overtime_end_min - of.duration_min, until - 1)
    for before, lag_min in frame.after[job]:
        first = without.at.get(before)
        ref = frame.jobs[before].ref
        if first is None:
            return Sentence.of("cause.left_out", job=ref)
        ended = first.start_min + frame.jobs[before].duration_min + lag_min
        if last < ended:
            return Sentence.of("cause.after", job=ref, until_at=ended)
    if last < of.parts_min:
        return Sentence.of("cause.parts", from_at=of.parts_min)
    if last < of.earliest_min:
        return Sentence.of("cause.earliest", from_at=of.earliest_min)
    begin = max(shift.start_min, of.from_min)
    if not _has_qualified(frame, job, number):
        return Sentence.of("cause.skill", skills=crew_sentences(frame.crew_of[job]))
    room = [
        (max(begin, region.from_min), min(last, region.to_min - of.duration_min))
        for region in frame.regions[job]
        if max(begin, region.from_min) <= min(last, region.to_min - of.duration_min)
    ]
    if not room:
        return _not_in_state(of)
    if all(without.earliest_crew(job, number, low, high) is None for low, high in room):
        return Sentence.of("cause.booked", skills=crew_sentences(frame.crew_of[job]))
    if of.needs_state in LOCKED_OUT:
        return Sentence.of("cause.opening", kiln=of.kiln)
    if of.needs_state == "running":
        return Sentence.of("cause.not_running_then", kiln=of.kiln)
    return None


def _not_in_state(of: Job) -> Sentence:
    match of.needs_state:
        case "running":
            return Sentence.of("cause.not_running", kiln=of.kiln)
        case "empty":
            return Sentence.of("cause.not_empty", kiln=of.kiln)
        case "still":
            return Sentence.of("cause.not_stopped", kiln=of.kiln)
    return Sentence.of("cause.not_planned")


def _has_qualified(frame: Frame, job: int, shift: int) -> bool:
    empty = State(frame)
    of, there = frame.jobs[job], frame.shifts[shift]
    last = min(there.end_min - 1, there.overtime_end_min - of.duration_min)
    return last >= there.start_min and empty.earliest_crew(job, shift, there.start_min, last) is not None
