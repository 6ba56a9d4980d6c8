"""Plan anew every day while charges end otherwise than predicted: what calm and buffers cost, and what they bring.

Each day the rest of the time is a placing problem of its own: charges under way with their predicted ends, jobs that
are not done, the plan of the day before as issued. What the new plan has for the day is done where the kiln is in the
state it needs; a crew that finds the door closed is paid for its time and the job waits. A stop that is set up is
carried through. The prediction of a charge's end closes in on the truth as the charge proceeds.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from maintenance.placing.doubt import buffer_that_pays
from maintenance.placing.plan import Plan, Stop
from maintenance.placing.problem import LOCKED_OUT, Charge, Issued, Job, Kiln, Person, Problem

DAY_MIN, WEEK_MIN = 1440, 10_080
#: So far ahead crews are fixed, and buffers kept.
FIXED_AHEAD_MIN = 2 * DAY_MIN
SIXTIETHS = 60


@dataclass(frozen=True)
class Habit:
    """How is planned: what a move of an issued job costs, and whether crews keep a buffer to a charge's end."""

    name: str
    move_cents: int
    has_buffer: bool


@dataclass(frozen=True)
class Course:
    """How it went: money spent (moves not counted), issued jobs moved (at all, within 48 hours), crews in vain."""

    habit: Habit
    cents: int
    moves: int
    late_moves: int
    in_vain: int
    left_out: int


Answer = Callable[[Problem], Plan | None]


def run_through(
    problem: Problem, habit: Habit, answer: Answer, spread: float, wage_cents_per_hour: int, seed: int
) -> Course:
    """Live through a problem day by day.

    Parameters
    ----------
    problem : Problem
        the whole time, of whole days
    habit : Habit
        how is planned
    answer : callable
        makes a plan of one day's problem; None where it finds none, and then nothing is done that day
    spread : float
        standard deviation of a charge's drying time, as a share of it [1]
    wage_cents_per_hour : int
        what an hour of a crew member in vain costs [cents/h]
    seed : int
        of the drying times: the same seed is the same luck for every habit

    Returns
    -------
    Course
        what it came to
    """
    life = _Life(problem, habit, spread, wage_cents_per_hour, seed)
    for day in range(problem.horizon_min // DAY_MIN):
        today = life.problem_at(day * DAY_MIN)
        # With no shift left nothing more can be done, and no plan be made.
        plan = answer(today) if today.shifts else None
        if plan is not None:
            life.adopt(plan, day * DAY_MIN)
        life.live(day * DAY_MIN)
    return life.course()


class _Life:
    """What has happened so far."""

    def __init__(self, problem: Problem, habit: Habit, spread: float, wage: int, seed: int) -> None:
        self.problem, self.habit, self.spread, self.wage = problem, habit, spread, wage
        chance = random.Random(seed)
        self.true_drying = {
            kiln.tag: [max(60, round(one.drying_min * (1 + chance.gauss(0, spread)))) for one in kiln.charges]
            for kiln in problem.kilns
        }
        self.began: dict[str, list[int]] = {kiln.tag: [] for kiln in problem.kilns}
        self.stretch: dict[tuple[str, int], int] = {}
        self.held: dict[str, int] = {kiln.tag: 0 for kiln in problem.kilns}
        self.done: dict[str, int] = {}
        self.jobs = {job.ref: job for job in problem.jobs}
        self.taken: dict[str, list[tuple[int, int]]] = {person.ref: [] for person in problem.people}
        self.issued: dict[str, Issued] = {}
        self.plan: Plan | None = None
        self.sixtieths: int | Fraction = 0
        self.moves = self.late_moves = self.in_vain = 0

    # --- the truth -------------------------------------------------------------------------------

    def _length(self, kiln: Kiln, index: int) -> int:
        charge = kiln.charges[index]
        real = charge.length_min - charge.drying_min + self.true_drying[kiln.tag][index]
        return real + self.stretch.get((kiln.tag, index), 0)

    def _ended(self, kiln: Kiln, index: int) -> int:
        return self.began[kiln.tag][index] + self._length(kiln, index)

    def _begin(self, kiln: Kiln, until: int) -> None:
        """Let charges begin up to a minute: when planned, when the one before is out, when the kiln is free."""
        began = self.began[kiln.tag]
        while len(began) < len(kiln.charges) - 1:
            index = len(began)
            start = kiln.charges[index].start_min
            if index:
                start = max(start, self._ended(kiln, index - 1))
            if start > 0:
                start = max(start, self.held[kiln.tag], self._planned_start(kiln, index))
            if start >= until:
                return
            began.append(start)

    def _planned_start(self, kiln: Kiln, index: int) -> int:
        """The last plan may hold a charge back for a stop before it."""
        if self.plan is None:
            return 0
        stops = [one for one in self.plan.stops if one.kiln == kiln.tag and one.before_charge == index]
        return max((one.end_min for one in stops), default=0)

    # --- the problem of a day ----------------------------------------------------------------------

    def problem_at(self, now: int) -> Problem:
        """Make the problem of the time that is left, in minutes from now."""
        whole = self.problem
        for kiln in whole.kilns:
            self._begin(kiln, now + 1)
        jobs = tuple(self._job_at(job, now) for job in whole.jobs if job.ref not in self.done)
        refs = {job.ref for job in jobs}
        return replace(
            whole,
            horizon_min=whole.horizon_min - now,
            kilns=tuple(self._kiln_at(kiln, now) for kiln in whole.kilns),
            people=tuple(self._person_at(person, now) for person in whole.people),
            shifts=tuple(
                replace(
                    one,
                    start_min=one.start_min - now,
                    end_min=one.end_min - now,
                    overtime_end_min=one.overtime_end_min - now,
                )
                for one in whole.shifts
                if one.start_min >= now
            ),
            jobs=jobs,
            issued={
                ref: Issued(one.start_min - now, one.people)
                for ref, one in self.issued.items()
                if ref in refs and one.start_min >= now
            },
            move_cents=self.habit.move_cents,
            pinned=frozenset(),
        )

    def _job_at(self, job: Job, now: int) -> Job:
        earliest = job.earliest_min - now
        for ref, lag in job.after:
            if ref in self.done:
                earliest = max(earliest, self.done[ref] + lag - now)
        latest = job.latest_min - now
        return replace(
            job,
            earliest_min=max(0, earliest),
            parts_min=job.parts_min - now,
            due_min=job.due_min - now,
            latest_min=latest,
            # A safety date that luck has made impossible is past arguing: it stays as dear as it was.
            safety=job.safety and latest > WEEK_MIN,
            after=tuple((ref, lag) for ref, lag in job.after if ref not in self.done),
        )

    def _person_at(self, person: Person, now: int) -> Person:
        spans = [*person.away, *self.taken[person.ref]]
        return replace(person, away=tuple((start - now, end - now) for start, end in spans if end > now))

    def _kiln_at(self, kiln: Kiln, now: int) -> Kiln:
        began = self.began[kiln.tag]
        charges: list[Charge] = []
        free = max(1, self.held[kiln.tag] - now)
        if began and self._ended(kiln, len(began) - 1) > now:
            charges.append(self._under_way(kiln, len(began) - 1, now))
            free = max(free, charges[0].start_min + charges[0].length_min)
        for charge in kiln.charges[len(began) :]:
            start = max(free, charge.start_min - now)
            charges.append(replace(charge, start_min=start))
            free = start + charge.length_min
        return replace(kiln, charges=tuple(charges))

    def _under_way(self, kiln: Kiln, index: int, now: int) -> Charge:
        """A charge under way, with its end as it is predicted now, and a buffer where that is near."""
        charge, began = kiln.charges[index], self.began[kiln.tag][index]
        truth = self._length(kiln, index)
        share = (now - began) / truth
        error = (charge.drying_min - self.true_drying[kiln.tag][index]) * (1 - share)
        predicted = max(now - began + 1, round(truth + error))
        if self.habit.has_buffer and began + predicted - now < FIXED_AHEAD_MIN:
            deviation = self.spread * charge.drying_min * (1 - share)
            buffer = buffer_that_pays(kiln.drying_cents_per_hour, 1, self.wage, deviation)
            predicted = max(now - began + 1, round(predicted + buffer))
        others = charge.length_min - charge.drying_min
        return replace(charge, start_min=began - now, drying_min=max(0, predicted - others))

    # --- a day -------------------------------------------------------------------------------------

    def adopt(self, plan: Plan, now: int) -> None:
        """Take a new plan, in minutes of the whole, and count what moved."""
        offset = {kiln.tag: len(kiln.charges) - len(plan.charge_starts[kiln.tag]) for kiln in self.problem.kilns}
        stops = tuple(
            replace(
                stop,
                before_charge=None if stop.before_charge is None else stop.before_charge + offset[stop.kiln],
                in_charge=None if stop.in_charge is None else stop.in_charge + offset[stop.kiln],
                set_up_start_min=stop.set_up_start_min + now,
                end_min=stop.end_min + now,
            )
            for stop in plan.stops
        )
        jobs = {
            ref: replace(
                at,
                start_min=at.start_min + now,
                charge=None if at.charge is None else at.charge + offset[self.jobs[ref].kiln],
            )
            for ref, at in plan.jobs.items()
        }
        for ref, issued in self.issued.items():
            if ref in self.done or issued.start_min < now:
                continue
            at = jobs.get(ref)
            if at is None or at.start_min != issued.start_min or {one for one, _ in at.crew} != issued.people:
                self.moves += 1
                self.late_moves += issued.start_min < now + FIXED_AHEAD_MIN
        self.issued = {
            ref: Issued(at.start_min, frozenset(person for person, _ in at.crew)) for ref, at in jobs.items()
        }
        self.plan = replace(plan, stops=stops, jobs=jobs)

    def live(self, now: int) -> None:
        """Do what the plan has for the day."""
        plan, until = self.plan, now + DAY_MIN
        if plan is None:
            return
        for index, stop in enumerate(plan.stops):
            if now <= stop.set_up_start_min < until:
                self._live_stop(index, stop, plan)
        for ref, at in plan.jobs.items():
            job = self.jobs[ref]
            if ref in self.done or not now <= at.start_min < until or job.needs_state in LOCKED_OUT:
                continue
            if any(one not in self.done for one, _ in job.after):
                continue
            if job.needs_state == "any" or self._is_running(job, at.start_min, at.charge, until):
                self._do(ref)
            else:
                self._in_vain(job)
        for kiln in self.problem.kilns:
            self._begin(kiln, until)

    def _live_stop(self, index: int, stop: Stop, plan: Plan) -> None:
        """Carry a stop through, on later days too, if the kiln is as far as it was thought to be."""
        kiln = next(one for one in self.problem.kilns if one.tag == stop.kiln)
        refs = [ref for ref, at in plan.jobs.items() if at.stop == index and ref not in self.done]
        self._begin(kiln, stop.set_up_start_min + 1)
        if not self._is_ready(kiln, stop):
            for ref in refs:
                self._in_vain(self.jobs[ref])
            return
        self.sixtieths += kiln.set_up_cents * SIXTIETHS
        if stop.in_charge is not None:
            self.sixtieths += kiln.interruption_cents * SIXTIETHS
            self.stretch[kiln.tag, stop.in_charge] = stop.end_min - stop.set_up_start_min + kiln.reheat_min
        else:
            self.held[kiln.tag] = max(self.held[kiln.tag], stop.end_min)
        self.taken[stop.person].append((stop.set_up_start_min, stop.set_up_start_min + kiln.set_up_min))
        self._pay_overtime(stop.shift, stop.set_up_start_min + kiln.set_up_min, 1)
        for ref in refs:
            if all(one in self.done for one, _ in self.jobs[ref].after):
                self._do(ref)

    def _is_ready(self, kiln: Kiln, stop: Stop) -> bool:
        began = self.began[kiln.tag]
        if stop.in_charge is not None:
            if len(began) != stop.in_charge + 1 or (kiln.tag, stop.in_charge) in self.stretch:
                return False
            charge = kiln.charges[stop.in_charge]
            dries = began[-1] + charge.loading_min + charge.heating_up_min
            return dries <= stop.set_up_start_min <= dries + self.true_drying[kiln.tag][stop.in_charge]
        return len(began) == stop.before_charge and (
            not began or self._ended(kiln, len(began) - 1) <= stop.set_up_start_min
        )

    def _is_running(self, job: Job, start: int, charge: int | None, until: int) -> bool:
        kiln = next(one for one in self.problem.kilns if one.tag == job.kiln)
        self._begin(kiln, until)
        began = self.began[kiln.tag]
        if charge is None or charge >= len(began):
            return False
        of = kiln.charges[charge]
        cools = self._ended(kiln, charge) - of.cooling_min - of.unloading_min
        return began[charge] + of.loading_min <= start and start + job.duration_min <= cools

    def _do(self, ref: str) -> None:
        assert self.plan is not None
        job, at = self.jobs[ref], self.plan.jobs[ref]
        end = at.start_min + job.duration_min
        self.done[ref] = end
        for person, _ in at.crew:
            self.taken[person].append((at.start_min, end))
        self.sixtieths += max(0, end - job.due_min) * job.delay_cents_per_hour
        self.sixtieths += max(0, end - job.latest_min) * job.late_cents_per_hour
        self._pay_overtime(at.shift, end, len(at.crew))

    def _pay_overtime(self, shift: str, end: int, people: int) -> None:
        of = next(one for one in self.problem.shifts if one.ref == shift)
        self.sixtieths += max(0, end - of.end_min) * people * self.problem.overtime_cents_per_person_hour

    def _in_vain(self, job: Job) -> None:
        self.in_vain += 1
        self.sixtieths += job.duration_min * job.crew_size * self.wage

    def course(self) -> Course:
        """Sum up; a job that was never done costs what leaving it out costs."""
        left = [job for job in self.problem.jobs if job.ref not in self.done]
        for kiln in self.problem.kilns:
            self._begin(kiln, 10**9)
            last = len(kiln.charges) - 1
            ended = self._ended(kiln, last - 1) if last else 0
            late = max(0, ended - kiln.charges[last].start_min, self.held[kiln.tag] - kiln.charges[last].start_min)
            self.sixtieths += late * kiln.drying_cents_per_hour
        cents = round(Fraction(self.sixtieths, SIXTIETHS)) + sum(job.leave_out_cents for job in left)
        return Course(self.habit, cents, self.moves, self.late_moves, self.in_vain, len(left))
