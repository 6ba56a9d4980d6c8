"""The planner's desk: programme, people, jobs and places of the mill, gathered for the placing in a few queries."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

from maintenance.models import EntryPermit, KilnStop, WorkOrder
from maintenance.orders.supply import SHELVED, Short, amount, missing_parts, say_to_order
from maintenance.placing.problem import LOCK_OUT
from maintenance.plans.programme import KilnProgramme, load_programme
from plant import clock
from plant.basics.sentences import Sentence, Sentences
from plant.models import Absence, DayOff, Kiln, Mill, Person, ShiftDuty, Skill

State = WorkOrder.State
# Work under way that runs over its hours is expected to take so much longer. Our own choice.
RUNS_OVER = timedelta(hours=1)
#: The skill that everybody has.
ANYBODY = "anybody"
# Between the names of skills that one person must have together.
BOTH = " + "

Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class Worker:
    """A person: skills with the last day they are valid (None: without end), on duty, and away."""

    ref: str
    name: str
    skills: Mapping[str, date | None]
    duty: tuple[Span, ...] = ()
    away: tuple[Span, ...] = ()


@dataclass(frozen=True)
class InHand:
    """Work that is under way, by plan or in truth: when and by whom."""

    start_at: datetime
    end_at: datetime
    person_ids: frozenset[int]


@dataclass
class Desk:
    """All that is needed to place jobs, or to look at one place."""

    mill: Mill
    now_at: datetime
    until_at: datetime
    programme: Mapping[int, KilnProgramme]
    workers: list[Worker]
    orders: dict[str, WorkOrder]
    short: dict[int, list[Short]]
    # What the skill is called whose holder locks kilns out.
    lock_out: str = LOCK_OUT
    # Jobs that somebody took out of the plan until they are put back.
    left_out: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.to_place = {ref: order for ref, order in self.orders.items() if order.state in WorkOrder.BEFORE_START}
        # Work that is under way keeps its people, has them inside, and is not moved.
        self.in_hand = {ref for ref, order in self.orders.items() if _is_in_hand(order, self.now_at)}

    @cached_property
    def lock_outs(self) -> list[KilnStop]:
        """The lock-outs on record that are not over; of a chamber open for entry the one that it was opened with."""
        kilns = {pk: one.kiln for pk, one in self.programme.items()}
        found = list(KilnStop.objects.filter(kiln__in=kilns, ready_at__gt=self.now_at))
        for stop in found:
            stop.kiln = kilns[stop.kiln_id]
        known = {stop.kiln_id for stop in found if stop.lock_out_at < self.now_at}
        for permit in (
            EntryPermit.objects.still_open()
            .filter(kiln__in=kilns)
            .exclude(kiln__in=known)
            .select_related("locked_out_by")
        ):
            kiln = kilns[permit.kiln_id]
            at = permit.at - timedelta(minutes=kiln.lock_out_minutes + 1)
            found.append(KilnStop(kiln=kiln, lock_out_at=at, ready_at=self.now_at, person=permit.locked_out_by))
        return found

    def work_in_hand(self) -> Iterator[tuple[WorkOrder, InHand]]:
        """Give what is under way, with when and by whom it is done as far as is known."""
        for ref in sorted(self.in_hand):
            order = self.orders[ref]
            people = frozenset(given.person_id for given in order.assignments.all())
            if order.state == State.UNDER_WAY:
                start_at = order.started_at or self.now_at
                hours_end_at = start_at + timedelta(minutes=order.minutes)
                end_at = hours_end_at if hours_end_at > self.now_at else self.now_at + RUNS_OVER
                yield order, InHand(start_at, end_at, people)
            else:
                yield order, InHand(order.placement.start_at, order.placement.end_at, people)

    @property
    def placed_refs(self) -> list[str]:
        """The orders that have a place ahead, pinned ones first, then by start."""
        refs = [ref for ref, order in self.orders.items() if has_place(order)]
        return sorted(refs, key=lambda r: (not self.orders[r].placement.is_pinned, self.orders[r].placement.start_at))

    def earliest_at(self, order: WorkOrder) -> datetime:
        """Return when a job may begin at the earliest: nothing is placed into the past."""
        wished = [order.earliest_at] if order.earliest_at else []
        if order.not_before_on:
            wished.append(clock.start_of_day(order.not_before_on, self.mill.zone))
        return max([_full_minute(self.now_at), *wished])

    def parts_at(self, order: WorkOrder) -> datetime | None:
        """Return when the last part of a job is there: on the morning after it arrives, or should have."""
        arrivals = [one.arrives_on for one in self.short.get(order.pk, []) if one.arrives_on]
        if not arrivals:
            return None
        today = self.now_at.astimezone(self.mill.zone).date()
        return clock.start_of_day(max(*arrivals, today) + SHELVED, self.mill.zone)

    def unsupplied(self) -> dict[str, Sentences]:
        """Return the orders whose parts are neither there nor promised nor can be ordered, with what lacks."""
        found: dict[str, Sentences] = {}
        for ref, order in self.orders.items():
            lacking = [one for one in self.short.get(order.pk, []) if one.arrives_on is None]
            if lacking:
                names = [amount(one.missing, one.part) for one in lacking]
                found[ref] = (Sentence.of("aside.unsupplied", parts=names),)
        return found

    def to_order(self, order: WorkOrder, start_at: datetime | None = None) -> Sentences:
        """Say what must yet be ordered for a job, and by when; for a start, else for when it is due. Or nothing."""
        short = self.short.get(order.pk, [])
        on = (start_at or order.due_at).astimezone(self.mill.zone).date() - (SHELVED if start_at else timedelta(0))
        return say_to_order(short, on, self.now_at.astimezone(self.mill.zone).date())


def has_place(order: WorkOrder) -> bool:
    """Say whether a work order has a place; asks nothing of the database where it was loaded with it."""
    placed = getattr(order, "placement", None)
    # A place that was taken away in this run still hangs on its order.
    return placed is not None and placed.pk is not None


def load_desk(now_at: datetime, until_at: datetime | None = None) -> Desk:
    """Gather the desk from the database; the number of queries does not depend on the number of rows."""
    mill = Mill.objects.current()
    until = until_at or now_at + timedelta(days=mill.horizon_days)
    programme = load_programme(Kiln.objects.in_use(), now_at, until, now_at)
    unfinished = WorkOrder.objects.unfinished().filter(kiln__in=programme).with_crew()
    orders = {order.number: order for order in unfinished}
    for order in orders.values():
        # The kilns are known: to read them with each of thousands of jobs takes its time.
        order.kiln = programme[order.kiln_id].kiln
    desk = Desk(
        mill=mill,
        now_at=now_at,
        until_at=until,
        programme=programme,
        workers=[],
        orders=orders,
        short=missing_parts(orders.values()),
    )
    desk.workers = _workers(desk)
    desk.lock_out = Skill.objects.filter(code=LOCK_OUT).values_list("name", flat=True).first() or LOCK_OUT
    desk.left_out = {ref for ref, order in desk.to_place.items() if order.is_left_out}
    return desk


def _is_in_hand(order: WorkOrder, now_at: datetime) -> bool:
    if order.state == State.UNDER_WAY:
        return True
    # What is to begin this very minute has not begun: its lock-out is looked at as any other.
    return has_place(order) and order.placement.start_at < now_at < order.placement.end_at


def _full_minute(at: datetime) -> datetime:
    """Return the next full minute: nobody begins at 16:07:47."""
    return (
        at if at == at.replace(second=0, microsecond=0) else at.replace(second=0, microsecond=0) + timedelta(minutes=1)
    )


def crew_of(order: WorkOrder, anybody: str) -> dict[str, int]:
    """Return skill -> persons; further hands may be anybody, and a small crew has several skills in one person."""
    slots = [needed.skill.name for needed in order.skills.all() for _n in range(needed.persons)]
    slots.sort()
    slots += [anybody] * (order.crew - len(slots))
    if len(slots) > order.crew:
        merged: list[list[str]] = [[] for _n in range(order.crew)]
        for index, skill in enumerate(slots):
            merged[index % order.crew].append(skill)
        slots = [joined(skills) for skills in merged]
    crew: dict[str, int] = defaultdict(int)
    for skill in slots:
        crew[skill] += 1
    return dict(crew)


def joined(skills: Iterable[str]) -> str:
    """Name several skills of one person."""
    return BOTH.join(dict.fromkeys(skills))


def _workers(desk: Desk) -> list[Worker]:
    """Everybody who works here, with shifts as instants; people without skills can still lend a hand."""
    duty: dict[int, list[Span]] = defaultdict(list)
    for turn, interval in duties(desk.mill, desk.now_at, desk.until_at):
        duty[turn.person_id].append(interval)
    away: dict[int, list[Span]] = defaultdict(list)
    for absence in Absence.objects.filter(end_at__gt=desk.now_at, start_at__lt=desk.until_at):
        away[absence.person_id].append((absence.start_at, absence.end_at))
    composed = {skill for order in desk.to_place.values() for skill in crew_of(order, ANYBODY)}
    people = Person.objects.working_here().prefetch_related("qualifications__skill")
    return [
        Worker(
            ref=str(person.pk),
            name=person.name,
            skills=_skills(person, composed, ANYBODY),
            duty=tuple(sorted(set(duty[person.pk]))),
            away=tuple(sorted(away[person.pk])),
        )
        for person in people
    ]


def duties(
    mill: Mill, from_at: datetime, until_at: datetime, person: Person | None = None
) -> Iterator[tuple[ShiftDuty, Span]]:
    """Give every shift of all who work here, or of one, from the day before on (a night shift reaches into today)."""
    first_on = from_at.astimezone(mill.zone).date() - timedelta(days=1)
    last_on = until_at.astimezone(mill.zone).date()
    turns = ShiftDuty.objects.select_related("shift").filter(person__is_active=True, from_on__lte=last_on)
    days_off = DayOff.between(first_on, last_on)
    for turn in turns.filter(person=person) if person else turns:
        for on in (first_on + timedelta(days=n) for n in range((last_on - first_on).days + 1)):
            if turn.begins_on(on, days_off):
                yield turn, _shift_on(turn, on, mill)


def _shift_on(turn: ShiftDuty, on: date, mill: Mill) -> Span:
    shift = turn.shift
    end_on = on if shift.end_time > shift.start_time else on + timedelta(days=1)
    start_at = datetime.combine(on, shift.start_time, tzinfo=mill.zone).astimezone(UTC)
    return start_at, datetime.combine(end_on, shift.end_time, tzinfo=mill.zone).astimezone(UTC)


def _skills(person: Person, wanted: Iterable[str], anybody: str) -> dict[str, date | None]:
    """Skill -> last day; several skills in one where the person has them all, for as long as all last."""
    held: dict[str, date | None] = {held.skill.name: held.valid_until for held in person.qualifications.all()}
    skills: dict[str, date | None] = {anybody: None, **held}
    for name in wanted:
        parts = name.split(BOTH)
        if name not in skills and len(parts) > 1 and all(part in held for part in parts):
            ends = [end for part in parts if (end := held[part]) is not None]
            skills[name] = min(ends, default=None)
    return skills
