"""The smallest set of causes for which a job has no place: what would have to be otherwise for it to have one.

Rules are let go one by one, then two and three at a time, with all other kilns as the plan has them, until there is
room; every set of the smallest size is named.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from itertools import combinations
from types import MappingProxyType
from typing import Final

from .frame import Frame
from .inserting import Inserting
from .plan import Plan
from .problem import Job, Problem
from .standing import state_of_plan
from .state import State
from .wishes import part_of, reduced

OTHER_WORK: Final = "other work"
_LET_GO: Mapping[str, Callable[[Job], Job]] = MappingProxyType(
    {
        "parts": lambda job: replace(job, parts_min=0),
        "earliest": lambda job: replace(job, earliest_min=0),
        "after": lambda job: replace(job, after=()),
        "latest": lambda job: replace(job, safety=False),
        "crew": lambda job: replace(job, crew=()),
        "state": lambda job: replace(job, needs_state="any"),
    }
)
#: In this order they are named: what is easiest to change comes first. Our own choice.
OBSTACLES: Final = (OTHER_WORK, "parts", "earliest", "after", "latest", "crew", "state")
MOST_AT_ONCE = 3


def smallest_obstacles(problem: Problem, plan: Plan, ref: str) -> tuple[tuple[str, ...], ...]:
    """Name the smallest sets of causes that keep a job from having a place.

    Parameters
    ----------
    problem : Problem
        what was asked
    plan : Plan
        where everything else is
    ref : str
        the job

    Returns
    -------
    tuple of tuple of str
        sets of `OBSTACLES` of the same, smallest size, each of which would make room if all of it were otherwise;
        one empty set where there is room as it is; nothing where not even three at a time would do

    Raises
    ------
    KeyError
        for a job that the problem does not have.
    """
    jobs = {job.ref: job for job in problem.jobs}
    of = jobs[ref]
    others = {one: placed for one, placed in plan.jobs.items() if one != ref}
    plan = replace(plan, jobs=others)
    part = reduced(problem, plan, (of.kiln,))
    job = next(one for one in part.jobs if one.ref == ref)
    there = [name for name in OBSTACLES if name == OTHER_WORK or _LET_GO[name](job) != job]
    for size in range(MOST_AT_ONCE + 1):
        found = tuple(
            chosen for chosen in combinations(there, size) if _has_room(_let_go(problem, plan, part, ref, chosen), ref)
        )
        if found:
            return found
    return ()


def _let_go(problem: Problem, plan: Plan, part: Problem, ref: str, chosen: Collection[str]) -> State:
    """Give the kiln as it stands, with some rules let go for one job."""
    names = set(chosen)
    of = next(job for job in part.jobs if job.ref == ref)
    for name in names - {OTHER_WORK}:
        of = _LET_GO[name](of)
    if OTHER_WORK in names:
        # Alone in its kiln, with everybody free; what it waits for is still where the plan has it, if anywhere.
        part = replace(part, people=problem.people, jobs=(_after_dates(of, problem, plan),))
        return State(Frame(replace(part, issued={}, pinned=frozenset())))
    frame = Frame(replace(part, jobs=tuple(of if job.ref == ref else job for job in part.jobs)))
    return state_of_plan(frame, part_of(plan, part)) or State(frame)


def _after_dates(of: Job, problem: Problem, plan: Plan) -> Job:
    """Turn the jobs it waits for into a date; where one is left out, it waits for itself and so for ever."""
    durations = {job.ref: job.duration_min for job in problem.jobs}
    earliest_min = of.earliest_min
    for before, lag_min in of.after:
        placed = plan.jobs.get(before)
        if placed is None:
            return replace(of, after=((of.ref, 0),))
        earliest_min = max(earliest_min, placed.start_min + durations[before] + lag_min)
    return replace(of, earliest_min=earliest_min, after=())


def _has_room(state: State, ref: str) -> bool:
    job = state.frame.number_of_job[ref]
    return next(Inserting(state).options(job, interrupt=True), None) is not None
