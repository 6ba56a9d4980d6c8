"""The words in which placing is asked and answered: windows, jobs, people, placements, causes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Literal

State = Literal["empty", "running", "still"]
NeededState = Literal["empty", "running", "still", "any"]
Interval = tuple[datetime, datetime]

#: Which windows serve a job that needs this state. Still means locked out, loaded or not.
SERVED_BY: Mapping[str, tuple[str, ...]] = {"empty": ("empty",), "still": ("empty", "still"), "running": ("running",)}


@dataclass(frozen=True)
class Window:
    """A stretch of time in which a kiln is in one state; all instants are in UTC."""

    ref: str
    kiln: str
    state: State
    start_at: datetime
    end_at: datetime
    label: str = ""
    max_people_inside: int = 4
    set_up_minutes: int = 0
    restore_minutes: int = 0
    #: When somebody is on shift who may lock it out; None where that is not known, and it is taken for done at once.
    lock_out_at: datetime | None = None

    @property
    def work_from_at(self) -> datetime:
        """When work may begin: after locking out and cooling."""
        return max(self.start_at, self.lock_out_at or self.start_at) + timedelta(minutes=self.set_up_minutes)

    @property
    def work_to_at(self) -> datetime:
        """When work must have ended, so that the kiln can be made ready again."""
        return self.end_at - timedelta(minutes=self.restore_minutes)


@dataclass(frozen=True)
class JobToPlace:
    """A work order that wants a place.

    `crew` is persons by skill, each person counting for one skill. `earliest_at` should not lie before
    now: nothing else keeps a job out of the past. A safety date makes a job safety work.
    """

    ref: str
    kiln: str
    needs_state: NeededState
    duration_minutes: int
    crew: Mapping[str, int]
    earliest_at: datetime
    parts_at: datetime | None = None
    due_at: datetime | None = None
    safety_at: datetime | None = None
    is_safety: bool = False
    delay_cents_per_hour: int | Fraction = 0
    after: tuple[str, ...] = ()

    @property
    def is_safety_work(self) -> bool:
        """Whether somebody can be hurt as long as the job is not done."""
        return self.is_safety or self.safety_at is not None

    @property
    def latest_at(self) -> datetime | None:
        """The safety date of a safety job, or its due date where it has none; None for other jobs."""
        return (self.safety_at or self.due_at) if self.is_safety_work else None


@dataclass(frozen=True)
class Worker:
    """A person: skills with the last day they are valid (None: without end), on duty, away, and at other work."""

    ref: str
    name: str
    skills: Mapping[str, date | None]
    duty: tuple[Interval, ...] = ()
    away: tuple[Interval, ...] = ()
    busy: tuple[Interval, ...] = ()


@dataclass(frozen=True)
class Placement:
    """Where a job is placed, with whom (person, skill) and why; the window is empty for work at any time."""

    job_ref: str
    start_at: datetime
    end_at: datetime
    window_ref: str
    people: tuple[tuple[str, str], ...]
    reason: str = ""
    late_minutes: int = 0


@dataclass(frozen=True)
class Presence:
    """People who are inside a kiln whatever is placed: at a job under way, or at one that is not looked at."""

    kiln: str
    start_at: datetime
    end_at: datetime
    people: int


@dataclass(frozen=True)
class PlacingProblem:
    """All there is to place; `zone` is the mill's, in which days are counted and instants are named.

    Whoever stands in `inside` is `busy` for that time.
    """

    windows: tuple[Window, ...]
    jobs: tuple[JobToPlace, ...]
    workers: tuple[Worker, ...]
    fixed: tuple[Placement, ...] = ()
    zone: str = "UTC"
    inside: tuple[Presence, ...] = ()


@dataclass(frozen=True)
class Cause:
    """Why a job has no place, and what would help."""

    code: str
    words: str
    remedy: str


@dataclass(frozen=True)
class NotPlaced:
    """A job without a place; `nearest` is the window that came closest to taking it."""

    job_ref: str
    causes: tuple[Cause, ...]
    nearest: Window | None = None


@dataclass(frozen=True)
class Shout:
    """A safety date that cannot be kept; `late_minutes` is None where there is no place at all."""

    job_ref: str
    words: str
    nearest: Window | None
    late_minutes: int | None
    level: str = "alarm"


@dataclass(frozen=True)
class SimplePlan:
    """Every job of the problem, placed or not, and what must be shouted about."""

    placements: tuple[Placement, ...] = ()
    not_placed: tuple[NotPlaced, ...] = ()
    shouts: tuple[Shout, ...] = ()


def refuse_faulty(problem: PlacingProblem) -> None:
    """Refuse a problem that makes no sense.

    Parameters
    ----------
    problem : PlacingProblem
        windows, jobs, people and places to keep

    Raises
    ------
    ValueError
        for a ref used twice, an instant that is not in UTC, an interval that ends before it begins,
        a duration or a crew below one, an unknown state, a place to keep of an unknown job
    """
    _refuse_twice("window", [w.ref for w in problem.windows])
    _refuse_twice("job", [j.ref for j in problem.jobs])
    _refuse_twice("person", [w.ref for w in problem.workers])
    _refuse_twice("fixed placement of job", [p.job_ref for p in problem.fixed])
    for window in problem.windows:
        if window.state not in ("empty", "running", "still") or not window.ref:
            raise ValueError(f"window {window.ref!r}: state {window.state!r} is not empty, running or still, or no ref")
        _refuse_interval(f"window {window.ref}", (window.start_at, window.end_at))
    for job in problem.jobs:
        if job.needs_state != "any" and job.needs_state not in SERVED_BY:
            raise ValueError(f"job {job.ref}: state {job.needs_state!r} is not empty, running, still or any")
        if job.duration_minutes < 1 or any(count < 1 for count in job.crew.values()):
            raise ValueError(
                f"job {job.ref}: {job.duration_minutes} minutes with {dict(job.crew)}: each must be 1 or more"
            )
        for instant in (job.earliest_at, job.parts_at, job.due_at, job.safety_at):
            _refuse_local(f"job {job.ref}", instant)
    for worker in problem.workers:
        for interval in (*worker.duty, *worker.away, *worker.busy):
            _refuse_interval(f"person {worker.ref}", interval)
    for presence in problem.inside:
        _refuse_interval(f"presence in {presence.kiln}", (presence.start_at, presence.end_at))
    known = {job.ref for job in problem.jobs}
    for placement in problem.fixed:
        _refuse_interval(f"fixed placement of job {placement.job_ref}", (placement.start_at, placement.end_at))
        if placement.job_ref not in known:
            raise ValueError(f"fixed placement of job {placement.job_ref}: no such job")


def _refuse_twice(what: str, refs: Iterable[str]) -> None:
    seen: set[str] = set()
    for ref in refs:
        if ref in seen:
            raise ValueError(f"{what} {ref!r} is there twice")
        seen.add(ref)


def _refuse_interval(what: str, interval: Interval) -> None:
    start_at, end_at = interval
    _refuse_local(what, start_at)
    _refuse_local(what, end_at)
    if end_at <= start_at:
        raise ValueError(f"{what} ends at {end_at} and begins at {start_at}: it must end later")


def _refuse_local(what: str, instant: datetime | None) -> None:
    """Sums of instants and minutes are only right in UTC: elsewhere they jump when clocks change."""
    if instant is not None and instant.utcoffset() != timedelta(0):
        raise ValueError(f"{what}: {instant} is not in UTC")
