"""What a part of a plan is asked to be, and what comes out: tasks for the solver, made from a plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from .frame import MOST_LOST, PARTS, Frame
from .state import JobAt, State, Stops

#: What rounding half up can take away from a plan's drying, delay and overtime, later and margin, in parts of a cent.
LOST_BY_ROUNDING, LOST_BY_ROUNDING_MORE = 3 * MOST_LOST, 5 * MOST_LOST
Busy = list[list[tuple[int, int]]]


@dataclass(frozen=True)
class Task:
    """A part to be solved.

    `at` and `stops` are what the kilns have now (empty where there is no plan yet); `free` the jobs that may move;
    `busy` when people are away or at work in other kilns; `price` what the part costs now and must not exceed, and
    `floors` a lower bound of what each kiln costs. `only` leaves all other jobs away. `settled` are the other
    kilns whose jobs hold; where there are none, the optimum is a lower bound. `parts_cents` are what the rounded
    parts of the cost come to, of the whole, and have the sums rounded as the plan states them.
    """

    kilns: tuple[int, ...]
    free: frozenset[int]
    at: dict[int, JobAt]
    stops: dict[int, Stops]
    starts: dict[int, list[int]]
    busy: Busy
    price: int | None
    floors: dict[int, int] = field(default_factory=dict)
    only: frozenset[int] | None = None
    settled: frozenset[int] = frozenset()
    parts_cents: tuple[int, int, int, int, int] | None = None


@dataclass(frozen=True)
class Found:
    """What came out: places and stops of the part (None if nothing was found), and a lower bound of its price."""

    at: dict[int, JobAt] | None
    stops: dict[int, Stops]
    price: int | None
    bound: int
    is_proven: bool
    is_impossible: bool = False
    cpu_seconds: float = 0.0


def lost_by_rounding(frame: Frame) -> int:
    """What rounding half up can take away from a plan's cost, in parts of a cent."""
    return LOST_BY_ROUNDING if all(one.is_plain for one in frame.timing) else LOST_BY_ROUNDING_MORE


def task_of(
    state: State,
    kilns: Iterable[int],
    free: frozenset[int] | None = None,
    floors: dict[int, int] | None = None,
    apart: bool = False,
) -> Task:
    """Make a task of kilns of a complete plan; all their jobs may move, if not said otherwise.

    Apart, the people of other kilns are free and their jobs unknown: what comes out is a bound, not a plan.
    """
    frame = state.frame
    chosen = tuple(kilns)
    inside = set(chosen)
    jobs = [job for kiln in chosen for job in frame.jobs_of[kiln]]
    linked = {before for job in jobs for before, _ in frame.after[job]}
    linked |= {follower for job in jobs for follower in frame.followers[job]}
    wanted = set(jobs) if apart else {*jobs, *linked}
    at = {job: state.at[job] for job in wanted if job in state.at}
    return Task(
        kilns=chosen,
        free=frozenset(jobs) if free is None else free,
        at=at,
        stops={kiln: dict(state.stops[kiln]) for kiln in chosen},
        starts={kiln: list(state.starts[kiln]) for kiln in chosen},
        busy=[list(away) for away in frame.away] if apart else busy_elsewhere(state, inside),
        settled=frozenset() if apart else frozenset(range(len(frame.kilns))) - inside,
        price=sum(state.price_of_kiln(kiln) for kiln in chosen),
        floors={kiln: floors[kiln] for kiln in chosen if kiln in floors} if floors else {},
    )


def whole_task(state: State, floors: dict[int, int]) -> Task:
    """Make the task of all kilns, in which costs are rounded as the plan states them."""
    task = task_of(state, range(len(state.frame.kilns)), floors=floors)
    cost = state.cost()
    most = cost.total * PARTS + lost_by_rounding(state.frame)
    rounded = (cost.drying_lost, cost.delay, cost.overtime, cost.later, cost.margin)
    return replace(task, price=most, parts_cents=rounded)


def busy_elsewhere(state: State, kilns: set[int]) -> Busy:
    """When people are away or at work in other kilns than these."""
    frame = state.frame
    busy = [list(away) for away in frame.away]
    for job, at in state.at.items():
        if frame.kiln_of[job] not in kilns and frame.jobs[job].duration_min:
            span = (at.start_min, at.start_min + frame.jobs[job].duration_min)
            for person, _ in at.crew:
                busy[person].append(span)
    for kiln, stops in enumerate(state.stops):
        for place, stop in stops.items() if kiln not in kilns else ():
            if frame.set_up_min(kiln, place):
                busy[stop.person].append(frame.set_up_span(kiln, place, stop.set_up_start_min))
    for spans in busy:
        spans.sort()
    return busy
