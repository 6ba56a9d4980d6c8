"""Where a job could go as things stand, nothing else moved for it; and what keeps it from a place.

No charge waits for it and none is interrupted. What is offered so holds: the checker finds nothing broken in it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from plant.basics.sentences import Sentence

from .frame import ANYWHERE, Frame
from .inserting import Inserting, Option
from .places import index_of, is_down, is_in_charge, is_waiting
from .problem import LOCKED_OUT, MOST_HORIZON_MIN, Job, Person, crew_sentences
from .state import State

#: What keeps a job from a place. The first are the same in all places: they lie with the job and the people.
OF_THE_JOB = (
    "missed.pin",
    "missed.after",
    "missed.crowd",
    "missed.skill",
    "missed.hours",
    "missed.nobody_locks_out",
)
RULES = (
    *OF_THE_JOB,
    "missed.short",
    "missed.parts",
    "missed.earliest",
    "missed.safety",
    "missed.shift",
    "missed.lock_out",
    "missed.booked",
    "missed.full",
)


def nearness(missed: Sentence) -> int:
    """Of places that miss for one rule, the one with more of this misses by less: its minutes or its instant."""
    values = dict(missed.values)
    return int(values.get("has_min", values.get("start_at", 0)))  # type: ignore[arg-type]


def without_job(state: State, job: int) -> State:
    """Give the state without a job; where it cannot be taken out alone, a timetable that no longer holds stays."""
    other = state.copy()
    at = other.at.get(job)
    if at is not None and not other.take_out(job):
        del other.at[job]
        for person, _ in at.crew:
            other.release(person, at.start_min, at.start_min + state.frame.jobs[job].duration_min)
    return other


def keeps_followers(state: State, option: Option) -> bool:
    """Whether what waits for the job still waits long enough."""
    frame = state.frame
    end_min = option.at.start_min + frame.jobs[option.job].duration_min
    for follower in frame.followers[option.job]:
        there = state.at.get(follower)
        lags = [lag for before, lag in frame.after[follower] if before == option.job]
        if there is not None and there.start_min < end_min + max(lags):
            return False
    return True


def offers(state: State, job: int, now_min: int = 0, places: Collection[int] | None = None) -> Iterator[Option]:
    """Give where a job could go in a state that it is not in, place by place.

    Parameters
    ----------
    state : State
        everything else
    job : int
        its number
    now_min : int
        nothing begins sooner
    places : collection of int, optional
        those that are looked at; all where none are named
    """
    inserting, frame = Inserting(state, {}, now_min), state.frame
    from_min = inserting.from_min(job)
    starts = state.starts[frame.kiln_of[job]]
    # What somebody keeps at its place is offered no other, before it may move again.
    for region in frame.regions[job] if from_min is not None and job not in frame.pinned else ():
        if places is None or region.place in places:
            for one in inserting.options_in(job, region, from_min or 0, False, 4):
                held = one if one.starts in (None, starts) else inserting.held(one)
                if held is not None and keeps_followers(state, held):
                    yield held


def best_offer(state: State, job: int, now_min: int = 0, places: Collection[int] | None = None) -> Option | None:
    """Give the place that adds least, of equals the earliest; None where there is none."""
    return min(offers(state, job, now_min, places), key=lambda one: (one.price, one.at.start_min), default=None)


def places_for(frame: Frame, job: int) -> list[int]:
    """Name the places of its kiln in which the state is the one that a job needs, short ones too."""
    of, kiln = frame.jobs[job], frame.kiln_of[job]
    if of.needs_state == "any":
        return [ANYWHERE]
    count = len(frame.kilns[kiln].charges)
    if of.needs_state == "running":
        return list(range(1, 2 * count - 1, 2))
    openings = [place for place in range(0, 2 * count, 2) if of.needs_state == "still" or frame.is_empty(kiln, place)]
    return openings + frame.places_beside(kiln, of)


def room_in(state: State, kiln: int, place: int, now_min: int = 0) -> tuple[int, int]:
    """Give from when to when work can be done in a place, as the charges now stand: locking out and restoring off."""
    frame, index = state.frame, index_of(place)
    of, starts = frame.kilns[kiln], state.starts[kiln]
    if is_down(place):
        down = of.down[index]
        return max(now_min, down.start_min) + of.set_up_min, down.end_min - of.restore_min
    if is_waiting(place):
        course = state.courses(kiln)[index]
        return max(now_min, course.cooled_min) + of.set_up_min, course.unload_min - of.restore_min
    if is_in_charge(place):
        charge = of.charges[index]
        return max(now_min, starts[index] + charge.loading_min), state.runs_until(kiln, index)
    ended = max(now_min, state.ended(kiln, index))
    if frame.is_locked_out(kiln, place):
        ended = max(now_min, of.locked_out_min)
    started = frame.latest_start[kiln][-1] if index == len(of.charges) - 1 else starts[index]
    return ended + frame.set_up_min(kiln, place), started - of.restore_min


def why_not(state: State, job: int, place: int, now_min: int = 0) -> Sentence:
    """Name the first rule that keeps a job, which is not in the state, from a place as things stand."""
    return _Look(state, job, place, now_min).missed()


class _Look:
    def __init__(self, state: State, job: int, place: int, now_min: int) -> None:
        self.state, self.frame, self.job, self.place, self.now_min = state, state.frame, job, place, now_min
        self.of: Job = state.frame.jobs[job]
        self.kiln = state.frame.kiln_of[job]
        horizon = state.frame.problem.horizon_min
        low, high = (now_min, horizon) if place == ANYWHERE else room_in(state, self.kiln, place, now_min)
        self.low, self.high = low, min(high, horizon)

    def missed(self) -> Sentence:
        return next(found for found in self._rules() if found is not None)

    def _rules(self) -> Iterator[Sentence | None]:
        of, locks_out = self.of, self.of.needs_state in LOCKED_OUT
        if self.job in self.frame.pinned:
            yield Sentence.of("missed.pin", job=of.ref)
        yield self._waits_in_vain()
        most = self.frame.kilns[self.kiln].max_people_inside
        if locks_out and of.crew_size > most:
            yield Sentence.of("missed.crowd", kiln=of.kiln, count=of.crew_size, most=most)
        yield self._lacks_skill()
        yield self._lacks_time()
        self.low = max(self.low, of.from_min)
        if of.safety:
            if self.low + of.duration_min > of.latest_min:
                yield Sentence.of("missed.safety", latest_at=of.latest_min)
            self.high = min(self.high, of.latest_min)
        yield self._lacks_crew()
        yield self._lacks_lock_out() if locks_out else None
        yield Sentence.of("missed.full", kiln=of.kiln)

    def _waits_in_vain(self) -> Sentence | None:
        for before, lag_min in self.frame.after[self.job]:
            first, there = self.frame.jobs[before], self.state.at.get(before)
            ended = self.high if there is None else there.start_min + first.duration_min + lag_min
            if ended + self.of.duration_min > self.high:
                return Sentence.of("missed.after", job=first.ref)
        return None

    def _lacks_skill(self) -> Sentence | None:
        """Whether the mill has too few people of a skill from when the job may begin."""
        from_min = max(self.of.from_min, self.now_min)
        for skill, count in self.frame.crew_of[self.job]:
            able = [person for person in self.frame.people if skill in person.skills]
            there = [one for one in able if not _is_gone(one, from_min)]
            if len(there) < count:
                return Sentence.of("missed.skill", skill=skill, needed=count, count=len(there), start_on=from_min)
        return None

    def _lacks_time(self) -> Sentence | None:
        of, has_min = self.of, max(self.high - self.low, 0)
        if has_min < of.duration_min:
            return Sentence.of("missed.short", needed_min=of.duration_min, has_min=has_min)
        if max(of.from_min, self.low) + of.duration_min <= self.high:
            return None
        if of.parts_min >= of.earliest_min:
            return Sentence.of("missed.parts", start_at=of.from_min)
        return Sentence.of("missed.earliest", start_at=of.from_min)

    def _lacks_crew(self) -> Sentence | None:
        frame, of = self.frame, self.of
        last = self.high - of.duration_min
        longest = max((shift.overtime_end_min - shift.start_min for shift in frame.shifts), default=0)
        if longest < of.duration_min:
            return Sentence.of("missed.hours", needed_min=of.duration_min, longest_min=longest)
        skills = crew_sentences(frame.crew_of[self.job])
        empty, is_there = State(frame), False
        for number, shift in enumerate(frame.shifts):
            begin = max(self.low, shift.start_min)
            until = min(last, shift.end_min - 1, shift.overtime_end_min - of.duration_min)
            if begin <= until and empty.earliest_crew(self.job, number, begin, until) is not None:
                is_there = True
                if self.state.earliest_crew(self.job, number, begin, until) is not None:
                    return None
        if is_there:
            return Sentence.of("missed.booked", skills=skills)
        return Sentence.of("missed.shift", needed_min=of.duration_min, skills=skills)

    def _lacks_lock_out(self) -> Sentence | None:
        frame = self.frame
        if self.place in self.state.stops[self.kiln] or frame.is_locked_out(self.kiln, self.place):
            return None
        if not any(frame.can_lock_out):
            return Sentence.of("missed.nobody_locks_out", kiln=self.of.kiln)
        inserting = Inserting(self.state, {}, self.now_min)
        if next(inserting.set_ups(self.kiln, self.place, self.high - self.of.duration_min), None) is None:
            return Sentence.of("missed.lock_out", kiln=self.of.kiln)
        return None


def _is_gone(person: Person, from_min: int) -> bool:
    """Whether somebody is away for good from then on."""
    return any(gone <= from_min and back >= MOST_HORIZON_MIN for gone, back in person.away)
