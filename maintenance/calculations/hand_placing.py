"""Look at one place that a planner wants for a job: what it breaks, in sentences, or the placement itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from .placing_problem import SERVED_BY, JobToPlace, Placement, PlacingProblem, Window, Worker

#: The state of a kiln as it is said of the kiln.
STATES = {"empty": "open and empty", "running": "running", "still": "stopped"}
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class WantedPlace:
    """What became of a wish: a placement, or every rule that it breaks; `warnings` do not stand in its way."""

    placement: Placement | None
    faults: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def look_at_place(problem: PlacingProblem, job: JobToPlace, start_at: datetime, people: Sequence[str]) -> WantedPlace:
    """Say what a place breaks.

    Parameters
    ----------
    problem : PlacingProblem
        windows, people and, as `fixed`, the places of all other jobs; `jobs` holds those jobs too
    job : JobToPlace
        the job that wants a place
    start_at : datetime
        when it is to begin; carries a time zone
    people : Sequence[str]
        refs of the people who are to do it

    Returns
    -------
    WantedPlace
        the placement where nothing is broken; else every broken rule as a sentence

    Raises
    ------
    ValueError
        for an instant without a time zone
    """
    if start_at.tzinfo is None:
        raise ValueError(f"{start_at} carries no time zone")
    return _Look(problem, job, start_at.astimezone(UTC), tuple(dict.fromkeys(people))).answer()


class _Look:
    """One wish with all that is asked about it."""

    def __init__(self, problem: PlacingProblem, job: JobToPlace, start_at: datetime, people: tuple[str, ...]) -> None:
        self.problem, self.job, self.start_at, self.people = problem, job, start_at, people
        self.end_at = start_at + timedelta(minutes=job.duration_minutes)
        self.zone = ZoneInfo(problem.zone)
        self.others = [placed for placed in problem.fixed if placed.job_ref != job.ref]
        self.workers = {worker.ref: worker for worker in problem.workers}

    def answer(self) -> WantedPlace:
        window = self._window()
        crew = self._crew()
        faults = [*self._time_faults(), *self._window_faults(window), *self._people_faults()]
        if crew is None and all(ref in self.workers for ref in self.people):
            faults.append(self._crew_fault())
        if faults or crew is None:
            return WantedPlace(None, tuple(faults))
        ref = window.ref if window else ""
        return WantedPlace(Placement(self.job.ref, self.start_at, self.end_at, ref, crew), (), tuple(self._warnings()))

    def _time_faults(self) -> Iterator[str]:
        if self.start_at < self.job.earliest_at:
            yield f"It may not start before {self._when(self.job.earliest_at)}."
        if self.job.parts_at is not None and self.start_at < self.job.parts_at:
            yield f"Its parts are not there before {self._when(self.job.parts_at)}."

    def _candidates(self) -> list[Window]:
        states = SERVED_BY.get(self.job.needs_state, ())
        return [w for w in self.problem.windows if w.kiln == self.job.kiln and w.state in states]

    def _window(self) -> Window | None:
        """The window that holds the place, else the nearest one."""
        candidates = self._candidates()
        holding = [w for w in candidates if self._is_held_by(w)]
        if holding:
            return min(holding, key=lambda w: (w.start_at, w.ref))

        def apart(window: Window) -> timedelta:
            return max(window.start_at - self.start_at, self.end_at - window.end_at, timedelta(0))

        return min(candidates, key=lambda w: (apart(w), w.start_at, w.ref), default=None)

    def _is_held_by(self, window: Window) -> bool:
        return window.work_from_at <= self.start_at and self.end_at <= window.work_to_at

    def _window_faults(self, window: Window | None) -> Iterator[str]:
        if self.job.needs_state == "any":
            return
        if window is None:
            yield f"No time is known in which {self.job.kiln} is {STATES[self.job.needs_state]}."
            return
        if not self._is_held_by(window):
            allowance = (
                f", less {window.set_up_minutes} min to lock out and {window.restore_minutes} min to restore"
                if window.set_up_minutes or window.restore_minutes
                else ""
            )
            yield (
                f"{self.job.kiln} is not {STATES[self.job.needs_state]} from {self._when(self.start_at)} to "
                f"{self._when(self.end_at)}. Nearest: {self._when(window.start_at)} to {self._when(window.end_at)}"
                f"{allowance}."
            )
        if self.job.needs_state in ("empty", "still"):
            most = self._most_inside()
            if most > window.max_people_inside:
                yield f"{most} people would be inside {self.job.kiln}; {window.max_people_inside} are allowed."

    def _most_inside(self) -> int:
        jobs = {job.ref: job for job in self.problem.jobs}
        inside = [
            (placed.start_at, placed.end_at, len(placed.people))
            for placed in self.others
            if (other := jobs.get(placed.job_ref)) is not None
            and other.kiln == self.job.kiln
            and other.needs_state in ("empty", "still")
        ]
        inside += [(one.start_at, one.end_at, one.people) for one in self.problem.inside if one.kiln == self.job.kiln]
        inside = [one for one in inside if one[0] < self.end_at and self.start_at < one[1]]
        moments = [self.start_at, *(start_at for start_at, _end_at, _people in inside if start_at > self.start_at)]
        counts = [sum(people for start, end, people in inside if start <= at < end) for at in moments]
        return max(counts) + len(self.people)

    def _people_faults(self) -> Iterator[str]:
        for ref in self.people:
            worker = self.workers.get(ref)
            if worker is None:
                yield f"{ref} is nobody who works here."
                continue
            if not _covers(worker.duty, self.start_at, self.end_at):
                yield f"{worker.name} is not on shift from {self._when(self.start_at)} to {self._when(self.end_at)}."
            for start_at, end_at in worker.away:
                if start_at < self.end_at and self.start_at < end_at:
                    yield f"{worker.name} is away until {self._when(end_at)}."
            for start_at, end_at in worker.busy:
                if start_at < self.end_at and self.start_at < end_at:
                    yield f"{worker.name} is at work that is under way until {self._when(end_at)}."
            for placed in self.others:
                if ref in dict(placed.people) and placed.start_at < self.end_at and self.start_at < placed.end_at:
                    yield f"{worker.name} is at {placed.job_ref} until {self._when(placed.end_at)}."

    def _slots(self) -> list[str]:
        return [skill for skill in sorted(self.job.crew) for _ in range(self.job.crew[skill])]

    def _counts_for(self, worker: Worker, skill: str) -> bool:
        if skill not in worker.skills:
            return False
        until_on = worker.skills[skill]
        return until_on is None or self.end_at.astimezone(self.zone).date() <= until_on

    def _crew(self) -> tuple[tuple[str, str], ...] | None:
        """Give each person one skill, or None where that cannot be done."""
        slots = self._slots()
        able = [self.workers[ref] for ref in self.people if ref in self.workers]
        if len(slots) != len(self.people) or len(able) != len(self.people):
            return None
        taken: dict[str, int] = {}

        def seat(slot: int, asked: set[str]) -> bool:
            for worker in able:
                if worker.ref in asked or not self._counts_for(worker, slots[slot]):
                    continue
                asked.add(worker.ref)
                if worker.ref not in taken or seat(taken[worker.ref], asked):
                    taken[worker.ref] = slot
                    return True
            return False

        if not all(seat(slot, set()) for slot in range(len(slots))):
            return None
        return tuple(sorted((ref, slots[slot]) for ref, slot in taken.items()))

    def _crew_fault(self) -> str:
        wanted = ", ".join(f"{count} × {skill}" for skill, count in sorted(self.job.crew.items()))
        if len(self.people) != len(self._slots()):
            return f"It takes {len(self._slots())} ({wanted}); {len(self.people)} are chosen."
        lapsed = [
            f"{worker.name}: {skill} lasts until {until_on.day} {MONTHS[until_on.month - 1]} {until_on.year}"
            for worker in (self.workers[ref] for ref in self.people)
            for skill, until_on in sorted(worker.skills.items())
            if skill in self.job.crew and until_on is not None and not self._counts_for(worker, skill)
        ]
        names = ", ".join(self.workers[ref].name for ref in self.people)
        words = f"{names} {'does' if len(self.people) == 1 else 'do'} not bring what it takes: {wanted}."
        return f"{words} {'; '.join(lapsed)}." if lapsed else words

    def _warnings(self) -> Iterator[str]:
        """A late place is better than none, so a date that is missed is said and does not forbid it."""
        if self.job.latest_at is not None and self.end_at > self.job.latest_at:
            yield (
                f"It ends after its safety date, {self._when(self.job.latest_at)}: keep {self.job.kiln} out of use "
                f"from then on until it is done."
            )
        elif self.job.due_at is not None and self.end_at > self.job.due_at:
            yield f"It ends after its due date, {self._when(self.job.due_at)}."

    def _when(self, instant: datetime) -> str:
        local = instant.astimezone(self.zone)
        return f"{local.day} {MONTHS[local.month - 1]} {local:%H:%M}"


def _covers(duty: Iterable[tuple[datetime, datetime]], start_at: datetime, end_at: datetime) -> bool:
    """Whether shifts, one running into the next, cover the whole stretch."""
    reached = start_at
    for begins_at, ends_at in sorted(duty):
        if begins_at <= reached < ends_at:
            reached = ends_at
    return reached >= end_at
