"""Find pins that break a hard rule: they are faults of the input, as no plan could keep them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from .frame import ANYWHERE, Frame
from .inserting import seats
from .json_places import Fault
from .problem import LOCKED_OUT


def faulty_pins(frame: Frame) -> list[Fault]:
    """List what is wrong with pins, each by itself and two at a time."""
    faults = []
    for job in sorted(frame.pinned):
        for text in _faults_of(frame, job):
            faults.append(Fault(f"issued.{frame.jobs[job].ref}", f"is pinned and {text}"))
    for one, other in combinations(sorted(frame.pinned), 2):
        text = _clash(frame, one, other)
        if text:
            faults.append(Fault(f"issued.{frame.jobs[other].ref}", f"is pinned and {text}"))
    return faults + _crowds(frame)


def _span(frame: Frame, job: int) -> tuple[int, int]:
    start_min = frame.issued[job].start_min
    return start_min, start_min + frame.jobs[job].duration_min


def _faults_of(frame: Frame, job: int) -> Iterator[str]:
    of = frame.jobs[job]
    start_min, end_min = _span(frame, job)
    people = frame.issued_people[job]
    if start_min < of.from_min:
        yield f"starts at {start_min}, before it may start or its parts are there ({of.from_min})"
    if end_min > frame.problem.horizon_min:
        yield f"ends at {end_min}, after the horizon"
    if of.safety and end_min > of.latest_min:
        yield f"ends at {end_min}, after its safety date {of.latest_min}"
    if seats(frame, job, sorted(people)) is None:
        yield "its people do not have the skills of its crew, each for one"
    for person in sorted(people):
        if any(max(start, start_min) < min(end, end_min) for start, end in frame.away[person]):
            yield f"{frame.people[person].ref} is away then"
    if not any(
        people <= set(frame.shift_people[number])
        and shift.start_min <= start_min < shift.end_min
        and end_min <= shift.overtime_end_min
        for number, shift in enumerate(frame.shifts)
    ):
        yield "no shift has all its people from start to end"
    regions = frame.regions[job]
    if not any(one.place == ANYWHERE or (one.from_min <= start_min and end_min <= one.to_min) for one in regions):
        yield f"kiln {of.kiln} cannot be in the state it needs then"


def _clash(frame: Frame, one: int, other: int) -> str:
    (start, end), (other_start, other_end) = _span(frame, one), _span(frame, other)
    ref = frame.jobs[one].ref
    if max(start, other_start) < min(end, other_end) and frame.issued_people[one] & frame.issued_people[other]:
        return f"has people who are at {ref} then, which is pinned too"
    for before, follower, begin, done in ((one, other, other_start, end), (other, one, start, other_end)):
        for waited, lag_min in frame.after[follower]:
            if waited == before and begin < done + lag_min:
                return f"{frame.jobs[follower].ref} does not wait for {frame.jobs[before].ref}, pinned both"
    return ""


def _crowds(frame: Frame) -> list[Fault]:
    faults = []
    for kiln, jobs in enumerate(frame.jobs_of):
        inside = [job for job in jobs if job in frame.pinned and frame.jobs[job].needs_state in LOCKED_OUT]
        for job in inside:
            at = frame.issued[job].start_min
            there = [one for one in inside if _span(frame, one)[0] <= at < _span(frame, one)[1]]
            if sum(frame.jobs[one].crew_size for one in there) > frame.kilns[kiln].max_people_inside:
                text = f"is pinned and more people would be inside kiln {frame.kilns[kiln].tag} than may be"
                faults.append(Fault(f"issued.{frame.jobs[job].ref}", text))
    return faults
