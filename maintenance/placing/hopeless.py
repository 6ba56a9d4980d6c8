"""Find what makes every plan impossible, before and beside the solver, and say it so that a planner can act on it."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection

from plant.basics.sentences import Sentence

from .frame import ANYWHERE, FAR, Frame
from .places import index_of, is_down
from .plan import Hopeless
from .problem import LOCKED_OUT, Job, crew_sentences
from .tasks import Found, Task

Ask = Callable[[Task], Found | None]


def find_hopeless(frame: Frame) -> tuple[Hopeless, ...]:
    """Name the jobs that must be placed and have no place, even if nothing else were to be done."""
    found: list[Hopeless] = []
    from_min = _earliest_from(frame)
    for job in sorted(frame.must):
        one = _hopeless(frame, job, from_min[job])
        if one is not None:
            found.append(one)
    return tuple(found)


def find_cannot(frame: Frame, placed: Collection[int]) -> tuple[Hopeless, ...]:
    """Name the jobs among those left out that have no place, even if nothing else were to be done."""
    found: dict[int, Hopeless] = {}
    from_min = _earliest_from(frame)
    left_out = [job for job in range(len(frame.jobs)) if job not in placed]
    for job in left_out:
        one = _hopeless(frame, job, from_min[job])
        if one is not None:
            found[job] = one
    waiting = [job for job in left_out if job not in found]
    while waiting:
        cause = {job: next((before for before, _ in frame.after[job] if before in found), None) for job in waiting}
        for job, before in cause.items():
            if before is not None:
                of, other = frame.jobs[job].ref, frame.jobs[before].ref
                found[job] = Hopeless(of, "after", (Sentence.of("hopeless.after", job=of, other=other),))
        left = [job for job in waiting if job not in found]
        if left == waiting:
            break
        waiting = left
    return tuple(found[job] for job in sorted(found))


def _earliest_from(frame: Frame) -> list[int]:
    """Before this no job can start, because of what it waits for."""
    from_min = [job.from_min for job in frame.jobs]
    for _ in frame.jobs:
        changed = False
        for job, waits in enumerate(frame.after):
            for before, lag_min in waits:
                least = from_min[before] + frame.jobs[before].duration_min + lag_min
                if least > from_min[job]:
                    from_min[job], changed = least, True
        if not changed:
            break
    return from_min


def _hopeless(frame: Frame, job: int, from_min: int) -> Hopeless | None:
    of, kiln = frame.jobs[job], frame.kilns[frame.kiln_of[job]]
    if of.needs_state in LOCKED_OUT and of.crew_size > kiln.max_people_inside:
        most = kiln.max_people_inside
        said = Sentence.of("hopeless.crowd", job=of.ref, kiln=kiln.tag, needed=of.crew_size, most=most)
        return Hopeless(of.ref, "inside", (said,))
    last_min = min(frame.problem.horizon_min, of.latest_min if of.safety else FAR) - of.duration_min
    if from_min > last_min:
        said = Sentence.of("hopeless.dates", job=of.ref, from_at=from_min, latest_at=of.latest_min)
        return Hopeless(of.ref, "dates", (said,))
    spans = [
        (max(from_min, region.from_min), min(last_min, region.to_min - of.duration_min), region.place)
        for region in frame.regions[job]
    ]
    in_time = [span for span in spans if span[0] <= span[1]]
    if not in_time:
        later = [max(from_min, region.from_min) for region in frame.regions[job] if region.from_min > last_min]
        told = [_no_time(of)]
        told += [Sentence.of("hopeless.nearest", begin_at=min(later))] if later else []
        told.append(Sentence.of("hopeless.interrupt", price_cents=kiln.interruption_cents + kiln.set_up_cents))
        return Hopeless(of.ref, "opening" if of.needs_state != "running" else "state", tuple(told))
    without_crew = True
    for low, high, place in in_time:
        for number, shift in enumerate(frame.shifts):
            begin = max(low, shift.start_min)
            last = min(high, shift.end_min - 1, shift.overtime_end_min - of.duration_min)
            if begin > last or not _crew(frame, job, number, begin, last + of.duration_min):
                continue
            without_crew = False
            if place == ANYWHERE or of.needs_state not in LOCKED_OUT or _lock_out(frame, job, place, last):
                return None
    if without_crew:
        skills = crew_sentences(frame.crew_of[job])
        said = Sentence.of("hopeless.crew", job=of.ref, skills=skills, kiln=kiln.tag, latest_at=of.latest_min)
        return Hopeless(of.ref, "crew", (said,))
    return Hopeless(of.ref, "lock-out", (Sentence.of("hopeless.lock_out", job=of.ref, kiln=kiln.tag),))


def _no_time(of: Job) -> Sentence:
    match of.needs_state:
        case "running":
            return Sentence.of("hopeless.no_running", job=of.ref, kiln=of.kiln, latest_at=of.latest_min)
        case "empty":
            return Sentence.of("hopeless.no_opening", job=of.ref, kiln=of.kiln, latest_at=of.latest_min)
        case "still":
            return Sentence.of("hopeless.no_stop", job=of.ref, kiln=of.kiln, latest_at=of.latest_min)
    return Sentence.of("hopeless.no_time", job=of.ref, latest_at=of.latest_min)


def _crew(frame: Frame, job: int, shift: int, from_min: int, to_min: int) -> bool:
    duration_min = frame.jobs[job].duration_min
    if job in frame.pinned and not frame.issued_people[job] <= set(frame.shift_people[shift]):
        return False
    for skill, count in frame.crew_of[job]:
        able = [
            person
            for person in frame.shift_skill[shift].get(skill, ())
            if _has_gap(frame.away[person], from_min, to_min, duration_min)
        ]
        if len(able) < count:
            return False
    return True


def _lock_out(frame: Frame, job: int, place: int, last_start_min: int) -> bool:
    kiln = frame.kiln_of[job]
    set_up_min = frame.set_up_min(kiln, place)
    if frame.is_locked_out(kiln, place):
        return True
    from_min = frame.stopped_region(kiln, place).from_min - set_up_min
    latest = last_start_min - set_up_min
    if is_down(place):
        latest = min(latest, frame.kilns[kiln].down[index_of(place)].end_min - 1)
    for number, shift in enumerate(frame.shifts):
        begin = max(from_min, shift.start_min)
        last = min(latest, shift.end_min - 1, shift.overtime_end_min - set_up_min)
        if begin <= last and any(
            _has_gap(frame.away[person], begin, last + set_up_min, set_up_min) for person in frame.can_lock_out[number]
        ):
            return True
    return False


def _has_gap(busy: tuple[tuple[int, int], ...], from_min: int, to_min: int, length_min: int) -> bool:
    if not length_min:
        return True
    for start, end in busy:
        if end > from_min:
            if start - from_min >= length_min:
                break
            from_min = end
    return from_min + length_min <= to_min


def explain_together(frame: Frame, ask: Ask, deadline: float) -> tuple[Hopeless, ...]:
    """Name a smallest set of jobs that must be placed and cannot all be: take one after the other away."""
    needed = sorted(frame.must)
    for job in list(needed):
        if time.monotonic() > deadline:
            break
        tried = _closed(frame, [one for one in needed if one != job])
        if job in tried:
            continue
        found = ask(must_task(frame, tried))
        if found is not None and found.is_impossible:
            needed = sorted(tried)
    said = Sentence.of("hopeless.together", jobs=[frame.jobs[job].ref for job in needed])
    return tuple(Hopeless(frame.jobs[job].ref, "together", (said,)) for job in needed)


def _closed(frame: Frame, jobs: list[int]) -> set[int]:
    """These jobs and all they wait for."""
    closed: set[int] = set()
    waiting = list(jobs)
    while waiting:
        job = waiting.pop()
        if job not in closed:
            closed.add(job)
            waiting += [before for before, _ in frame.after[job]]
    return closed


def not_found_in_time(ref: str) -> Hopeless:
    """Say that a job has no place yet, nor proof that there is none."""
    return Hopeless(ref, "time", (Sentence.of("hopeless.not_found", job=ref),))


def must_task(frame: Frame, jobs: set[int]) -> Task:
    """Make the task of placing these jobs alone."""
    return Task(
        kilns=tuple(sorted({frame.kiln_of[job] for job in jobs})),
        free=frozenset(jobs),
        at={},
        stops={},
        starts={},
        busy=[list(away) for away in frame.away],
        price=None,
        only=frozenset(jobs),
    )
