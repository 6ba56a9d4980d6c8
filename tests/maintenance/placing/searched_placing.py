"""Search through every plan of a tiny placing problem; shares nothing with the solver but the problem itself.

Jobs have one person each. Every start, shift, person, place, stop and start of a charge is tried; branches are cut
only where what is already decided costs as much as the best complete plan.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import product

from maintenance.placing.problem import Job, Kiln, Problem

#: What a kiln's own part costs and whom its set-ups need: (drying, whole cents, overtime minutes, set-ups).
Variant = tuple[int, int, int, tuple[tuple[str, int, int], ...]]
NOTHING = 10**12


def least_total(problem: Problem, wishes: Mapping[str, tuple[int, int]] | None = None) -> int | None:
    """Give the total of the cheapest plan in cents, or None where there is no plan.

    A job with a wish is placed, starts no sooner than the first minute of it and ends by the second.
    """
    return _Search(problem, wishes or {}).run()


def _common(start: int, end: int, other_start: int, other_end: int) -> bool:
    return max(start, other_start) < min(end, other_end)


class _Search:
    def __init__(self, problem: Problem, wishes: Mapping[str, tuple[int, int]]) -> None:
        self.problem, self.wishes = problem, wishes
        self.best = NOTHING
        self.away = {person.ref: person.away for person in problem.people}
        self.skills = {person.ref: person.skills for person in problem.people}
        self.variants = lru_cache(maxsize=None)(self._variants)

    def run(self) -> int | None:
        self._next(0, [], 0, 0, 0)
        return None if self.best == NOTHING else self.best

    def _is_there(self, person: str, start: int, end: int) -> bool:
        return not any(_common(start, end, gone, back) for gone, back in self.away[person])

    def _choices(self, job: Job) -> Iterator[tuple[int, int, str]]:
        """Start, overtime and person of every way to do a job."""
        ((skill, _),) = job.crew
        from_min, until_min = self.wishes.get(job.ref, (-NOTHING, NOTHING))
        for shift in self.problem.shifts:
            for start in range(max(shift.start_min, job.earliest_min, job.parts_min), shift.end_min):
                end = start + job.duration_min
                if start < from_min or end > until_min:
                    continue
                if end > min(shift.overtime_end_min, self.problem.horizon_min) or (job.safety and end > job.latest_min):
                    continue
                for person in shift.people:
                    if skill in self.skills[person] and self._is_there(person, start, end):
                        yield start, max(0, end - shift.end_min), person

    def _next(
        self, number: int, placed: list[tuple[Job, int, str] | None], delay: int, overtime: int, cents: int
    ) -> None:
        if _half_up(delay) + self._overtime(overtime) + cents >= self.best:
            return
        if number == len(self.problem.jobs):
            self._finish(placed, delay, overtime, cents)
            return
        job = self.problem.jobs[number]
        issued = self.problem.issued.get(job.ref)
        for start, extra, person in self._choices(job):
            end = start + job.duration_min
            if any(
                one and one[2] == person and _common(start, end, one[1], one[1] + one[0].duration_min) for one in placed
            ):
                continue
            moved = issued is not None and (issued.start_min != start or issued.people != {person})
            late = max(0, end - job.due_min) * job.delay_cents_per_hour
            late += max(0, end - job.latest_min) * job.late_cents_per_hour
            more = self.problem.move_cents if moved else 0
            self._next(number + 1, [*placed, (job, start, person)], delay + late, overtime + extra, cents + more)
        if not job.safety and job.ref not in self.problem.pinned and job.ref not in self.wishes:
            more = job.leave_out_cents + (self.problem.move_cents if issued is not None else 0)
            self._next(number + 1, [*placed, None], delay, overtime, cents + more)

    def _finish(self, placed: list[tuple[Job, int, str] | None], delay: int, overtime: int, cents: int) -> None:
        ends = {one[0].ref: one[1] + one[0].duration_min for one in placed if one}
        for one in placed:
            for ref, lag in one[0].after if one else ():
                if one is None or ref not in ends or one[1] < ends[ref] + lag:
                    return
        of_kilns = []
        for kiln in self.problem.kilns:
            work = tuple((one[0], one[1]) for one in placed if one and one[0].kiln == kiln.tag)
            of_kilns.append(self.variants(kiln, work))
        for chosen in product(*of_kilns):
            drying = sum(one[0] for one in chosen)
            more = sum(one[1] for one in chosen)
            extra = overtime + sum(one[2] for one in chosen)
            total = _half_up(delay) + _half_up(drying) + self._overtime(extra) + cents + more
            if total >= self.best:
                continue
            spans = [set_up for one in chosen for set_up in one[3]]
            spans += [(one[2], one[1], one[1] + one[0].duration_min) for one in placed if one]
            if not any(
                first[0] == second[0] and _common(*first[1:], *second[1:])
                for index, first in enumerate(spans)
                for second in spans[:index]
            ):
                self.best = total

    def _overtime(self, minutes: int) -> int:
        return _half_up(minutes * self.problem.overtime_cents_per_person_hour)

    # --- one kiln with its jobs at given times -----------------------------------------------------

    def _variants(self, kiln: Kiln, work: tuple[tuple[Job, int], ...]) -> tuple[Variant, ...]:
        """Every way to fit the charges and stops of a kiln around its jobs; what is no dearer for the same set-ups."""
        inside = [(start, start + job.duration_min) for job, start in work if job.needs_state in ("empty", "still")]
        for start, end in inside:
            for at in range(start, end):
                people = sum(begin <= at < until for begin, until in inside)
                people += sum(count for begin, until, count in kiln.inside if begin <= at < until)
                if people > kiln.max_people_inside:
                    return ()
        found: dict[tuple[int, tuple[tuple[str, int, int], ...]], Variant] = {}
        charges = len(kiln.charges) - 1
        options = []
        for job, _ in work:
            gaps = [("opening", index) for index in range(charges + 1)]
            openings = [gap for gap in gaps if not kiln.charges[gap[1]].goes_on]
            running = [("charge", index) for index in range(charges)]
            options.append(
                {"empty": openings, "still": gaps + running, "running": running, "any": [("any", 0)]}[job.needs_state]
            )
        for places in product(*options):
            self._fit(kiln, work, places, 0, -NOTHING, 0, 0, (), found)
        return tuple(found.values())

    def _fit(self, kiln, work, places, index, ended, cents, overtime, set_ups, found):  # type: ignore[no-untyped-def]
        """Place opening and charge `index` in every way, then go on."""
        charge = kiln.charges[index]
        here = [one for one, place in zip(work, places, strict=True) if place == ("opening", index)]
        most = charge.start_min + (self.problem.max_delay_min if charge.start_min > 0 else 0)
        is_last = index == len(kiln.charges) - 1
        is_locked = kiln.is_locked_out_before(index)
        for stop in self._under_way(kiln, here, most) if is_locked else self._stops(kiln, here, max(0, ended), most):
            free_from = max(ended, charge.start_min) if stop is None else max(ended, charge.start_min, stop[1])
            is_new = stop is not None and not is_locked
            paid = cents + (kiln.set_up_cents if is_new else 0)
            extra = overtime + (stop[3] if is_new else 0)
            needed = (*set_ups, (stop[2], stop[0], stop[0] + kiln.set_up_min)) if is_new else set_ups
            if is_last:
                if free_from <= most:
                    drying = (free_from - charge.start_min) * kiln.drying_cents_per_hour
                    variant = (drying, paid, extra, needed)
                    kept = found.get((extra, needed))
                    if kept is None or (drying + 60 * paid) < kept[0] + 60 * kept[1]:
                        found[extra, needed] = variant
                continue
            for start in range(free_from, most + 1):
                self._charge(kiln, work, places, index, start, paid, extra, needed, found)

    def _charge(self, kiln, work, places, index, start, cents, overtime, set_ups, found):  # type: ignore[no-untyped-def]
        charge = kiln.charges[index]
        here = [one for one, place in zip(work, places, strict=True) if place == ("charge", index)]
        running = [(job, at) for job, at in here if job.needs_state == "running"]
        still = [(job, at) for job, at in here if job.needs_state == "still"]
        drying_from = start + charge.loading_min + charge.heating_up_min
        length = charge.loading_min + charge.heating_up_min + charge.drying_min
        length += charge.conditioning_min + charge.cooling_min + charge.unloading_min
        latest = max(self.problem.horizon_min, kiln.charges[-1].start_min) + self.problem.max_delay_min
        stops = self._stops(kiln, still, max(0, drying_from), latest, drying_from + charge.drying_min, bool(running))
        for stop in stops:
            stretch = 0 if stop is None else stop[1] - stop[0] + kiln.reheat_min
            ended = start + length + stretch
            if any(
                at < start + charge.loading_min
                or at + job.duration_min > ended - charge.cooling_min - charge.unloading_min
                or (stop is not None and _common(at, at + job.duration_min, stop[0], stop[1] + kiln.reheat_min))
                for job, at in running
            ):
                continue
            paid = cents + (0 if stop is None else kiln.set_up_cents + kiln.interruption_cents)
            extra = overtime + (0 if stop is None else stop[3])
            needed = set_ups if stop is None else (*set_ups, (stop[2], stop[0], stop[0] + kiln.set_up_min))
            self._fit(kiln, work, places, index + 1, ended, paid, extra, needed, found)

    def _under_way(
        self, kiln: Kiln, work: list[tuple[Job, int]], latest_end: int
    ) -> Iterator[tuple[int, int, str, int] | None]:
        """The lock-out that there is, as long as this work needs it."""
        if not work:
            yield None
            return
        done = max(start + job.duration_min for job, start in work) + kiln.restore_min
        if min(start for _, start in work) >= kiln.locked_out_min and done <= latest_end:
            yield kiln.locked_out_min, done, kiln.locked_out_by, 0

    def _stops(
        self,
        kiln: Kiln,
        work: list[tuple[Job, int]],
        low: int,
        latest_end: int,
        high: int = NOTHING,
        may_be_without: bool = False,
    ) -> Iterator[tuple[int, int, str, int] | None]:
        """Every stop that holds this work: set-up start, end, person, overtime; None where there need be none."""
        if not work:
            yield None
            if not may_be_without:
                return
        first = min((start for _, start in work), default=NOTHING)
        done = max((start + job.duration_min for job, start in work), default=0)
        for shift in self.problem.shifts:
            for begin in range(max(low, shift.start_min), min(shift.end_min, high + 1)):
                ready = begin + kiln.set_up_min
                if ready > first or ready > shift.overtime_end_min:
                    break
                least = max(ready, done) + kiln.restore_min
                for person in shift.people:
                    if "lock-out" in self.skills[person] and self._is_there(person, begin, ready):
                        for end in range(least, (latest_end if may_be_without else min(least, latest_end)) + 1):
                            yield begin, end, person, max(0, ready - shift.end_min)


def _half_up(sixtieths: int) -> int:
    return (sixtieths + 30) // 60
