"""What a plan costs, as the checker sums it from the two files; no solver asks it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

from .checked_charges import Courses, later_than_promised_min
from .plan import Cost, PlacedJob, Stop
from .problem import Issued, Job, Kiln, Problem


def cost_of(
    problem: Problem,
    placed: Mapping[str, PlacedJob],
    stops: Sequence[Stop],
    starts: Mapping[str, Sequence[int]],
    courses: Mapping[str, Courses],
    paid: Sequence[Stop],
) -> Cost:
    """Sum every part exactly, in sixtieths of a cent and their fractions, and round it once.

    Parameters
    ----------
    problem : Problem
        the prices
    placed : mapping of str to PlacedJob
        the jobs that are done
    stops : sequence of Stop
        all stops of the plan, which jobs name by index
    starts, courses : mapping
        by kiln, when its charges start and how they go
    paid : sequence of Stop
        the stops of known kilns that somebody sets up

    Returns
    -------
    Cost
        each part in whole cents
    """
    kilns = {kiln.tag: kiln for kiln in problem.kilns}
    shifts = {shift.ref: shift for shift in problem.shifts}
    drying = later = interruption = 0
    for tag, kiln in kilns.items():
        drying += (starts[tag][-1] - kiln.charges[-1].start_min) * kiln.drying_cents_per_hour
        for charge, course in zip(kiln.charges[:-1], courses[tag].of, strict=True):
            later += later_than_promised_min(charge, course.end_min) * charge.later_cents_per_hour
            interruption += kiln.interruption_cents if course.is_interrupted else 0
    delay: int | Fraction = 0
    overtime_min = left_out = margin = 0
    for job in problem.jobs:
        at = placed.get(job.ref)
        if at is None:
            left_out += job.leave_out_cents
            continue
        end = at.start_min + job.duration_min
        delay += max(0, end - job.due_min) * job.delay_cents_per_hour
        delay += max(0, end - job.latest_min) * job.late_cents_per_hour
        margin += _short_of_margin_min(job, at, kilns[job.kiln], courses[job.kiln], stops) * job.late_cents_per_hour
        if at.shift in shifts:
            overtime_min += max(0, end - shifts[at.shift].end_min) * len(at.crew)
    for stop in paid:
        if stop.shift in shifts:
            set_up_end = stop.set_up_start_min + kilns[stop.kiln].set_up_min
            overtime_min += max(0, set_up_end - shifts[stop.shift].end_min)
    return Cost(
        drying_lost=_half_up(drying),
        delay=_half_up(delay),
        overtime=_half_up(overtime_min * problem.overtime_cents_per_person_hour),
        set_up=sum(kilns[stop.kiln].set_up_cents for stop in paid),
        interruption=interruption,
        left_out=left_out,
        moves=problem.move_cents * sum(is_moved(one, placed.get(ref)) for ref, one in problem.issued.items()),
        later=_half_up(later),
        margin=_half_up(margin),
    )


def is_moved(issued: Issued, at: PlacedJob | None) -> bool:
    """Whether a job that people know of is left out, or starts at another time or with other people."""
    return at is None or at.start_min != issued.start_min or {one for one, _ in at.crew} != issued.people


def _short_of_margin_min(job: Job, at: PlacedJob, kiln: Kiln, courses: Courses, stops: Sequence[Stop]) -> int:
    """How much of the margin of an uncertain end is missing, behind the charge or before it has run."""
    if not (job.safety if job.keeps_margin is None else job.keeps_margin):
        return 0
    if job.needs_state == "running" and at.charge is not None and 0 <= at.charge < len(courses.of):
        latest = courses.of[at.charge].runs_until_min - kiln.charges[at.charge].margin_min
        return max(0, at.start_min + job.duration_min - latest)
    if job.needs_state not in ("empty", "still") or at.stop is None or not 0 <= at.stop < len(stops):
        return 0
    number = stops[at.stop].before_charge
    if number is None or not 0 < number < len(kiln.charges) or kiln.charges[number].goes_on:
        return 0
    return max(0, courses.of[number - 1].end_min + kiln.charges[number - 1].margin_min - at.start_min)


def _half_up(sixtieths: int | Fraction) -> int:
    return math.floor(Fraction(sixtieths + 30, 60))
