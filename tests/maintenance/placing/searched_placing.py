"""Search through every plan of a tiny placing problem; shares nothing with solver and checker but the problem itself.

Both forms; what only the second has (yard, waiting, promises, down times, margins) is tried minute by minute. Jobs
have one person each. Every start, shift, person, place, stop and start of a charge is tried; branches are cut only
where what is already decided costs as much as the best complete plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import combinations, product
from typing import NamedTuple

from maintenance.placing.problem import Charge, Down, Job, Kiln, Problem

#: Whom set-ups need, and when.
SetUps = tuple[tuple[str, int, int], ...]
#: A stop that is tried: set-up start, end, person, minutes of overtime.
Tried = tuple[int, int, str, int]
#: A kiln's jobs: when, and in which opening, charge or down time.
Placed = tuple[tuple[Job, int, tuple[str, int]], ...]
#: What comes later than promised and short of margins, in sixtieths of a cent.
Soft = tuple[int, int]
NOTHING = 10**12


class Variant(NamedTuple):
    """What one way to run a kiln costs, and whom its set-ups need."""

    drying: int
    cents: int
    overtime_min: int
    set_ups: SetUps
    later: int
    margin: int


class Way(NamedTuple):
    """A kiln's plan up to some charge."""

    ended_min: int = -NOTHING
    cents: int = 0
    overtime_min: int = 0
    set_ups: SetUps = ()
    stops: tuple[tuple[int, int], ...] = ()
    later: int = 0
    margin: int = 0
    #: Stops that began while the kiln was down and have yet to be settled, by the end of the down time.
    longer: tuple[tuple[Down, int], ...] = ()

    def with_stop(self, kiln: Kiln, stop: Tried | None, cents: int = 0, is_paid: bool = True) -> Way:
        """Add a stop, which somebody sets up unless it is under way."""
        if stop is None:
            return self
        held = self._replace(stops=(*self.stops, stop[:2]))
        if not is_paid:
            return held
        needed = (*self.set_ups, (stop[2], stop[0], stop[0] + kiln.set_up_min))
        paid = self.cents + kiln.set_up_cents + cents
        return held._replace(cents=paid, overtime_min=self.overtime_min + stop[3], set_ups=needed)


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
            more = sum(one.cents for one in chosen)
            more += sum(
                _half_up(sum(part)) for part in zip(*((v.drying, v.later, v.margin) for v in chosen), strict=True)
            )
            extra = overtime + sum(one.overtime_min for one in chosen)
            total = _half_up(delay) + self._overtime(extra) + cents + more
            if total >= self.best:
                continue
            spans = [set_up for one in chosen for set_up in one.set_ups]
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
        running = [(start, start + job.duration_min) for job, start in work if job.needs_state == "running"]
        if any(_common(*span, down.start_min, down.end_min) for span in running for down in kiln.down):
            return ()
        found: dict[tuple[int, SetUps, Soft], Variant] = {}
        for places in product(*(self._places(kiln, job, start) for job, start in work)):
            placed = tuple((*one, place) for one, place in zip(work, places, strict=True))
            tried = [self._down_stops(kiln, placed, number) for number in range(len(kiln.down))]
            for chosen in product(*tried):
                way = Way()
                for stop, down in zip(chosen, kiln.down, strict=True):
                    way = way.with_stop(kiln, stop)
                    if stop is not None and stop[1] > down.end_min:
                        way = way._replace(longer=(*way.longer, (down, stop[1])))
                way = way._replace(longer=tuple(sorted(way.longer, key=lambda one: one[0].end_min)))
                self._opening(kiln, placed, 0, way, found)
        return _undominated(found.values())

    def _latest(self, charge: Charge) -> int:
        wait_min = self.problem.max_delay_min if charge.may_wait_min is None else charge.may_wait_min
        return charge.start_min + (wait_min if charge.start_min > 0 else 0)

    def _places(self, kiln: Kiln, job: Job, start: int) -> Iterator[tuple[str, int]]:
        """Where in its kiln a job may lie that starts then; what cannot be is left out early."""
        if job.needs_state == "any":
            yield "any", 0
            return
        restore_min = 0 if job.needs_state == "running" else kiln.restore_min
        done = start + job.duration_min + restore_min
        ended = -NOTHING
        for index, charge in enumerate(kiln.charges):
            may_lie = job.needs_state == "still" or (job.needs_state == "empty" and not charge.goes_on)
            if may_lie and start >= ended and done <= self._latest(charge):
                yield "opening", index
            is_loaded = start >= charge.start_min + charge.loading_min
            has_next = job.needs_state != "empty" and index + 1 < len(kiln.charges)
            if has_next and is_loaded and done <= self._latest(kiln.charges[index + 1]):
                yield "charge", index
            ended = charge.start_min + _cooled_after(charge) + charge.unloading_min
        for index, down in enumerate(kiln.down):
            if job.needs_state == "still" or (job.needs_state == "empty" and down.unloaded):
                yield "down", index

    def _down_stops(self, kiln: Kiln, placed: Placed, number: int) -> list[Tried | None]:
        """Every stop that may begin in a down time; without a job only one that makes a charge longer for others."""
        down = kiln.down[number]
        here = [(job, start) for job, start, place in placed if place == ("down", number)]
        running = [
            (job, start) for job, start, place in placed if place[0] == "charge" and job.needs_state == "running"
        ]
        most_margin = max(charge.margin_min for charge in kiln.charges)
        ends = [start + job.duration_min + most_margin for job, start in running] if not down.unloaded else []
        until = max([down.end_min, *(down.end_min + max(0, end) for end in ends)])
        found: list[Tried | None] = [] if here else [None]
        if here or ends:
            for stop in self._stops(kiln, here, max(0, down.start_min), until, down.end_min - 1):
                if here or stop[1] > down.end_min:
                    found.append(stop)
        return found

    def _opening(self, kiln: Kiln, placed: Placed, index: int, way: Way, found) -> None:  # type: ignore[no-untyped-def]
        """Place opening and charge `index` in every way, then go on."""
        charge = kiln.charges[index]
        here = [(job, start) for job, start, place in placed if place == ("opening", index)]
        most = self._latest(charge)
        is_locked = kiln.is_locked_out_before(index)
        is_last = index == len(kiln.charges) - 1
        stops: Iterator[Tried | None] = iter([None])
        if here:
            low = max(0, way.ended_min)
            stops = self._under_way(kiln, here, most) if is_locked else self._stops(kiln, here, low)
        for stop in stops:
            free_from = max(way.ended_min, charge.start_min, -NOTHING if stop is None else stop[1])
            then = way.with_stop(kiln, stop, is_paid=not is_locked)
            if is_last:
                self._keep(kiln, max([free_from, *(end for _, end in way.longer)]), then, found)
                continue
            for start in range(free_from, most + 1):
                is_moved = start > charge.start_min and not charge.goes_on
                if not is_moved or self._is_in_yard(start, charge.loading_min):
                    self._charge(kiln, placed, index, start, then, found)

    def _keep(self, kiln: Kiln, start: int, way: Way, found) -> None:  # type: ignore[no-untyped-def]
        last = kiln.charges[-1]
        if start > self._latest(last) or any(_common(*one, *other) for one, other in combinations(way.stops, 2)):
            return
        drying = (start - last.start_min) * kiln.drying_cents_per_hour
        variant = Variant(drying, way.cents, way.overtime_min, way.set_ups, way.later, way.margin)
        key = (way.overtime_min, way.set_ups, (way.later, way.margin))
        if key not in found or drying + 60 * way.cents < found[key].drying + 60 * found[key].cents:
            found[key] = variant

    def _is_in_yard(self, start: int, length_min: int) -> bool:
        yard = self.problem.yard
        return yard is None or any(opens <= start and start + length_min <= closes for opens, closes in yard)

    def _unloaded_from(self, kiln: Kiln, index: int, cooled: int) -> int:
        """Give the first minute at which a cooled charge may be unloaded, looked for minute by minute."""
        charge = kiln.charges[index]
        if self.problem.yard is None or kiln.charges[index + 1].goes_on:
            return cooled
        if cooled == charge.start_min + _cooled_after(charge):
            return cooled
        closing = max(closes for _, closes in self.problem.yard)
        fitting = (at for at in range(cooled, closing + 1) if self._is_in_yard(at, charge.unloading_min))
        return next(fitting, NOTHING)

    def _charge(self, kiln, placed, index, start, way, found):  # type: ignore[no-untyped-def]
        charge = kiln.charges[index]
        here = [(job, at) for job, at, place in placed if place == ("charge", index)]
        running = [(job, at) for job, at in here if job.needs_state == "running"]
        still = [(job, at) for job, at in here if job.needs_state == "still"]
        cooled = start + _cooled_after(charge)
        unload = self._unloaded_from(kiln, index, cooled)
        drying_from = start + charge.loading_min + charge.heating_up_min
        stops: list[tuple[Tried | None, bool]] = [] if still else [(None, False)]
        if still:
            waits = self._stops(kiln, still, max(0, cooled), None, unload - 1) if unload > cooled else ()
            stops += [(stop, True) for stop in waits if stop[1] <= unload]
        if still or running:
            # Longer than it need be only so that the charge runs on for what runs along with it.
            until = max((at + job.duration_min + charge.margin_min for job, at in running), default=None)
            cuts = self._stops(kiln, still, max(0, drying_from), until, drying_from + charge.drying_min)
            stops += [(stop, False) for stop in cuts if not cooled <= stop[0] < unload]
        for stop, is_waiting in stops:
            cut = [] if stop is None or is_waiting else [(stop[0], stop[1] + kiln.reheat_min)]
            out = cooled + (stop[1] - stop[0] + kiln.reheat_min if cut else 0)
            then = way.with_stop(kiln, stop, kiln.interruption_cents if cut else 0)
            is_free = stop is None
            end = self._unloaded_from(kiln, index, out) + charge.unloading_min
            while then.longer and then.longer[0][0].end_min < end:
                (down, stop_end), *others = then.longer
                then = then._replace(longer=tuple(others))
                if down.unloaded or start > down.end_min:
                    is_free = is_free if stop_end <= start else None
                else:
                    is_free = False if is_free else None
                    out += stop_end - down.end_min + kiln.reheat_min
                    cut.append((down.end_min, stop_end + kiln.reheat_min))
                    then = then._replace(cents=then.cents + kiln.interruption_cents)
                if is_free is None:
                    break
                end = self._unloaded_from(kiln, index, out) + charge.unloading_min
            if is_free is None or end >= NOTHING:
                continue
            runs_until = out - charge.cooling_min
            if any(
                at < start + charge.loading_min
                or at + job.duration_min > runs_until
                or any(_common(at, at + job.duration_min, *span) for span in cut)
                for job, at in running
            ):
                continue
            short = sum(
                max(0, at + job.duration_min + charge.margin_min - runs_until) * job.late_cents_per_hour
                for job, at in running
                if _keeps_margin(job)
            )
            if not kiln.charges[index + 1].goes_on:
                short += sum(
                    max(0, end + charge.margin_min - at) * job.late_cents_per_hour
                    for job, at, place in placed
                    if place == ("opening", index + 1) and _keeps_margin(job)
                )
            promised = charge.promised_end_min
            if promised is None:
                promised = charge.start_min + _cooled_after(charge) + charge.unloading_min
            later = then.later + max(0, end - promised) * charge.later_cents_per_hour
            gone = then._replace(ended_min=end, later=later, margin=then.margin + short)
            self._opening(kiln, placed, index + 1, gone, found)

    def _under_way(self, kiln: Kiln, work: list[tuple[Job, int]], latest_end: int) -> Iterator[Tried]:
        """The lock-out that there is, as long as this work needs it."""
        done = max(start + job.duration_min for job, start in work) + kiln.restore_min
        if min(start for _, start in work) >= kiln.locked_out_min and done <= latest_end:
            yield kiln.locked_out_min, done, kiln.locked_out_by, 0

    def _stops(
        self, kiln: Kiln, work: list[tuple[Job, int]], low: int, until: int | None = None, high: int = NOTHING
    ) -> Iterator[Tried]:
        """Every stop that holds this work, as short as can be, and all longer ones up to a minute."""
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
                        for end in range(least, max(least, least if until is None else until) + 1):
                            yield begin, end, person, max(0, ready - shift.end_min)


def _cooled_after(charge: Charge) -> int:
    phases = (charge.loading_min, charge.heating_up_min, charge.drying_min, charge.conditioning_min, charge.cooling_min)
    return sum(phases)


def _keeps_margin(job: Job) -> bool:
    return job.safety if job.keeps_margin is None else job.keeps_margin


def _undominated(variants: Iterable[Variant]) -> tuple[Variant, ...]:
    """Leave out what is no better than another in any part and needs the same people."""
    kept: list[Variant] = []
    for one in sorted(variants, key=lambda one: one.drying + 60 * one.cents + one.later + one.margin):
        if not any(
            other.set_ups == one.set_ups
            and other.overtime_min <= one.overtime_min
            and other.drying + 60 * other.cents <= one.drying + 60 * one.cents
            and other.later <= one.later
            and other.margin <= one.margin
            for other in kept
        ):
            kept.append(one)
    return tuple(kept)


def _half_up(sixtieths: int) -> int:
    return (sixtieths + 30) // 60
