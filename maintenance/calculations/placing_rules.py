"""The independent check of a simple plan: recomputes every rule and shares no code with the placing."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import timedelta
from itertools import combinations
from zoneinfo import ZoneInfo

from .placing_problem import JobToPlace, Placement, PlacingProblem, SimplePlan, Worker


def broken_rules(problem: PlacingProblem, plan: SimplePlan) -> tuple[str, ...]:
    """List every rule that a plan breaks.

    Parameters
    ----------
    problem : PlacingProblem
        what was asked
    plan : SimplePlan
        what was answered, by whatever means

    Returns
    -------
    tuple[str, ...]
        one sentence for each broken rule; empty for a sound plan
    """
    jobs = {job.ref: job for job in problem.jobs}
    known = [p for p in plan.placements if p.job_ref in jobs]
    broken = _accounting(jobs, plan)
    for placement in known:
        job = jobs[placement.job_ref]
        broken += [f"{job.ref}: {fault}" for fault in _place_faults(problem, job, placement)]
        broken += [f"{job.ref}: {fault}" for fault in _crew_faults(problem, job, placement)]
        broken += [f"{job.ref}: {fault}" for fault in _order_faults(job, placement, known)]
    return tuple(broken + _double_bookings(known) + _crowds(problem, jobs, known) + _silences(jobs, plan))


def _accounting(jobs: dict[str, JobToPlace], plan: SimplePlan) -> list[str]:
    answers = Counter([p.job_ref for p in plan.placements] + [n.job_ref for n in plan.not_placed])
    faults = [f"{ref}: answered {answers[ref]} times" for ref in jobs if answers[ref] != 1]
    faults += [f"{ref}: no such job" for ref in answers if ref not in jobs]
    return faults + [f"{n.job_ref}: not placed without a cause" for n in plan.not_placed if not n.causes]


def _place_faults(problem: PlacingProblem, job: JobToPlace, placement: Placement) -> list[str]:
    faults = []
    if placement.end_at - placement.start_at != timedelta(minutes=job.duration_minutes):
        faults.append("does not last as long as the job")
    if placement.start_at < job.earliest_at:
        faults.append("starts before its earliest time")
    if job.parts_at is not None and placement.start_at < job.parts_at:
        faults.append("starts before its parts arrive")
    if job.needs_state == "any":
        return faults + (["is work at any time and names a window"] if placement.window_ref else [])
    windows = [w for w in problem.windows if w.ref == placement.window_ref]
    if not windows:
        return [*faults, "names no window of the problem"]
    window = windows[0]
    if window.kiln != job.kiln:
        faults.append("lies in a window of another kiln")
    if not (window.state == job.needs_state or (job.needs_state == "still" and window.state == "empty")):
        faults.append("lies in a window of the wrong state")
    if placement.start_at < window.start_at + timedelta(minutes=window.set_up_minutes):
        faults.append("starts before the window is set up")
    if placement.end_at + timedelta(minutes=window.restore_minutes) > window.end_at:
        faults.append("leaves no time to make the kiln ready")
    return faults


def _crew_faults(problem: PlacingProblem, job: JobToPlace, placement: Placement) -> list[str]:
    faults = []
    if Counter(skill for _, skill in placement.people) != Counter(dict(job.crew)):
        faults.append("has another crew than asked for")
    people = [ref for ref, _ in placement.people]
    if len(set(people)) < len(people):
        faults.append("has one person twice")
    workers = {worker.ref: worker for worker in problem.workers}
    last_on = placement.end_at.astimezone(ZoneInfo(problem.zone)).date()
    for ref, skill in placement.people:
        if ref not in workers:
            faults.append(f"has an unknown person {ref}")
            continue
        worker = workers[ref]
        if skill not in worker.skills:
            faults.append(f"{ref} is not qualified for {skill}")
        elif (until := worker.skills[skill]) is not None and until < last_on:
            faults.append(f"{ref} is no longer qualified for {skill}")
        if not _on_duty_throughout(worker, placement):
            faults.append(f"{ref} is not on duty throughout")
        if any(start < placement.end_at and placement.start_at < end for start, end in worker.away):
            faults.append(f"{ref} is away")
    return faults


def _on_duty_throughout(worker: Worker, placement: Placement) -> bool:
    reached = placement.start_at
    for start, end in sorted(worker.duty):
        if start <= reached < end:
            reached = end
    return reached >= placement.end_at


def _order_faults(job: JobToPlace, placement: Placement, placed: list[Placement]) -> list[str]:
    ends = {p.job_ref: p.end_at for p in placed}
    return [f"does not wait for {ref}" for ref in job.after if ref not in ends or ends[ref] > placement.start_at]


def _overlap(one: Placement, other: Placement) -> bool:
    return one.start_at < other.end_at and other.start_at < one.end_at


def _double_bookings(placed: list[Placement]) -> list[str]:
    by_person: dict[str, list[Placement]] = defaultdict(list)
    for placement in placed:
        for ref in {ref for ref, _ in placement.people}:
            by_person[ref].append(placement)
    return [
        f"{ref} is in {one.job_ref} and {other.job_ref} at once"
        for ref, theirs in by_person.items()
        for one, other in combinations(theirs, 2)
        if _overlap(one, other)
    ]


def _crowds(problem: PlacingProblem, jobs: dict[str, JobToPlace], placed: list[Placement]) -> list[str]:
    """People inside are most at the start of some job, so it is enough to count there."""
    limits = {window.ref: window.max_people_inside for window in problem.windows}
    inside = [p for p in placed if jobs[p.job_ref].needs_state in ("empty", "still")]
    faults = []
    for one in inside:
        there = [
            p
            for p in inside
            if jobs[p.job_ref].kiln == jobs[one.job_ref].kiln and p.start_at <= one.start_at < p.end_at
        ]
        count, limit = sum(len(p.people) for p in there), min(limits.get(p.window_ref, 0) for p in there)
        if count > limit:
            faults.append(f"{one.job_ref}: {count} people inside, {limit} allowed")
    return faults


def _silences(jobs: dict[str, JobToPlace], plan: SimplePlan) -> list[str]:
    """A safety job without a place in time must be shouted about."""
    shouted = {shout.job_ref for shout in plan.shouts if shout.level == "alarm"}
    ends = {p.job_ref: p.end_at for p in plan.placements}
    faults = []
    for job in jobs.values():
        if not (job.is_safety or job.safety_at) or job.ref in shouted:
            continue
        latest_at = job.safety_at or job.due_at
        if job.ref not in ends or (latest_at is not None and ends[job.ref] > latest_at):
            faults.append(f"{job.ref}: safety work not done in time and nobody is told")
    return faults
