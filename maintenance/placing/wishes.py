"""What a wish costs: a job done by a minute, not before one, or at one, with its neighbourhood placed anew.

The neighbourhood is the kiln of the job with its rivals for people, or all kilns where there are few jobs; all other
kilns stand still, and their people are busy as planned. The neighbourhood is solved with the wish and without it: the
difference is the price, exact where both are proven best, else bounded on both sides.
"""

from __future__ import annotations

import time
from collections.abc import Collection
from dataclasses import dataclass, replace

from plant.basics.sentences import Sentence

from .checking import check
from .frame import PARTS, Frame
from .hopeless import find_hopeless, not_found_in_time
from .inserting import due_date_plan, greedy_plan
from .json_places import Fault
from .model import Part
from .pins import faulty_pins
from .plan import Hopeless, PlacedJob, Plan, Stop
from .problem import LOCK_OUT, LOCKED_OUT, Job, Person, Problem, Shift
from .solving import solve
from .standing import state_of_plan
from .state import State, state_of
from .tasks import lost_by_rounding, whole_task

#: Up to so many jobs, all are placed anew; of more, the kiln of the job and rivals with so many jobs in all. That many
#: are mostly proven within a second.
MOST_JOBS = 20
DAY_MIN = 1440
#: What the name of a job ends with that stands for the date of a wish.
MARK = " done"
#: The part of the time in which the neighbourhood is solved without the wish.
SHARE_WITHOUT = 0.4
#: The part of the time for the job's kiln alone.
SHARE_ALONE = 0.45


@dataclass(frozen=True)
class Wish:
    """A job is not to start before a minute, to be done by one, or both; None where there is no such wish."""

    job: str
    from_min: int | None = None
    until_min: int | None = None


@dataclass(frozen=True)
class Price:
    """What a wish costs.

    `least_cents` and `most_cents` bound the difference between the best with the wish and the best without it.
    `against_plan_cents` compares with the plan that was given; `moved` are other jobs that move for it. Where the plan
    has it so already (`is_met`) nothing was solved; where it cannot be had, `impossible` says why.
    """

    kilns: tuple[str, ...]
    is_whole: bool
    least_cents: int = 0
    most_cents: int = 0
    against_plan_cents: int = 0
    start_min: int | None = None
    moved: tuple[str, ...] = ()
    impossible: tuple[Hopeless, ...] = ()
    is_met: bool = False

    @property
    def is_exact(self) -> bool:
        """Whether the price is proven to the cent."""
        return self.least_cents == self.most_cents


@dataclass(frozen=True)
class _Best:
    state: State
    total_cents: int
    bound_cents: int


def price_of(problem: Problem, plan: Plan, wish: Wish, seconds: float = 1.5, most_jobs: int = MOST_JOBS) -> Price:
    """Work out what a wish costs.

    Parameters
    ----------
    problem : Problem
        what was asked, free of faults
    plan : Plan
        where everything is now; jobs of other kilns than the neighbourhood stay there
    wish : Wish
        what is wished
    seconds : float
        wall time it may take [s]
    most_jobs : int
        size of the neighbourhood

    Returns
    -------
    Price
        the difference in cost, and whether all kilns were placed anew

    Raises
    ------
    KeyError
        for a job that the problem does not have.
    """
    began = time.monotonic()
    of = next((job for job in problem.jobs if job.ref == wish.job), None)
    if of is None:
        raise KeyError(wish.job)
    wide = neighbourhood(problem, plan, wish, most_jobs)
    if _is_met(of, plan, wish):
        return Price(wide, len(wide) == len(problem.kilns), start_min=plan.jobs[of.ref].start_min, is_met=True)
    alone = None
    if len(wide) > 1 and len(wide) < len(problem.kilns):
        # The kiln alone is proven soon; with its rivals the answer is the better one, if it is proven, too.
        alone = _price_in(problem, plan, wish, (of.kiln,), seconds * SHARE_ALONE)
    left = max(seconds - (time.monotonic() - began), seconds * SHARE_ALONE)
    found = _price_in(problem, plan, wish, wide, left)
    if alone is None or alone.impossible or not alone.is_exact or (found.is_exact and not found.impossible):
        return found
    return alone


def _is_met(of: Job, plan: Plan, wish: Wish) -> bool:
    """Whether the plan has it so already."""
    placed = plan.jobs.get(of.ref)
    return (
        placed is not None
        and (wish.from_min is None or placed.start_min >= wish.from_min)
        and (wish.until_min is None or placed.start_min + of.duration_min <= wish.until_min)
    )


def _price_in(problem: Problem, plan: Plan, wish: Wish, tags: tuple[str, ...], seconds: float) -> Price:
    """Work out what a wish costs with some kilns placed anew."""
    began = time.monotonic()
    is_whole = len(tags) == len(problem.kilns)
    part = reduced(problem, plan, tags)
    kept = part_of(plan, part)
    wished = with_wish(part, wish)
    hopeless = _why_not(wished)
    if hopeless:
        return Price(tags, is_whole, impossible=hopeless)
    base = _best(part, kept, seconds * SHARE_WITHOUT)
    left = max(seconds - (time.monotonic() - began), seconds * SHARE_WITHOUT)
    best = _best(wished, part_of(plan, wished), left)
    if best is None or base is None:
        return Price(tags, is_whole, impossible=_not_together(wished, wish.job, left))
    at = best.state.at.get(best.state.frame.number_of_job[wish.job])
    now = check(part, kept)
    least_cents = best.bound_cents - base.total_cents
    if wish.job not in problem.pinned:
        # A further rule never makes the best one cheaper; a pin that is let go may.
        least_cents = max(least_cents, 0)
    return Price(
        kilns=tags,
        is_whole=is_whole,
        least_cents=least_cents,
        most_cents=max(best.total_cents - base.bound_cents, least_cents),
        against_plan_cents=best.total_cents - (now.cost.total if now.holds else base.total_cents),
        start_min=None if at is None else at.start_min,
        moved=_moved(kept, best.state, wish.job),
    )


def neighbourhood(problem: Problem, plan: Plan, wish: Wish, most_jobs: int = MOST_JOBS) -> tuple[str, ...]:
    """Name the kiln of the job and those whose jobs have its people about then; all kilns where there are few jobs."""
    jobs = {job.ref: job for job in problem.jobs}
    of = jobs[wish.job]
    counts = {kiln.tag: 0 for kiln in problem.kilns}
    for job in problem.jobs:
        counts[job.kiln] += 1
    if len(problem.jobs) <= most_jobs:
        return tuple(counts)
    placed = plan.jobs.get(of.ref)
    times = [one for one in (wish.from_min, wish.until_min, placed.start_min if placed else of.due_min) if one]
    from_min, until_min = min(times, default=0) - DAY_MIN, max(times, default=0) + DAY_MIN
    able = _able(problem.people, of)
    score = dict.fromkeys(counts, 0)
    for ref, there in plan.jobs.items():
        if from_min <= there.start_min < until_min:
            score[jobs[ref].kiln] += sum(person in able for person, _ in there.crew)
    for stop in plan.stops:
        score[stop.kiln] += from_min <= stop.set_up_start_min < until_min and stop.person in able
    chosen, size = {of.kiln}, counts[of.kiln]
    for tag in sorted(counts, key=lambda tag: (-score[tag], tag)):
        if tag not in chosen and score[tag] and size + counts[tag] <= most_jobs:
            chosen.add(tag)
            size += counts[tag]
    return tuple(tag for tag in counts if tag in chosen)


def _able(people: Collection[Person], job: Job) -> set[str]:
    """Whoever could do a part of the job, or lock the kiln out for it."""
    skills = {skill for skill, count in job.crew if count}
    if job.needs_state in LOCKED_OUT:
        skills.add(LOCK_OUT)
    return {person.ref for person in people if person.skills & skills}


def reduced(problem: Problem, plan: Plan, tags: Collection[str]) -> Problem:
    """Give the problem of some kilns, with the jobs of all others held where the plan has them.

    People are away while they are at work elsewhere; a job that waits for one elsewhere cannot begin sooner, and one
    for which a job elsewhere waits must be done in time.
    """
    inside = {job.ref: job for job in problem.jobs if job.kiln in tags}
    if len(inside) == len(problem.jobs) and len(tags) == len(problem.kilns):
        return problem
    jobs = {job.ref: job for job in problem.jobs}
    busy: dict[str, list[tuple[int, int]]] = {person.ref: list(person.away) for person in problem.people}
    for ref, placed in plan.jobs.items():
        if ref not in inside:
            for person, _ in placed.crew:
                busy[person].append((placed.start_min, placed.start_min + jobs[ref].duration_min))
    kilns = {kiln.tag: kiln for kiln in problem.kilns}
    for stop in plan.stops:
        if stop.kiln not in tags and not kilns[stop.kiln].is_locked_out_before(stop.before_charge):
            busy[stop.person].append((stop.set_up_start_min, stop.set_up_start_min + kilns[stop.kiln].set_up_min))
    found = replace(
        problem,
        kilns=tuple(kiln for kiln in problem.kilns if kiln.tag in tags),
        people=tuple(replace(one, away=tuple(sorted(set(busy[one.ref])))) for one in problem.people),
        jobs=tuple(_alone(job, inside, jobs, plan, problem.horizon_min) for job in inside.values()),
        issued={ref: one for ref, one in problem.issued.items() if ref in inside},
        pinned=frozenset(problem.pinned & inside.keys()),
    )
    for ref, placed in plan.jobs.items():
        if ref not in inside:
            for before, lag_min in jobs[ref].after:
                if before in inside:
                    found = _done_by(found, before, placed.start_min - lag_min)
    return found


def _alone(job: Job, inside: dict[str, Job], jobs: dict[str, Job], plan: Plan, horizon_min: int) -> Job:
    """Let a job wait for what the plan has of the jobs elsewhere."""
    earliest_min = job.earliest_min
    for ref, lag_min in job.after:
        if ref not in inside:
            placed = plan.jobs.get(ref)
            ended = horizon_min if placed is None else placed.start_min + jobs[ref].duration_min + lag_min
            earliest_min = max(earliest_min, ended)
    after = tuple((ref, lag_min) for ref, lag_min in job.after if ref in inside)
    return replace(job, earliest_min=earliest_min, after=after)


def with_wish(problem: Problem, wish: Wish) -> Problem:
    """Give the problem in which a wish is a rule; the job may leave its pin. Raises KeyError for an unknown job."""
    of = next((job for job in problem.jobs if job.ref == wish.job), None)
    if of is None:
        raise KeyError(wish.job)
    found = replace(problem, pinned=problem.pinned - {wish.job})
    if wish.from_min is not None:
        found = _with_job(found, replace(of, earliest_min=max(of.earliest_min, wish.from_min)))
    if wish.until_min is not None:
        found = _done_by(found, wish.job, wish.until_min)
    return found


def _with_job(problem: Problem, changed: Job) -> Problem:
    return replace(problem, jobs=tuple(changed if job.ref == changed.ref else job for job in problem.jobs))


def _done_by(problem: Problem, ref: str, minute: int) -> Problem:
    """Let a job be placed and done by a minute, at the cost it has anyway."""
    of = next(job for job in problem.jobs if job.ref == ref)
    if of.safety or minute <= of.latest_min or not of.late_cents_per_hour:
        latest_min = min(of.latest_min, minute) if of.safety else minute
        found = replace(of, safety=True, latest_min=latest_min)
        # Whether it keeps margins does not change with that.
        return _with_job(problem, found if problem.form == 1 else replace(found, keeps_margin=of.wants_margin))
    # Its lateness has its price from its own date on: a job of nobody and no time waits for it and has the wish's date.
    name = f"{ref}{MARK}"
    shift = Shift(name, min(0, minute), max(minute, 0) + 1, max(minute, 0) + 1, ())
    mark = Job(
        ref=name,
        kiln=of.kiln,
        needs_state="any",
        duration_min=0,
        crew=(),
        earliest_min=0,
        parts_min=0,
        due_min=minute,
        latest_min=minute,
        safety=True,
        delay_cents_per_hour=0,
        late_cents_per_hour=0,
        leave_out_cents=0,
        after=((ref, 0),),
    )
    return replace(problem, jobs=(*problem.jobs, mark), shifts=(*problem.shifts, shift))


# --- solving --------------------------------------------------------------------------------------


def _why_not(problem: Problem) -> tuple[Hopeless, ...]:
    """Say what rules a wish out before anything is solved."""
    frame = Frame(problem)
    return tuple(_of_pin(fault) for fault in faulty_pins(frame)) or find_hopeless(frame)


def _of_pin(fault: Fault) -> Hopeless:
    ref = fault.place.removeprefix("issued.")
    return Hopeless(ref, "pin", (Sentence.of("hopeless.pin", job=ref, fault=fault.text),))


def _best(problem: Problem, kept: Plan, seconds: float) -> _Best | None:
    """Solve a whole problem: the best plan found and a bound; None where there is no plan, or none was found."""
    began = time.monotonic()
    frame = Frame(problem)
    state = _first(frame, kept)
    if state is None:
        answer = solve(problem, seconds, workers=0)
        if answer.plan is None:
            return None
        if answer.is_best:
            found = state_of_plan(frame, answer.plan)
            total = answer.plan.stated_total_cents
            return None if found is None else _Best(found, total, total)
        state = state_of_plan(frame, answer.plan)
        if state is None:
            return None
    task = whole_task(state, {})
    left = max(seconds - (time.monotonic() - began), seconds / 4)
    found_part = Part(frame, task).solve(left, seed=1)
    better = state
    if found_part.at is not None:
        stops = [found_part.stops.get(kiln, {}) for kiln in range(len(frame.kilns))]
        tried = state_of(frame, found_part.at, stops)
        if tried is not None and tried.is_sound() and tried.cost().total < state.cost().total:
            better = tried
    total = better.cost().total
    # What costs more than the plan at hand was left out: that plan's cost bounds it, too.
    price = task.price or 0
    bound = price if found_part.is_impossible else found_part.bound
    cents = min(-(-bound // PARTS), (price - lost_by_rounding(frame)) // PARTS)
    return _Best(better, total, max(0, min(cents, total)))


def _first(frame: Frame, kept: Plan) -> State | None:
    """Give the cheapest plan at hand: the one there is, where it holds, and the two rules of thumb."""
    found = [due_date_plan(frame), greedy_plan(frame)]
    if all(ref in frame.number_of_job for ref in kept.jobs) and check(frame.problem, kept).holds:
        there = state_of_plan(frame, kept)
        found += [there] if there is not None else []
    complete = [state for state in found if frame.must <= state.at.keys() and state.is_sound()]
    return min(complete, key=lambda state: state.cost().total, default=None)


def _not_together(problem: Problem, ref: str, seconds: float) -> tuple[Hopeless, ...]:
    """Say why there is no plan with the wish, by the solver's own explanation."""
    answer = solve(problem, seconds, workers=0)
    found = answer.hopeless or tuple(_of_pin(fault) for fault in answer.faults)
    return tuple(one for one in found if not one.job.endswith(MARK)) or (not_found_in_time(ref),)


def part_of(plan: Plan, part: Problem) -> Plan:
    """Give what a plan has of a reduced problem, with what that costs."""
    refs = {job.ref for job in part.jobs}
    tags = {kiln.tag for kiln in part.kilns}
    number = {}
    stops: list[Stop] = []
    for index, stop in enumerate(plan.stops):
        if stop.kiln in tags:
            number[index] = len(stops)
            stops.append(stop)
    jobs = {
        ref: replace(placed, stop=None if placed.stop is None else number[placed.stop])
        for ref, placed in plan.jobs.items()
        if ref in refs
    }
    durations = {job.ref: job.duration_min for job in part.jobs}
    for job in part.jobs:
        ref = job.ref.removesuffix(MARK)
        if ref != job.ref and job.ref not in jobs and ref in jobs:
            jobs[job.ref] = PlacedJob(jobs[ref].start_min + durations[ref], job.ref, (), None, None)
    starts = {tag: one for tag, one in plan.charge_starts.items() if tag in tags}
    found = Plan(charge_starts=starts, stops=tuple(stops), jobs=jobs, form=plan.form)
    cost = check(part, found).cost
    return replace(found, cost=cost, stated_total_cents=cost.total)


def _moved(kept: Plan, state: State, wished: str) -> tuple[str, ...]:
    """Name the other jobs that are elsewhere, or done by others, than they were."""
    plan = state.to_plan()
    refs = {job.ref for job in state.frame.jobs if not job.ref.endswith(MARK)} - {wished}

    def of(one: Plan, ref: str) -> tuple[int, frozenset[str]] | None:
        placed = one.jobs.get(ref)
        return None if placed is None else (placed.start_min, frozenset(person for person, _ in placed.crew))

    return tuple(sorted(ref for ref in refs if of(kept, ref) != of(plan, ref)))
