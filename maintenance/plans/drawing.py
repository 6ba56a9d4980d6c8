"""The desk as a placing problem: the programme, the people and the jobs in whole minutes and cents, and back again.

Minute 0 is the present, rounded down. A person whose qualification runs out within the horizon becomes two: one with
the skill, away afterwards, and one without, away before.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

from maintenance.models import KilnStop, WorkOrder
from maintenance.placing.plan import Plan, Stop
from maintenance.placing.problem import (
    LOCK_OUT,
    LOCKED_OUT,
    Charge,
    Issued,
    Job,
    Kiln,
    Person,
    Problem,
    Shift,
)
from maintenance.plans.desk import ANYBODY, Desk, Worker, crew_of, duties, has_place
from maintenance.plans.pieces import Piece, lengths, pieces_of
from maintenance.plans.programme import KilnProgramme
from maintenance.plans.shift_spans import Span, running_on, together
from plant import clock
from plant.basics.sentences import Sentence, Sentences
from plant.kilns.kilns_now import usual_rates

MINUTE = timedelta(minutes=1)
#: A charge may be held back so long. Our own choice, as are the next three.
MOST_DELAY = timedelta(days=3)
#: A job that is left out is taken to wait so long beyond the horizon.
LEFT_OUT_FOR = timedelta(days=14)
#: A safety job that no plan can do in time is placed as soon as can be: each hour late costs so much, and leaving it
#: out at least so much besides. The other prices are settings of the mill (plant.models.mill.PLAN_PRICES); these two
#: are none, for nobody may lower them.
LATE_SAFETY_CENTS_PER_HOUR = 2_000
LEAST_LEAVE_OUT_SAFETY_CENTS = 20_000
#: A phase or a stop under way whose end nobody knows goes on for so long.
OPEN_ENDED = timedelta(days=1)
#: Heating up again takes this share of heating up.
REHEAT_SHARE = 0.5
LEAST_REHEAT_MIN = 60
SPLIT = "~"
#: So far from minute 0 nobody works: who is someone else before or after a day is away until then, or from then on.
FAR_BACK_MIN = 3 * 366 * 24 * 60


def person_id_of(ref: str) -> str:
    """Return the id of a person, as text, whom a ref of the problem stands for: somebody may be two in it."""
    return ref.split(SPLIT)[0]


@dataclass(frozen=True)
class Drawn:
    """A problem drawn from the records: what minute 0 is, which charge is which, and what could not be taken along."""

    problem: Problem
    base_at: datetime
    zone: ZoneInfo
    #: kiln tag -> id of each charge; None for the sentinel where no charge is known there.
    charge_ids: Mapping[str, tuple[int | None, ...]]
    last_charge_ids: Mapping[str, int | None]
    notes: Sentences = ()
    #: Jobs that are not part of the problem, and why, for the planner.
    aside: Mapping[str, Sentences] = field(default_factory=dict)
    #: Person id -> from and to: who is away because they are at work that is under way.
    at_work: Mapping[str, tuple[tuple[int, int], ...]] = field(default_factory=dict)

    def without_pins(self, refs: Collection[str]) -> "Drawn":
        """Return the same with some pins let go."""
        return replace(self, problem=replace(self.problem, pinned=self.problem.pinned.difference(refs)))

    def with_dates_kept(self, refs: Collection[str]) -> "Drawn":
        """Return the same with the safety dates of some jobs to be kept, which were to give way."""
        jobs = tuple(replace(job, safety=True) if job.ref in refs else job for job in self.problem.jobs)
        return replace(self, problem=replace(self.problem, jobs=jobs))

    def at(self, minute: int) -> datetime:
        """Return the instant of a minute."""
        return self.base_at + minute * MINUTE

    def minute(self, at: datetime) -> int:
        """Return the whole minutes from minute 0, rounded down."""
        return int((at - self.base_at) // MINUTE)

    def part_of(self, person_id: int | str, minute: int) -> str | None:
        """Return what a person is called in the problem at a minute; None for somebody it does not have."""
        for person in self.problem.people:
            of, _split, part = person.ref.partition(SPLIT)
            if of == str(person_id) and not (
                part and any(s <= minute < e and _is_outside(s, e) for s, e in person.away)
            ):
                return person.ref
        return None

    def charges_of(self, stop: Stop) -> tuple[int | None, int | None]:
        """Return the charge that a stop lies behind, and the one that it lies in; one of the two, or neither."""
        ids = self.charge_ids[stop.kiln]
        number = stop.before_charge if stop.in_charge is None else stop.in_charge
        if stop.in_charge is not None or self._kilns[stop.kiln].charges[number or 0].goes_on:
            return None, ids[number or 0]
        return ids[number - 1] if number else self.last_charge_ids[stop.kiln], None

    def is_under_way(self, stop: Stop) -> bool:
        """Say whether a stop is the lock-out that its kiln stands under already."""
        return stop.in_charge is None and self._kilns[stop.kiln].is_locked_out_before(stop.before_charge)

    def goes_on_from(self, stop: KilnStop) -> str | None:
        """Return the kiln that a lock-out on record has locked out by minute 0; None for one that lies ahead."""
        return stop.kiln.tag if stop.lock_out_at < self.base_at else None

    @cached_property
    def _kilns(self) -> dict[str, Kiln]:
        return {kiln.tag: kiln for kiln in self.problem.kilns}

    def place_of(
        self, tag: str, after_charge_id: int | None, during_charge_id: int | None, minute: int, *, is_locked_out: bool
    ) -> int | None:
        """Return the place of a kiln behind or in these charges at a minute, if it is there.

        Opening c is 2c, charge c is 2c + 1. A charge that stands in its kiln for a while has several pieces; where the
        kiln is locked out during a charge, that is at such a standstill if one is there then, else it is interrupted.
        """
        ids = self.charge_ids.get(tag, ())
        if during_charge_id is not None:
            return self._place_in(tag, during_charge_id, minute, is_locked_out=is_locked_out)
        if after_charge_id is not None:
            pieces = [n for n, one in enumerate(ids[:-1]) if one == after_charge_id]
            if pieces:
                return 2 * pieces[-1] + 2
            return 0 if after_charge_id == self.last_charge_ids.get(tag) else None
        return None

    def _place_in(self, tag: str, charge_id: int, minute: int, *, is_locked_out: bool) -> int | None:
        charges = self._kilns[tag].charges if tag in self._kilns else ()
        found = None
        for number, (charge, one) in enumerate(zip(charges, self.charge_ids.get(tag, ()), strict=False)):
            if one != charge_id:
                continue
            if charge.goes_on and is_locked_out and minute < charge.start_min:
                return 2 * number if found is None or minute >= found[1] else found[0]
            if found is None or minute >= charge.start_min:
                found = (2 * number + 1, charge.start_min + charge.length_min)
        return None if found is None or found[0] == 2 * len(charges) - 1 else found[0]


@dataclass(frozen=True)
class Place:
    """Where a plan has a job: the instants, the people, and the charge it lies behind or in."""

    job_ref: str
    start_at: datetime
    end_at: datetime
    person_ids: tuple[int, ...]
    after_charge_id: int | None
    during_charge_id: int | None
    is_interruption: bool


def _is_outside(start_min: int, end_min: int) -> bool:
    """Say whether a span is the time before or after a part of a person, not an absence."""
    return start_min <= -FAR_BACK_MIN or end_min >= FAR_BACK_MIN


def draw_problem(desk: Desk, *, gives_way: Iterable[str] = ()) -> Drawn:
    """Draw the problem of all jobs that may be placed.

    ``gives_way`` names safety jobs that no plan can do in time: they are placed as early as can be and cost dearly.
    Jobs in hand, left out by hand, or waiting for parts that nobody has promised are not part of it.
    """
    return _Drawing(desk, frozenset(gives_way)).drawn()


class _Drawing:
    def __init__(self, desk: Desk, gives_way: frozenset[str]) -> None:
        self.desk, self.gives_way = desk, gives_way
        self.base_at = desk.now_at.replace(second=0, microsecond=0)
        self.horizon_min = self.minute(desk.until_at)
        self.rates = usual_rates([one.kiln for one in desk.programme.values()], desk.now_at)
        self.notes: list[Sentence] = []
        # Kiln id -> from minute, until minute, how many: who is inside at work that is in hand.
        self.at_work: dict[str, tuple[tuple[int, int], ...]] = {}
        self.inside: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
        # Person id -> (ref, from minute, until minute): which of its parts somebody is at a minute.
        self.parts: dict[str, list[tuple[str, int, int]]] = {}

    def minute(self, at: datetime) -> int:
        """Return the whole minutes from the base, rounded down."""
        return int((at - self.base_at) // MINUTE)

    def minute_up(self, at: datetime) -> int:
        """Return the whole minutes from the base, rounded up."""
        return -int((self.base_at - at) // MINUTE)

    def drawn(self) -> Drawn:
        people = self._people()
        kilns, ids, last = [], {}, {}
        for one in self.desk.programme.values():
            kiln, charge_ids, last_id = self._kiln(one)
            kilns.append(kiln)
            ids[kiln.tag], last[kiln.tag] = charge_ids, last_id
        shifts = self._shifts()
        longest_min = max((shift.overtime_end_min - shift.start_min for shift in shifts), default=0)
        aside = self.desk.unsupplied()
        jobs = []
        for order in self._orders_to_place(aside):
            job = self._job(order)
            if not shifts:
                aside[job.ref] = (Sentence.of("aside.no_shifts"),)
            elif job.duration_min > longest_min:
                why = Sentence.of("aside.too_long", needed_h=job.duration_min / 60, longest_h=longest_min / 60)
                aside[job.ref] = (why,)
            else:
                jobs.append(job)
        self._note_late_parts(jobs)
        refs = {job.ref for job in jobs}
        issued = {ref: told for ref in sorted(refs) if (told := self._issued(ref)) is not None}
        pinned = frozenset(ref for ref in issued if self.desk.orders[ref].placement.is_pinned)
        mill = self.desk.mill
        problem = Problem(
            origin=self.base_at.astimezone(self.desk.mill.zone).date(),
            horizon_min=self.horizon_min,
            max_delay_min=int(MOST_DELAY // MINUTE),
            overtime_cents_per_person_hour=_cents(mill.labour_rate_per_h * mill.overtime_factor),
            kilns=tuple(kilns),
            people=tuple(people),
            shifts=tuple(shifts),
            jobs=tuple(jobs),
            issued=issued,
            move_cents=_cents(mill.price_per_move),
            pinned=pinned,
        )
        return Drawn(problem, self.base_at, self.desk.mill.zone, ids, last, tuple(self.notes), aside, self.at_work)

    def _note_late_parts(self, jobs: Iterable[Job]) -> None:
        """Name the parts that should have come: the plan takes them to be there tomorrow."""
        today = self.base_at.astimezone(self.desk.mill.zone).date()
        late: dict[str, set[str]] = defaultdict(set)
        for job in jobs:
            for one in self.desk.short.get(self.desk.orders[job.ref].pk, []):
                if one.arrives_on is not None and one.arrives_on < today:
                    late[str(one.part)].add(job.ref)
        for part, refs in sorted(late.items()):
            self.notes.append(Sentence.of("note.late_part", part=part, jobs=sorted(refs)))

    def _kiln(self, one: KilnProgramme) -> tuple[Kiln, tuple[int | None, ...], int | None]:
        open_until_at = self.base_at + OPEN_ENDED
        stands = [
            (down.start_at, down.until_at or max(open_until_at, down.start_at + OPEN_ENDED))
            for down in one.stops
            if down.is_stop
        ]
        all_pieces = [piece for cast in one.forecasts for piece in pieces_of(cast, stands, open_until_at)]
        coming = [piece for piece in all_pieces if piece.end_at > self.base_at]
        over = [cast for cast in one.forecasts if cast.end_at is not None and cast.end_at <= self.base_at]
        charges: list[Charge] = []
        free_min = 0
        for piece in coming:
            charge = self._charge(piece, free_min, is_first=not charges)
            if charge.start_min >= self.horizon_min:
                break
            charges.append(charge)
            free_min = charge.start_min + charge.length_min
        behind = coming[len(charges)] if len(charges) < len(coming) else None
        sentinel_min = max(self.minute(behind.start_at) if behind else 0, self.horizon_min, free_min)
        charges.append(Charge(sentinel_min, 0, 0, 0, 0, 0, 0, goes_on=behind is not None and behind.goes_on))
        ids = (*(piece.charge_id for piece in coming[: len(charges) - 1]), behind.charge_id if behind else None)
        kiln, rate = one.kiln, self.rates.get(one.kiln.pk)
        per_hour = Decimal(rate.m3_per_h.numerator) / Decimal(rate.m3_per_h.denominator) if rate else Decimal(0)
        if rate is None:
            self.notes.append(Sentence.of("note.no_rate", kiln=kiln.tag))
        heating_min = sum(charge.heating_up_min for charge in charges)
        loads = max(1, sum(not charge.goes_on for charge in charges[:-1]))
        locked_out_by, locked_out_min = self._locked_out(kiln.pk)
        return (
            Kiln(
                tag=kiln.tag,
                drying_cents_per_hour=round(per_hour * Decimal(self.desk.mill.drying_margin_per_m3) * 100),
                set_up_min=kiln.lock_out_minutes,
                restore_min=kiln.restore_minutes,
                reheat_min=max(LEAST_REHEAT_MIN, round(REHEAT_SHARE * heating_min / loads)),
                set_up_cents=round(Decimal(self.desk.mill.labour_rate_per_h) * 100 * kiln.lock_out_minutes / 60),
                interruption_cents=_cents(self.desk.mill.price_per_interruption),
                max_people_inside=kiln.max_people_inside,
                charges=tuple(charges),
                inside=tuple(self.inside[kiln.pk]),
                locked_out_by=locked_out_by,
                locked_out_min=locked_out_min,
            ),
            ids,
            over[-1].charge.charge_id if over else None,
        )

    def _charge(self, piece: Piece, free_min: int, *, is_first: bool) -> Charge:
        start_min = self.minute(piece.start_at)
        # What has begun stays where it is; a later charge never begins while the kiln is taken.
        start_min = start_min if is_first and start_min <= 0 else max(start_min, free_min, 1)
        return Charge(start_min, **lengths(piece), goes_on=piece.goes_on)

    def _locked_out(self, kiln_id: int) -> tuple[str, int]:
        """Return who has locked a kiln out by now, and from which minute on it is ready for work."""
        for stop in self.desk.lock_outs:
            person = self._part_at(str(stop.person_id), 0)
            if stop.kiln_id == kiln_id and stop.lock_out_at < self.base_at and person is not None:
                return person, max(0, self.minute_up(stop.locked_at))
        return "", 0

    def _orders_to_place(self, unsupplied: Iterable[str]) -> list[WorkOrder]:
        apart = self.desk.in_hand | self.desk.left_out | set(unsupplied)
        return [order for ref, order in sorted(self.desk.to_place.items()) if ref not in apart]

    def _job(self, order: WorkOrder) -> Job:
        latest_min = self.minute(order.latest_at or order.due_at)
        due_min = min(self.minute(order.due_at), latest_min)
        parts_at = self.desk.parts_at(order)
        until_gone = max(self.horizon_min - max(due_min, 0), 0) + int(LEFT_OUT_FOR // MINUTE)
        late_cents, leave_out_cents = 0, _cents(self.desk.mill.price_per_job_left_out)
        if order.latest_at:
            late_cents = LATE_SAFETY_CENTS_PER_HOUR
            leave_out_cents = max(leave_out_cents, LEAST_LEAVE_OUT_SAFETY_CENTS)
        crew = crew_of(order, ANYBODY)
        return Job(
            ref=order.number,
            kiln=order.kiln.tag,
            needs_state=order.needs_state,  # type: ignore[arg-type]
            duration_min=order.minutes,
            crew=tuple(sorted((self._skill(name), count) for name, count in crew.items())),
            earliest_min=max(self.minute(self.desk.earliest_at(order)), 0),
            parts_min=max(self.minute(parts_at), 0) if parts_at else 0,
            due_min=due_min,
            latest_min=latest_min,
            safety=order.latest_at is not None and order.number not in self.gives_way,
            delay_cents_per_hour=order.delay_cents_per_hour,
            late_cents_per_hour=late_cents,
            leave_out_cents=leave_out_cents + int((order.delay_cents_per_hour + late_cents) * until_gone // 60),
        )

    def _skill(self, name: str) -> str:
        return LOCK_OUT if name == self.desk.lock_out else name

    def _people(self) -> list[Person]:
        busy: dict[str, list[tuple[int, int]]] = defaultdict(list)
        for order, work in self.desk.work_in_hand():
            span = (self.minute(work.start_at), self.minute_up(work.end_at))
            if order.needs_state in LOCKED_OUT and work.person_ids:
                self.inside[order.kiln_id].append((*span, len(work.person_ids)))
            for person in work.person_ids:
                busy[str(person)].append(span)
        self.at_work = {person: tuple(spans) for person, spans in busy.items()}
        for stop in self.desk.lock_outs:
            if stop.lock_out_at < self.base_at < stop.locked_at:
                busy[str(stop.person_id)].append((0, self.minute_up(stop.locked_at)))
        found: list[Person] = []
        for worker in self.desk.workers:
            away = [(self.minute(start_at), self.minute_up(end_at)) for start_at, end_at in worker.away]
            found += self._parts_of(worker, [*away, *busy[worker.ref]])
        return found

    def _parts_of(self, worker: Worker, away: list[tuple[int, int]]) -> list[Person]:
        """Split a person at each day on which a skill runs out within the horizon."""
        first_on = self.base_at.astimezone(self.desk.mill.zone).date()
        ends = sorted({self._end_of(last_on) for last_on in worker.skills.values() if last_on is not None})
        cuts = [0, *(end for end in ends if 0 < end < self.horizon_min), self.far_min]
        found = []
        self.parts[worker.ref] = []
        for index, (from_min, until_min) in enumerate(pairwise(cuts)):
            on = max(first_on, self._day_of(from_min))
            skills = frozenset(
                self._skill(name) for name, last_on in worker.skills.items() if last_on is None or last_on >= on
            )
            ref = worker.ref if len(cuts) == 2 else f"{worker.ref}{SPLIT}{index}"
            outside = [(-self.far_min, from_min)] if from_min else []
            outside += [(until_min, self.far_min)] if until_min < self.far_min else []
            spans = sorted({(start, end) for start, end in [*away, *outside] if end > start})
            found.append(Person(ref, skills, tuple(spans)))
            self.parts[worker.ref].append((ref, from_min, until_min))
        return found

    @property
    def far_min(self) -> int:
        """Return a minute that lies behind every shift."""
        return FAR_BACK_MIN

    def _end_of(self, last_on: date) -> int:
        return self.minute(clock.start_of_day(last_on + timedelta(days=1), self.desk.mill.zone))

    def _day_of(self, minute: int) -> date:
        return (self.base_at + minute * MINUTE).astimezone(self.desk.mill.zone).date()

    def _shifts(self) -> list[Shift]:
        people: dict[Span, set[str]] = defaultdict(set)
        of_person: dict[str, list[Span]] = defaultdict(list)
        for turn, (start_at, end_at) in duties(self.desk.mill, self.desk.now_at, self.desk.until_at):
            start, end = self.minute(start_at), self.minute(end_at)
            if end > 0:
                span = (start, end, end + turn.shift.overtime_minutes)
                people[span].add(str(turn.person_id))
                of_person[str(turn.person_id)].append(span)
        for more in (together(people), running_on(of_person)):
            for span, refs in more.items():
                people[span] |= refs
        found = []
        for number, ((start, end, overtime_end), refs) in enumerate(sorted(people.items()), start=1):
            own = [
                part
                for ref in sorted(refs)
                for part, from_min, until in self.parts.get(ref, ())
                if from_min < end and start < until
            ]
            if own:
                found.append(Shift(f"S{number}", max(start, 0), end, overtime_end, tuple(own)))
        return found

    def _issued(self, ref: str) -> Issued | None:
        order = self.desk.orders[ref]
        if not has_place(order) or order.placement.start_at < self.base_at:
            return None
        start_min = self.minute(order.placement.start_at)
        people = [self._part_at(str(given.person_id), start_min) for given in order.assignments.all()]
        if not people or None in people:
            return None
        return Issued(start_min, frozenset(one for one in people if one))

    def _part_at(self, ref: str, minute: int) -> str | None:
        return next((part for part, start, end in self.parts.get(ref, ()) if start <= minute < end), None)


def _cents(amount: Decimal) -> int:
    return round(Decimal(amount) * 100)


def places(drawn: Drawn, plan: Plan) -> dict[str, Place]:
    """Return where a plan has each job, in the words of the records."""
    durations = {job.ref: job.duration_min for job in drawn.problem.jobs}
    kilns = {job.ref: job.kiln for job in drawn.problem.jobs}
    found = {}
    for ref, placed in plan.jobs.items():
        after, during, is_interruption = None, None, False
        if placed.stop is not None:
            stop = plan.stops[placed.stop]
            (after, during), is_interruption = drawn.charges_of(stop), stop.in_charge is not None
        elif placed.charge is not None:
            during = drawn.charge_ids[kilns[ref]][placed.charge]
        people = tuple(sorted({int(person_id_of(person)) for person, _skill in placed.crew}))
        start_at = drawn.at(placed.start_min)
        end_at = drawn.at(placed.start_min + durations[ref])
        found[ref] = Place(ref, start_at, end_at, people, after, during, is_interruption)
    return found


def held_back(drawn: Drawn, plan: Plan) -> dict[int, int]:
    """Return the charges that a plan loads, or lets go on after a standstill, later than the programme; the minutes."""
    found = {}
    for kiln in drawn.problem.kilns:
        for charge_id, charge, start in zip(
            drawn.charge_ids[kiln.tag], kiln.charges, plan.charge_starts[kiln.tag], strict=True
        ):
            if charge_id is not None and start > charge.start_min:
                found[charge_id] = start - charge.start_min
    return found


def stand_longer(drawn: Drawn, plan: Plan) -> dict[int, tuple[int, int]]:
    """Return the charges that a plan lets stand longer than the programme: from which minute, and how much longer."""
    found = {}
    for kiln in drawn.problem.kilns:
        loaded_later = 0
        starts = plan.charge_starts[kiln.tag]
        for number, (charge_id, charge) in enumerate(zip(drawn.charge_ids[kiln.tag], kiln.charges, strict=True)):
            later = starts[number] - charge.start_min
            if not charge.goes_on:
                loaded_later = later
            elif charge_id is not None and later > loaded_later:
                before = kiln.charges[number - 1] if number else None
                stood_from = before.start_min + before.length_min if before else 0
                found[charge_id] = (stood_from, later - loaded_later)
    return found
