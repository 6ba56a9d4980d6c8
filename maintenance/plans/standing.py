"""Plans as they stand, ready to be asked: the places on record, or a plan that was worked out.

Both are kept in the process, since a board asks at every move of the hand: the record until something is recorded or
some minutes have passed, a plan until it changes.
"""

import json
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from threading import Lock

from django.db import connection
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.frame.words import time_words, value_words
from maintenance.models import KilnStop, Plan
from maintenance.models.catalogue import NeedsState
from maintenance.placing import plan as plans
from maintenance.placing.checking import Broken
from maintenance.placing.frame import PARTS, Frame
from maintenance.placing.letting_go import pins_to_let_go
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.reading import read_problem
from maintenance.placing.reasons import Reason, reason_of
from maintenance.placing.standing import KeptPlace, KeptStop, Move, put_cheaply, stand, state_of_plan
from maintenance.placing.standing import Standing as Stand
from maintenance.placing.state import State
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.drawing import Drawn, Place, draw_problem, held_back, person_id_of
from maintenance.plans.place_faults import faults_of_places, why_not_drawn
from plant.models import Change, Charge, Mill, Person

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
    faults: tuple[str, ...]
    more_cents: int
    parts: Mapping[str, int]
    held_back: tuple[tuple[int | None, int], ...]
    is_interruption: bool
    total_cents: int
    lock_out: LockOut | None
    #: Starts nearby that would hold, with what they cost more.
    near: tuple[tuple[datetime, int], ...] = ()
    plan: plans.Plan | None = field(default=None, repr=False)

    @property
    def holds(self) -> bool:
        """Say whether nothing is broken."""
        return not self.faults


class Standing:
    """A plan with the records behind it."""

    def __init__(self, drawn: Drawn, state: State) -> None:
        self.drawn, self.state = drawn, state
        #: Jobs whose place on record no longer holds: why, and where the record and the board still have them.
        self.loose: dict[str, str] = {}
        self.loose_at: dict[str, Place] = {}
        #: All jobs whose place on record no longer holds, also those that are no part of a plan, with why.
        self.failing: dict[str, str] = {}
        self.frame = state.frame
        self._stand = Stand(state)
        self.plan = self._stand.plan
        self.cost = self._stand.verdict.cost

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
            why = _("%(at)s is not in the time that is planned: from now to %(until)s.") % {
                "at": date_format(start_at.astimezone(self.drawn.zone), "D j M Y, H:i"),
                "until": date_format(ends_at.astimezone(self.drawn.zone), "D j M Y, H:i"),
            }
            return self._refusal(ref, start_at, why)
        if ref not in self.frame.number_of_job:
            why = self.drawn.aside.get(ref) or _("%(number)s is not part of the plan.") % {"number": ref}
            return self._refusal(ref, start_at, why)
        job = self.frame.jobs[self.frame.number_of_job[ref]]
        end_at = start_at + timedelta(minutes=job.duration_min)
        crew: frozenset[str] | None = None
        if people is not None:
            parts = {one: self.drawn.part_of(one, start_min) for one in people}
            unknown = [one for one, part in parts.items() if part is None]
            if unknown:
                names = ", ".join(self.name_of(one) for one in unknown)
                why = _("%(names)s: not on any shift of the time that is planned.") % {"names": names}
                return replace(self._refusal(ref, start_at, why), end_at=end_at, people=tuple(people))
            crew = frozenset(part for part in parts.values() if part is not None)
        return self._verdict(ref, start_at, end_at, self._stand.move(ref, start_min, crew))

    def faults_of_kept(self, ref: str, kept: KeptPlace) -> tuple[str, ...]:
        """Say what a job breaks where it was kept; nothing where only others stand in its way."""
        people = [person_id_of(one) for one in sorted(kept.people)]
        return self.try_place(ref, self.drawn.at(kept.start_min), people).faults

    def _refusal(self, ref: str, start_at: datetime, why: str) -> Verdict:
        """Say that a wish cannot even be tried."""
        return Verdict(ref, start_at, start_at, (), (why,), 0, {}, (), False, self.cost.total, None)

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
            near=tuple((self.drawn.at(minute), cents - less_cents) for minute, cents in move.near),
            plan=move.plan,
        )

    def _faults(self, ref: str, move: Move) -> Iterable[str]:
        """Say every broken rule; that the kiln is in the wrong state is said once, with what it does then."""
        own = move.plan.jobs[ref].stop
        wrong_state = [
            one
            for one in move.broken
            if (one.rule == "state" and one.where == ref) or (one.rule == "stop place" and one.where == f"stop {own}")
        ]
        if wrong_state:
            yield self._kiln_then(ref, move.plan.jobs[ref].start_min)
        for one in move.broken:
            if one not in wrong_state:
                yield self.say(one, ref, move.plan)

    def _kiln_then(self, ref: str, start_min: int) -> str:
        """Say that a kiln is not in the state that a job needs, and which charge is in it or next to it."""
        job = self.frame.jobs[self.frame.number_of_job[ref]]
        kiln = self.frame.number_of_kiln[job.kiln]
        of, starts = self.frame.kilns[kiln], self.state.starts[kiln]
        end_min = start_min + job.duration_min
        said = {
            "kiln": job.kiln,
            "state": NeedsState(job.needs_state).label,
            "start": self._time(start_min),
            "end": self._time(end_min),
        }
        need = _("%(kiln)s is not %(state)s from %(start)s to %(end)s") % said
        if job.needs_state != "running":
            allowance = {"set_up": of.set_up_min, "restore": of.restore_min}
            need += _(", with %(set_up)d min to lock out before and %(restore)d min to restore behind") % allowance
        for number, charge in enumerate(of.charges[:-1]):
            until_min = starts[number] + charge.length_min
            if starts[number] < end_min + of.restore_min and until_min > start_min - of.set_up_min:
                there = {
                    "charge": self.charge_name(job.kiln, number),
                    "start": self._time(starts[number]),
                    "end": self._time(until_min),
                }
                return _("%(need)s: %(charge)s is in it from %(start)s to %(end)s.") % {"need": need, **there}
        return _("%(need)s: no charge is in it.") % {"need": need}

    @property
    def broken(self) -> tuple[Broken, ...]:
        """What does not hold in the plan by itself."""
        return self._stand.verdict.broken

    def with_plan(self, plan: plans.Plan) -> "Standing":
        """Return the same problem with another plan. Raises ValueError for one whose timetable does not hold."""
        state = state_of_plan(self.frame, plan)
        if state is None:
            raise ValueError("The timetable of this plan does not hold.")
        return Standing(self.drawn, state)

    def placed_cheaply(self, ref: str) -> "Standing | None":
        """Return the plan with a job where it adds least and no charge is moved; None where there is no such place."""
        state = put_cheaply(self.state, self.frame.number_of_job[ref])
        return None if state is None else Standing(self.drawn, state)

    def reason(self, ref: str) -> Reason:
        """Say why a job is where it is. Raises KeyError for a job that is not part of the plan."""
        return reason_of(self.state, ref)

    def name_of(self, person_ref: str) -> str:
        """Return a person's name."""
        return self._names.get(person_id_of(person_ref), person_ref)

    @cached_property
    def _mill(self) -> Mill:
        return Mill.objects.current()

    @cached_property
    def _names(self) -> dict[str, str]:
        return {str(pk): name for pk, name in Person.objects.values_list("pk", "name")}

    @cached_property
    def _charge_numbers(self) -> dict[int, str]:
        ids = [one for ids in self.drawn.charge_ids.values() for one in ids if one is not None]
        return dict(Charge.objects.filter(pk__in=ids).values_list("pk", "number"))

    def charge_name(self, tag: str, index: int) -> str:
        """Name a charge of the problem as the mill does."""
        ids = self.drawn.charge_ids.get(tag, ())
        number = self._charge_numbers.get(ids[index] or 0) if index < len(ids) else None
        if number:
            return _("charge %(number)s of %(kiln)s") % {"number": number, "kiln": tag}
        return _("the end of %(kiln)s's programme") % {"kiln": tag}

    def say(self, broken: Broken, ref: str, plan: plans.Plan) -> str:
        """Say a broken rule as a sentence about this mill."""
        where = broken.where
        if where.startswith("stop "):
            subject = self._stop_name(where, plan)
        elif ", charge " in where:
            tag, _comma, index = where.rpartition(", charge ")
            subject = self.charge_name(tag, int(index))
        else:
            subject = where
        text = self.put(broken.pattern, broken.values, plan)
        said = f"{subject} {text}"
        if broken.pattern.startswith("{"):
            said = text if where == ref or broken.rule == "two places" else f"{subject}: {text}"
        return said[:1].upper() + said[1:] + "."

    def put(self, pattern: str, values: Iterable[tuple[str, str | int]], plan: plans.Plan | None = None) -> str:
        """Put names and local times into a sentence of the calculations."""
        return pattern.format(**{name: self._value(name, value, plan or self.plan) for name, value in values})

    def sentence(self, pattern: str, values: Iterable[tuple[str, str | int]]) -> str:
        """Put names and local times into a sentence of the calculations, and let it begin with a capital letter."""
        said = self.put(pattern, values)
        return said[:1].upper() + said[1:]

    def _value(self, name: str, value: str | int, plan: plans.Plan) -> str:
        if name.endswith(("_min", "_cents")):
            return value_words(name, value, self.drawn.at, self._mill)
        if name == "person":
            return self.name_of(str(value))
        if name == "shift":
            return self._shift_name(str(value))
        if name in ("job", "other") and str(value).startswith("stop "):
            return self._stop_name(str(value), plan)
        return str(value)

    def _time(self, minute: int) -> str:
        return time_words(self.drawn.at(minute), self._mill)

    def _shift_name(self, ref: str) -> str:
        number = self.frame.number_of_shift.get(ref)
        if number is None:
            return ref
        shift = self.frame.shifts[number]
        end_at = self.drawn.at(shift.end_min).astimezone(self.drawn.zone)
        return _("from %(start)s to %(end)s") % {"start": self._time(shift.start_min), "end": f"{end_at:%H:%M}"}

    def _stop_name(self, where: str, plan: plans.Plan) -> str:
        number = int(where.removeprefix("stop "))
        if number >= len(plan.stops):
            return where
        stop = plan.stops[number]
        return _("the lock-out of %(kiln)s on %(at)s") % {"kiln": stop.kiln, "at": self._time(stop.set_up_start_min)}


def standing_on(desk: Desk) -> Standing:
    """Return the places on record as a plan, with why some of them do not hold any more."""
    late = {
        ref
        for ref, job in desk.jobs.items()
        if job.is_safety and job.latest_at and (not has_place(desk.orders[ref]) or ends_late(desk, ref))
    }
    standing = standing_in(desk, draw_problem(desk, gives_way=late))
    standing.failing = faults_of_places(desk, standing.loose, standing.drawn.aside)
    return standing


def standing_in(desk: Desk, drawn: Drawn) -> Standing:
    """Return the places on record as a plan for a problem that was drawn from the desk.

    Pins that cannot be kept, the smallest set of them, are let go in its problem.
    """
    frame, kept, stops = Frame(drawn.problem), kept_places(desk, drawn), kept_stops(drawn)
    if gone := pins_to_let_go(frame, kept, stops):
        drawn = drawn.without_pins(gone)
        frame = Frame(drawn.problem)
    state, loose = stand(frame, kept, stops)
    standing = Standing(drawn, state)
    for ref in frame.number_of_job.keys() - kept.keys():
        if has_place(desk.orders[ref]):
            standing.loose[ref] = why_not_drawn(desk, ref)
    for ref in loose:
        faults = standing.faults_of_kept(ref, kept[ref])
        standing.loose[ref] = " ".join(faults) or _("Another place in its way keeps it from holding.")
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
            "broken": standing.loose[ref],
        }
        for ref, place in standing.loose_at.items()
    }
    return {**plans.plan_to_json(replace(standing.plan, cost=cost, stated_total_cents=cost.total)), "loose": loose}


def as_it_stood_of(plan: Plan) -> Standing:
    """Return the places that stood when a plan was drawn. Raises ValueError for a plan that has no problem yet."""
    standing = _read(plan, plan.as_it_stood)
    for ref, kept in plan.as_it_stood.get("loose", {}).items():
        times = (datetime.fromisoformat(kept["start_at"]), datetime.fromisoformat(kept["end_at"]))
        standing.loose[ref] = kept["broken"]
        standing.loose_at[ref] = Place(ref, *times, tuple(kept["people"]), None, None, False)
    return standing


def best_so_far(plan: Plan) -> Standing | None:
    """Return the best plan that was found by now, by its own problem; None where there is none."""
    return _read(plan, plan.plan) if plan.plan else None


def kept_places(desk: Desk, drawn: Drawn) -> dict[str, KeptPlace]:
    """Return where the jobs of a problem are on record."""
    found = {}
    for ref, issued in drawn.problem.issued.items():
        placed = desk.orders[ref].placement
        place = drawn.place_of(desk.orders[ref].kiln.tag, placed.after_charge_id, placed.during_charge_id)
        found[ref] = KeptPlace(issued.start_min, issued.people, place)
    return found


def kept_stops(drawn: Drawn) -> list[KeptStop]:
    """Return the lock-outs on record that lie ahead."""
    found = []
    tags = {kiln.tag for kiln in drawn.problem.kilns}
    for stop in KilnStop.objects.filter(lock_out_at__gte=drawn.base_at).select_related("kiln"):
        place = drawn.place_of(stop.kiln.tag, stop.after_charge_id, stop.during_charge_id)
        begin_min = drawn.minute(stop.lock_out_at)
        person = drawn.part_of(stop.person_id, begin_min)
        if place is not None and person is not None and stop.kiln.tag in tags:
            found.append(KeptStop(stop.kiln.tag, place, begin_min, person))
    return found


def ends_late(desk: Desk, ref: str) -> bool:
    """Say whether a job has its place after its safety date."""
    latest_at = desk.jobs[ref].latest_at
    return latest_at is not None and desk.orders[ref].placement.end_at > latest_at


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
        notes=tuple(plan.notes),
        aside=dict(plan.aside),
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
    return _keep((_database(), "record", last_change()), now_at, lambda: standing_on(load_desk(now_at)))


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
