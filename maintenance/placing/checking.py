"""The independent check of a plan: recomputes every hard rule and the cost, and shares no code with any solver.

How charges go is worked out in `checked_charges.py`, the cost in `checked_cost.py`, which only this check asks.

It knows the problem and the plan as they are read from their files, and nothing else. Work is proportional to the
number of jobs, so that a board can ask at every drag.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from plant.basics.sentences import Sentence

from .checked_charges import Courses, first_minute_in_yard, follow, latest_start_min
from .checked_cost import cost_of, is_moved
from .plan import COST_PARTS, Cost, PlacedJob, Plan, Stop
from .problem import Down, Job, Kiln, Person, Problem, Shift


@dataclass(frozen=True)
class Broken:
    """A rule that a plan breaks: what it is called, and a sentence whose instants are minutes."""

    rule: str
    said: Sentence

    @property
    def where(self) -> str:
        """What breaks it: a job, “stop 3”, “K1, charge 2”, a kiln or a part of the cost."""
        return str(self.said["what"])

    def __str__(self) -> str:
        return f"{self.said} ({self.rule})"


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
    checker.check_stops_apart()
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
        self.beyond_down: dict[str, list[tuple[Down, Stop]]] = defaultdict(list)
        self.starts: dict[str, tuple[int, ...]] = {}
        self.courses: dict[str, Courses] = {}

    def say(self, rule: str, said: Sentence) -> None:
        self.broken.append(Broken(rule, said))

    # --- charges ---------------------------------------------------------------------------------

    def check_charges(self) -> None:
        """Every charge has a start within its limits, after the end of the charge before it."""
        for tag in self.plan.charge_starts:
            if tag not in self.kilns:
                self.say("unknown", Sentence.of("broken.no_kiln", what=tag))
        self._sort_stops()
        for tag, kiln in self.kilns.items():
            starts = self.plan.charge_starts.get(tag, ())
            if len(starts) != len(kiln.charges):
                self.say(
                    "charges", Sentence.of("broken.starts", what=tag, starts=len(starts), charges=len(kiln.charges))
                )
                starts = tuple(charge.start_min for charge in kiln.charges)
            self.starts[tag] = starts
            in_charge = {index: stop for (of, index), stop in self.stop_of_charge.items() if of == tag}
            self.courses[tag] = follow(self.problem, kiln, starts, in_charge, self.beyond_down[tag])
            self._check_starts(kiln, starts)
            self._check_unloading(kiln)

    def _check_starts(self, kiln: Kiln, starts: tuple[int, ...]) -> None:
        for index, (start, charge) in enumerate(zip(starts, kiln.charges, strict=True)):
            where, latest = f"{kiln.tag}, charge {index}", latest_start_min(self.problem, charge)
            if not charge.start_min <= start <= latest:
                self.say(
                    "charge start",
                    Sentence.of(
                        "broken.charge_start", what=where, start_at=start, from_at=charge.start_min, to_at=latest
                    ),
                )
            if index and start < self.courses[kiln.tag].of[index - 1].end_min:
                self.say("charge order", Sentence.of("broken.charge_order", what=where))
            asks_yard = start > charge.start_min and index < len(starts) - 1 and not charge.goes_on
            if asks_yard and first_minute_in_yard(self.problem, charge.loading_min, start) != start:
                self.say("yard", Sentence.of("broken.yard_loading", what=where, start_at=start))

    def _check_unloading(self, kiln: Kiln) -> None:
        """What is cooled comes out, and no stop that lasts longer than the kiln is down meets another or a charge."""
        courses = self.courses[kiln.tag]
        for index, course in enumerate(courses.of):
            if course.unload_min is None:
                where = f"{kiln.tag}, charge {index}"
                self.say("yard", Sentence.of("broken.yard_unloading", what=where, cooled_at=course.cooled_min))
        for stop in courses.second:
            self.say("one stop", Sentence.of("broken.second_stop", what=self._name_of(stop)))
        for stop in courses.too_long:
            self.say("stop place", Sentence.of("broken.stop_late", what=self._name_of(stop)))

    def _name_of(self, stop: Stop) -> str:
        return f"stop {next(index for index, one in enumerate(self.plan.stops) if one is stop)}"

    def _sort_stops(self) -> None:
        """Put every stop into the opening, charge or down time it says; a second one there breaks a rule."""
        in_down: dict[tuple[str, int], Stop] = {}
        for index, stop in enumerate(self.plan.stops):
            where, kiln = f"stop {index}", self.kilns.get(stop.kiln)
            if kiln is None:
                self.say("unknown", Sentence.of("broken.no_such_kiln", what=where, kiln=stop.kiln))
                continue
            if [stop.before_charge, stop.in_charge, stop.in_down].count(None) != 2:
                self.say("stop place", Sentence.of("broken.stop_nowhere", what=where))
            for number, taken, count in (
                (stop.before_charge, self.stop_of_opening, len(kiln.charges)),
                (stop.in_charge, self.stop_of_charge, len(kiln.charges) - 1),
                (stop.in_down, in_down, len(kiln.down)),
            ):
                if number is None:
                    continue
                if not 0 <= number < count:
                    self.say("stop place", Sentence.of("broken.no_such_place", what=where, number=number))
                elif (stop.kiln, number) in taken:
                    self.say("one stop", Sentence.of("broken.second_stop", what=where))
                else:
                    taken[stop.kiln, number] = stop
        for (tag, number), stop in in_down.items():
            down = self.kilns[tag].down[number]
            if stop.end_min > down.end_min:
                self.beyond_down[tag].append((down, stop))

    # --- stops -----------------------------------------------------------------------------------

    def check_stops(self) -> None:
        """Every stop lies where it says, is long enough, and is set up by somebody who may."""
        for index, stop in enumerate(self.plan.stops):
            kiln = self.kilns.get(stop.kiln)
            if kiln is None:
                continue
            where = f"stop {index}"
            if stop.end_min < stop.set_up_start_min + self._set_up_min(kiln, stop) + kiln.restore_min:
                self.say("stop length", Sentence.of("broken.stop_short", what=where))
            if stop.set_up_start_min < 0:
                self.say("stop place", Sentence.of("broken.stop_past", what=where))
            if stop.before_charge is not None and 0 <= stop.before_charge < len(kiln.charges):
                self._check_opening(kiln, stop, stop.before_charge, where)
            if stop.in_charge is not None and 0 <= stop.in_charge < len(kiln.charges) - 1:
                self._check_interruption(kiln, stop, stop.in_charge, where)
            if stop.in_down is not None and 0 <= stop.in_down < len(kiln.down):
                down = kiln.down[stop.in_down]
                if not down.start_min <= stop.set_up_start_min < down.end_min:
                    self.say("stop place", Sentence.of("broken.stop_not_down", what=where))
            if self._is_under_way(kiln, stop):
                if stop.set_up_start_min < kiln.locked_out_min:
                    self.say("set-up", Sentence.of("broken.stop_set_up", what=where))
            else:
                self._check_set_up(kiln, stop, where)

    def _is_under_way(self, kiln: Kiln, stop: Stop) -> bool:
        """Whether a stop is the lock-out that there is at minute 0."""
        return stop.in_charge is None and stop.in_down is None and kiln.is_locked_out_before(stop.before_charge)

    def _set_up_min(self, kiln: Kiln, stop: Stop) -> int:
        return 0 if self._is_under_way(kiln, stop) else kiln.set_up_min

    def _check_opening(self, kiln: Kiln, stop: Stop, number: int, where: str) -> None:
        if number and stop.set_up_start_min < self.courses[kiln.tag].of[number - 1].end_min:
            self.say("stop place", Sentence.of("broken.stop_early", what=where))
        if stop.end_min > self.starts[kiln.tag][number]:
            self.say("stop place", Sentence.of("broken.stop_late", what=where))

    def _check_interruption(self, kiln: Kiln, stop: Stop, number: int, where: str) -> None:
        """A stop in a charge begins while it dries, or lies where it waits for the yard."""
        course = self.courses[kiln.tag].of[number]
        if self.stop_of_charge.get((kiln.tag, number)) is stop and course.stop_waits:
            if course.unload_min is not None and stop.end_min > course.unload_min:
                self.say("stop place", Sentence.of("broken.stop_waits", what=where, until_at=course.unload_min))
            return
        charge = kiln.charges[number]
        drying_from = self.starts[kiln.tag][number] + charge.loading_min + charge.heating_up_min
        if not drying_from <= stop.set_up_start_min <= drying_from + charge.drying_min:
            self.say("stop place", Sentence.of("broken.stop_phase", what=where))

    def check_stops_apart(self) -> None:
        """No two stops of one kiln overlap; places of the first form never do."""
        spans: dict[str, list[tuple[int, int, str]]] = defaultdict(list)
        for index, stop in enumerate(self.plan.stops if self.problem.form > 1 else ()):
            spans[stop.kiln].append((stop.set_up_start_min, stop.end_min, f"stop {index}"))
        for of_kiln in spans.values():
            for (_, _, one), (_, _, other) in _meeting(of_kiln):
                self.say("two stops", Sentence.of("broken.two_stops", what=other, other=one))

    def _check_set_up(self, kiln: Kiln, stop: Stop, where: str) -> None:
        person, shift = self.people.get(stop.person), self.shifts.get(stop.shift)
        if person is None or shift is None:
            self.say(
                "unknown", Sentence.of("broken.no_person_or_shift", what=where, person=stop.person, shift=stop.shift)
            )
            return
        if "lock-out" not in person.skills:
            self.say("skill", Sentence.of("broken.may_not_lock_out", what=where, person=person.ref))
        if person.ref not in self.on_shift[shift.ref]:
            self.say("shift", Sentence.of("broken.not_in_shift", what=where, person=person.ref, shift=shift.ref))
        self._check_hours(shift, stop.set_up_start_min, stop.set_up_start_min + kiln.set_up_min, where)

    def _check_hours(self, shift: Shift, start: int, end: int, where: str) -> None:
        if not shift.start_min <= start < shift.end_min:
            self.say("shift", Sentence.of("broken.outside_shift", what=where, shift=shift.ref))
        if end > shift.overtime_end_min:
            self.say("shift", Sentence.of("broken.after_overtime", what=where, shift=shift.ref))

    # --- jobs ------------------------------------------------------------------------------------

    def check_jobs(self) -> None:
        """Every job is where its state, its times and its crew allow, or is left out where that may be."""
        for ref in self.plan.jobs:
            if ref not in self.jobs:
                self.say("unknown", Sentence.of("broken.no_job", what=ref))
        for job in self.problem.jobs:
            at = self.placed.get(job.ref)
            if at is None:
                if job.safety:
                    self.say("safety", Sentence.of("broken.safety_left_out", what=job.ref))
                if job.ref in self.problem.pinned:
                    self.say("pin", Sentence.of("broken.pin_left_out", what=job.ref))
                continue
            self._check_times(job, at)
            self._check_place(job, at)
            self._check_crew(job, at)
            self._check_order(job, at)
            if job.ref in self.problem.pinned and is_moved(self.problem.issued[job.ref], at):
                self.say("pin", Sentence.of("broken.pin_moved", what=job.ref))

    def _check_times(self, job: Job, at: PlacedJob) -> None:
        end = at.start_min + job.duration_min
        if at.start_min < job.earliest_min:
            self.say("earliest", Sentence.of("broken.earliest", what=job.ref, earliest_at=job.earliest_min))
        if at.start_min < job.parts_min:
            self.say("earliest", Sentence.of("broken.parts", what=job.ref, parts_at=job.parts_min))
        if end > self.problem.horizon_min:
            self.say("horizon", Sentence.of("broken.horizon", what=job.ref))
        if job.safety and end > job.latest_min:
            self.say("safety", Sentence.of("broken.safety_late", what=job.ref))

    def _check_place(self, job: Job, at: PlacedJob) -> None:
        kiln = self.kilns[job.kiln]
        if job.needs_state == "any":
            if at.stop is not None or at.charge is not None:
                self.say("state", Sentence.of("broken.state_any", what=job.ref))
        elif job.needs_state == "running":
            if at.charge is None or at.stop is not None:
                self.say("state", Sentence.of("broken.state_running", what=job.ref))
            elif not 0 <= at.charge < len(kiln.charges) - 1:
                self.say("state", Sentence.of("broken.no_charge", what=job.ref, number=at.charge))
            else:
                self._check_running(job, at, kiln, at.charge)
        elif at.stop is None or at.charge is not None:
            self.say("state", Sentence.of("broken.state_stopped", what=job.ref))
        elif not 0 <= at.stop < len(self.plan.stops):
            self.say("state", Sentence.of("broken.no_stop", what=job.ref, number=at.stop))
        else:
            self._check_stopped(job, at, kiln, self.plan.stops[at.stop])

    def _check_running(self, job: Job, at: PlacedJob, kiln: Kiln, number: int) -> None:
        charge, end = kiln.charges[number], at.start_min + job.duration_min
        if at.start_min < self.starts[kiln.tag][number] + charge.loading_min:
            self.say("state", Sentence.of("broken.not_loaded", what=job.ref))
        course = self.courses[kiln.tag].of[number]
        if end > course.runs_until_min:
            self.say("state", Sentence.of("broken.cooling", what=job.ref))
        if any(_overlap(at.start_min, end, *span) for span in course.cut):
            self.say("state", Sentence.of("broken.interrupted", what=job.ref))
        if any(_overlap(at.start_min, end, down.start_min, down.end_min) for down in kiln.down):
            self.say("state", Sentence.of("broken.down", what=job.ref))

    def _check_stopped(self, job: Job, at: PlacedJob, kiln: Kiln, stop: Stop) -> None:
        if stop.kiln != job.kiln:
            self.say("state", Sentence.of("broken.other_kiln", what=job.ref))
        if stop.in_charge is not None and job.needs_state == "empty":
            self.say("state", Sentence.of("broken.not_empty", what=job.ref))
        number = stop.before_charge
        is_loaded = number is not None and 0 <= number < len(kiln.charges) and kiln.charges[number].goes_on
        if stop.in_down is not None and 0 <= stop.in_down < len(kiln.down):
            is_loaded = not kiln.down[stop.in_down].unloaded
        if is_loaded and job.needs_state == "empty":
            self.say("state", Sentence.of("broken.loaded", what=job.ref))
        if at.start_min < stop.set_up_start_min + self._set_up_min(kiln, stop):
            self.say("set-up", Sentence.of("broken.set_up", what=job.ref))
        if at.start_min + job.duration_min + kiln.restore_min > stop.end_min:
            self.say("restore", Sentence.of("broken.restore", what=job.ref))

    def _check_crew(self, job: Job, at: PlacedJob) -> None:
        shift = self.shifts.get(at.shift)
        if shift is None:
            self.say("unknown", Sentence.of("broken.no_shift", what=job.ref, shift=at.shift))
        else:
            self._check_hours(shift, at.start_min, at.start_min + job.duration_min, job.ref)
        asked = {skill: count for skill, count in job.crew if count}
        if Counter(skill for _, skill in at.crew) != asked:
            self.say("crew", Sentence.of("broken.crew", what=job.ref))
        if len({ref for ref, _ in at.crew}) < len(at.crew):
            self.say("crew", Sentence.of("broken.twice", what=job.ref))
        for ref, skill in at.crew:
            person = self.people.get(ref)
            if person is None:
                self.say("unknown", Sentence.of("broken.no_person", what=job.ref, person=ref))
                continue
            if skill not in person.skills:
                self.say("skill", Sentence.of("broken.no_skill", what=job.ref, person=ref, skill=skill))
            if shift is not None and ref not in self.on_shift[shift.ref]:
                self.say("shift", Sentence.of("broken.not_in_shift", what=job.ref, person=ref, shift=shift.ref))

    def _check_order(self, job: Job, at: PlacedJob) -> None:
        for ref, lag_min in job.after:
            before = self.placed.get(ref)
            if before is None:
                self.say("after", Sentence.of("broken.after_left_out", what=job.ref, job=ref))
            elif at.start_min < before.start_min + self.jobs[ref].duration_min + lag_min:
                self.say("after", Sentence.of("broken.after", what=job.ref, job=ref))

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
                    Sentence.of(
                        "broken.two_places", what=ref, person=person, other=other, start_at=start, job=ref, end_at=end
                    ),
                )
            away = [(start, end, "away") for start, end in self.people[person].away] if person in self.people else []
            for start, end, ref in spans:
                if any(_overlap(start, end, gone, back) for gone, back, _ in away):
                    self.say("away", Sentence.of("broken.away", what=ref, person=person))

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
                    self.say("inside", Sentence.of("broken.inside", what=tag, count=inside, seen_at=minute))
                    break

    # --- cost ------------------------------------------------------------------------------------

    def cost(self) -> Cost:
        """Sum what the plan costs; a lock-out under way was paid for."""
        stops = [one for one in self.plan.stops if one.kiln in self.kilns]
        paid = [stop for stop in stops if not self._is_under_way(self.kilns[stop.kiln], stop)]
        return cost_of(self.problem, self.placed, self.plan.stops, self.starts, self.courses, paid)

    def check_stated(self, cost: Cost) -> None:
        """The plan has the form asked for, costs what it says it costs, and its bound is none that it undercuts."""
        if self.plan.form != self.problem.form:
            said = Sentence.of("broken.form", what="format", stated=self.plan.form, found=self.problem.form)
            self.say("form", said)
        for part in COST_PARTS:
            if getattr(self.plan.cost, part) != getattr(cost, part):
                self.say(
                    "cost",
                    Sentence.of(
                        "broken.stated", what=part, stated=getattr(self.plan.cost, part), found=getattr(cost, part)
                    ),
                )
        if self.plan.stated_total_cents != cost.total:
            self.say(
                "cost",
                Sentence.of("broken.stated", what="total", stated=self.plan.stated_total_cents, found=cost.total),
            )
        if self.plan.bound_cents > cost.total:
            self.say(
                "bound", Sentence.of("broken.bound", what="bound_cents", bound=self.plan.bound_cents, found=cost.total)
            )
        if self.plan.bound_cents < 0:
            self.say("bound", Sentence.of("broken.bound_below", what="bound_cents"))


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
