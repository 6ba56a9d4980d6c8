"""A placing problem numbered and looked up ahead: what every way of solving it asks again and again.

Kilns, people, shifts and jobs are numbers here, and so are places (`places.py`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from .places import ANYWHERE as ANYWHERE
from .places import FAR as FAR
from .places import HOURLY as HOURLY
from .places import PARTS as PARTS
from .places import down_place, index_of, is_down, is_in_charge, is_opening, is_waiting, waiting_place
from .problem import LOCK_OUT, LOCKED_OUT, Job, Kiln, Problem
from .timing import Timing, after_drying_min

#: What rounding half up can take away.
MOST_LOST = PARTS // 2 - 1


@dataclass(frozen=True)
class Region:
    """Where a job can lie in a place at most: from and to, and whether a stop must be paid for there."""

    place: int
    from_min: int
    to_min: int


class Frame:
    """A problem, numbered."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.kilns = problem.kilns
        self.jobs = problem.jobs
        self.people = problem.people
        self.shifts = tuple(sorted(problem.shifts, key=lambda shift: (shift.start_min, shift.end_min, shift.ref)))
        self.number_of_job = {job.ref: number for number, job in enumerate(self.jobs)}
        self.number_of_kiln = {kiln.tag: number for number, kiln in enumerate(self.kilns)}
        self.number_of_person = {person.ref: number for number, person in enumerate(self.people)}
        self.number_of_shift = {shift.ref: number for number, shift in enumerate(self.shifts)}
        self.kiln_of = [self.number_of_kiln[job.kiln] for job in self.jobs]
        self.jobs_of: list[list[int]] = [[] for _ in self.kilns]
        for job, kiln in enumerate(self.kiln_of):
            self.jobs_of[kiln].append(job)
        self.after = [[(self.number_of_job[ref], lag) for ref, lag in job.after] for job in self.jobs]
        self.followers: list[list[int]] = [[] for _ in self.jobs]
        for job, waits in enumerate(self.after):
            for before, _ in waits:
                self.followers[before].append(job)
        self.crew_of = [tuple((skill, count) for skill, count in job.crew if count) for job in self.jobs]
        self._people_by_shift()
        self.away = [joined(person.away) for person in self.people]
        self.inside = [_head_count(kiln) for kiln in self.kilns]
        self.must = self._must()
        self.issued = {self.number_of_job[ref]: one for ref, one in problem.issued.items()}
        self.issued_people = {
            job: frozenset(self.number_of_person[ref] for ref in one.people) for job, one in self.issued.items()
        }
        self.pinned = {self.number_of_job[ref] for ref in problem.pinned}
        self.timing = [Timing(problem, kiln) for kiln in self.kilns]
        self.latest_start = [one.latest for one in self.timing]
        self.regions = [self._regions(job) for job in self.jobs]

    def _people_by_shift(self) -> None:
        """Whoever has few skills is asked first, so that the others stay free for what only they can do."""
        rank = {person.ref: (len(person.skills), number) for number, person in enumerate(self.people)}
        self.shift_people: list[list[int]] = []
        self.shift_skill: list[dict[str, list[int]]] = []
        for shift in self.shifts:
            refs = sorted(shift.people, key=lambda ref: rank[ref])
            self.shift_people.append([self.number_of_person[ref] for ref in refs])
            by_skill: dict[str, list[int]] = defaultdict(list)
            for ref in refs:
                number = self.number_of_person[ref]
                for skill in self.people[number].skills:
                    by_skill[skill].append(number)
            self.shift_skill.append(dict(by_skill))
        self.can_lock_out = [by_skill.get(LOCK_OUT, []) for by_skill in self.shift_skill]

    def _must(self) -> set[int]:
        """Jobs that cannot be left out: safety work, pinned jobs, and what those wait for."""
        pinned = self.problem.pinned
        waiting = [number for number, job in enumerate(self.jobs) if job.safety or job.ref in pinned]
        must: set[int] = set()
        while waiting:
            job = waiting.pop()
            if job not in must:
                must.add(job)
                waiting += [before for before, _ in self.after[job]]
        return must

    def _regions(self, job: Job) -> list[Region]:
        """The places that may take a job, in order of time, whatever else happens."""
        number = self.number_of_kiln[job.kiln]
        if job.needs_state == "any":
            return [Region(ANYWHERE, -FAR, self.problem.horizon_min)]
        found: list[Region] = []
        for place in range(2 * len(self.kilns[number].charges) - 1):
            if job.needs_state == "running" and place % 2:
                found += self._running_regions(number, place, job.duration_min)
            elif job.needs_state in LOCKED_OUT and (job.needs_state == "still" or self.is_empty(number, place)):
                found.append(self.stopped_region(number, place))
        if job.needs_state in LOCKED_OUT:
            more = [self.stopped_region(number, place) for place in self.places_beside(number, job)]
            found = sorted([*found, *more], key=lambda one: one.from_min) if more else found
        return [
            region
            for region in found
            if max(region.from_min, job.from_min) + job.duration_min <= min(region.to_min, self.problem.horizon_min)
        ]

    def places_beside(self, kiln: int, job: Job) -> list[int]:
        """Name the times in which charges may wait for the yard, or the kiln is down, that take a job."""
        timing = self.timing[kiln]
        downs = [down_place(number) for number, down in enumerate(self.kilns[kiln].down) if down.end_min > 0]
        if job.needs_state == "empty":
            return [place for place in downs if self.is_empty(kiln, place)]
        return downs + [waiting_place(number) for number, asks in enumerate(timing.asks_to_unload) if asks]

    def _running_regions(self, kiln: int, place: int, duration_min: int) -> list[Region]:
        """Give the time in which a charge may run, without those in which the kiln is down."""
        charges, index = self.kilns[kiln].charges, place // 2
        charge = charges[index]
        # An interruption can stretch the charge until the next one cannot wait any longer.
        to_min = self.latest_start[kiln][index + 1] - charge.cooling_min - charge.unloading_min
        from_min = charge.start_min + charge.loading_min
        found = []
        # Work of no minutes stands beside anything.
        for start_min, end_min in joined((one.start_min, one.end_min) for one in self.kilns[kiln].down if duration_min):
            if from_min < start_min:
                found.append(Region(place, from_min, min(start_min, to_min)))
            from_min = max(from_min, end_min)
        return [one for one in (*found, Region(place, from_min, to_min)) if one.from_min <= one.to_min]

    def stopped_region(self, kiln: int, place: int) -> Region:
        """From when to when work can be done in a stop at a place, set-up and making ready taken off."""
        of, index, latest = self.kilns[kiln], index_of(place), self.latest_start[kiln]
        if is_opening(place):
            from_min = self.set_up_from(kiln, place) + self.set_up_min(kiln, place)
            return Region(place, from_min, latest[index] - of.restore_min)
        if is_down(place):
            return Region(place, max(0, of.down[index].start_min) + of.set_up_min, self._latest_after_down(kiln, index))
        charge = of.charges[index]
        if is_waiting(place):
            from_min = max(0, self.timing[kiln].planned_cooled(index) + 1)
            return Region(place, from_min + of.set_up_min, latest[index + 1] - charge.unloading_min - of.restore_min)
        from_min = max(0, charge.start_min + charge.loading_min + charge.heating_up_min)
        rest_min = of.restore_min + of.reheat_min + after_drying_min(charge)
        return Region(place, from_min + of.set_up_min, latest[index + 1] - rest_min)

    def _latest_after_down(self, kiln: int, index: int) -> int:
        """Until when work may last at most that began while the kiln was down."""
        of, latest, timing = self.kilns[kiln], self.latest_start[kiln], self.timing[kiln]
        down_end = of.down[index].end_min
        ends = [down_end]
        for number, charge in enumerate(of.charges):
            if latest[number] >= down_end:
                # Before this charge, or the ones that may yet be inside, begins.
                ends.append(latest[number])
            if number < timing.last and charge.start_min <= down_end:
                spare_min = latest[number + 1] - self.planned_end(kiln, number) - of.reheat_min
                ends.append(down_end + max(0, spare_min))
            if charge.start_min > down_end:
                break
        return max(ends) - of.restore_min

    def is_empty(self, kiln: int, place: int) -> bool:
        """Whether no timber is inside: in an opening, or where the kiln is down and unloaded."""
        if is_down(place):
            return self.kilns[kiln].down[index_of(place)].unloaded
        return is_opening(place) and not self.kilns[kiln].charges[place // 2].goes_on

    def is_locked_out(self, kiln: int, place: int) -> bool:
        """Whether the lock-out that is under way at minute 0 is the stop of a place."""
        return is_opening(place) and self.kilns[kiln].is_locked_out_before(place // 2)

    def set_up_min(self, kiln: int, place: int) -> int:
        """How long locking out takes in a place: nothing where it is locked out already."""
        return 0 if self.is_locked_out(kiln, place) else self.kilns[kiln].set_up_min

    def set_up_span(self, kiln: int, place: int, start_min: int) -> tuple[int, int]:
        """From when to when somebody is busy locking out."""
        return start_min, start_min + self.set_up_min(kiln, place)

    def set_up_from(self, kiln: int, place: int) -> int:
        """From when on a kiln can be locked out in an opening or standstill, if charges end as planned."""
        if self.is_locked_out(kiln, place):
            return self.kilns[kiln].locked_out_min
        index = place // 2
        return max(0, self.planned_end(kiln, index - 1)) if index else 0

    def planned_end(self, kiln: int, index: int) -> int:
        """When a charge ends if it starts when planned."""
        charge = self.kilns[kiln].charges[index]
        return charge.start_min + charge.length_min

    def margin_price(self, job: int, place: int) -> int:
        """What a minute short of the margin of the charge that it runs along with or follows costs a job in a place."""
        of = self.jobs[job]
        if self.timing[self.kiln_of[job]].is_plain or place < 0 or not of.wants_margin:
            return 0
        if is_in_charge(place) and of.needs_state != "running":
            return 0
        charges, index = self.kilns[self.kiln_of[job]].charges, (place - 1) // 2
        if index < 0 or not charges[index].margin_min or (is_opening(place) and charges[index + 1].goes_on):
            return 0
        return of.late_cents_per_hour * HOURLY

    def is_timed_round(self, job: int, place: int) -> bool:
        """Whether charges must be timed round a job in a place, or cost more or less for it."""
        return (is_in_charge(place) and self.jobs[job].needs_state == "running") or self.margin_price(job, place) > 0

    # --- prices ----------------------------------------------------------------------------------

    def delay_price(self, job: int, end_min: int) -> int:
        """What it costs that a job ends then."""
        of = self.jobs[job]
        price = 0
        if end_min > of.due_min:
            price = (end_min - of.due_min) * of.delay_parts_per_min
        if end_min > of.latest_min:
            price += (end_min - of.latest_min) * of.late_cents_per_hour * HOURLY
        return price

    def move_price(self, job: int, start_min: int | None, people: frozenset[int] | set[int]) -> int:
        """What it costs that a job differs from the plan that is issued."""
        issued = self.issued.get(job)
        if issued is None or (issued.start_min == start_min and self.issued_people[job] == people):
            return 0
        return self.problem.move_cents * PARTS

    def leave_out_price(self, job: int) -> int:
        """What it costs to leave a job out, its move included."""
        return self.jobs[job].leave_out_cents * PARTS + self.move_price(job, None, set())


def _head_count(kiln: Kiln) -> list[tuple[int, int, int]]:
    """Count who is inside whatever is placed, in spans that follow each other, up to as many as may be."""
    edges = sorted({edge for start, end, _ in kiln.inside for edge in (start, end)})
    found = []
    for start, end in pairwise(edges):
        count = sum(people for from_min, to_min, people in kiln.inside if from_min <= start and end <= to_min)
        if count:
            found.append((start, end, min(count, kiln.max_people_inside)))
    return found


def joined(spans: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """Sort spans, leave out empty ones and join those that touch."""
    found: list[tuple[int, int]] = []
    for start, end in sorted(one for one in spans if one[0] < one[1]):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return tuple(found)
