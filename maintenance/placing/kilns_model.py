"""The kilns of a part as a model for CP-SAT: their charges, which start at variables, and the stops that may be."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from .frame import HOURLY, PARTS, Frame
from .possible import Possible
from .problem import LOCKED_OUT
from .tasks import Task


@dataclass
class StopVars:
    """The variables of a stop that may be."""

    is_there: Any
    set_up: Any
    end: Any
    shifts: dict[int, Any]
    people: dict[int, Any]


class Kilns:
    """Variables, prices and rules of the kilns of a task; what jobs need of them is added by who knows the jobs."""

    def __init__(self, frame: Frame, task: Task) -> None:
        # The solver takes half a second to load and is not needed to show a page.
        from ortools.sat.python import cp_model

        self.cp_model = cp_model
        self.frame, self.task = frame, task
        self.model = cp_model.CpModel()
        self.hints: list[tuple[Any, int]] = []
        self.has_plan = task.price is not None
        self.jobs = [job for kiln in task.kilns for job in frame.jobs_of[kiln] if task.only is None or job in task.only]
        self.costs: dict[int, list[tuple[Any, int, str]]] = {kiln: [] for kiln in task.kilns}
        self.fixed: dict[int, int] = dict.fromkeys(task.kilns, 0)
        self.fixed_drying = 0
        self.intervals: dict[int, list[Any]] = defaultdict(list)
        self.windows: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.charge_starts: dict[int, list[Any]] = {}
        self.stop_vars: dict[tuple[int, int], StopVars] = {}
        self.stretches: dict[tuple[int, int], Any] = {}
        self.options = Possible(frame, task, self.jobs)
        self.possible = self.options.of_job
        for kiln in task.kilns:
            self._add_kiln(kiln)

    def _int(self, low: int, high: int, hint: int) -> Any:
        variable = self.model.new_int_var(low, high, "")
        self.hints.append((variable, hint))
        return variable

    def _bool(self, hint: bool) -> Any:
        variable = self.model.new_bool_var("")
        self.hints.append((variable, int(hint)))
        return variable

    # --- kilns -----------------------------------------------------------------------------------

    def _add_kiln(self, kiln: int) -> None:
        frame, model = self.frame, self.model
        of, latest = frame.kilns[kiln], frame.latest_start[kiln]
        hints = self.task.starts.get(kiln, [charge.start_min for charge in of.charges])
        starts = [
            self._int(charge.start_min, latest[index], hints[index])
            if charge.start_min < latest[index]
            else charge.start_min
            for index, charge in enumerate(of.charges)
        ]
        self.charge_starts[kiln] = starts
        wanted = {option.place for job in frame.jobs_of[kiln] for option in self.possible.get(job, ())}
        stopped = {
            option.place
            for job in frame.jobs_of[kiln]
            if frame.jobs[job].needs_state in LOCKED_OUT
            for option in self.possible.get(job, ())
        }
        ended: Any = None
        for index, charge in enumerate(of.charges):
            if 2 * index in stopped:
                self._add_opening(kiln, index, ended)
            elif ended is not None and not (isinstance(ended, int) and ended <= charge.start_min):
                model.add(starts[index] >= ended)
            if index == len(of.charges) - 1:
                break
            ended = starts[index] + charge.length_min
            if 2 * index + 1 in wanted and self._may_interrupt(kiln, index):
                self._add_interruption(kiln, index)
                ended = ended + self.stretches[kiln, index]
        if of.drying_cents_per_hour:
            self.costs[kiln].append((starts[-1], of.drying_cents_per_hour * HOURLY, "drying"))
            self.fixed[kiln] -= of.charges[-1].start_min * of.drying_cents_per_hour * HOURLY
            self.fixed_drying -= of.charges[-1].start_min * of.drying_cents_per_hour * HOURLY

    def _may_interrupt(self, kiln: int, index: int) -> bool:
        of = self.frame.kilns[kiln]
        if 2 * index + 1 in self.task.stops.get(kiln, {}):
            return True
        return (of.interruption_cents + of.set_up_cents) * PARTS <= self.options.spare[kiln]

    def _add_opening(self, kiln: int, index: int, ended: Any) -> None:
        frame, model = self.frame, self.model
        of, starts = frame.kilns[kiln], self.charge_starts[kiln]
        low, set_up_min = frame.set_up_from(kiln, 2 * index), frame.set_up_min(kiln, 2 * index)
        high = frame.latest_start[kiln][index] - set_up_min - of.restore_min
        stop = self._add_stop(kiln, 2 * index, low, high, frame.latest_start[kiln][index])
        if stop is None:
            if ended is not None:
                model.add(starts[index] >= ended)
            return
        if ended is not None:
            model.add(starts[index] >= ended + stop.is_there * (set_up_min + of.restore_min))
            if not frame.is_locked_out(kiln, 2 * index):
                model.add(stop.set_up >= ended).only_enforce_if(stop.is_there)
        model.add(stop.end <= starts[index]).only_enforce_if(stop.is_there)

    def _add_interruption(self, kiln: int, index: int) -> None:
        frame, model = self.frame, self.model
        of, charge, start = frame.kilns[kiln], frame.kilns[kiln].charges[index], self.charge_starts[kiln][index]
        until_drying = charge.loading_min + charge.heating_up_min
        rest_min = charge.conditioning_min + charge.cooling_min + charge.unloading_min + of.reheat_min
        latest_end = frame.latest_start[kiln][index + 1] - rest_min
        high = min(
            frame.latest_start[kiln][index] + until_drying + charge.drying_min,
            latest_end - of.set_up_min - of.restore_min,
        )
        low = max(0, charge.start_min + until_drying)
        stop = self._add_stop(kiln, 2 * index + 1, low, high, latest_end)
        if stop is None:
            self.stretches[kiln, index] = 0
            return
        kept = self.task.stops.get(kiln, {}).get(2 * index + 1)
        hint = 0 if kept is None else kept.end_min - kept.set_up_start_min + of.reheat_min
        stretch = self._int(0, latest_end - low + of.reheat_min, hint)
        self.stretches[kiln, index] = stretch
        model.add(stop.set_up >= start + until_drying).only_enforce_if(stop.is_there)
        model.add(stop.set_up <= start + until_drying + charge.drying_min).only_enforce_if(stop.is_there)
        model.add(stretch == stop.end - stop.set_up + of.reheat_min).only_enforce_if(stop.is_there)
        model.add(stretch == 0).only_enforce_if(~stop.is_there)

    def _add_stop(self, kiln: int, place: int, low: int, high: int, latest_end: int) -> StopVars | None:
        """Add a stop that may be; None where nobody could set it up, so that it cannot be."""
        frame, model, task = self.frame, self.model, self.task
        of = frame.kilns[kiln]
        if frame.is_locked_out(kiln, place):
            return self._add_lock_out_under_way(kiln, place, low, latest_end)
        spans: dict[int, tuple[int, int]] = {}
        people: dict[int, list[int]] = {}
        for number, shift in enumerate(frame.shifts):
            begin = max(low, shift.start_min)
            last = min(high, shift.end_min - 1, shift.overtime_end_min - of.set_up_min)
            if begin <= last:
                able = [
                    one
                    for one in frame.can_lock_out[number]
                    if self.options.has_gap(one, begin, last + of.set_up_min, of.set_up_min)
                ]
                if able:
                    spans[number], people[number] = (begin, last), able
        if not spans:
            for job in frame.jobs_of[kiln]:
                if frame.jobs[job].needs_state in LOCKED_OUT:
                    self.possible[job] = [one for one in self.possible.get(job, ()) if one.place != place]
            return None
        kept = task.stops.get(kiln, {}).get(place)
        first = min(begin for begin, _ in spans.values())
        last = max(until for _, until in spans.values())
        set_up = self._int(first, last, first if kept is None else kept.set_up_start_min)
        end = self._int(first, latest_end, first if kept is None else kept.end_min)
        stop = StopVars(self._bool(kept is not None), set_up, end, {}, {})
        for number, (begin, until) in spans.items():
            literal = self._bool(kept is not None and kept.shift == number)
            stop.shifts[number] = literal
            model.add(set_up >= begin).only_enforce_if(literal)
            model.add(set_up <= until).only_enforce_if(literal)
            over_min = until + of.set_up_min - frame.shifts[number].end_min
            if over_min > 0 and frame.problem.overtime_cents_per_person_hour:
                used = 0
                if kept is not None and kept.shift == number:
                    used = max(0, kept.set_up_start_min + of.set_up_min - frame.shifts[number].end_min)
                overtime = self._int(0, over_min, used)
                model.add(overtime >= set_up + of.set_up_min - frame.shifts[number].end_min).only_enforce_if(literal)
                self.costs[kiln].append((overtime, frame.problem.overtime_cents_per_person_hour * HOURLY, "overtime"))
        for person in sorted({one for able in people.values() for one in able}):
            literal = self._bool(kept is not None and kept.person == person)
            stop.people[person] = literal
            model.add_bool_or([stop.shifts[n] for n, able in people.items() if person in able] + [~literal])
            if of.set_up_min:
                self._occupy(person, set_up, of.set_up_min, literal, (first, last + of.set_up_min))
        model.add(sum(stop.shifts.values()) == stop.is_there)
        model.add(sum(stop.people.values()) == stop.is_there)
        model.add(end >= set_up + of.set_up_min + of.restore_min).only_enforce_if(stop.is_there)
        cents = of.set_up_cents + (of.interruption_cents if place % 2 else 0)
        self.costs[kiln].append((stop.is_there, cents * PARTS, ""))
        self.stop_vars[kiln, place] = stop
        return stop

    def _add_lock_out_under_way(self, kiln: int, place: int, from_min: int, latest_end: int) -> StopVars | None:
        """Add the stop that a kiln is locked out for at minute 0; None where the charge leaves it no time."""
        of, kept = self.frame.kilns[kiln], self.task.stops.get(kiln, {}).get(place)
        if from_min + of.restore_min > latest_end:
            for job in self.frame.jobs_of[kiln]:
                self.possible[job] = [one for one in self.possible.get(job, ()) if one.place != place]
            return None
        end = self._int(
            from_min + of.restore_min, latest_end, from_min + of.restore_min if kept is None else kept.end_min
        )
        there = self._bool(kept is not None)
        person = self.frame.number_of_person[of.locked_out_by]
        stop = StopVars(there, from_min, end, {0: there}, {person: there})
        self.stop_vars[kiln, place] = stop
        return stop

    def _occupy(self, person: int, start: Any, length_min: int, literal: Any, window: tuple[int, int]) -> None:
        self.intervals[person].append(self.model.new_optional_fixed_size_interval_var(start, length_min, literal, ""))
        self.windows[person].append(window)

    # --- jobs ------------------------------------------------------------------------------------
