"""The independent check of a plan: recomputes every hard rule and the cost, and shares no code with any solver.

It knows the problem and the plan as they are read from their files, and nothing else. Work is proportional to the
number of jobs, so that a board can ask at every drag.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from .plan import COST_PARTS, Cost, PlacedJob, Plan, Stop
from .problem import Job, Kiln, Person, Problem, Shift


@dataclass(frozen=True)
class Broken:
    """A rule that a plan breaks: what it is called, what breaks it, and a sentence.

    `pattern` is the sentence with names in braces; `values` are their values, minutes under names that end in `_min`.
    """

    rule: str
    where: str
    pattern: str
    values: tuple[tuple[str, str | int], ...] = ()

    @property
    def text(self) -> str:
        """The sentence in the words of the two files."""
        return self.pattern.format(**dict(self.values))

    def __str__(self) -> str:
        return f"{self.where}: {self.text} ({self.rule})"


@dataclass(frozen=True)
class Verdict:
    """All that is broken, and what the plan costs by the checker's own sum."""

    broken: tuple[Broken, ...]
    cost: Cost

    @property
    def holds(self) -> bool:
        """Whether nothing is broken."""
        return not self.broken


def check(problem: Problem, plan: Plan) -> Verdict:
    """Check a plan against every rule.

    Parameters
    ----------
    problem : Problem
        what was asked; a problem that was read is free of faults
    plan : Plan
        what was answered, by whatever means

    Returns
    -------
    Verdict
        every broken rule, and the cost recomputed; the cost of what makes no sense (an unknown kiln) counts as 0
    """
    checker = _Checker(problem, plan)
    checker.check_charges()
    checker.check_stops()
    checker.check_jobs()
    checker.check_people()
    checker.check_inside()
    cost = checker.cost()
    checker.check_stated(cost)
    return Verdict(tuple(checker.broken), cost)


class _Checker:
    """One check: the plan looked up by kiln, stop and job."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem, self.plan = problem, plan
        self.broken: list[Broken] = []
        self.kilns: dict[str, Kiln] = {kiln.tag: kiln for kiln in problem.kilns}
        self.people: dict[str, Person] = {person.ref: person for person in problem.people}
        self.shifts: dict[str, Shift] = {shift.ref: shift for shift in problem.shifts}
        self.on_shift = {shift.ref: frozenset(shift.people) for shift in problem.shifts}
        self.jobs: dict[str, Job] = {job.ref: job for job in problem.jobs}
        self.placed: dict[str, PlacedJob] = {ref: at for ref, at in plan.jobs.items() if ref in self.jobs}
        self.stop_of_opening: dict[tuple[str, int], Stop] = {}
        self.stop_of_charge: dict[tuple[str, int], Stop] = {}
        self.starts: dict[str, tuple[int, ...]] = {}
        self.ends: dict[str, list[int]] = {}

    def say(self, rule: str, where: str, pattern: str, **values: str | int) -> None:
        self.broken.append(Broken(rule, where, pattern, tuple(values.items())))

    # --- charges ---------------------------------------------------------------------------------

    def check_charges(self) -> None:
        """Every charge has a start within its limits, after the end of the charge before it."""
        for tag in self.plan.charge_starts:
            if tag not in self.kilns:
                self.say("unknown", tag, "no such kiln")
        self._sort_stops()
        for tag, kiln in self.kilns.items():
            starts = self.plan.charge_starts.get(tag, ())
            if len(starts) != len(kiln.charges):
                self.say(
                    "charges",
                    tag,
                    "has {starts} starts for {charges} charges",
                    starts=len(starts),
                    charges=len(kiln.charges),
                )
                starts = tuple(charge.start_min for charge in kiln.charges)
            self.starts[tag] = starts
            self.ends[tag] = [
                start
                + charge.loading_min
                + charge.heating_up_min
                + charge.drying_min
                + charge.conditioning_min
                + charge.cooling_min
                + charge.unloading_min
                + self._stretch(kiln, index)
                for index, (start, charge) in enumerate(zip(starts[:-1], kiln.charges, strict=False))
            ]
            for index, (start, charge) in enumerate(zip(starts, kiln.charges, strict=True)):
                latest = charge.start_min + (self.problem.max_delay_min if charge.start_min > 0 else 0)
                if not charge.start_min <= start <= latest:
                    self.say(
                        "charge start",
                        f"{tag}, charge {index}",
                        "starts at {start_min}, not between {from_min} and {to_min}",
                        start_min=start,
                        from_min=charge.start_min,
                        to_min=latest,
                    )
                if index and start < self.ends[tag][index - 1]:
                    self.say("charge order", f"{tag}, charge {index}", "starts before the charge before it has ended")

    def _sort_stops(self) -> None:
        """Put every stop into the opening or the charge it says; a second one there breaks a rule."""
        for index, stop in enumerate(self.plan.stops):
            where, kiln = f"stop {index}", self.kilns.get(stop.kiln)
            if kiln is None:
                self.say("unknown", where, "no such kiln as {kiln}", kiln=stop.kiln)
                continue
            if (stop.before_charge is None) == (stop.in_charge is None):
                self.say("stop place", where, "is neither before a charge nor in one, or both")
            for number, taken, count in (
                (stop.before_charge, self.stop_of_opening, len(kiln.charges)),
                (stop.in_charge, self.stop_of_charge, len(kiln.charges) - 1),
            ):
                if number is None:
                    continue
                if not 0 <= number < count:
                    self.say("stop place", where, "there is no such opening or charge as {number}", number=number)
                elif (stop.kiln, number) in taken:
                    self.say("one stop", where, "is the second one there")
                else:
                    taken[stop.kiln, number] = stop

    def _stretch(self, kiln: Kiln, index: int) -> int:
        stop = self.stop_of_charge.get((kiln.tag, index))
        return 0 if stop is None else stop.end_min - stop.set_up_start_min + kiln.reheat_min

    # --- stops -----------------------------------------------------------------------------------

    def check_stops(self) -> None:
        """Every stop lies where it says, is long enough, and is set up by somebody who may."""
        for index, stop in enumerate(self.plan.stops):
            kiln = self.kilns.get(stop.kiln)
            if kiln is None:
                continue
            where = f"stop {index}"
            if stop.end_min < stop.set_up_start_min + self._set_up_min(kiln, stop) + kiln.restore_min:
                self.say("stop length", where, "ends before it is set up and the kiln made ready again")
            if stop.set_up_start_min < 0:
                self.say("stop place", where, "begins before minute 0")
            if stop.before_charge is not None and 0 <= stop.before_charge < len(kiln.charges):
                self._check_opening(kiln, stop, stop.before_charge, where)
            if stop.in_charge is not None and 0 <= stop.in_charge < len(kiln.charges) - 1:
                charge, start = kiln.charges[stop.in_charge], self.starts[kiln.tag][stop.in_charge]
                drying_from = start + charge.loading_min + charge.heating_up_min
                if not drying_from <= stop.set_up_start_min <= drying_from + charge.drying_min:
                    self.say("stop place", where, "does not begin in the drying phase of its charge")
            if self._is_under_way(kiln, stop):
                if stop.set_up_start_min < kiln.locked_out_min:
                    self.say("set-up", where, "begins before the kiln is locked out")
            else:
                self._check_set_up(kiln, stop, where)

    def _is_under_way(self, kiln: Kiln, stop: Stop) -> bool:
        """Whether a stop is the lock-out that there is at minute 0."""
        return stop.in_charge is None and kiln.is_locked_out_before(stop.before_charge)

    def _set_up_min(self, kiln: Kiln, stop: Stop) -> int:
        return 0 if self._is_under_way(kiln, stop) else kiln.set_up_min

    def _check_opening(self, kiln: Kiln, stop: Stop, number: int, where: str) -> None:
        if number and stop.set_up_start_min < self.ends[kiln.tag][number - 1]:
            self.say("stop place", where, "begins before the charge before it has ended")
        if stop.end_min > self.starts[kiln.tag][number]:
            self.say("stop place", where, "ends after the next charge has started")

    def _check_set_up(self, kiln: Kiln, stop: Stop, where: str) -> None:
        person, shift = self.people.get(stop.person), self.shifts.get(stop.shift)
        if person is None or shift is None:
            self.say(
                "unknown", where, "no such person as {person} or shift as {shift}", person=stop.person, shift=stop.shift
            )
            return
        if "lock-out" not in person.skills:
            self.say("skill", where, "{person} may not lock out", person=person.ref)
        if person.ref not in self.on_shift[shift.ref]:
            self.say("shift", where, "{person} is not in the shift {shift}", person=person.ref, shift=shift.ref)
        self._check_hours(shift, stop.set_up_start_min, stop.set_up_start_min + kiln.set_up_min, where)

    def _check_hours(self, shift: Shift, start: int, end: int, where: str) -> None:
        if not shift.start_min <= start < shift.end_min:
            self.say("shift", where, "does not begin within the shift {shift}", shift=shift.ref)
        if end > shift.overtime_end_min:
            self.say("shift", where, "ends after the overtime of the shift {shift}", shift=shift.ref)

    # --- jobs ------------------------------------------------------------------------------------

    def check_jobs(self) -> None:
        """Every job is where its state, its times and its crew allow, or is left out where that may be."""
        for ref in self.plan.jobs:
            if ref not in self.jobs:
                self.say("unknown", ref, "no such job")
        for job in self.problem.jobs:
            at = self.placed.get(job.ref)
            if at is None:
                if job.safety:
                    self.say("safety", job.ref, "is a safety job and left out")
                if job.ref in self.problem.pinned:
                    self.say("pin", job.ref, "is pinned and left out")
                continue
            self._check_times(job, at)
            self._check_place(job, at)
            self._check_crew(job, at)
            self._check_order(job, at)
            if job.ref in self.problem.pinned and self._is_moved(job.ref):
                self.say("pin", job.ref, "is pinned and moved")

    def _check_times(self, job: Job, at: PlacedJob) -> None:
        end = at.start_min + job.duration_min
        if at.start_min < job.earliest_min:
            self.say("earliest", job.ref, "may not start before {earliest_min}", earliest_min=job.earliest_min)
        if at.start_min < job.parts_min:
            self.say("earliest", job.ref, "starts before its parts are there, {parts_min}", parts_min=job.parts_min)
        if end > self.problem.horizon_min:
            self.say("horizon", job.ref, "ends after the horizon")
        if job.safety and end > job.latest_min:
            self.say("safety", job.ref, "ends after its safety date")

    def _check_place(self, job: Job, at: PlacedJob) -> None:
        kiln = self.kilns[job.kiln]
        if job.needs_state == "any":
            if at.stop is not None or at.charge is not None:
                self.say("state", job.ref, "needs no state and names a stop or a charge")
        elif job.needs_state == "running":
            if at.charge is None or at.stop is not None:
                self.say("state", job.ref, "needs a running kiln and names no charge, or a stop")
            elif not 0 <= at.charge < len(kiln.charges) - 1:
                self.say("state", job.ref, "there is no charge {number}", number=at.charge)
            else:
                self._check_running(job, at, kiln, at.charge)
        elif at.stop is None or at.charge is not None:
            self.say("state", job.ref, "needs a stop and names none, or a charge")
        elif not 0 <= at.stop < len(self.plan.stops):
            self.say("state", job.ref, "there is no stop {number}", number=at.stop)
        else:
            self._check_stopped(job, at, kiln, self.plan.stops[at.stop])

    def _check_running(self, job: Job, at: PlacedJob, kiln: Kiln, number: int) -> None:
        charge, end = kiln.charges[number], at.start_min + job.duration_min
        if at.start_min < self.starts[kiln.tag][number] + charge.loading_min:
            self.say("state", job.ref, "starts before its charge is loaded")
        if end > self.ends[kiln.tag][number] - charge.cooling_min - charge.unloading_min:
            self.say("state", job.ref, "ends after its charge has begun to cool")
        stop = self.stop_of_charge.get((kiln.tag, number))
        if stop is not None and _overlap(at.start_min, end, stop.set_up_start_min, stop.end_min + kiln.reheat_min):
            self.say("state", job.ref, "needs a running kiln and meets the interruption")

    def _check_stopped(self, job: Job, at: PlacedJob, kiln: Kiln, stop: Stop) -> None:
        if stop.kiln != job.kiln:
            self.say("state", job.ref, "is in a stop of another kiln")
        if stop.in_charge is not None and job.needs_state == "empty":
            self.say("state", job.ref, "needs an empty kiln and is in an interruption")
        number = stop.before_charge
        is_loaded = number is not None and 0 <= number < len(kiln.charges) and kiln.charges[number].goes_on
        if is_loaded and job.needs_state == "empty":
            self.say("state", job.ref, "needs an empty kiln and is in one that stands loaded")
        if at.start_min < stop.set_up_start_min + self._set_up_min(kiln, stop):
            self.say("set-up", job.ref, "starts before the kiln is locked out")
        if at.start_min + job.duration_min + kiln.restore_min > stop.end_min:
            self.say("restore", job.ref, "leaves no time to make the kiln ready again")

    def _check_crew(self, job: Job, at: PlacedJob) -> None:
        shift = self.shifts.get(at.shift)
        if shift is None:
            self.say("unknown", job.ref, "no such shift as {shift}", shift=at.shift)
        else:
            self._check_hours(shift, at.start_min, at.start_min + job.duration_min, job.ref)
        asked = {skill: count for skill, count in job.crew if count}
        if Counter(skill for _, skill in at.crew) != asked:
            self.say("crew", job.ref, "has another crew than asked for")
        if len({ref for ref, _ in at.crew}) < len(at.crew):
            self.say("crew", job.ref, "has one person twice")
        for ref, skill in at.crew:
            person = self.people.get(ref)
            if person is None:
                self.say("unknown", job.ref, "no such person as {person}", person=ref)
                continue
            if skill not in person.skills:
                self.say("skill", job.ref, "{person} has no skill {skill}", person=ref, skill=skill)
            if shift is not None and ref not in self.on_shift[shift.ref]:
                self.say("shift", job.ref, "{person} is not in the shift {shift}", person=ref, shift=shift.ref)

    def _check_order(self, job: Job, at: PlacedJob) -> None:
        for ref, lag_min in job.after:
            before = self.placed.get(ref)
            if before is None:
                self.say("after", job.ref, "is placed although {job} is left out", job=ref)
            elif at.start_min < before.start_min + self.jobs[ref].duration_min + lag_min:
                self.say("after", job.ref, "does not wait for {job}", job=ref)

    # --- people ----------------------------------------------------------------------------------

    def check_people(self) -> None:
        """Nobody is in two places at once, or works while away."""
        busy: dict[str, list[tuple[int, int, str]]] = defaultdict(list)
        for ref, at in self.placed.items():
            for person in {person for person, _ in at.crew}:
                busy[person].append((at.start_min, at.start_min + self.jobs[ref].duration_min, ref))
        for index, stop in enumerate(self.plan.stops):
            if stop.kiln in self.kilns:
                until = stop.set_up_start_min + self._set_up_min(self.kilns[stop.kiln], stop)
                busy[stop.person].append((stop.set_up_start_min, until, f"stop {index}"))
        for person, spans in busy.items():
            for (_, end, ref), (start, _, other) in _meeting(spans):
                self.say(
                    "two places",
                    ref,
                    "{person} is at {other} from {start_min}, before {job} ends at {end_min}",
                    person=person,
                    other=other,
                    start_min=start,
                    job=ref,
                    end_min=end,
                )
            away = [(start, end, "away") for start, end in self.people[person].away] if person in self.people else []
            for start, end, ref in spans:
                if any(_overlap(start, end, gone, back) for gone, back, _ in away):
                    self.say("away", ref, "{person} is away", person=person)

    def check_inside(self) -> None:
        """Never are more people inside a kiln than may be."""
        steps: dict[str, list[tuple[int, int, int]]] = defaultdict(list)
        for ref, at in self.placed.items():
            job = self.jobs[ref]
            if job.needs_state in ("empty", "still") and job.duration_min > 0:
                steps[job.kiln].append((at.start_min, len(at.crew), len(at.crew)))
                steps[job.kiln].append((at.start_min + job.duration_min, -len(at.crew), -len(at.crew)))
        for tag, changes in steps.items():
            for start_min, end_min, count in self.kilns[tag].inside:
                changes += [(start_min, count, 0), (end_min, -count, 0)] if start_min < end_min else []
            inside = placed = 0
            for minute, change, own in sorted(changes):
                inside, placed = inside + change, placed + own
                # Who is inside whatever is placed is no fault of the plan.
                if placed and inside > self.kilns[tag].max_people_inside:
                    self.say("inside", tag, "{count} people are inside at {at_min}", count=inside, at_min=minute)
                    break

    # --- cost ------------------------------------------------------------------------------------

    def _is_moved(self, ref: str) -> bool:
        issued, at = self.problem.issued[ref], self.placed.get(ref)
        return at is None or at.start_min != issued.start_min or {one for one, _ in at.crew} != issued.people

    def cost(self) -> Cost:
        """Sum every part exactly, in sixtieths of a cent and their fractions, and round it once."""
        drying = sum(
            (self.starts[tag][-1] - kiln.charges[-1].start_min) * kiln.drying_cents_per_hour
            for tag, kiln in self.kilns.items()
        )
        delay: int | Fraction = 0
        overtime_min = left_out = 0
        for ref, job in self.jobs.items():
            at = self.placed.get(ref)
            if at is None:
                left_out += job.leave_out_cents
                continue
            end = at.start_min + job.duration_min
            delay += max(0, end - job.due_min) * job.delay_cents_per_hour
            delay += max(0, end - job.latest_min) * job.late_cents_per_hour
            if at.shift in self.shifts:
                overtime_min += max(0, end - self.shifts[at.shift].end_min) * len(at.crew)
        stops = [
            stop
            for stop in self.plan.stops
            if stop.kiln in self.kilns and not self._is_under_way(self.kilns[stop.kiln], stop)
        ]
        for stop in stops:
            if stop.shift in self.shifts:
                set_up_end = stop.set_up_start_min + self.kilns[stop.kiln].set_up_min
                overtime_min += max(0, set_up_end - self.shifts[stop.shift].end_min)
        return Cost(
            drying_lost=_half_up(drying),
            delay=_half_up(delay),
            overtime=_half_up(overtime_min * self.problem.overtime_cents_per_person_hour),
            set_up=sum(self.kilns[stop.kiln].set_up_cents for stop in stops),
            interruption=sum(self.kilns[s.kiln].interruption_cents for s in stops if s.in_charge is not None),
            left_out=left_out,
            moves=self.problem.move_cents * sum(self._is_moved(ref) for ref in self.problem.issued),
        )

    def check_stated(self, cost: Cost) -> None:
        """What the plan says it costs is what it costs, and its bound is none that it undercuts."""
        for part in COST_PARTS:
            if getattr(self.plan.cost, part) != getattr(cost, part):
                self.say(
                    "cost",
                    part,
                    "is stated as {stated} and is {found}",
                    stated=getattr(self.plan.cost, part),
                    found=getattr(cost, part),
                )
        if self.plan.stated_total_cents != cost.total:
            self.say(
                "cost",
                "total",
                "is stated as {stated} and is {found}",
                stated=self.plan.stated_total_cents,
                found=cost.total,
            )
        if self.plan.bound_cents > cost.total:
            self.say(
                "bound",
                "bound_cents",
                "{bound} is above the cost {found}",
                bound=self.plan.bound_cents,
                found=cost.total,
            )
        if self.plan.bound_cents < 0:
            self.say("bound", "bound_cents", "is below 0")


def _half_up(sixtieths: int | Fraction) -> int:
    return math.floor(Fraction(sixtieths + 30, 60))


def _overlap(start: int, end: int, other_start: int, other_end: int) -> bool:
    """Whether two half-open intervals have a minute in common."""
    return max(start, other_start) < min(end, other_end)


def _meeting(
    spans: Iterable[tuple[int, int, str]],
) -> Iterable[tuple[tuple[int, int, str], tuple[int, int, str]]]:
    """Yield pairs of spans with a minute in common, each with the one before it that lasts longest."""
    lasting: tuple[int, int, str] | None = None
    for span in sorted(one for one in spans if one[0] < one[1]):
        if lasting is not None and span[0] < lasting[1]:
            yield lasting, span
        if lasting is None or span[1] > lasting[1]:
            lasting = span
