"""Plans as they stand, ready to be asked: the places on record, or a plan that was worked out.

Both are kept in the process, since a board asks at every move of the hand: the record until something is recorded or
some minutes have passed, a plan until it changes.
"""

import json
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from threading import Lock

from django.db import connection

from maintenance.models import Plan, WorkOrder
from maintenance.placing import plan as plans
from maintenance.placing.checking import Broken
from maintenance.placing.frame import ANYWHERE, PARTS, Frame
from maintenance.placing.letting_go import pins_to_let_go
from maintenance.placing.offering import offers, places_for, room_in, without_job
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.problem import LOCKED_OUT
from maintenance.placing.reading import read_problem
from maintenance.placing.reasons import Reason, reason_of
from maintenance.placing.standing import KeptPlace, KeptStop, Move, Moves, stand, state_of_plan
from maintenance.placing.state import State
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.drawing import Drawn, Place, draw_problem, held_back, person_id_of
from maintenance.plans.place_faults import not_ready, why_not_drawn
from maintenance.plans.plan_words import PlanWords
from plant.basics.sentences import Sentence, Sentences, all_from_json, all_to_json
from plant.models import Change, Mill

FRESH_FOR = timedelta(minutes=10)
MOST_KEPT = 8


@dataclass(frozen=True)
class LockOut:
    """Who locks a kiln out for a job, from when, and when the kiln is ready again."""

    person_id: str
    from_at: datetime
    ready_at: datetime


@dataclass(frozen=True)
class Verdict:
    """What another place for a job would mean; it holds where there are no faults."""

    job_ref: str
    start_at: datetime
    end_at: datetime
    people: tuple[str, ...]
    faults: Sentences
    more_cents: int
    parts: Mapping[str, int]
    held_back: tuple[tuple[int | None, int], ...]
    is_interruption: bool
    total_cents: int
    lock_out: LockOut | None
    #: What does not forbid it, but must be said: a date that passes, charges that give way.
    warnings: Sentences = ()
    #: Starts nearby that would hold, with what they cost more.
    near: tuple[tuple[datetime, int], ...] = ()
    plan: plans.Plan | None = field(default=None, repr=False)

    @property
    def holds(self) -> bool:
        """Say whether nothing is broken."""
        return not self.faults


class Standing(PlanWords):
    """A plan with the records behind it."""

    def __init__(self, drawn: Drawn, state: State) -> None:
        self._moves = Moves(state)
        super().__init__(drawn, state, self._moves.plan)
        #: Jobs whose place on record no longer holds: why, and where the record and the board still have them.
        self.loose: dict[str, Sentences] = {}
        self.loose_at: dict[str, Place] = {}
        #: All jobs whose place on record no longer holds, also those that are no part of a plan, with why.
        self.failing: dict[str, Sentences] = {}
        #: Jobs whose time has begun by plan, which nobody has begun, and whose kiln is not ready for them.
        self.not_ready: dict[str, Sentences] = {}
        self.cost = self._moves.verdict.cost

    @cached_property
    def cost_as_shown(self) -> plans.Cost:
        """What the places cost as the board shows them: one that no longer holds counts as placed where it is."""
        more: Counter[str] = Counter()
        for ref in self.loose_at:
            more.update(self._more_as_shown(ref))
        return replace(self.cost, **{part: getattr(self.cost, part) + cents for part, cents in more.items()})

    def _more_as_shown(self, ref: str) -> dict[str, int]:
        """What a job costs more where the board shows it than left out, by part; nothing for a place that holds."""
        place = self.loose_at.get(ref)
        if place is None:
            return {}
        job = self.frame.number_of_job[ref]
        return {
            "left_out": -self.frame.jobs[job].leave_out_cents,
            "moves": -(self.frame.move_price(job, None, set()) // PARTS),
            "delay": round(Decimal(self.frame.delay_price(job, self.drawn.minute(place.end_at))) / PARTS),
        }

    def try_place(self, ref: str, start_at: datetime, people: Sequence[str] | None = None) -> Verdict:
        """Say what a place for a job would mean; people are ids as text, None whoever is free.

        A job that is not part of the plan, and people who are not part of the mill, are faults like any other.
        """
        start_min = self.drawn.minute(start_at)
        ends_at = self.drawn.at(self.frame.problem.horizon_min)
        if not self.drawn.base_at <= start_at < ends_at:
            return self._refusal(ref, start_at, Sentence.of("fault.not_planned", wanted_at=start_at, until_at=ends_at))
        if ref not in self.frame.number_of_job:
            return self._refusal(ref, start_at, *(self.drawn.aside.get(ref) or [Sentence.of("fault.no_part", job=ref)]))
        job = self.frame.jobs[self.frame.number_of_job[ref]]
        end_at = start_at + timedelta(minutes=job.duration_min)
        crew: frozenset[str] | None = None
        if people is not None:
            parts = {one: self.drawn.part_of(one, start_min) for one in people}
            unknown = [one for one, part in parts.items() if part is None]
            if unknown:
                why = Sentence.of("fault.no_shift", names=[self.name_of(one) for one in unknown])
                return replace(self._refusal(ref, start_at, why), end_at=end_at, people=tuple(people))
            crew = frozenset(part for part in parts.values() if part is not None)
        return self._verdict(ref, start_at, end_at, self._moves.move(ref, start_min, crew))

    def faults_of_kept(self, ref: str, kept: KeptPlace) -> Sentences:
        """Say what a job breaks where it was kept; nothing where only others stand in its way."""
        people = [person_id_of(one) for one in sorted(kept.people)]
        return self.try_place(ref, self.drawn.at(kept.start_min), people).faults

    def faults_on_record(self, ref: str, kept: KeptPlace) -> Sentences:
        """Say what a job breaks where it was kept, and that no charge waits or breaks off for it on record."""
        if not self._has_the_kiln(ref, kept.start_min):
            # Said at once: to hold it against all rules takes its time, and on a bad morning there are hundreds.
            return (self._kiln_then(ref, kept.start_min),)
        people = [person_id_of(one) for one in sorted(kept.people)]
        found = self.try_as_recorded(ref, self.drawn.at(kept.start_min), people)
        return found.faults or (Sentence.of("fault.in_its_way"),)

    def _has_the_kiln(self, ref: str, start_min: int) -> bool:
        """Say whether the kiln is, for as long as a job takes, in the state that it needs, as the charges stand."""
        job = self.frame.number_of_job[ref]
        kiln, end_min = self.frame.kiln_of[job], start_min + self.frame.jobs[job].duration_min
        for place in places_for(self.frame, job):
            from_min, to_min = (start_min, end_min) if place == ANYWHERE else room_in(self.state, kiln, place)
            if from_min <= start_min and end_min <= to_min:
                return True
        return False

    def try_as_recorded(self, ref: str, start_at: datetime, people: Sequence[str]) -> Verdict:
        """Say what a place would mean for which no charge may wait and none be interrupted."""
        found = self.try_place(ref, start_at, people)
        if found.holds and (found.held_back or found.is_interruption):
            return replace(found, faults=(self._kiln_then(ref, self.drawn.minute(start_at)),))
        return found

    def _refusal(self, ref: str, start_at: datetime, *why: Sentence) -> Verdict:
        """Say that a wish cannot even be tried."""
        return Verdict(ref, start_at, start_at, (), why, 0, {}, (), False, self.cost.total, None)

    def _verdict(self, ref: str, start_at: datetime, end_at: datetime, move: Move) -> Verdict:
        placed = move.plan.jobs[ref]
        stop = move.plan.stops[placed.stop] if placed.stop is not None else None
        was = held_back(self.drawn, self.plan)
        late = held_back(self.drawn, move.plan)
        shifted = tuple(
            (charge_id, minutes - was.get(charge_id, 0))
            for charge_id, minutes in late.items()
            if minutes != was.get(charge_id, 0)
        )
        lock_out = None
        # What is compared with is the place that the board shows, also where that one does not hold.
        shown = self._more_as_shown(ref)
        parts = {part: move.parts.get(part, 0) - shown.get(part, 0) for part in plans.COST_PARTS}
        less_cents = sum(shown.values())
        if stop is not None:
            lock_out = LockOut(
                person_id_of(stop.person), self.drawn.at(stop.set_up_start_min), self.drawn.at(stop.end_min)
            )
        return Verdict(
            job_ref=ref,
            start_at=start_at,
            end_at=end_at,
            people=tuple(sorted({person_id_of(person) for person, _skill in placed.crew}, key=int)),
            faults=tuple(dict.fromkeys(self._faults(ref, move))),
            more_cents=move.more_cents - less_cents,
            parts={part: cents for part, cents in parts.items() if cents},
            held_back=shifted,
            is_interruption=stop is not None and stop.in_charge is not None,
            total_cents=move.total_cents,
            lock_out=lock_out,
            warnings=tuple(self._warnings(ref, end_at, shifted, stop)),
            near=tuple((self.drawn.at(minute), cents - less_cents) for minute, cents in move.near),
            plan=move.plan,
        )

    def _warnings(
        self, ref: str, end_at: datetime, shifted: Iterable[tuple[int | None, int]], stop: plans.Stop | None
    ) -> Iterator[Sentence]:
        """Say what a place does not break, and what must be known all the same: a late place is better than none."""
        job = self.frame.jobs[self.frame.number_of_job[ref]]
        latest_at, due_at = self.drawn.at(job.latest_min), self.drawn.at(job.due_min)
        if (job.safety or job.late_cents_per_hour) and end_at > latest_at:
            yield Sentence.of("mind.after_safety", latest_at=latest_at, kiln=job.kiln)
        elif end_at > due_at:
            yield Sentence.of("mind.after_due", due_at=due_at)
        if stop is not None and stop.in_charge is not None:
            charge = self.charge(stop.kiln, stop.in_charge)
            yield Sentence.of("mind.interrupted", charge=charge)
        for charge_id, minutes in shifted:
            waiting = self.charges.get(charge_id or 0)
            if waiting is not None and minutes > 0:
                yield Sentence.of("mind.charge_waits", charge=waiting.number, later_min=minutes)

    @property
    def broken(self) -> tuple[Broken, ...]:
        """What does not hold in the plan by itself."""
        return self._moves.verdict.broken

    def with_plan(self, plan: plans.Plan) -> "Standing":
        """Return the same problem with another plan. Raises ValueError for one whose timetable does not hold."""
        state = state_of_plan(self.frame, plan)
        if state is None:
            raise ValueError("The timetable of this plan does not hold.")
        return Standing(self.drawn, state)

    def has_place_in_time(self, ref: str) -> bool:
        """Say whether safety work could be done by its date, with all else as it stands."""
        if ref not in self.frame.number_of_job:
            return False
        job = self.frame.number_of_job[ref]
        of = self.frame.jobs[job]
        found = offers(without_job(self.state, job), job)
        return any(one.at.start_min + of.duration_min <= of.latest_min for one in found)

    def reason(self, ref: str) -> Reason:
        """Say why a job is where it is. Raises KeyError for a job that is not part of the plan."""
        return reason_of(self.state, ref)


def standing_on(desk: Desk) -> Standing:
    """Return the places on record as a plan, with why some of them do not hold any more.

    Safety work may lie after its date only where nothing in time is left for it, as all else stands.
    """
    late = {
        ref
        for ref, order in desk.to_place.items()
        if order.latest_at is not None and (not has_place(order) or ends_late(order))
    }
    standing = standing_in(desk, draw_problem(desk, gives_way=late))
    if in_time := {ref for ref in late if standing.has_place_in_time(ref)}:
        standing = standing_in(desk, standing.drawn.with_dates_kept(in_time))
    standing.failing = _failing(desk, standing)
    standing.not_ready = not_ready(desk)
    return standing


def _failing(desk: Desk, standing: Standing) -> dict[str, Sentences]:
    """Say of every place on record that does not hold any more why; what is in hand is nobody's to place any more."""
    aside = standing.drawn.aside
    here = {ref for ref in desk.placed_refs if ref in desk.to_place and ref not in desk.in_hand}
    return {ref: aside.get(ref) or standing.loose[ref] for ref in sorted(here) if ref in aside or ref in standing.loose}


def standing_in(desk: Desk, drawn: Drawn) -> Standing:
    """Return the places on record as a plan for a problem that was drawn from the desk.

    Pins that cannot be kept, the smallest set of them, are let go in its problem.
    """
    frame, kept, stops = Frame(drawn.problem), kept_places(desk, drawn), kept_stops(desk, drawn)
    if gone := pins_to_let_go(frame, kept, stops):
        drawn = drawn.without_pins(gone)
        frame = Frame(drawn.problem)
    state, loose = stand(frame, kept, stops, as_recorded=True)
    standing = Standing(drawn, state)
    for ref in frame.number_of_job.keys() - kept.keys():
        if has_place(desk.orders[ref]):
            standing.loose[ref] = (why_not_drawn(desk, ref),)
    for ref in loose:
        standing.loose[ref] = standing.faults_on_record(ref, kept[ref])
    standing.loose_at = {ref: _on_record(desk, ref) for ref in standing.loose}
    return standing


def _on_record(desk: Desk, ref: str) -> Place:
    order, placed = desk.orders[ref], desk.orders[ref].placement
    people = tuple(sorted(given.person_id for given in order.assignments.all()))
    return Place(ref, placed.start_at, placed.end_at, people, placed.after_charge_id, placed.during_charge_id, False)


def as_it_stood_to_json(standing: Standing) -> dict[str, object]:
    """Give the places on record as they are kept with a plan: what holds as a plan, what does not beside it."""
    cost = standing.cost_as_shown
    loose = {
        ref: {
            "start_at": place.start_at.isoformat(),
            "end_at": place.end_at.isoformat(),
            "people": list(place.person_ids),
            "broken": all_to_json(standing.loose[ref]),
        }
        for ref, place in standing.loose_at.items()
    }
    return {**plans.plan_to_json(replace(standing.plan, cost=cost, stated_total_cents=cost.total)), "loose": loose}


def as_it_stood_of(plan: Plan) -> Standing:
    """Return the places that stood when a plan was drawn. Raises ValueError for a plan that has no problem yet."""
    standing = _read(plan, plan.as_it_stood)
    for ref, kept in plan.as_it_stood.get("loose", {}).items():
        times = (datetime.fromisoformat(kept["start_at"]), datetime.fromisoformat(kept["end_at"]))
        standing.loose[ref] = all_from_json(kept["broken"])
        standing.loose_at[ref] = Place(ref, *times, tuple(kept["people"]), None, None, False)
    return standing


def best_so_far(plan: Plan) -> Standing | None:
    """Return the best plan that was found by now, by its own problem; None where there is none."""
    return _read(plan, plan.plan) if plan.plan else None


def kept_places(desk: Desk, drawn: Drawn) -> dict[str, KeptPlace]:
    """Return where the jobs of a problem are on record."""
    found = {}
    for ref, issued in drawn.problem.issued.items():
        order = desk.orders[ref]
        place = drawn.place_of(
            order.kiln.tag,
            order.placement.after_charge_id,
            order.placement.during_charge_id,
            issued.start_min,
            is_locked_out=order.needs_state in LOCKED_OUT,
        )
        found[ref] = KeptPlace(issued.start_min, issued.people, place)
    return found


def kept_stops(desk: Desk, drawn: Drawn) -> list[KeptStop]:
    """Return the lock-outs on record that lie ahead."""
    found = []
    for stop in desk.lock_outs:
        begin_min = drawn.minute(stop.lock_out_at)
        charges = (stop.after_charge_id, stop.during_charge_id)
        place = drawn.place_of(stop.kiln.tag, *charges, begin_min, is_locked_out=True)
        person = drawn.part_of(stop.person_id, begin_min)
        if begin_min >= 0 and place is not None and person is not None:
            found.append(KeptStop(stop.kiln.tag, place, begin_min, person))
    return found


def ends_late(order: WorkOrder) -> bool:
    """Say whether a job has its place after its safety date."""
    return order.latest_at is not None and order.placement.end_at > order.latest_at


def as_bytes(content: object) -> bytes:
    """Return kept JSON in the form of a file."""
    return json.dumps(content).encode()


def drawn_of(plan: Plan) -> Drawn:
    """Return the problem that a plan was worked out for. Raises ValueError for a plan that has none yet."""
    if plan.base_at is None or not plan.problem:
        raise ValueError(f"Plan {plan.pk} has no problem yet.")
    problem, _remarks = read_problem(as_bytes(plan.problem))
    return Drawn(
        problem=problem,
        base_at=plan.base_at,
        zone=Mill.objects.current().zone,
        charge_ids={tag: tuple(ids) for tag, ids in plan.charge_ids.items()},
        last_charge_ids=dict(plan.last_charge_ids),
        notes=all_from_json(plan.notes),
        aside={ref: all_from_json(why) for ref, why in plan.aside.items()},
    )


_kept: OrderedDict[tuple[object, ...], tuple[datetime, Standing]] = OrderedDict()
_lock = Lock()


def _keep(key: tuple[object, ...], now_at: datetime, make: Callable[[], Standing]) -> Standing:
    with _lock:
        found = _kept.get(key)
        if found is not None and timedelta(0) <= now_at - found[0] < FRESH_FOR:
            _kept.move_to_end(key)
            return found[1]
    standing = make()
    with _lock:
        _kept[key] = (now_at, standing)
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return standing


def forget() -> None:
    """Forget what is kept in the process."""
    with _lock:
        _kept.clear()


def last_change() -> int:
    """Return the number of the last entry in the history: what was worked out before it may have changed."""
    return Change.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def standing_now(now_at: datetime) -> Standing:
    """Return the places on record as a plan; made anew when anything was recorded since, or after some minutes."""
    return _on_record_since(last_change(), now_at)


def _on_record_since(change: int, now_at: datetime) -> Standing:
    return _keep((_database(), "record", change), now_at, lambda: standing_on(load_desk(now_at)))


def standing_for(order: WorkOrder, now_at: datetime) -> Standing:
    """Return the places on record as a plan that has a job in it, left out by hand or at its time though it be."""
    return standings_for([order], now_at)[order.number]


def standings_for(orders: Iterable[WorkOrder], now_at: datetime) -> dict[str, Standing]:
    """Return for each job, by its number, the places on record as a plan that has it in it."""
    change = last_change()
    standing = _on_record_since(change, now_at)
    found = {}
    for order in orders:
        number = order.number
        if number in standing.frame.number_of_job or number in standing.drawn.aside:
            found[number] = standing
        elif order.is_left_out:
            # They have no place and are in nobody's way: one plan answers for all of them.
            found[number] = _with_left_out_since(change, now_at)
        else:
            found[number] = _taken_up_since(change, now_at, number)
    return found


def _with_left_out_since(change: int, now_at: datetime) -> Standing:
    def make() -> Standing:
        desk = load_desk(now_at)
        for number in tuple(desk.left_out):
            taken_up(desk, number)
        return standing_on(desk)

    return _keep((_database(), "record and what is left out", change), now_at, make)


def _taken_up_since(change: int, now_at: datetime, number: str) -> Standing:
    return _keep(
        (_database(), "record", change, number), now_at, lambda: standing_on(taken_up(load_desk(now_at), number))
    )


def taken_up(desk: Desk, number: str) -> Desk:
    """Let a job be placed that is left out by hand, or at its time and not begun: somebody wants a place for it."""
    desk.left_out.discard(number)
    if number in desk.to_place:
        desk.in_hand.discard(number)
    return desk


def standing_of(plan: Plan) -> Standing:
    """Return a plan that was worked out. Raises ValueError for one that has no plan yet."""
    if not plan.plan or plan.ended_at is None:
        raise ValueError(f"Plan {plan.pk} is not worked out yet.")
    ended_at = plan.ended_at
    return _keep((_database(), "plan", plan.pk, ended_at), ended_at, lambda: _read(plan, plan.plan))


def _read(plan: Plan, content: Mapping[str, object]) -> Standing:
    drawn = drawn_of(plan)
    frame = Frame(drawn.problem)
    kept = read_plan(as_bytes(content))
    if not isinstance(kept, plans.Plan):
        raise TypeError(f"Plan {plan.pk} says that none is possible.")
    state = state_of_plan(frame, kept)
    if state is None:
        raise ValueError(f"Plan {plan.pk} does not hold by its own problem.")
    return Standing(drawn, state)


def _database() -> str:
    return str(connection.settings_dict["NAME"])
