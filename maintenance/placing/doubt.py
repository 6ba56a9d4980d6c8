"""How a plan fares when charges end later or earlier than predicted: a simulation over seeded draws.

Each draw moves the end of every charge, by a share of its drying time. The plan's own times stand: a job holds if the
kiln is in the state it needs, from the set-up to the end. Charges wait for the stops of the plan and for each other.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from statistics import NormalDist

from .places import StopAt, waiting_place
from .plan import PlacedJob, Plan, Stop
from .problem import LOCKED_OUT, Job, Problem
from .timing import Timing


@dataclass(frozen=True)
class Fare:
    """How one job fares: the share of draws in which it holds; a safety job is at risk where that is below 1."""

    job: str
    holds: float
    is_safety: bool


@dataclass(frozen=True)
class Doubt:
    """How the plan fares: every placed job, and the share of draws in which all of it holds."""

    fares: tuple[Fare, ...]
    all_hold: float
    draws: int


def doubt(problem: Problem, plan: Plan, spread: float = 0.05, draws: int = 500, seed: int = 1) -> Doubt:
    """Simulate a plan over draws of the charge ends.

    Parameters
    ----------
    problem : Problem
        what was asked
    plan : Plan
        a plan that holds
    spread : float
        standard deviation of a charge's drying time, as a share of it [1]
    draws : int
        how many draws
    seed : int
        of the draws: the same seed gives the same answer

    Returns
    -------
    Doubt
        the share of draws in which each job holds

    Raises
    ------
    ValueError
        for no draws, or a spread below 0.
    """
    if draws < 1 or spread < 0:
        raise ValueError(f"{draws} draws with a spread of {spread}: at least one, and none below 0")
    chance = random.Random(seed)  # noqa: S311  no secret
    held = dict.fromkeys(plan.jobs, 0)
    all_hold = 0
    jobs = {job.ref: job for job in problem.jobs}
    of_kiln: dict[str, list[tuple[Job, PlacedJob]]] = {kiln.tag: [] for kiln in problem.kilns}
    for ref, at in plan.jobs.items():
        of_kiln[jobs[ref].kiln].append((jobs[ref], at))
    timings = [Timing(problem, kiln) for kiln in problem.kilns]
    for _ in range(draws):
        lost: set[str] = set()
        for timing in timings:
            lost |= _lost(timing, plan, of_kiln[timing.kiln.tag], chance, spread)
        # What waits for a job that does not hold does not hold either.
        waiting = bool(lost)
        while waiting:
            more = {ref for ref in plan.jobs if ref not in lost and any(one in lost for one, _ in jobs[ref].after)}
            lost |= more
            waiting = bool(more)
        for ref in plan.jobs:
            held[ref] += ref not in lost
        all_hold += not lost
    fares = tuple(Fare(ref, count / draws, jobs[ref].safety) for ref, count in held.items())
    return Doubt(fares, all_hold / draws, draws)


def _lost(
    timing: Timing, plan: Plan, work: list[tuple[Job, PlacedJob]], chance: random.Random, spread: float
) -> set[str]:
    """Run one kiln through one draw, and name the jobs that do not hold."""
    kiln, planned = timing.kiln, plan.charge_starts[timing.kiln.tag]
    by_place = {timing.place_of(stop, planned): stop for stop in plan.stops if stop.kiln == kiln.tag}
    over = _lasting_longer(timing, planned, by_place)
    broken: list[Stop] = []
    running: dict[int, tuple[float, float]] = {}
    ended = 0.0
    for index, charge in enumerate(kiln.charges):
        stop = by_place.get(2 * index)
        start = max(float(planned[index]), ended) if planned[index] > 0 else float(planned[index])
        if start > planned[index] and timing.asks_to_load[index]:
            start = float(timing.first_start(index, ceil(start)))
        if stop is not None and stop.set_up_start_min < ended:
            broken.append(stop)
        if index == timing.last:
            break
        # What stops a charge, and not its drying, ends the part before a standstill.
        is_cut = kiln.charges[index + 1].goes_on
        drying = charge.drying_min if is_cut else max(0.0, charge.drying_min * (1 + chance.gauss(0, spread)))
        loaded = start + charge.loading_min
        from_min = loaded + charge.heating_up_min
        cut = by_place.get(2 * index + 1)
        stretch = over.get(index, 0)
        if cut is not None:
            stretch = cut.end_min - cut.set_up_start_min + kiln.reheat_min
            if not from_min <= cut.set_up_start_min <= from_min + drying:
                broken.append(cut)
        cooled = from_min + drying + charge.conditioning_min + stretch
        running[index] = (loaded, cooled)
        unload = _unloaded_from(timing, index, cooled + charge.cooling_min)
        waiting = by_place.get(waiting_place(index))
        if waiting is not None and not (
            cooled + charge.cooling_min <= waiting.set_up_start_min and waiting.end_min <= unload
        ):
            broken.append(waiting)
        ended = unload + charge.unloading_min
    lost = set()
    for job, at in work:
        if job.needs_state in LOCKED_OUT and at.stop is not None and plan.stops[at.stop] in broken:
            lost.add(job.ref)
        elif at.charge is not None:
            loaded, cooled = running[at.charge]
            if at.start_min < loaded or at.start_min + job.duration_min > cooled:
                lost.add(job.ref)
    return lost


def _unloaded_from(timing: Timing, index: int, cooled: float) -> float:
    """Unload a charge that has cooled in the hours of the yard, and one that is early when planned at the latest."""
    if index == timing.last or not timing.asks_to_unload[index]:
        return cooled
    planned = timing.planned_cooled(index)
    unload = timing.unload_from(index, ceil(cooled))
    return float(unload if cooled >= planned else min(unload, planned))


def _lasting_longer(timing: Timing, starts: Sequence[int], by_place: Mapping[int, Stop]) -> dict[int, int]:
    """Say by how much stops that last longer than the kiln is down stretch charges, in the plan."""
    stops = {place: StopAt(stop.set_up_start_min, stop.end_min, 0, 0) for place, stop in by_place.items()}
    courses = timing.follow(starts, stops, {}) or []
    return {
        index: one.cooled_min - one.start_min - timing.to_cooled_min(index)
        for index, one in enumerate(courses)
        if one.is_interrupted and 2 * index + 1 not in by_place
    }


def buffer_that_pays(
    drying_cents_per_hour: int, crew_size: int, wage_cents_per_hour: int, deviation_min: float
) -> float:
    """Give the minutes to fix a crew after the predicted end of a charge, 24 to 48 hours ahead.

    The newsvendor's balance (Arrow, Harris and Marschak, Econometrica 19 (1951) 250-272): an hour of an idle kiln
    against an hour of a waiting crew. The charge may end later than the fixed hour with the probability

    P(late) = drying cost / (drying cost + crew x wage)

    and the buffer is that quantile of a normal error of the prediction.

    Parameters
    ----------
    drying_cents_per_hour : int
        what an hour of the kiln is worth [cents/h]
    crew_size : int
        people who would wait
    wage_cents_per_hour : int
        what an hour of one of them costs [cents/h]
    deviation_min : float
        standard deviation of the predicted end [min]

    Returns
    -------
    float
        buffer [min]; negative where an idle kiln is dearer than a waiting crew

    Raises
    ------
    ValueError
        where neither costs anything, or the deviation is below 0.
    """
    waiting = crew_size * wage_cents_per_hour
    if drying_cents_per_hour < 0 or waiting < 0 or drying_cents_per_hour + waiting <= 0 or deviation_min < 0:
        raise ValueError("an hour of the kiln or of the crew must cost something, and no error is below 0")
    late = drying_cents_per_hour / (drying_cents_per_hour + waiting)
    return deviation_min * _normal_quantile(1 - late)


def _normal_quantile(share: float) -> float:
    least = 1e-6
    return NormalDist().inv_cdf(min(1 - least, max(least, share)))


def deviation_of(problem: Problem, kiln: str, charge: int, spread: float) -> float:
    """Give the standard deviation of a charge's end, this charge and those before it that lie ahead [min]."""
    charges = next(one for one in problem.kilns if one.tag == kiln).charges
    return sqrt(
        sum((one.drying_min * spread) ** 2 for one in charges[: charge + 1] if one.start_min + one.length_min > 0)
    )
