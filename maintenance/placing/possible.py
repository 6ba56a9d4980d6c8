"""Which places and shifts the jobs of a task can have, and which of them can be left out from the start."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass

from .frame import FAR, Frame
from .state import JobAt
from .tasks import Task


@dataclass(frozen=True)
class Option:
    """A place and a shift for a job: when it can start there, and what that costs at least."""

    place: int
    shift: int
    low: int
    high: int
    price: int

    def takes(self, at: JobAt) -> bool:
        """Whether it is the one that a job has."""
        return (self.place, self.shift) == (at.place, at.shift) and self.low <= at.start_min <= self.high


class Possible:
    """The options of every job of a task; `spare` is what may be paid in a kiln beyond the least its jobs cost."""

    def __init__(self, frame: Frame, task: Task, jobs: list[int]) -> None:
        self.frame, self.task = frame, task
        self.spare: dict[int, int] = {}
        self.of_job = self._all(jobs)
        self._prune()

    def _all(self, jobs: list[int]) -> dict[int, list[Option]]:
        found = {}
        for job in jobs:
            at = self.task.at.get(job)
            if job in self.task.free or self.task.price is None:
                found[job] = self._options_of(job)
            elif at is None:
                found[job] = []
            else:
                found[job] = [Option(at.place, at.shift, at.start_min, at.start_min, 0)]
        return found

    def _options_of(self, job: int) -> list[Option]:
        frame = self.frame
        of = frame.jobs[job]
        from_min = of.from_min
        to_min = min(frame.problem.horizon_min, of.latest_min if of.safety else FAR)
        if job in frame.pinned:
            from_min = max(from_min, frame.issued[job].start_min)
            to_min = min(to_min, frame.issued[job].start_min + of.duration_min)
        found = []
        for region in frame.regions[job]:
            low = max(from_min, region.from_min)
            high = min(to_min, region.to_min) - of.duration_min
            for number, shift in enumerate(frame.shifts):
                begin = max(low, shift.start_min)
                last = min(high, shift.end_min - 1, shift.overtime_end_min - of.duration_min)
                if begin <= last and self._has_crew(job, number, begin, last + of.duration_min):
                    end_min = begin + of.duration_min
                    overtime_min = max(0, end_min - shift.end_min) * of.crew_size
                    price = frame.delay_price(job, end_min)
                    price += overtime_min * frame.problem.overtime_cents_per_person_hour
                    found.append(Option(region.place, number, begin, last, price))
        return found

    def _has_crew(self, job: int, shift: int, from_min: int, to_min: int) -> bool:
        frame = self.frame
        if job in frame.pinned and not frame.issued_people[job] <= set(frame.shift_people[shift]):
            return False
        duration_min = frame.jobs[job].duration_min
        for skill, count in frame.crew_of[job]:
            for person in frame.shift_skill[shift].get(skill, ()):
                if self.has_gap(person, from_min, to_min, duration_min):
                    count -= 1
                    if not count:
                        break
            if count:
                return False
        return True

    def has_gap(self, person: int, from_min: int, to_min: int, length_min: int) -> bool:
        """Whether a person is free for so long within a time; no time at all is always free."""
        if not length_min:
            return True
        busy = self.task.busy[person]
        free_from = from_min
        for index in range(max(0, bisect_left(busy, (from_min, FAR)) - 1), len(busy)):
            start, end = busy[index]
            if end <= free_from:
                continue
            if start - free_from >= length_min or free_from + length_min > to_min:
                break
            free_from = end
        return free_from + length_min <= to_min

    def _prune(self) -> None:
        """Leave out what alone costs more than the part may cost.

        What the other kilns cost at least is known, and of this kiln's other jobs what each costs at least.
        """
        frame, task = self.frame, self.task
        least: dict[int, int] = {}
        for job, options in self.of_job.items():
            prices = [option.price for option in options]
            if job not in frame.must:
                prices.append(frame.leave_out_price(job))
            least[job] = min(prices, default=0)
        of_kiln: dict[int, int] = defaultdict(int)
        for job, price in least.items():
            of_kiln[frame.kiln_of[job]] += price
        floors = {kiln: max(of_kiln[kiln], task.floors.get(kiln, 0)) for kiln in task.kilns}
        total = sum(floors.values())
        #: What may be paid in a kiln beyond the least price of all its jobs.
        self.spare = {
            kiln: FAR * FAR if task.price is None else task.price - total + floors[kiln] - of_kiln[kiln]
            for kiln in task.kilns
        }
        for job, options in self.of_job.items():
            if job in task.free:
                most = least[job] + self.spare[frame.kiln_of[job]]
                kept = task.at.get(job)
                self.of_job[job] = [
                    option for option in options if option.price <= most or (kept is not None and option.takes(kept))
                ]
