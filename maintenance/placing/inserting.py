"""Put one job after the other into a plan: where it can go, and what each place costs.

The two rules of thumb rest on this: the planner's due-date rule, and greedy by cost. Both are baselines and first
plans; neither proves anything.
"""

from __future__ import annotations

import heapq
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from .frame import ANYWHERE, FAR, HOURLY, Frame, Region
from .places import index_of, is_down, is_in_charge, is_waiting
from .problem import LOCKED_OUT
from .state import Crew, JobAt, State, StopAt, Stops, seat

#: In one place, so many shifts with a crew are looked at: later ones only cost more delay.
SHIFTS_LOOKED_AT = 4
#: All of them, where the question is whether there is a place at all.
EVERY_SHIFT = 10**6


#: When a job starts, and with whom; None: whoever is free.
Fix = tuple[int, frozenset[int] | None]


@dataclass(frozen=True, slots=True)
class Option:
    """A place a job can have: what the job itself costs there, what else it causes, and all it takes."""

    job: int
    own_price: int
    kiln_price: int
    at: JobAt
    stop: StopAt | None
    starts: list[int] | None

    @property
    def price(self) -> int:
        """What it costs in all."""
        return self.own_price + self.kiln_price


class Inserting:
    """Finds the options of jobs in a state, and takes them."""

    def __init__(self, state: State, fixed: Mapping[int, Fix] | None = None, now_min: int = 0) -> None:
        self.state = state
        # Nothing begins sooner: a problem may have been drawn some minutes ago.
        self.now_min = now_min
        self.frame = frame = state.frame
        # Job -> when it starts and with whom (None: whoever is free); pinned jobs unless said otherwise.
        self.fixed: Mapping[int, Fix] = fixed if fixed is not None else _pins(frame)
        self.shift_starts = [shift.start_min for shift in self.frame.shifts]
        self.longest_shift = max((s.overtime_end_min - s.start_min for s in self.frame.shifts), default=0)

    def options(self, job: int, interrupt: bool = False, each: int = SHIFTS_LOOKED_AT) -> Iterator[Option]:
        """Yield the options of a job, place by place in order of time; interruptions only if asked for."""
        from_min = self.from_min(job)
        if from_min is None:
            return
        for region in self.frame.regions[job]:
            yield from self.options_in(job, region, from_min, interrupt, each)

    def options_in(self, job: int, region: Region, from_min: int, interrupt: bool, each: int) -> Iterator[Option]:
        """Yield the options of a job in one place."""
        frame, state = self.frame, self.state
        of, kiln = frame.jobs[job], frame.kiln_of[job]
        low = max(from_min, region.from_min)
        high = min(region.to_min, frame.problem.horizon_min, of.latest_min if of.safety else FAR) - of.duration_min
        if low > high:
            return
        if of.needs_state in LOCKED_OUT:
            stop = state.stops[kiln].get(region.place)
            if is_down(region.place) and not interrupt:
                # Whatever lasts longer than the kiln is down keeps a charge waiting.
                down_end = frame.kilns[kiln].down[index_of(region.place)].end_min
                ready_min = max(down_end, 0 if stop is None else stop.end_min) - frame.kilns[kiln].restore_min
                high = min(high, ready_min - of.duration_min)
            if stop is not None:
                yield from self._in_stop(job, region.place, stop, low, high, each)
            elif interrupt or not is_in_charge(region.place):
                yield from self._in_new_stop(job, region.place, low, high, each)
            return
        if of.needs_state == "running":
            index = region.place // 2
            low = max(low, state.starts[kiln][index] + frame.kilns[kiln].charges[index].loading_min)
        for shift, start_min, crew in self._starts(job, low, high, each):
            at = JobAt(region.place, shift, start_min, crew)
            if region.place == ANYWHERE:
                yield Option(job, state.job_price(job, at), 0, at, None, None)
                continue
            option = self._option(job, at, None, 0)
            if option is not None:
                yield option

    def from_min(self, job: int) -> int | None:
        """Before this the job cannot start; None where a job it waits for is left out."""
        frame, at = self.frame, self.state.at
        from_min = max(frame.jobs[job].from_min, self.now_min)
        for before, lag_min in frame.after[job]:
            if before not in at:
                return None
            from_min = max(from_min, at[before].start_min + frame.jobs[before].duration_min + lag_min)
        return from_min

    def _starts(self, job: int, low: int, high: int, each: int) -> Iterator[tuple[int, int, Crew]]:
        """Yield the earliest start with a crew in each of the first shifts that have one."""
        frame, state = self.frame, self.state
        duration_min = frame.jobs[job].duration_min
        fix = self.fixed.get(job)
        if fix is not None:
            low, high = max(low, fix[0]), min(high, fix[0])
        found = 0
        for number in self._shifts(low, high):
            shift = frame.shifts[number]
            earliest = max(low, shift.start_min)
            latest = min(high, shift.end_min - 1, shift.overtime_end_min - duration_min)
            if earliest > latest:
                continue
            first = (
                self._fixed_crew(job, number, earliest, fix[1])
                if fix is not None and fix[1] is not None
                else state.earliest_crew(job, number, earliest, latest)
            )
            if first is not None:
                yield number, *first
                found += 1
                if found == each:
                    return

    def _fixed_crew(self, job: int, shift: int, start_min: int, people: frozenset[int]) -> tuple[int, Crew] | None:
        """Give these people the skills asked for, if all are in the shift and free."""
        frame = self.frame
        end_min = start_min + frame.jobs[job].duration_min
        if not people <= set(frame.shift_people[shift]) or len(people) != frame.jobs[job].crew_size:
            return None
        if not all(self.state.is_free(person, start_min, end_min) for person in people):
            return None
        crew = seats(frame, job, sorted(people))
        return None if crew is None else (start_min, crew)

    def _shifts(self, low: int, high: int) -> range:
        """Shifts in which something can start within [low, high]."""
        return range(bisect_left(self.shift_starts, low - self.longest_shift), bisect_right(self.shift_starts, high))

    def _in_stop(self, job: int, place: int, stop: StopAt, low: int, high: int, each: int) -> Iterator[Option]:
        frame = self.frame
        kiln = frame.kiln_of[job]
        of = frame.kilns[kiln]
        low = max(low, stop.set_up_start_min + frame.set_up_min(kiln, place))
        for shift, start_min, crew in self._starts_inside(job, low, high, each):
            end_min = max(stop.end_min, start_min + frame.jobs[job].duration_min + of.restore_min)
            longer = StopAt(stop.set_up_start_min, end_min, stop.shift, stop.person)
            option = self._option(job, JobAt(place, shift, start_min, crew), longer, 0)
            if option is not None:
                yield option

    def _starts_inside(self, job: int, low: int, high: int, each: int) -> Iterator[tuple[int, int, Crew]]:
        """Yield the earliest start in each of the first shifts at which there is a crew, and room for it inside."""
        for shift, start_min, crew in self._starts(job, low, high, each):
            out_min = self.state.has_room_inside(job, start_min)
            later = (start_min, crew) if out_min is None else self._start_with_room(job, shift, out_min, high)
            if later is not None:
                yield shift, *later

    def _start_with_room(self, job: int, shift: int, low: int, high: int) -> tuple[int, Crew] | None:
        """Find the earliest start in a shift at which there is room inside, too."""
        of, duration_min = self.frame.shifts[shift], self.frame.jobs[job].duration_min
        latest = min(high, of.end_min - 1, of.overtime_end_min - duration_min)
        while low <= latest and job not in self.fixed:
            found = self.state.earliest_crew(job, shift, low, latest)
            if found is None:
                return None
            out_min = self.state.has_room_inside(job, found[0])
            if out_min is None:
                return found
            low = out_min
        return None

    def _in_new_stop(self, job: int, place: int, low: int, high: int, each: int) -> Iterator[Option]:
        frame = self.frame
        kiln = frame.kiln_of[job]
        of = frame.kilns[kiln]
        found, set_up_min = 0, frame.set_up_min(kiln, place)
        set_ups = self.set_ups(kiln, place, high)
        following = next(set_ups, None)
        while following is not None:
            (shift, begin_min, person), following = following, next(set_ups, None)
            until_min, most = high, 1
            if each == EVERY_SHIFT:
                # What starts later than the next set-up is ready needs not have this one.
                most, until_min = each, high if following is None else min(high, following[1] + set_up_min - 1)
            for at_shift, start_min, crew in self._starts_inside(
                job, max(low, begin_min + set_up_min), until_min, most
            ):
                end_min = start_min + frame.jobs[job].duration_min + of.restore_min
                stop = StopAt(begin_min, end_min, shift, person)
                price = self.state.stop_price(kiln, place, stop)
                option = self._option(job, JobAt(place, at_shift, start_min, crew), stop, price)
                if option is not None:
                    yield option
                    found += 1
            if found >= each:
                return

    def set_ups(self, kiln: int, place: int, high: int) -> Iterator[tuple[int, int, int]]:
        """Yield shift, start and person of the earliest set-up in each shift; where it is locked out, just that."""
        frame = self.frame
        of = frame.kilns[kiln]
        if frame.is_locked_out(kiln, place):
            yield 0, of.locked_out_min, frame.number_of_person[of.locked_out_by]
            return
        from_min, until_min = self._set_up_between(kiln, place)
        until_min = min(until_min, high - of.set_up_min)
        for shift in self._shifts(from_min, until_min):
            set_up = self._set_up_in(shift, of.set_up_min, from_min, until_min)
            if set_up is not None:
                yield shift, *set_up

    def _set_up_between(self, kiln: int, place: int) -> tuple[int, int]:
        """When a set-up may start in a place, as the charges now stand."""
        frame, index = self.frame, index_of(place)
        charges, starts = frame.kilns[kiln].charges, self.state.starts[kiln]
        if is_down(place):
            down = frame.kilns[kiln].down[index]
            return max(self.now_min, down.start_min), down.end_min - 1
        if is_waiting(place):
            course = self.state.courses(kiln)[index]
            return max(self.now_min, course.cooled_min), course.unload_min - 1
        if is_in_charge(place):
            drying_min = starts[index] + charges[index].loading_min + charges[index].heating_up_min
            return max(self.now_min, drying_min), drying_min + charges[index].drying_min
        return max(self.now_min, self.state.ended(kiln, index)), frame.latest_start[kiln][index]

    def _set_up_in(self, shift: int, set_up_min: int, low: int, high: int) -> tuple[int, int] | None:
        """Find the earliest set-up in a shift, and who does it."""
        of = self.frame.shifts[shift]
        low = max(low, of.start_min)
        high = min(high, of.end_min - 1, of.overtime_end_min - set_up_min)
        if low > high:
            return None
        best, who = high + 1, -1
        for person in self.frame.can_lock_out[shift]:
            start_min = self.state.first_free(person, low, best - 1, set_up_min)
            if start_min is not None:
                best, who = start_min, person
                if best == low:
                    break
        return None if who < 0 else (best, who)

    def _option(self, job: int, at: JobAt, stop: StopAt | None, stop_price: int) -> Option | None:
        """Give a place with all it takes and costs; None where the charges do not fit round it."""
        state, kiln = self.state, self.frame.kiln_of[job]
        stops: Stops = state.stops[kiln] if stop is None else {**state.stops[kiln], at.place: stop}
        work = state.with_work(job, at)
        starts = state.timetable(kiln, stops, work)
        if starts is None:
            return None
        kiln_price = stop_price + state.more_for_charges(kiln, starts, stops, work)
        return Option(job, state.job_price(job, at), kiln_price, at, stop, starts)

    def held(self, option: Option) -> Option | None:
        """Give a place with all charges as they now stand, short of its margin though it may be; None if none holds."""
        state, kiln, stop = self.state, self.frame.kiln_of[option.job], option.stop
        timing, starts = self.frame.timing[kiln], state.starts[kiln]
        stops: Stops = state.stops[kiln] if stop is None else {**state.stops[kiln], option.at.place: stop}
        work = state.with_work(option.job, option.at)
        if timing.is_plain or option.starts is None or timing.follow(starts, stops, work) is None:
            return None
        waiting = state.more_for_charges(kiln, option.starts, stops, work)
        here = state.more_for_charges(kiln, starts, stops, work)
        return replace(option, starts=starts, kiln_price=option.kiln_price - waiting + here)

    def take(self, option: Option) -> None:
        """Put the job there; whoever sets up a new stop must not be in its crew at that time, which options see to."""
        self.state.put(option.job, option.at, option.stop, option.starts)


def _pins(frame: Frame) -> dict[int, Fix]:
    return {job: (frame.issued[job].start_min, frame.issued_people[job]) for job in frame.pinned}


def seats(frame: Frame, job: int, people: list[int]) -> Crew | None:
    """Give every one of these people one of the skills asked for."""
    slots = [skill for skill, count in frame.crew_of[job] for _ in range(count)]
    if len(slots) != len(people):
        return None
    taken: dict[int, int] = {}
    choices = {skill: [one for one in people if skill in frame.people[one].skills] for skill in slots}
    for slot in range(len(slots)):
        if not seat(slot, slots, choices, taken, set()):
            return None
    return tuple((person, slots[slot]) for person, slot in sorted(taken.items(), key=lambda one: one[1]))


# --- the two rules of thumb ------------------------------------------------------------------------

Choice = Callable[[Inserting, int], Option | None]


def due_date_plan(frame: Frame) -> State:
    """Plan as a planner does by hand: job after job by due date, each into the cheapest opening by its due date.

    Where no opening is in time, the earliest is taken. Among openings that cost the same, the earlier one.
    """
    return _placed(frame, _cheapest_opening_in_time, lambda job: (frame.jobs[job].due_min,))


def greedy_plan(frame: Frame) -> State:
    """Plan by cost: job after job, dearest delay first, each to where it adds least, or left out if that is cheaper."""
    return _placed(frame, _cheapest, _by_urgency(frame))


def _by_urgency(frame: Frame) -> Callable[[int], tuple[float, ...]]:
    return lambda job: (-_urgency(frame, job), frame.jobs[job].due_min)


def _urgency(frame: Frame, job: int) -> float:
    of = frame.jobs[job]
    return (of.delay_parts_per_min + of.late_cents_per_hour * HOURLY) / max(1, of.duration_min * of.crew_size)


def _cheapest_opening_in_time(inserting: Inserting, job: int) -> Option | None:
    frame = inserting.frame
    of = frame.jobs[job]
    best: Option | None = None
    earliest: Option | None = None
    for option in inserting.options(job, each=1):
        in_time = option.at.start_min + of.duration_min <= of.due_min
        if earliest is None or option.at.start_min < earliest.at.start_min:
            earliest = option
        if in_time and (best is None or option.kiln_price < best.kiln_price):
            best = option
        if (earliest is not None and not in_time) or (best is not None and best.kiln_price == 0):
            break
    return best or earliest


def _cheapest(inserting: Inserting, job: int) -> Option | None:
    frame = inserting.frame
    may_leave_out = job not in frame.must and not frame.followers[job]
    best_price = frame.leave_out_price(job) if may_leave_out else 10**18
    best: Option | None = None
    from_min = inserting.from_min(job)
    if from_min is None:
        return None
    for region in frame.regions[job]:
        earliest_end = max(from_min, region.from_min) + frame.jobs[job].duration_min
        if frame.delay_price(job, earliest_end) >= best_price:
            break
        for option in inserting.options_in(job, region, from_min, False, SHIFTS_LOOKED_AT):
            if option.price < best_price:
                best, best_price = option, option.price
    return best


def _placed(frame: Frame, choose: Choice, order: Callable[[int], tuple[float, ...]]) -> State:
    """Place all jobs into an empty plan."""
    state = State(frame)
    _fill(state, range(len(frame.jobs)), choose, order)
    return state


def fill_kiln(state: State, kiln: int) -> None:
    """Place the jobs of one kiln by cost, into a plan that has none of them."""
    _fill(state, state.frame.jobs_of[kiln], _cheapest, _by_urgency(state.frame))


def put_dearest_anew(state: State, most: int = 20, is_over: Callable[[], bool] = lambda: False) -> State:
    """Take out the dearest jobs, one after the other, and put each to where it adds least; a charge may be interrupted.

    The rules of thumb never interrupt a charge, which is what saves a job that is dear to keep waiting. `is_over` is
    asked before every step; what was found by then counts.
    """
    frame = state.frame

    def price(job: int) -> int:
        at = state.at.get(job)
        return frame.leave_out_price(job) if at is None else state.job_price(job, at)

    for job in sorted(range(len(frame.jobs)), key=price, reverse=True)[:most]:
        if job in frame.pinned or frame.followers[job] or not price(job):
            continue
        # First alone; then with the kiln to itself, for work while running may stand in the way of an interruption.
        for others in ([], [one for one in frame.jobs_of[frame.kiln_of[job]] if one != job and one in state.at]):
            if is_over():
                return state
            other = _put_anew(state, job, others, is_over)
            if other is not None and other.price() < state.price():
                state = other
    return state


def _put_anew(state: State, job: int, others: list[int], is_over: Callable[[], bool]) -> State | None:
    """Take a job and others out, put the job to where it adds least and the others after it; None if that fails."""
    frame, anew = state.frame, state.copy()
    movable = [one for one in others if one not in frame.pinned and not frame.followers[one] and not frame.after[one]]
    for one in (*movable, job):
        if is_over() or (one in anew.at and not anew.take_out(one)):
            return None
    best = min(Inserting(anew).options(job, interrupt=True), key=lambda one: one.price, default=None)
    if best is None:
        return None
    Inserting(anew).take(best)
    if not _fill(anew, movable, _cheapest, _by_urgency(frame), is_over):
        return None
    return anew if frame.must <= anew.at.keys() else None


def fill_cheaply(state: State, jobs: Iterable[int]) -> None:
    """Put jobs, dearest delay first, to where each adds least, or leave them out where that is cheaper."""
    _fill(state, jobs, _cheapest, _by_urgency(state.frame))


def _fill(
    state: State,
    jobs: Iterable[int],
    choose: Choice,
    order: Callable[[int], tuple[float, ...]],
    is_over: Callable[[], bool] = lambda: False,
) -> bool:
    """Place pinned jobs, then those that must be placed, then all others, each after the jobs it waits for.

    False where it was over before all were looked at.
    """
    frame, inserting = state.frame, Inserting(state)
    wanted = sorted(jobs)
    for job in _in_order(frame, wanted, lambda job: (job not in frame.pinned, job not in frame.must, *order(job), job)):
        if is_over():
            return False
        option = choose(inserting, job)
        if option is None and job in frame.must:
            option = min(inserting.options(job, interrupt=True), key=lambda one: one.price, default=None)
        if option is not None:
            inserting.take(option)
    return True


def _in_order(frame: Frame, jobs: list[int], key: Callable[[int], tuple[float, ...]]) -> Iterable[int]:
    """Yield jobs by key, none before those it waits for; what an urgent job waits for is as urgent as it is."""
    keys = {job: key(job) for job in jobs}
    for job in sorted(keys, key=lambda job: keys[job]):
        waiting = [before for before, _ in frame.after[job]]
        while waiting:
            before = waiting.pop()
            if before in keys and keys[before] > keys[job]:
                keys[before] = keys[job]
                waiting += [one for one, _ in frame.after[before]]
    left = {job: sum(before in keys for before, _ in frame.after[job]) for job in jobs}
    heap = [(keys[job], job) for job in jobs if not left[job]]
    heapq.heapify(heap)
    while heap:
        _, job = heapq.heappop(heap)
        yield job
        for follower in frame.followers[job]:
            if follower in left:
                left[follower] -= 1
                if not left[follower]:
                    heapq.heappush(heap, (keys[follower], follower))
