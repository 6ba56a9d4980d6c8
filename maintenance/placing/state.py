"""A plan in the making: who is busy when, which stops there are, and what it costs; jobs are put in and taken out."""

from __future__ import annotations

from bisect import bisect_left, insort
from dataclasses import dataclass
from itertools import pairwise

from .frame import FAR, HOURLY, PARTS, Frame
from .places import StopAt as StopAt
from .places import Stops as Stops
from .places import index_of, is_down, is_in_charge, is_opening, is_waiting
from .plan import Cost, PlacedJob, Plan, Stop
from .problem import LOCKED_OUT
from .timing import Course

Crew = tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class JobAt:
    """Where a job is: the place in its kiln, the shift, the start, and who does it as (person, skill)."""

    place: int
    shift: int
    start_min: int
    crew: Crew


#: By place: from, to, and what a minute short of a charge's margin costs.
KilnWork = dict[int, list[tuple[int, int, int]]]


class State:
    """What is placed so far. Every change keeps all rules; charges start as early as what is placed allows."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.at: dict[int, JobAt] = {}
        self.stops: list[Stops] = [{} for _ in frame.kilns]
        self.starts: list[list[int]] = [[charge.start_min for charge in kiln.charges] for kiln in frame.kilns]
        self.busy: list[list[tuple[int, int]]] = [list(away) for away in frame.away]
        self.inside: list[list[tuple[int, int, int]]] = [list(one) for one in frame.inside]
        #: Work that charges are timed round, by place.
        self.work: list[KilnWork] = [{} for _ in frame.kilns]

    # --- people ----------------------------------------------------------------------------------

    def is_free(self, person: int, start_min: int, end_min: int) -> bool:
        """Whether a person has nothing to do in a time and is there."""
        if start_min >= end_min:
            return True
        # Nobody is in two places at once: of what begins before the end, the last ends last.
        busy = self.busy[person]
        index = bisect_left(busy, (end_min, -FAR)) - 1
        return index < 0 or busy[index][1] <= start_min

    def crew_at(self, job: int, shift: int, start_min: int, end_min: int) -> Crew | None:
        """Find people of a shift who are free and have the skills asked for, each for one."""
        asked = self.frame.crew_of[job]
        by_skill = self.frame.shift_skill[shift]
        if len(asked) == 1:
            skill, count = asked[0]
            found: list[tuple[int, str]] = []
            for person in by_skill.get(skill, ()):
                if self.is_free(person, start_min, end_min):
                    found.append((person, skill))
                    if len(found) == count:
                        return tuple(found)
            return None
        slots = [skill for skill, count in asked for _ in range(count)]
        choices = {
            skill: [person for person in by_skill.get(skill, ()) if self.is_free(person, start_min, end_min)]
            for skill, _ in asked
        }
        taken: dict[int, int] = {}
        for slot in range(len(slots)):
            if not seat(slot, slots, choices, taken, set()):
                return None
        return tuple((person, slots[slot]) for person, slot in sorted(taken.items(), key=lambda one: one[1]))

    def earliest_crew(self, job: int, shift: int, from_min: int, to_min: int) -> tuple[int, Crew] | None:
        """Find the earliest start in [from, to] at which a crew of the shift is free for the job."""
        duration_min = self.frame.jobs[job].duration_min
        asked, by_skill = self.frame.crew_of[job], self.frame.shift_skill[shift]
        if len(asked) == 1 and asked[0][1] == 1:
            skill, best, who = asked[0][0], to_min + 1, -1
            for person in by_skill.get(skill, ()):
                start_min = self.first_free(person, from_min, best - 1, duration_min)
                if start_min is not None:
                    best, who = start_min, person
                    if best == from_min:
                        break
            return None if who < 0 else (best, ((who, skill),))
        begins = {from_min} if not asked else set()
        for person in {person for skill, _ in asked for person in by_skill.get(skill, ())}:
            start_min = self.first_free(person, from_min, to_min, duration_min)
            while start_min is not None:
                begins.add(start_min)
                start_min = self._next_free(person, start_min, to_min, duration_min)
        for start_min in sorted(begins):
            crew = self.crew_at(job, shift, start_min, start_min + duration_min)
            if crew is not None:
                return start_min, crew
        return None

    def first_free(self, person: int, from_min: int, to_min: int, duration_min: int) -> int | None:
        """Find the earliest start in [from, to] at which a person is free for so long."""
        if from_min > to_min:
            return None
        if not duration_min:
            return from_min
        busy = self.busy[person]
        index = bisect_left(busy, (from_min, FAR))
        start_min = from_min
        if index and busy[index - 1][1] > start_min:
            start_min = busy[index - 1][1]
        while index < len(busy) and busy[index][0] < start_min + duration_min:
            start_min = max(start_min, busy[index][1])
            if start_min > to_min:
                return None
            index += 1
        return start_min if start_min <= to_min else None

    def _next_free(self, person: int, after_min: int, to_min: int, duration_min: int) -> int | None:
        """Find the next time after which something has ended at which a person is free for so long."""
        busy = self.busy[person]
        index = bisect_left(busy, (after_min, FAR))
        if index == len(busy):
            return None
        return self.first_free(person, busy[index][1], to_min, duration_min)

    def has_room_inside(self, job: int, start_min: int) -> int | None:
        """Say None if the job's crew may go in then, else the first minute at which somebody comes out.

        That is far off for a crew that is too large for the kiln.
        """
        frame = self.frame
        kiln, of = frame.kiln_of[job], frame.jobs[job]
        end_min = start_min + of.duration_min
        there = [one for one in self.inside[kiln] if max(one[0], start_min) < min(one[1], end_min)]
        limit = frame.kilns[kiln].max_people_inside - of.crew_size
        for minute in {start_min, *(one[0] for one in there if one[0] > start_min)}:
            if sum(count for start, end, count in there if start <= minute < end) > limit:
                return min((end for _, end, _ in there), default=FAR)
        return None

    # --- charges ---------------------------------------------------------------------------------

    def timetable(self, kiln: int, stops: Stops, work: KilnWork) -> list[int] | None:
        """Start every charge as stops and work allow and as costs least; None where they do not."""
        return self.frame.timing[kiln].timetable(stops, work)

    def courses(self, kiln: int) -> list[Course]:
        """Say how the charges of a kiln go, but for the sentinel."""
        return self._follow(kiln, self.starts[kiln], self.stops[kiln], self.work[kiln])

    def _follow(self, kiln: int, starts: list[int], stops: Stops, work: KilnWork) -> list[Course]:
        found = self.frame.timing[kiln].follow(starts, stops, work)
        if found is None:
            raise AssertionError(f"the timetable of {self.frame.kilns[kiln].tag} does not hold")
        return found

    def ended(self, kiln: int, index: int) -> int:
        """When the charge before another one is out; long ago before the first."""
        if not index:
            return -FAR
        timing = self.frame.timing[kiln]
        if not timing.is_plain:
            return self.courses(kiln)[index - 1].end_min
        stop = self.stops[kiln].get(2 * index - 1)
        stretch = 0 if stop is None else stop.end_min - stop.set_up_start_min + self.frame.kilns[kiln].reheat_min
        return timing.end_of(index - 1, self.starts[kiln][index - 1], stretch)

    def runs_until(self, kiln: int, index: int) -> int:
        """When a charge begins to cool."""
        timing = self.frame.timing[kiln]
        charge = timing.charges[index]
        if timing.is_plain:
            return self.ended(kiln, index + 1) - charge.unloading_min - charge.cooling_min
        return self.courses(kiln)[index].cooled_min - charge.cooling_min

    def charges_price(self, kiln: int, starts: list[int], stops: Stops, work: KilnWork) -> int:
        """What it costs that charges start then: drying lost, interruptions, promises and margins broken."""
        of = self.frame.kilns[kiln]
        price = (starts[-1] - of.charges[-1].start_min) * of.drying_cents_per_hour * HOURLY
        if self.frame.timing[kiln].is_plain:
            return price + of.interruption_cents * PARTS * sum(is_in_charge(place) for place in stops)
        for course in self._follow(kiln, starts, stops, work):
            price += course.price + (of.interruption_cents * PARTS if course.is_interrupted else 0)
        return price

    def more_for_charges(self, kiln: int, starts: list[int], stops: Stops, work: KilnWork) -> int:
        """What it costs more than now that charges start then."""
        if self.frame.timing[kiln].is_plain and len(stops) == len(self.stops[kiln]):
            return (starts[-1] - self.starts[kiln][-1]) * self.frame.kilns[kiln].drying_cents_per_hour * HOURLY
        now = self.charges_price(kiln, self.starts[kiln], self.stops[kiln], self.work[kiln])
        return self.charges_price(kiln, starts, stops, work) - now

    def stop_price(self, kiln: int, place: int, stop: StopAt) -> int:
        """What setting up a stop costs."""
        if self.frame.is_locked_out(kiln, place):
            return 0
        of, shift = self.frame.kilns[kiln], self.frame.shifts[stop.shift]
        overtime_min = max(0, stop.set_up_start_min + of.set_up_min - shift.end_min)
        return of.set_up_cents * PARTS + overtime_min * self.frame.problem.overtime_cents_per_person_hour * HOURLY

    def job_price(self, job: int, at: JobAt) -> int:
        """What a place costs for the job itself: delay, overtime, move."""
        frame = self.frame
        end_min = at.start_min + frame.jobs[job].duration_min
        overtime_min = max(0, end_min - frame.shifts[at.shift].end_min) * len(at.crew)
        price = frame.delay_price(job, end_min) + overtime_min * frame.problem.overtime_cents_per_person_hour * HOURLY
        if frame.issued:
            price += frame.move_price(job, at.start_min, {person for person, _ in at.crew})
        return price

    # --- changes ---------------------------------------------------------------------------------

    def put(self, job: int, at: JobAt, stop: StopAt | None, starts: list[int] | None) -> None:
        """Place a job; `stop` is the stop it lies in as it then is, `starts` the charges as they then are."""
        frame = self.frame
        kiln, of = frame.kiln_of[job], frame.jobs[job]
        span = (at.start_min, at.start_min + of.duration_min)
        self.at[job] = at
        for person, _ in at.crew:
            self.occupy(person, *span)
        if stop is not None:
            if at.place not in self.stops[kiln]:
                self.occupy(stop.person, *frame.set_up_span(kiln, at.place, stop.set_up_start_min))
            self.stops[kiln][at.place] = stop
            self.inside[kiln].append((*span, of.crew_size))
        if frame.is_timed_round(job, at.place):
            self.work[kiln].setdefault(at.place, []).append(self.work_of(job, at))
        if starts is not None:
            self.starts[kiln] = starts

    def work_of(self, job: int, at: JobAt) -> tuple[int, int, int]:
        """Give a job as work that charges are timed round."""
        end_min = at.start_min + self.frame.jobs[job].duration_min
        return at.start_min, end_min, self.frame.margin_price(job, at.place)

    def with_work(self, job: int, at: JobAt) -> KilnWork:
        """Give the work of a job's kiln with the job at a place."""
        work = self.work[self.frame.kiln_of[job]]
        if not self.frame.is_timed_round(job, at.place):
            return work
        return {**work, at.place: [*work.get(at.place, ()), self.work_of(job, at)]}

    def take_out(self, job: int) -> bool:
        """Take a job out, with its stop if nobody else needs it; False, and nothing changed, where that cannot be.

        The stop becomes no longer than the jobs left in it need, and charges start as early as they then may.
        """
        frame, at = self.frame, self.at[job]
        kiln, of = frame.kiln_of[job], frame.jobs[job]
        span = (at.start_min, at.start_min + of.duration_min)
        stops, work = dict(self.stops[kiln]), self.work[kiln]
        stop = stops.get(at.place) if of.needs_state in LOCKED_OUT else None
        if stop is not None:
            left = [
                self.at[one].start_min + frame.jobs[one].duration_min
                for one in frame.jobs_of[kiln]
                if one != job
                and one in self.at
                and self.at[one].place == at.place
                and frame.jobs[one].needs_state in LOCKED_OUT
            ]
            if left:
                end_min = min(stop.end_min, max(left) + frame.kilns[kiln].restore_min)
                stops[at.place] = StopAt(stop.set_up_start_min, end_min, stop.shift, stop.person)
            else:
                del stops[at.place]
        if frame.is_timed_round(job, at.place):
            left_there = list(work[at.place])
            left_there.remove(self.work_of(job, at))
            work = {**work, at.place: left_there}
            if not left_there:
                del work[at.place]
        starts = self.timetable(kiln, stops, work)
        if starts is None:
            return False
        del self.at[job]
        for person, _ in at.crew:
            self.release(person, *span)
        if stop is not None:
            self.inside[kiln].remove((*span, of.crew_size))
            if at.place not in stops:
                self.release(stop.person, *frame.set_up_span(kiln, at.place, stop.set_up_start_min))
        self.stops[kiln], self.work[kiln], self.starts[kiln] = stops, work, starts
        return True

    def copy(self) -> State:
        """Copy it, so that changes of the copy leave it as it is."""
        other = State.__new__(State)
        other.frame, other.at = self.frame, dict(self.at)
        other.stops = [dict(one) for one in self.stops]
        other.starts = [list(one) for one in self.starts]
        other.busy = [list(one) for one in self.busy]
        other.inside = [list(one) for one in self.inside]
        other.work = [{place: list(work) for place, work in one.items()} for one in self.work]
        return other

    def release(self, person: int, start_min: int, end_min: int) -> None:
        """Give somebody free again."""
        if start_min < end_min:
            self.busy[person].remove((start_min, end_min))

    def occupy(self, person: int, start_min: int, end_min: int) -> None:
        """Keep somebody busy."""
        if start_min < end_min:
            insort(self.busy[person], (start_min, end_min))

    def is_free_of_clashes(self) -> bool:
        """Whether nobody is in two places at once."""
        return all(end <= start for busy in self.busy for (_, end), (start, _) in pairwise(busy))

    def is_sound(self) -> bool:
        """Whether rules across kilns hold; what concerns one kiln alone, the solver that placed it has seen to."""
        frame = self.frame
        if not self.is_free_of_clashes():
            return False
        for job, at in self.at.items():
            for before, lag_min in frame.after[job]:
                first = self.at.get(before)
                if first is None or at.start_min < first.start_min + frame.jobs[before].duration_min + lag_min:
                    return False
        return frame.must <= self.at.keys()

    def price_of_kiln(self, kiln: int) -> int:
        """What a kiln, its stops and its jobs cost."""
        price = self.charges_price(kiln, self.starts[kiln], self.stops[kiln], self.work[kiln])
        price += sum(self.stop_price(kiln, place, stop) for place, stop in self.stops[kiln].items())
        for job in self.frame.jobs_of[kiln]:
            at = self.at.get(job)
            price += self.frame.leave_out_price(job) if at is None else self.job_price(job, at)
        return price

    def price(self) -> int:
        """What all costs."""
        return sum(self.price_of_kiln(kiln) for kiln in range(len(self.frame.kilns)))

    def to_plan(self, bound_cents: int = 0, seconds: float = 0.0) -> Plan:
        """Give the plan, with its cost stated."""
        frame = self.frame
        stops: list[Stop] = []
        number_of: dict[tuple[int, int], int] = {}
        for kiln, by_place in enumerate(self.stops):
            for place, stop in sorted(by_place.items()):
                number_of[kiln, place] = len(stops)
                stops.append(
                    stop_at(
                        frame.kilns[kiln].tag,
                        place,
                        (stop.set_up_start_min, stop.end_min),
                        frame.shifts[stop.shift].ref,
                        frame.people[stop.person].ref,
                    )
                )
        jobs = {}
        for job, at in sorted(self.at.items(), key=lambda one: (one[1].start_min, one[0])):
            of = frame.jobs[job]
            is_stopped = of.needs_state in LOCKED_OUT
            jobs[of.ref] = PlacedJob(
                start_min=at.start_min,
                shift=frame.shifts[at.shift].ref,
                crew=tuple((frame.people[person].ref, skill) for person, skill in at.crew),
                stop=number_of[frame.kiln_of[job], at.place] if is_stopped else None,
                charge=at.place // 2 if of.needs_state == "running" else None,
            )
        cost = self.cost()
        return Plan(
            charge_starts={of.tag: tuple(self.starts[kiln]) for kiln, of in enumerate(frame.kilns)},
            stops=tuple(stops),
            jobs=jobs,
            cost=cost,
            stated_total_cents=cost.total,
            bound_cents=bound_cents,
            seconds=seconds,
            form=frame.problem.form,
        )

    def cost(self) -> Cost:
        """Sum the parts, each rounded once."""
        frame, problem = self.frame, self.frame.problem
        delay = overtime_min = left_out = moves = set_up = interruption = drying = later = margin = 0
        for job, of in enumerate(frame.jobs):
            at = self.at.get(job)
            if at is None:
                left_out += of.leave_out_cents
                moves += frame.move_price(job, None, set()) // PARTS
                continue
            end_min = at.start_min + of.duration_min
            delay += frame.delay_price(job, end_min)
            overtime_min += max(0, end_min - frame.shifts[at.shift].end_min) * len(at.crew)
            moves += frame.move_price(job, at.start_min, {person for person, _ in at.crew}) // PARTS
        for kiln, of_kiln in enumerate(frame.kilns):
            late_start_min = self.starts[kiln][-1] - of_kiln.charges[-1].start_min
            drying += late_start_min * of_kiln.drying_cents_per_hour * HOURLY
            if frame.timing[kiln].is_plain:
                interruption += of_kiln.interruption_cents * sum(is_in_charge(place) for place in self.stops[kiln])
                stretched: list[Course] = []
            else:
                stretched = self.courses(kiln)
            for course in stretched:
                interruption += of_kiln.interruption_cents if course.is_interrupted else 0
                later += course.later_price
                margin += course.margin_price
            for place, stop in self.stops[kiln].items():
                if frame.is_locked_out(kiln, place):
                    continue
                set_up += of_kiln.set_up_cents
                end_min = stop.set_up_start_min + of_kiln.set_up_min
                overtime_min += max(0, end_min - frame.shifts[stop.shift].end_min)
        return Cost(
            drying_lost=rounded(drying),
            delay=rounded(delay),
            overtime=rounded(overtime_min * problem.overtime_cents_per_person_hour * HOURLY),
            set_up=set_up,
            interruption=interruption,
            left_out=left_out,
            moves=moves,
            later=rounded(later),
            margin=rounded(margin),
        )


def stop_at(tag: str, place: int, span: tuple[int, int], shift: str, person: str) -> Stop:
    """Give the stop of a plan that lies in a place of a kiln."""
    index = index_of(place)
    return Stop(
        kiln=tag,
        before_charge=index if is_opening(place) else None,
        in_charge=index if is_in_charge(place) or is_waiting(place) else None,
        in_down=index if is_down(place) else None,
        set_up_start_min=span[0],
        end_min=span[1],
        shift=shift,
        person=person,
    )


def rounded(parts: int) -> int:
    """Round to whole cents, half up."""
    return (2 * parts + PARTS) // (2 * PARTS)


def seat(slot: int, slots: list[str], choices: dict[str, list[int]], taken: dict[int, int], asked: set[int]) -> bool:
    """Give a slot a person, moving others where that helps (augmenting path)."""
    for person in choices[slots[slot]]:
        if person not in asked:
            asked.add(person)
            if person not in taken or seat(taken[person], slots, choices, taken, asked):
                taken[person] = slot
                return True
    return False


def state_of(frame: Frame, at: dict[int, JobAt], stops: list[Stops]) -> State | None:
    """Build the state of jobs and stops that were found elsewhere; None where a kiln's timetable does not hold."""
    state = State(frame)
    for kiln, by_place in enumerate(stops):
        state.stops[kiln] = dict(by_place)
        for place, stop in by_place.items():
            state.occupy(stop.person, *frame.set_up_span(kiln, place, stop.set_up_start_min))
    for job, one in at.items():
        kiln = frame.kiln_of[job]
        is_stopped = frame.jobs[job].needs_state in LOCKED_OUT
        state.put(job, one, state.stops[kiln][one.place] if is_stopped else None, None)
    for kiln in range(len(frame.kilns)):
        starts = state.timetable(kiln, state.stops[kiln], state.work[kiln])
        if starts is None:
            return None
        state.starts[kiln] = starts
    return state
