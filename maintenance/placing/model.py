"""Some kilns with their jobs as a model for CP-SAT; all other kilns hold their people meanwhile.

With the people of nobody held, the optimum of a part is a lower bound of what that part costs in any plan.

One literal says that a job is in this place and this shift; from those literals come linear bounds on start, delay
and overtime, without which there would be no proof to speak of. Charges start at variables; what a stop pushes is
paid for at the sentinel. Options that alone cost more than the part may cost at all are left out from the start.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil
from typing import Any

from .frame import ANYWHERE, FAR, HOURLY, MOST_LOST, PARTS, Frame, joined
from .kilns_model import Kilns
from .places import index_of, is_in_charge, is_opening
from .possible import Option
from .problem import LOCKED_OUT
from .state import Crew, JobAt, StopAt, Stops, rounded
from .tasks import Found, Task

#: Parts of the cost that are rounded; all others are whole cents.
ROUNDED = ("drying", "delay", "overtime", "later", "margin")
#: Up to here every whole number is a double of its own.
EXACT = 2**53
Tell = Callable[[dict[int, JobAt] | None, dict[int, Stops] | None, int | None], None]


@dataclass
class _JobVars:
    """The variables of a job."""

    present: Any
    start: Any
    options: dict[Option, Any]
    at_place: dict[int, Any]
    crew: dict[tuple[int, str], Any]


class Part(Kilns):
    """Builds and solves the model of one task."""

    def __init__(self, frame: Frame, task: Task) -> None:
        super().__init__(frame, task)
        self.job_vars: dict[int, _JobVars] = {}
        self.unmoved: dict[int, Any] = {}
        for job in self.jobs:
            self._add_job(job)
        for kiln in task.kilns:
            self._add_inside(kiln)
        self._add_orders()
        self._add_people()
        self._add_objective()

    def _add_objective(self) -> None:
        """Minimise the sum of what the kilns cost; what each costs at least is known from solving it apart."""
        terms = []
        for kiln in self.task.kilns:
            price = sum(variable * weight for variable, weight, _ in self.costs[kiln]) + self.fixed[kiln]
            floor = self.task.floors.get(kiln, 0)
            if floor > 0 and len(self.task.kilns) > 1:
                self.model.add(price >= floor)
            terms.append(price)
        if self.task.parts_cents is None:
            self.model.minimize(sum(terms))
            return
        # Of the whole, the parts are rounded half up as the plan states them: R is the least with 1440 R >= X - 719.
        costs = [one for kiln in self.task.kilns for one in self.costs[kiln]]
        total = sum(variable * weight for variable, weight, part in costs if not part)
        total = total + sum(self.fixed.values()) - sum(self.fixed_parts.values())
        for part, cents in zip(ROUNDED, self.task.parts_cents, strict=True):
            exact = sum(variable * weight for variable, weight, one in costs if one == part)
            exact = exact + self.fixed_parts[part]
            if isinstance(exact, int):
                total = total + PARTS * rounded(exact)
                continue
            whole = self._int(0, FAR * FAR // PARTS // len(ROUNDED), cents)
            self.model.add(PARTS * whole >= exact - MOST_LOST)
            total = total + PARTS * whole
        self.model.minimize(total)

    # --- small helpers ---------------------------------------------------------------------------

    def _add_job(self, job: int) -> None:
        frame, model = self.frame, self.model
        of, at = frame.jobs[job], self.task.at.get(job)
        options = self.possible[job]
        if not options:
            # Where it must be placed the part is impossible: an empty clause says so.
            present = 1 if job in frame.must else 0
            if present:
                model.add_bool_or([])
            self.fixed[frame.kiln_of[job]] += frame.leave_out_price(job)
            self.job_vars[job] = _JobVars(0, 0, {}, {}, {})
            return
        present = 1 if job in frame.must else self._bool(at is not None)
        earliest = min(0, *(one.low for one in options)) if job not in frame.must else min(one.low for one in options)
        latest = max(0, *(one.high for one in options)) if job not in frame.must else max(one.high for one in options)
        start = self._int(earliest, latest, at.start_min if at is not None else 0)
        literals = {one: self._bool(at is not None and one.takes(at)) for one in options}
        model.add(sum(literals.values()) == present)
        model.add(start >= sum(one.low * literal for one, literal in literals.items()))
        model.add(start <= sum(one.high * literal for one, literal in literals.items()))
        places: dict[int, Any] = {}
        for place in {one.place for one in options}:
            there = [literal for one, literal in literals.items() if one.place == place]
            if place != ANYWHERE:
                places[place] = self._bool(at is not None and at.place == place)
                model.add(sum(there) == places[place])
        variables = _JobVars(present, start, literals, places, {})
        self.job_vars[job] = variables
        self._add_prices(job, variables)
        self._add_crew(job, variables)
        for place, literal in places.items():
            if of.needs_state == "running":
                self._add_running(job, place, literal, variables)
            else:
                self._add_stopped(job, place, literal, variables)
        self._add_margin(job, variables)

    def _add_prices(self, job: int, variables: _JobVars) -> None:
        frame, at = self.frame, self.task.at.get(job)
        of, present, start = frame.jobs[job], variables.present, variables.start
        if job not in frame.must:
            self.costs[frame.kiln_of[job]].append((present, -of.leave_out_cents * PARTS, ""))
            self.fixed[frame.kiln_of[job]] += of.leave_out_cents * PARTS
        end_min = None if at is None else at.start_min + of.duration_min
        late = of.late_cents_per_hour * HOURLY
        for date_min, price in ((of.due_min, of.delay_parts_per_min), (of.latest_min, late)):
            self._add_excess(
                job,
                "delay",
                variables,
                price,
                dict.fromkeys(variables.options, date_min),
                start + (of.duration_min - date_min) * present,
                of.duration_min,
                None if end_min is None else max(0, end_min - date_min),
            )
        shifts = frame.shifts
        ends = sum(shifts[one.shift].end_min * literal for one, literal in variables.options.items())
        self._add_excess(
            job,
            "overtime",
            variables,
            frame.problem.overtime_cents_per_person_hour * HOURLY * of.crew_size,
            {one: shifts[one.shift].end_min for one in variables.options},
            start + of.duration_min * present - ends,
            of.duration_min,
            None if at is None or end_min is None else max(0, end_min - shifts[at.shift].end_min),
        )
        self._add_move(job, variables)

    def _add_excess(
        self,
        job: int,
        part: str,
        variables: _JobVars,
        price: int,
        limit: dict[Option, int],
        excess: Any,
        duration_min: int,
        hint: int | None,
    ) -> None:
        """Let minutes beyond a limit cost; each option says how many there are at least and at most."""
        most = max((one.high + duration_min - limit[one] for one in variables.options), default=0)
        if most <= 0 or not price:
            return
        least = {one: max(0, one.low + duration_min - limit[one]) for one in variables.options}
        minutes = self._int(0, most, hint or 0)
        self.model.add(minutes >= excess)
        if any(least.values()):
            self.model.add(minutes >= sum(least[one] * literal for one, literal in variables.options.items()))
        self.costs[self.frame.kiln_of[job]].append((minutes, price, part))

    def _add_move(self, job: int, variables: _JobVars) -> None:
        frame = self.frame
        if job not in frame.issued or not frame.problem.move_cents:
            return
        price = frame.problem.move_cents * PARTS
        self.fixed[frame.kiln_of[job]] += price
        issued, at = frame.issued[job], self.task.at.get(job)
        if len(frame.issued_people[job]) != frame.jobs[job].crew_size:
            return
        stays = at is not None and frame.move_price(job, at.start_min, {person for person, _ in at.crew}) == 0
        kept = self._bool(stays)
        self.costs[frame.kiln_of[job]].append((kept, -price, ""))
        self.model.add(variables.start == issued.start_min).only_enforce_if(kept)
        self.model.add(variables.present >= kept)
        self.unmoved[job] = kept

    def _add_crew(self, job: int, variables: _JobVars) -> None:
        frame, model, at = self.frame, self.model, self.task.at.get(job)
        duration_min = frame.jobs[job].duration_min
        shifts_of: dict[int, list[Any]] = defaultdict(list)
        window = (min(one.low for one in variables.options), max(one.high for one in variables.options) + duration_min)
        fixed = None if job in self.task.free or at is None else {person for person, _ in at.crew}
        for one, literal in variables.options.items():
            for person in frame.shift_people[one.shift]:
                if self.options.has_gap(person, one.low, one.high + duration_min, duration_min):
                    shifts_of[person].append(literal)
        now = set() if at is None else set(at.crew)
        by_person: dict[int, list[Any]] = defaultdict(list)
        for skill, count in frame.crew_of[job]:
            able = [person for person in shifts_of if skill in frame.people[person].skills]
            if fixed is not None:
                able = [person for person in able if (person, skill) in now]
            if job in frame.pinned:
                able = [person for person in able if person in frame.issued_people[job]]
            chosen = {person: self._bool((person, skill) in now) for person in able}
            model.add(sum(chosen.values()) == count * variables.present)
            for person, literal in chosen.items():
                variables.crew[person, skill] = literal
                by_person[person].append(literal)
        kept = self.unmoved.get(job)
        for person, literals in by_person.items():
            literal = literals[0]
            if len(literals) > 1:
                literal = self._bool(any(one == person for one, _ in now))
                model.add(sum(literals) == literal)
            if len(shifts_of[person]) < len(variables.options):
                model.add_bool_or([*shifts_of[person], ~literal])
            if duration_min:
                self._occupy(person, variables.start, duration_min, literal, window)
            if kept is not None and person in frame.issued_people[job]:
                model.add_implication(kept, literal)
        if kept is not None and not frame.issued_people[job] <= set(by_person):
            model.add(kept == 0)

    def _add_running(self, job: int, place: int, literal: Any, variables: _JobVars) -> None:
        frame, model, kiln, index = self.frame, self.model, self.frame.kiln_of[job], place // 2
        charge, of = frame.kilns[kiln].charges[index], frame.jobs[job]
        began = self.charge_starts[kiln][index]
        stretch = self.stretches.get((kiln, index), 0)
        end = variables.start + of.duration_min
        model.add(variables.start >= began + charge.loading_min).only_enforce_if(literal)
        to_cooling = charge.length_min - charge.cooling_min - charge.unloading_min
        model.add(end <= began + to_cooling + stretch).only_enforce_if(literal)
        stop = self.stop_vars.get((kiln, place))
        if not of.duration_min:
            return
        barred = [] if stop is None else [(stop.is_there, place, stop.set_up)]
        downs = frame.kilns[kiln].down
        barred += [(is_over, there, downs[index_of(there)].end_min) for is_over, there in self.over[kiln, index]]
        for is_so, there, from_min in barred:
            kept, at = self.task.stops.get(kiln, {}).get(there), self.task.at.get(job)
            ended_min = 0 if at is None else at.start_min + of.duration_min
            begin_min = from_min if isinstance(from_min, int) else 0 if kept is None else kept.set_up_start_min
            before = self._bool(kept is not None and at is not None and ended_min <= begin_min)
            reheated = self.stop_vars[kiln, there].end + frame.kilns[kiln].reheat_min
            model.add(end <= from_min).only_enforce_if([literal, is_so, before])
            model.add(variables.start >= reheated).only_enforce_if([literal, is_so, ~before])

    def _add_margin(self, job: int, variables: _JobVars) -> None:
        """Let minutes short of the margin of the charge that a job runs along with, or follows, cost."""
        frame, model, kiln, at = self.frame, self.model, self.frame.kiln_of[job], self.task.at.get(job)
        duration_min, timing = frame.jobs[job].duration_min, frame.timing[kiln]
        prices = {place: frame.margin_price(job, place) for place in variables.at_place}
        price = max(prices.values(), default=0)
        if not price:
            return
        shortest, least = 0, {}
        for one in variables.options:
            if prices.get(one.place):
                index = (one.place - 1) // 2
                charge, planned = timing.charges[index], timing.planned_cooled(index)
                if is_in_charge(one.place):
                    shortest = max(shortest, one.high + duration_min + charge.cooling_min + charge.margin_min - planned)
                else:
                    latest_out = frame.latest_start[kiln][index + 1]
                    shortest = max(shortest, latest_out + charge.margin_min - one.low)
                    least[one] = max(0, planned + charge.unloading_min + charge.margin_min - one.high)
        if shortest <= 0:
            return
        hint = 0
        if at is not None and prices.get(at.place) and self.courses[kiln]:
            course, charge = self.courses[kiln][(at.place - 1) // 2], timing.charges[(at.place - 1) // 2]
            if is_in_charge(at.place):
                hint = at.start_min + duration_min + charge.cooling_min + charge.margin_min - course.cooled_min
            else:
                hint = course.end_min + charge.margin_min - at.start_min
        short = self._int(0, shortest, max(0, hint))
        self.costs[kiln].append((short, price, "margin"))
        for place, literal in variables.at_place.items():
            if not prices[place]:
                continue
            index = (place - 1) // 2
            charge = timing.charges[index]
            if is_in_charge(place):
                end = variables.start + duration_min
                needed = end + charge.cooling_min + charge.margin_min - self.cooled[kiln, index]
            else:
                needed = self.ended[kiln, index] + charge.margin_min - variables.start
            model.add(short >= needed).only_enforce_if(literal)
        if any(least.values()):
            model.add(short >= sum(minutes * variables.options[one] for one, minutes in least.items()))

    def _add_stopped(self, job: int, place: int, literal: Any, variables: _JobVars) -> None:
        frame, model, kiln, index = self.frame, self.model, self.frame.kiln_of[job], place // 2
        of, duration_min = frame.kilns[kiln], frame.jobs[job].duration_min
        stop = self.stop_vars.get((kiln, place))
        if stop is None:
            model.add(literal == 0)
            return
        model.add_implication(literal, stop.is_there)
        set_up_min = frame.set_up_min(kiln, place)
        model.add(variables.start >= stop.set_up + set_up_min).only_enforce_if(literal)
        model.add(variables.start + duration_min + of.restore_min <= stop.end).only_enforce_if(literal)
        if not is_opening(place):
            return
        # The charge after the opening waits at least for the earliest end of the job, shift by shift.
        began, planned = self.charge_starts[kiln][index], of.charges[index].start_min
        waits = {
            one: one.low + duration_min + of.restore_min - planned
            for one in variables.options
            if one.place == place and one.low + duration_min + of.restore_min > planned
        }
        if waits and not isinstance(began, int):
            model.add(began >= planned + sum(wait * variables.options[one] for one, wait in waits.items()))
        if index:
            ended = self.ended[kiln, index - 1]
            model.add(began >= ended + (set_up_min + duration_min + of.restore_min) * literal)

    # --- rules across jobs -----------------------------------------------------------------------

    def _add_inside(self, kiln: int) -> None:
        frame = self.frame
        limit = frame.kilns[kiln].max_people_inside
        jobs = [
            job
            for job in frame.jobs_of[kiln]
            if frame.jobs[job].needs_state in LOCKED_OUT
            and frame.jobs[job].duration_min
            and self.job_vars.get(job)
            and self.job_vars[job].options
        ]
        there = frame.inside[kiln]
        if not jobs or sum(frame.jobs[job].crew_size for job in jobs) + sum(count for *_, count in there) <= limit:
            return
        intervals = [
            self.model.new_optional_fixed_size_interval_var(
                self.job_vars[job].start, frame.jobs[job].duration_min, self.job_vars[job].present, ""
            )
            for job in jobs
        ]
        counts = [frame.jobs[job].crew_size for job in jobs] + [count for *_, count in there]
        intervals += [self.model.new_fixed_size_interval_var(start, end - start, "") for start, end, _ in there]
        self.model.add_cumulative(intervals, counts, limit)

    def _add_orders(self) -> None:
        """Jobs of settled kilns stand still, those of others are not waited for."""
        frame, model = self.frame, self.model
        for job in self.jobs:
            follower = self.job_vars[job]
            for before, lag_min in frame.after[job]:
                duration_min = frame.jobs[before].duration_min
                if before in self.job_vars:
                    first = self.job_vars[before]
                    model.add(follower.present <= first.present)
                    if first.options and follower.options:
                        gap = first.start + duration_min + lag_min
                        self._if(model.add(follower.start >= gap), follower.present)
                elif frame.kiln_of[before] not in self.task.settled:
                    continue
                elif before in self.task.at:
                    gap_min = self.task.at[before].start_min + duration_min + lag_min
                    if follower.options:
                        self._if(model.add(follower.start >= gap_min), follower.present)
                else:
                    model.add(follower.present == 0)
            for later in frame.followers[job]:
                if later not in self.job_vars and later in self.task.at and frame.kiln_of[later] in self.task.settled:
                    lag_min = max(lag for before, lag in frame.after[later] if before == job)
                    model.add(follower.present == 1)
                    model.add(follower.start + frame.jobs[job].duration_min + lag_min <= self.task.at[later].start_min)

    def _if(self, constraint: Any, literal: Any) -> None:
        if not isinstance(literal, int):
            constraint.only_enforce_if(literal)

    def _add_people(self) -> None:
        for person, intervals in self.intervals.items():
            windows = joined(self.windows[person])
            held = [
                self.model.new_fixed_size_interval_var(start, end - start, "")
                for start, end in self.task.busy[person]
                if any(max(start, low) < min(end, high) for low, high in windows)
            ]
            if len(intervals) + len(held) > 1:
                self.model.add_no_overlap(intervals + held)

    # --- solving ---------------------------------------------------------------------------------

    def solve(
        self,
        seconds: float,
        effort: float = 1e9,
        seed: int = 0,
        is_whole: bool = False,
        workers: int = 1,
        tell: Tell | None = None,
    ) -> Found:
        """Solve the part within wall time and effort (the solver's own measure, about seconds of a core).

        `tell` hears of better plans and bounds meanwhile.
        """
        cp_model = self.cp_model
        if self.has_plan:
            for variable, value in self.hints:
                self.model.add_hint(variable, value)
        solver = cp_model.CpSolver()
        parameters = solver.parameters
        parameters.max_time_in_seconds = max(0.01, seconds)
        parameters.max_deterministic_time = effort
        parameters.num_workers = workers
        parameters.random_seed = seed
        parameters.linearization_level = 2
        parameters.symmetry_level = 0
        if not is_whole:
            # Small solves are ruled by presolve.
            parameters.cp_model_probing_level = 0
            parameters.max_presolve_iterations = 1
        watch = None if tell is None else self._watch(solver, tell)
        status = solver.solve(self.model, watch)
        if status == cp_model.INFEASIBLE:
            return Found(None, {}, None, 0, is_proven=True, is_impossible=True)
        bound = _whole_up(solver.best_objective_bound) if status != cp_model.MODEL_INVALID else 0
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Found(None, {}, None, max(0, bound), is_proven=False)
        at, stops = self.read(solver.value)
        price = round(solver.objective_value)
        is_proven = status == cp_model.OPTIMAL
        return Found(at, stops, price, price if is_proven else min(max(0, bound), price), is_proven)

    def _watch(self, solver: Any, tell: Tell) -> Any:
        part = self

        class Watch(self.cp_model.CpSolverSolutionCallback):  # type: ignore[misc,name-defined]
            def on_solution_callback(self) -> None:
                tell(*part.read(self.value), None)

        solver.best_bound_callback = lambda bound: tell(None, None, _whole_up(bound))
        return Watch()

    def read(self, value: Callable[[Any], int]) -> tuple[dict[int, JobAt], dict[int, Stops]]:
        """Take the plan of the part from a solution."""
        at: dict[int, JobAt] = {}
        for job, variables in self.job_vars.items():
            for option, literal in variables.options.items():
                if value(literal):
                    crew: Crew = tuple(pair for pair, chosen in variables.crew.items() if value(chosen))
                    at[job] = JobAt(option.place, option.shift, value(variables.start), crew)
        stops: dict[int, Stops] = {kiln: {} for kiln in self.task.kilns}
        for (kiln, place), stop in self.stop_vars.items():
            if value(stop.is_there):
                stops[kiln][place] = StopAt(
                    value(stop.set_up),
                    value(stop.end),
                    next(shift for shift, literal in stop.shifts.items() if value(literal)),
                    next(person for person, literal in stop.people.items() if value(literal)),
                )
        return at, stops


def _whole_up(bound: float) -> int:
    """Take the whole number that a bound is: all prices are whole, and doubles are exact so far."""
    return ceil(bound - 0.01) if abs(bound) < EXACT else 0
