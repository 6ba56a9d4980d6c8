"""The kilns of a part as a model for CP-SAT: their charges, which start at variables, and the stops that may be."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from .frame import HOURLY, PARTS, Frame
from .places import down_place, index_of, is_down, is_in_charge, waiting_place
from .possible import Possible
from .problem import LOCKED_OUT
from .tasks import Task
from .timing import Course


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
        #: Of what is fixed, what belongs to a part of the cost that is rounded.
        self.fixed_parts: dict[str, int] = defaultdict(int)
        self.intervals: dict[int, list[Any]] = defaultdict(list)
        self.windows: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.charge_starts: dict[int, list[Any]] = {}
        self.stop_vars: dict[tuple[int, int], StopVars] = {}
        self.stretches: dict[tuple[int, int], Any] = {}
        #: When each charge has cooled and is out.
        self.cooled: dict[tuple[int, int], Any] = {}
        self.ended: dict[tuple[int, int], Any] = {}
        #: By kiln and charge, stops that last beyond a down time into it: whether they do, and the stop's place.
        self.over: dict[tuple[int, int], list[tuple[Any, int]]] = defaultdict(list)
        #: By kiln, charges that are to be out by a minute where something is so.
        self.befores: dict[int, list[tuple[int, int, Any]]] = defaultdict(list)
        self.spans: dict[tuple[int, int], tuple[int, int]] = {}
        self.courses: dict[int, list[Course]] = {}
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
        frame, model, timing = self.frame, self.model, self.frame.timing[kiln]
        of = frame.kilns[kiln]
        hints = self.task.starts.get(kiln, [charge.start_min for charge in of.charges])
        self.courses[kiln] = timing.follow(hints, self.task.stops.get(kiln, {}), {}) or []
        starts = [self._add_start(kiln, index, hints[index]) for index in range(len(of.charges))]
        self.charge_starts[kiln] = starts
        wanted = {option.place for job in frame.jobs_of[kiln] for option in self.possible.get(job, ())}
        stopped = {
            option.place
            for job in frame.jobs_of[kiln]
            if frame.jobs[job].needs_state in LOCKED_OUT
            for option in self.possible.get(job, ())
        }
        # A stop without a job may stretch a charge so that running work fits.
        may_stretch = any(is_in_charge(place) for place in wanted) and self._can_pay_interruption(kiln)
        for number, down in enumerate(of.down):
            if down_place(number) in stopped or (may_stretch and down.end_min > 0):
                self._add_down(kiln, number)
        ended: Any = None
        for index, charge in enumerate(of.charges):
            if 2 * index in stopped:
                self._add_opening(kiln, index, ended)
            elif ended is not None and not (isinstance(ended, int) and ended <= charge.start_min):
                model.add(starts[index] >= ended)
            if index == timing.last:
                break
            if 2 * index + 1 in wanted and self._may_interrupt(kiln, index):
                self._add_interruption(kiln, index)
            self._add_out(kiln, index)
            if waiting_place(index) in stopped:
                self._add_waiting(kiln, index)
            ended = self.ended[kiln, index]
            self._add_later(kiln, index)
            own = [self.stop_vars.get((kiln, place)) for place in (2 * index + 1, waiting_place(index))]
            if self.over[kiln, index] or None not in own:
                there = [stop.is_there for stop in own if stop is not None]
                model.add_at_most_one([*there, *(literal for literal, _ in self.over[kiln, index])])
        for index, minute, literal in self.befores.get(kiln, ()):
            model.add(self.ended[kiln, index] <= minute).only_enforce_if(literal)
        for number in range(len(of.down)):
            self._keep_apart(kiln, down_place(number))
        if of.drying_cents_per_hour:
            self.costs[kiln].append((starts[-1], of.drying_cents_per_hour * HOURLY, "drying"))
            self._add_fixed(kiln, -of.charges[-1].start_min * of.drying_cents_per_hour * HOURLY, "drying")

    def _add_fixed(self, kiln: int, price: int, part: str) -> None:
        self.fixed[kiln] += price
        self.fixed_parts[part] += price

    def _add_start(self, kiln: int, index: int, hint: int) -> Any:
        """Let a charge start when planned, or later in the hours in which the yard loads."""
        timing, low, high = self.frame.timing[kiln], *self._starts_between(kiln, index)
        if low >= high:
            return low
        if not timing.asks_to_load[index]:
            return self._int(low, high, hint)
        return self._one_of([(low, low), *self._hours(kiln, timing.charges[index].loading_min, low + 1, high)], hint)

    def _starts_between(self, kiln: int, index: int) -> tuple[int, int]:
        return self.frame.kilns[kiln].charges[index].start_min, self.frame.latest_start[kiln][index]

    def _hours(self, kiln: int, length_min: int, low: int, high: int) -> list[tuple[int, int]]:
        """Give when something so long can begin in the hours of the yard."""
        fits = zip(*self.frame.timing[kiln].fits(length_min), strict=True)
        clipped = [(max(first, low), min(last, high)) for first, last in fits]
        return [(first, last) for first, last in clipped if first <= last]

    def _one_of(self, spans: list[tuple[int, int]], hint: int) -> Any:
        variable = self.model.new_int_var_from_domain(self._domain(spans), "")
        self.hints.append((variable, hint))
        return variable

    def _domain(self, spans: list[tuple[int, int]]) -> Any:
        return self.cp_model.Domain.from_intervals([list(span) for span in spans])

    def _add_out(self, kiln: int, index: int) -> None:
        """Let a charge be out when it is unloaded, which begins once it has cooled, as planned or in the yard's hours.

        Sooner is never dearer, so that nothing but a stop that waits with it must say that it is the first minute.
        """
        timing, charge = self.frame.timing[kiln], self.frame.kilns[kiln].charges[index]
        cooled = self.charge_starts[kiln][index] + timing.to_cooled_min(index)
        cooled = cooled + self.stretches.get((kiln, index), 0)
        self.cooled[kiln, index] = cooled
        unload = cooled
        if timing.asks_to_unload[index] and not isinstance(cooled, int):
            planned = timing.planned_cooled(index)
            latest = self.frame.latest_start[kiln][index + 1] - charge.unloading_min
            hours = self._hours(kiln, charge.unloading_min, planned + 1, latest)
            hint = self.courses[kiln][index].unload_min if self.courses[kiln] else planned
            unload = self._one_of([(planned, planned), *hours], hint)
            self.model.add(unload >= cooled)
        self.ended[kiln, index] = unload + charge.unloading_min

    def _add_later(self, kiln: int, index: int) -> None:
        """Let each minute that a charge is out later than promised cost."""
        charge, ended = self.frame.kilns[kiln].charges[index], self.ended[kiln, index]
        price = charge.later_cents_per_hour * HOURLY
        most = self.frame.latest_start[kiln][index + 1] - charge.promised_min
        if isinstance(ended, int):
            self._add_fixed(kiln, max(0, ended - charge.promised_min) * price, "later")
        elif price and most > 0:
            hint = self.courses[kiln][index].end_min - charge.promised_min if self.courses[kiln] else 0
            late = self._int(0, most, max(0, hint))
            self.model.add(late >= ended - charge.promised_min)
            self.costs[kiln].append((late, price, "later"))

    def _may_interrupt(self, kiln: int, index: int) -> bool:
        if 2 * index + 1 in self.task.stops.get(kiln, {}):
            return True
        return self._can_pay_interruption(kiln)

    def _can_pay_interruption(self, kiln: int) -> bool:
        of = self.frame.kilns[kiln]
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
            return
        kept = self.task.stops.get(kiln, {}).get(2 * index + 1)
        hint = 0 if kept is None else kept.end_min - kept.set_up_start_min + of.reheat_min
        stretch = self._int(0, latest_end - low + of.reheat_min, hint)
        self.stretches[kiln, index] = self.stretches.get((kiln, index), 0) + stretch
        model.add(stop.set_up >= start + until_drying).only_enforce_if(stop.is_there)
        model.add(stop.set_up <= start + until_drying + charge.drying_min).only_enforce_if(stop.is_there)
        model.add(stretch == stop.end - stop.set_up + of.reheat_min).only_enforce_if(stop.is_there)
        model.add(stretch == 0).only_enforce_if(~stop.is_there)
        timing = frame.timing[kiln]
        if not timing.asks_to_unload[index] or charge.conditioning_min + charge.cooling_min or isinstance(start, int):
            return
        # Set up at the end of drying in a charge that then waits for the yard, it would wait along, not interrupt.
        cooled, planned = start + timing.to_cooled_min(index), timing.planned_cooled(index)
        hours = self._hours(kiln, charge.unloading_min, planned, frame.latest_start[kiln][index + 1])
        is_at_end = (
            kept is not None
            and bool(self.courses[kiln])
            and kept.set_up_start_min == self.courses[kiln][index].start_min + timing.to_cooled_min(index)
        )
        at_end = self._bool(is_at_end)
        known = self._domain([(planned, planned), *hours])
        model.add_linear_expression_in_domain(cooled, known).only_enforce_if(at_end)
        model.add(stop.set_up < cooled).only_enforce_if([stop.is_there, ~at_end])

    def _add_waiting(self, kiln: int, index: int) -> None:
        """Add a stop while a charge that has cooled waits for the yard: it costs no drying, but must end by then."""
        frame, model, timing = self.frame, self.model, self.frame.timing[kiln]
        charge, place = frame.kilns[kiln].charges[index], waiting_place(index)
        cooled, unload = self.cooled[kiln, index], self.ended[kiln, index] - charge.unloading_min
        planned, latest = timing.planned_cooled(index), frame.latest_start[kiln][index + 1] - charge.unloading_min
        firsts, lasts = timing.fits(charge.unloading_min)
        before = [planned, *(max(planned, last) for last in lasts)]
        gaps = [
            (low + 1, first - 1)
            for low, first in zip(before, firsts, strict=False)
            if low + 1 < first <= latest and not isinstance(cooled, int)
        ]
        stop = None
        if gaps:
            low, high = max(0, gaps[0][0]), gaps[-1][1]
            stop = self._add_stop(kiln, place, low, high, gaps[-1][1] + 1)
        if stop is None:
            self._rule_out(kiln, place)
            return
        kept = self.task.stops.get(kiln, {}).get(place)
        chosen = []
        for low, high in gaps:
            literal = self._bool(kept is not None and low <= kept.set_up_start_min <= high)
            chosen.append(literal)
            model.add(cooled >= low).only_enforce_if(literal)
            model.add(stop.set_up <= high).only_enforce_if(literal)
            model.add(unload == high + 1).only_enforce_if(literal)
            model.add(stop.end <= high + 1).only_enforce_if(literal)
        model.add(sum(chosen) == stop.is_there)
        model.add(stop.set_up >= cooled).only_enforce_if(stop.is_there)

    def _add_down(self, kiln: int, number: int) -> None:
        """Add a stop while the kiln is down anyway; it may last longer.

        Then it interrupts the first charge that is out after the down time, or that one begins after it.
        """
        frame, model, timing = self.frame, self.model, self.frame.timing[kiln]
        of, place, down = frame.kilns[kiln], down_place(number), frame.kilns[kiln].down[number]
        latest_end = frame.stopped_region(kiln, place).to_min + of.restore_min
        stop = self._add_stop(kiln, place, max(0, down.start_min), down.end_min - 1, latest_end)
        if stop is None:
            return
        kept = self.task.stops.get(kiln, {}).get(place)
        is_over = kept is not None and kept.end_min > down.end_min
        first = next((n for n, one in enumerate(self.courses[kiln]) if one.end_min > down.end_min), timing.last)
        ways = []
        for index in range(len(of.charges)):
            low, high = self._starts_between(kiln, index)
            is_it, start = is_over and first == index, self.charge_starts[kiln][index]
            is_inside = is_it and self.courses[kiln][index].is_interrupted if index < timing.last else False
            least = low if index == timing.last else timing.last_start_out_by(index, down.end_min) + 1
            may_be_inside = index < timing.last and not down.unloaded and low <= down.end_min and least <= high
            if may_be_inside and (is_inside or self._can_pay_interruption(kiln)):
                literal = self._bool(is_inside)
                ways.append(literal)
                self._add_inside_after(kiln, index, place, literal, least, is_inside)
            if high > down.end_min:
                literal = self._bool(is_it and not is_inside)
                ways.append(literal)
                model.add(start >= stop.end).only_enforce_if(literal)
                if index:
                    self.befores[kiln].append((index - 1, down.end_min, literal))
            if low > down.end_min:
                break
        model.add(sum(ways) <= stop.is_there)
        model.add(stop.end <= down.end_min).only_enforce_if([stop.is_there, *(~one for one in ways)])

    def _add_inside_after(self, kiln: int, index: int, place: int, literal: Any, least: int, is_so: bool) -> None:
        """Let a charge be inside at the end of a down time beyond which a stop lasts."""
        model, start, stop = self.model, self.charge_starts[kiln][index], self.stop_vars[kiln, place]
        of, down_end = self.frame.kilns[kiln], self.frame.kilns[kiln].down[index_of(place)].end_min
        kept = self.task.stops.get(kiln, {}).get(place)
        most = self.frame.stopped_region(kiln, place).to_min + of.restore_min - down_end + of.reheat_min
        stretch = self._int(
            0, max(0, most), 0 if kept is None or not is_so else kept.end_min - down_end + of.reheat_min
        )
        model.add(start >= least).only_enforce_if(literal)
        model.add(start <= down_end).only_enforce_if(literal)
        model.add(stretch == stop.end - down_end + of.reheat_min).only_enforce_if(literal)
        model.add(stop.end > down_end).only_enforce_if(literal)
        model.add(stretch == 0).only_enforce_if(~literal)
        self.stretches[kiln, index] = self.stretches.get((kiln, index), 0) + stretch
        self.over[kiln, index].append((literal, place))
        self.costs[kiln].append((literal, of.interruption_cents * PARTS, ""))

    def _keep_apart(self, kiln: int, place: int) -> None:
        """Let a stop in a down time overlap no other."""
        stop = self.stop_vars.get((kiln, place))
        kept = self.task.stops.get(kiln, {})
        if stop is None:
            return
        for (there, other_place), other in self.stop_vars.items():
            if there != kiln or other_place == place or (is_down(other_place) and other_place > place):
                continue
            (low, high), (other_low, other_high) = self.spans[kiln, place], self.spans[kiln, other_place]
            if max(low, other_low) >= min(high, other_high):
                continue
            is_first = (
                place in kept and other_place in kept and kept[place].end_min <= kept[other_place].set_up_start_min
            )
            first = self._bool(is_first)
            both = [stop.is_there, other.is_there]
            self.model.add(stop.end <= other.set_up).only_enforce_if([*both, first])
            self.model.add(other.end <= stop.set_up).only_enforce_if([*both, ~first])

    def _rule_out(self, kiln: int, place: int) -> None:
        """Take a place from all jobs: there can be no stop in it."""
        for job in self.frame.jobs_of[kiln]:
            if self.frame.jobs[job].needs_state in LOCKED_OUT:
                self.possible[job] = [one for one in self.possible.get(job, ()) if one.place != place]

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
            self._rule_out(kiln, place)
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
        cents = of.set_up_cents + (of.interruption_cents if is_in_charge(place) else 0)
        self.costs[kiln].append((stop.is_there, cents * PARTS, ""))
        self.stop_vars[kiln, place], self.spans[kiln, place] = stop, (first, latest_end)
        return stop

    def _add_lock_out_under_way(self, kiln: int, place: int, from_min: int, latest_end: int) -> StopVars | None:
        """Add the stop that a kiln is locked out for at minute 0; None where the charge leaves it no time."""
        of, kept = self.frame.kilns[kiln], self.task.stops.get(kiln, {}).get(place)
        if from_min + of.restore_min > latest_end:
            self._rule_out(kiln, place)
            return None
        end = self._int(
            from_min + of.restore_min, latest_end, from_min + of.restore_min if kept is None else kept.end_min
        )
        there = self._bool(kept is not None)
        person = self.frame.number_of_person[of.locked_out_by]
        stop = StopVars(there, from_min, end, {0: there}, {person: there})
        self.stop_vars[kiln, place], self.spans[kiln, place] = stop, (from_min, latest_end)
        return stop

    def _occupy(self, person: int, start: Any, length_min: int, literal: Any, window: tuple[int, int]) -> None:
        self.intervals[person].append(self.model.new_optional_fixed_size_interval_var(start, length_min, literal, ""))
        self.windows[person].append(window)

    # --- jobs ------------------------------------------------------------------------------------
