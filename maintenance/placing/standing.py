"""A plan as it stands: made of places that were kept somewhere, and asked what another place for a job would mean."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import chain

from .checking import Broken, Verdict, check
from .frame import ANYWHERE, PARTS, Frame
from .inserting import Fix, Inserting, Option, fill_cheaply, seats
from .offering import keeps_followers, room_in, without_job
from .places import index_of, is_down, is_in_charge, is_waiting
from .plan import COST_PARTS, PlacedJob, Plan, Stop
from .problem import LOCKED_OUT
from .state import JobAt, KilnWork, State, StopAt, Stops, state_of, stop_at


@dataclass(frozen=True)
class KeptPlace:
    """Where a job was kept: its start and people; `place` is the opening (2c) or charge (2c + 1), if that is known."""

    start_min: int
    people: frozenset[str]
    place: int | None = None


@dataclass(frozen=True)
class KeptStop:
    """A lock-out that was kept: the opening (2c) or charge (2c + 1), when it begins and who does it."""

    kiln: str
    place: int
    set_up_start_min: int
    person: str


@dataclass(frozen=True)
class Move:
    """What another place for a job would mean.

    `broken` is what the checker finds that does not hold in the plan as it stands; `more_cents` what the whole plan
    would cost more, part by part in `parts`; `near` other starts nearby that would hold, with what they cost more.
    """

    plan: Plan
    broken: tuple[Broken, ...]
    more_cents: int
    parts: Mapping[str, int]
    total_cents: int
    near: tuple[tuple[int, int], ...] = ()


def state_of_plan(frame: Frame, plan: Plan) -> State | None:
    """Build the state of a plan, so that jobs can be moved in it; None where its timetable does not hold."""
    stops: list[dict[int, StopAt]] = [{} for _ in frame.kilns]
    places: list[tuple[int, int]] = []
    for stop in plan.stops:
        kiln = frame.number_of_kiln[stop.kiln]
        place = frame.timing[kiln].place_of(stop, plan.charge_starts[stop.kiln])
        shift, person = frame.number_of_shift[stop.shift], frame.number_of_person[stop.person]
        stops[kiln][place] = StopAt(stop.set_up_start_min, stop.end_min, shift, person)
        places.append((kiln, place))
    at = {}
    for ref, placed in plan.jobs.items():
        place = ANYWHERE
        if placed.stop is not None:
            place = places[placed.stop][1]
        elif placed.charge is not None:
            place = 2 * placed.charge + 1
        crew = tuple((frame.number_of_person[person], skill) for person, skill in placed.crew)
        at[frame.number_of_job[ref]] = JobAt(place, frame.number_of_shift[placed.shift], placed.start_min, crew)
    return state_of(frame, at, stops)


def stand(
    frame: Frame, places: Mapping[str, KeptPlace], stops: Iterable[KeptStop] = (), *, as_recorded: bool = False
) -> tuple[State, tuple[str, ...]]:
    """Build the state of places that were kept, one after the other; what does not hold any more is left out.

    Parameters
    ----------
    frame : Frame
        the problem
    places : mapping of job to KeptPlace
        where jobs are said to be
    stops : iterable of KeptStop
        lock-outs that are said to be; others are found where they are needed
    as_recorded : bool
        whether charges start when the problem says: none waits for work or is interrupted

    Returns
    -------
    tuple of State and the jobs left out
    """
    state = State(frame)
    kept = {frame.number_of_job[ref]: place for ref, place in places.items()}
    fixed: dict[int, Fix] = {
        job: (place.start_min, frozenset(frame.number_of_person[ref] for ref in place.people))
        for job, place in kept.items()
    }
    set_ups = {(frame.number_of_kiln[one.kiln], one.place): one for one in stops}
    for kiln, of in enumerate(frame.kilns):
        if of.locked_out_by and of.opening_now is not None:
            number = 2 * of.opening_now
            set_ups[kiln, number] = KeptStop(of.tag, number, of.locked_out_min, of.locked_out_by)
    # What keeps its place comes first: nothing else may stand in its way.
    in_order = sorted(kept, key=lambda job: (job not in frame.pinned, kept[job].start_min, job))
    booked = _book(state, in_order, fixed)
    whole: set[int] = set()
    for kiln in range(len(frame.kilns)):
        own = [job for job in in_order if frame.kiln_of[job] == kiln]
        if own and _put_whole(state, kiln, own, kept, fixed, set_ups, booked, as_recorded):
            whole |= set(own)
    inserting = Inserting(state, fixed)
    loose = []
    for job in in_order:
        if job in whole:
            continue
        kiln, place = frame.kiln_of[job], kept[job].place
        if job in booked:
            _give_free(state, job, fixed[job])
        if as_recorded:
            found = [one for one in inserting.options(job) if one.starts in (None, state.starts[kiln])]
        else:
            found = list(inserting.options(job, interrupt=place is None or is_in_charge(place)))
        right = [one for one in found if place is None or _is_there(one.at.place, place)]
        set_up = set_ups.get((kiln, right[0].at.place)) if right else None
        if set_up is not None and right[0].at.place not in state.stops[kiln]:
            right = [_with_set_up(frame, state, one, set_up) or one for one in right[:1]]
        if right:
            inserting.take(min(right, key=lambda one: one.price))
        else:
            loose.append(frame.jobs[job].ref)
    return state, tuple(loose)


def issued_plan(frame: Frame) -> State:
    """Keep what is issued as far as it still holds, and put every other job to where it adds least."""
    places = {ref: KeptPlace(one.start_min, one.people) for ref, one in frame.problem.issued.items()}
    state, _loose = stand(frame, places)
    fill_cheaply(state, [job for job in range(len(frame.jobs)) if job not in state.at])
    return state


def _put_whole(
    state: State,
    kiln: int,
    jobs: list[int],
    kept: Mapping[int, KeptPlace],
    fixed: Mapping[int, Fix],
    set_ups: Mapping[tuple[int, int], KeptStop],
    booked: set[int],
    as_recorded: bool,
) -> bool:
    """Put all jobs of a kiln where they were kept, with the lock-outs kept for them; False where that does not hold."""
    frame = state.frame
    if not booked.issuperset(jobs):
        return False
    ats: dict[int, JobAt] = {}
    ends: dict[int, int] = {}
    work: KilnWork = {}
    for job in jobs:
        at = _kept_at(frame, job, kept[job], fixed[job])
        if at is None:
            return False
        if is_in_charge(at.place) and frame.jobs[job].needs_state in LOCKED_OUT and not frame.timing[kiln].is_plain:
            # It may lie in a time in which the charge waits or the kiln is down, too.
            return False
        ats[job] = at
        end_min = at.start_min + frame.jobs[job].duration_min
        if frame.jobs[job].needs_state in LOCKED_OUT:
            ends[at.place] = max(ends.get(at.place, 0), end_min + frame.kilns[kiln].restore_min)
        if frame.is_timed_round(job, at.place):
            work.setdefault(at.place, []).append(state.work_of(job, at))
    stops: dict[int, StopAt] = {}
    for place, end_min in ends.items():
        set_up = set_ups.get((kiln, place))
        stop = None if set_up is None else _kept_stop(state, kiln, set_up, end_min)
        first = min(at.start_min for job, at in ats.items() if at.place == place)
        if stop is None or stop.set_up_start_min + frame.set_up_min(kiln, place) > first:
            return False
        stops[place] = stop
    starts = state.timetable(kiln, stops, work)
    if as_recorded and (starts != state.starts[kiln] or _interrupts(frame, kiln, starts, stops, work)):
        return False
    if starts is None or len({(s.person, s.set_up_start_min) for s in stops.values()}) < len(stops):
        return False
    for job, at in ats.items():
        if frame.jobs[job].needs_state in LOCKED_OUT and state.has_room_inside(job, at.start_min) is not None:
            return False
    for job in jobs:
        _give_free(state, job, fixed[job])
        state.put(job, ats[job], stops.get(ats[job].place) if frame.jobs[job].needs_state in LOCKED_OUT else None, None)
    state.starts[kiln] = starts
    return True


def _interrupts(frame: Frame, kiln: int, starts: list[int], stops: Stops, work: KilnWork) -> bool:
    """Whether a charge is interrupted."""
    return any(one.is_interrupted for one in frame.timing[kiln].follow(starts, stops, work) or ())


def _is_there(place: int, kept: int) -> bool:
    """Whether a place is the one that was kept; a time that lies in a charge or an opening is told as that."""
    return place == kept or is_down(place) or (is_waiting(place) and 2 * index_of(place) + 1 == kept)


def _kept_at(frame: Frame, job: int, kept: KeptPlace, fix: Fix) -> JobAt | None:
    """Give a job its place, shift and crew as they were kept, if its own rules hold there."""
    of, (start_min, people) = frame.jobs[job], fix
    end_min = start_min + of.duration_min
    place = ANYWHERE if of.needs_state == "any" else kept.place
    crew = seats(frame, job, sorted(people or ()))
    region = next((one for one in frame.regions[job] if one.place == place), None)
    if place is None or crew is None or region is None or start_min < of.from_min or frame.after[job]:
        return None
    if not (region.from_min <= start_min and end_min <= region.to_min) or (of.safety and end_min > of.latest_min):
        return None
    number = _shift_of(frame, start_min, end_min, people or frozenset())
    return None if number is None else JobAt(place, number, start_min, crew)


def _shift_of(frame: Frame, start_min: int, end_min: int, people: frozenset[int]) -> int | None:
    """Give the shift of all these people that a time lies in, with the least overtime."""
    fitting = [
        number
        for number, shift in enumerate(frame.shifts)
        if shift.start_min <= start_min < shift.end_min
        and end_min <= shift.overtime_end_min
        and people <= set(frame.shift_people[number])
    ]
    return min(fitting, key=lambda number: max(0, end_min - frame.shifts[number].end_min), default=None)


def _kept_stop(state: State, kiln: int, kept: KeptStop, end_min: int) -> StopAt | None:
    """Give a lock-out as it was kept, if whoever does it is on shift and free."""
    frame = state.frame
    person, begin_min = frame.number_of_person.get(kept.person), kept.set_up_start_min
    ready_min = begin_min + frame.set_up_min(kiln, kept.place)
    if person is not None and frame.is_locked_out(kiln, kept.place):
        return StopAt(begin_min, max(end_min, ready_min + frame.kilns[kiln].restore_min), 0, person)
    if person is None or begin_min < 0 or not state.is_free(person, begin_min, ready_min):
        return None
    number = _shift_of(frame, begin_min, ready_min, frozenset({person}))
    if number is None or person not in frame.can_lock_out[number]:
        return None
    return StopAt(begin_min, max(end_min, ready_min + frame.kilns[kiln].restore_min), number, person)


def _book(state: State, jobs: Iterable[int], fixed: Mapping[int, Fix]) -> set[int]:
    """Book the people of all jobs ahead, so that nobody is sent to lock out who is at work then."""
    booked = set()
    for job in jobs:
        start_min, people = fixed[job]
        end_min = start_min + state.frame.jobs[job].duration_min
        if people and all(state.is_free(person, start_min, end_min) for person in people):
            for person in people:
                state.occupy(person, start_min, end_min)
            booked.add(job)
    return booked


def _give_free(state: State, job: int, fix: Fix) -> None:
    start_min, people = fix
    for person in people or ():
        state.release(person, start_min, start_min + state.frame.jobs[job].duration_min)


def _with_set_up(frame: Frame, state: State, option: Option, kept: KeptStop) -> Option | None:
    """Let whoever was to lock out do it, if that still holds."""
    kiln = frame.kiln_of[option.job]
    own = None if option.stop is None else _kept_stop(state, kiln, kept, option.stop.end_min)
    if own is None or own.set_up_start_min + frame.set_up_min(kiln, option.at.place) > option.at.start_min:
        return None
    starts = state.timetable(kiln, {**state.stops[kiln], option.at.place: own}, state.with_work(option.job, option.at))
    return None if starts is None else replace(option, stop=own, starts=starts)


class Moves:
    """A plan as it stands, which can be asked what another place for a job would mean."""

    def __init__(self, state: State) -> None:
        self.state, self.frame = state, state.frame
        self.plan = state.to_plan()
        self.verdict: Verdict = check(state.frame.problem, self.plan)
        self.known = frozenset(self.verdict.broken)

    def move(self, ref: str, start_min: int, people: frozenset[str] | None) -> Move:
        """Say what it would mean to start a job at a minute with these people; None: whoever is free.

        Raises
        ------
        KeyError
            for a job or person that the problem does not have
        """
        frame = self.frame
        job = frame.number_of_job[ref]
        crew = None if people is None else frozenset(frame.number_of_person[one] for one in people)
        without = without_job(self.state, job)
        best = self._best(without, job, (start_min, crew))
        if best is not None:
            Inserting(without).take(best)
            return self._meaning(without.to_plan())
        plan = self._forced(without, job, start_min, crew)
        near = self._near(without, job, start_min)
        return self._meaning(plan, near)

    def _best(self, state: State, job: int, fix: Fix) -> Option | None:
        options = list(Inserting(state, {job: fix}).options(job, interrupt=True))
        sound = [one for one in options if keeps_followers(state, one)]
        return min(
            sound, key=lambda one: (is_in_charge(one.at.place) and one.stop is not None, one.price), default=None
        )

    def _near(self, state: State, job: int, start_min: int) -> tuple[tuple[int, int], ...]:
        """Name the nearest start before and after that would hold, with what the job costs more there than here."""
        if job in self.frame.pinned:
            return ()
        options = [one for one in Inserting(state).options(job, interrupt=False) if keeps_followers(state, one)]
        now = self.state.price() - state.price()
        before = [one for one in options if one.at.start_min < start_min]
        after = [one for one in options if one.at.start_min > start_min]
        chosen = [max(before, key=lambda one: one.at.start_min, default=None)]
        chosen.append(min(after, key=lambda one: one.at.start_min, default=None))
        left_out = self.frame.leave_out_price(job)
        return tuple(
            (one.at.start_min, round((one.price - left_out - now) / PARTS)) for one in chosen if one is not None
        )

    def _meaning(self, plan: Plan, near: tuple[tuple[int, int], ...] = ()) -> Move:
        verdict = check(self.frame.problem, replace(plan, bound_cents=0))
        plan = replace(plan, cost=verdict.cost, stated_total_cents=verdict.cost.total)
        broken = tuple(one for one in verdict.broken if one.rule not in ("cost", "bound") and one not in self.known)
        here = self.verdict.cost
        parts = {
            part: getattr(verdict.cost, part) - getattr(here, part)
            for part in COST_PARTS
            if getattr(verdict.cost, part) != getattr(here, part)
        }
        return Move(plan, broken, verdict.cost.total - here.total, parts, verdict.cost.total, near)

    def _forced(self, without: State, job: int, start_min: int, crew: frozenset[int] | None) -> Plan:
        """Put a job there whatever it breaks, so that the checker can say all of it."""
        frame, of = self.frame, self.frame.jobs[job]
        plan = without.to_plan()
        shift = self._shift_at(start_min, crew)
        given = crew if crew is not None else self._anybody(without, job, shift, start_min)
        named = seats(frame, job, sorted(given)) or tuple(
            (person, skill)
            for person, skill in zip(
                sorted(given), chain.from_iterable([skill] * count for skill, count in frame.crew_of[job]), strict=False
            )
        )
        members = tuple((frame.people[person].ref, skill) for person, skill in named)
        kiln = frame.kiln_of[job]
        stops, stop, charge = list(plan.stops), None, None
        if of.needs_state == "running":
            charge = self._nearest_charge(without, kiln, start_min)
        elif of.needs_state in LOCKED_OUT:
            end_min = start_min + of.duration_min + frame.kilns[kiln].restore_min
            new = self._stop_for(without, kiln, self._stopped_at(without, job, start_min), start_min, end_min)
            stop = next((number for number, one in enumerate(stops) if _where(one) == _where(new)), len(stops))
            if stop < len(stops):
                stops[stop] = replace(stops[stop], end_min=max(stops[stop].end_min, end_min))
            else:
                stops.append(new)
        jobs = {**plan.jobs, of.ref: PlacedJob(start_min, frame.shifts[shift].ref, members, stop, charge)}
        return replace(plan, jobs=jobs, stops=tuple(stops))

    def _shift_at(self, start_min: int, crew: frozenset[int] | None) -> int:
        """Give the shift that a start lies in, with most of the people; else the nearest one."""
        frame = self.frame

        def far(number: int) -> tuple[int, int, int]:
            shift = frame.shifts[number]
            apart = max(shift.start_min - start_min, start_min - shift.end_min + 1, 0)
            there = len(crew & set(frame.shift_people[number])) if crew else len(frame.can_lock_out[number])
            return apart, -there, number

        return min(range(len(frame.shifts)), key=far)

    def _anybody(self, state: State, job: int, shift: int, start_min: int) -> frozenset[int]:
        """Give the job people with its skills, free ones where there are."""
        frame, chosen = self.frame, set[int]()
        end_min = start_min + frame.jobs[job].duration_min
        for skill, count in frame.crew_of[job]:
            able = [one for one in frame.shift_skill[shift].get(skill, ()) if one not in chosen]
            able.sort(key=lambda one: not state.is_free(one, start_min, end_min))
            chosen |= set(able[:count])
        return frozenset(chosen)

    def _nearest_charge(self, state: State, kiln: int, start_min: int) -> int | None:
        starts = state.starts[kiln]
        spans = [(starts[n], state.ended(kiln, n + 1)) for n in range(len(starts) - 1)]
        return min(
            range(len(spans)),
            key=lambda n: max(spans[n][0] - start_min, start_min - spans[n][1], 0),
            default=None,
        )

    def _stopped_at(self, state: State, job: int, start_min: int) -> int:
        """Give the place of a stop at a minute: a down time or a wait for the yard that it lies in, else an opening."""
        kiln = self.frame.kiln_of[job]
        for place in self.frame.places_beside(kiln, self.frame.jobs[job]):
            from_min, to_min = room_in(state, kiln, place)
            if from_min <= start_min < to_min:
                return place
        return 2 * self._opening_at(state, kiln, start_min)

    def _opening_at(self, state: State, kiln: int, start_min: int) -> int:
        """Give the opening that a minute lies in; within a charge, the nearer one of its two sides."""
        spans = [(state.ended(kiln, n) if n else 0, start) for n, start in enumerate(state.starts[kiln])]
        return min(range(len(spans)), key=lambda n: max(spans[n][0] - start_min, start_min - spans[n][1], 0))

    def _stop_for(self, state: State, kiln: int, place: int, start_min: int, end_min: int) -> Stop:
        frame, of = self.frame, self.frame.kilns[kiln]
        if frame.is_locked_out(kiln, place):
            return stop_at(of.tag, place, (of.locked_out_min, end_min), frame.shifts[0].ref, of.locked_out_by)
        begin_min = start_min - of.set_up_min
        shift = self._shift_at(begin_min, None)
        able = frame.can_lock_out[shift] or frame.shift_people[shift]
        able = sorted(able, key=lambda one: not state.is_free(one, begin_min, start_min))
        person = frame.people[able[0]].ref if able else ""
        return stop_at(of.tag, place, (begin_min, end_min), frame.shifts[shift].ref, person)


def _where(stop: Stop) -> tuple[str, int | None, int | None, int | None]:
    """Say in which place of its kiln a stop is; a charge has one, whether it runs or waits for the yard."""
    return stop.kiln, stop.before_charge, stop.in_charge, stop.in_down
