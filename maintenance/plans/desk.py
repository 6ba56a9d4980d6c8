"""The planner's desk: windows, people, jobs and places of the mill, gathered for the placing in a few queries."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from maintenance.calculations.hand_placing import WantedPlace, look_at_place
from maintenance.calculations.placing_problem import (
    Interval,
    JobToPlace,
    Placement,
    PlacingProblem,
    Presence,
    SimplePlan,
    Window,
    Worker,
)
from maintenance.calculations.simple_placing import place_jobs
from maintenance.models import WorkOrder
from maintenance.orders.supply import SHELVED, Short, amount, missing_parts, say_to_order
from maintenance.placing.problem import LOCK_OUT
from maintenance.plans.programme import KilnProgramme, load_programme
from plant import clock
from plant.models import Absence, Kiln, Mill, Person, ShiftDuty, Skill

State = WorkOrder.State
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
# A stop whose end nobody knows is counted on for so long. Our own choice.
OPEN_STOP = timedelta(days=1)
# Work under way that runs over its hours is expected to take so much longer. Our own choice.
RUNS_OVER = timedelta(hours=1)
# Between the names of skills that one person must have together.
BOTH = " + "


@dataclass(frozen=True)
class WindowLink:
    """What a window of the calculations is in the records; ``key`` names it in an address."""

    kiln: Kiln
    key: str
    after_charge_id: int | None = None
    during_charge_id: int | None = None
    end_sd_h: float = 0.0


@dataclass
class Desk:
    """All that is needed to place jobs, or to look at one place."""

    mill: Mill
    now_at: datetime
    until_at: datetime
    programme: Mapping[int, KilnProgramme]
    windows: list[Window]
    links: dict[str, WindowLink]
    workers: list[Worker]
    orders: dict[str, WorkOrder]
    jobs: dict[str, JobToPlace]
    short: dict[int, list[Short]]
    # Work that is under way, by plan or in truth, keeps its people, has them inside, and is not moved.
    in_hand: set[str] = field(default_factory=set)
    # What the skill is called whose holder locks kilns out.
    lock_out: str = LOCK_OUT
    # Jobs that somebody took out of the plan until they are put back.
    left_out: set[str] = field(default_factory=set)

    @property
    def anybody(self) -> str:
        """The skill that everybody has."""
        return _("anybody")

    def problem(
        self, jobs: Iterable[JobToPlace], fixed: Iterable[Placement], busy_with: Iterable[str]
    ) -> PlacingProblem:
        """Return the problem of these jobs and places; people who are busy with other work are taken, and inside."""
        busy = [self.booked(ref) for ref in busy_with]
        inside = [
            Presence(self.orders[one.job_ref].kiln.tag, one.start_at, one.end_at, len(one.people))
            for one in busy
            if one.people and self.orders[one.job_ref].needs_state in ("empty", "still")
        ]
        return PlacingProblem(
            windows=tuple(self.windows),
            jobs=tuple(jobs),
            workers=tuple(without_time(self.workers, busy)),
            fixed=tuple(fixed),
            zone=self.mill.time_zone,
            inside=tuple(inside),
        )

    def booked(self, ref: str) -> Placement:
        """Return when and with whom a job is done, as on record; its people are counted for no skill in particular."""
        order = self.orders[ref]
        people = tuple(sorted((str(given.person_id), "") for given in order.assignments.all()))
        if order.state == State.UNDER_WAY:
            start_at = order.started_at or self.now_at
            hours_end_at = start_at + timedelta(hours=float(order.hours))
            end_at = hours_end_at if hours_end_at > self.now_at else self.now_at + RUNS_OVER
            return Placement(ref, start_at, end_at, "", people)
        placed = order.placement
        return Placement(ref, placed.start_at, placed.end_at, self._link_of(order), people, placed.why)

    def _link_of(self, order: WorkOrder) -> str:
        place = order.placement
        return self._ref_by_charge.get((order.kiln_id, place.after_charge_id, place.during_charge_id), "")

    @cached_property
    def _ref_by_charge(self) -> dict[tuple[int, int | None, int | None], str]:
        """Return kiln, charge before and charge inside -> the first window of them."""
        refs: dict[tuple[int, int | None, int | None], str] = {}
        for ref, link in self.links.items():
            refs.setdefault((link.kiln.pk, link.after_charge_id, link.during_charge_id), ref)
        return refs

    @property
    def placed_refs(self) -> list[str]:
        """The orders that have a place ahead, pinned ones first, then by start."""
        refs = [ref for ref, order in self.orders.items() if has_place(order)]
        return sorted(refs, key=lambda r: (not self.orders[r].placement.is_pinned, self.orders[r].placement.start_at))

    def look(self, order: WorkOrder, start_at: datetime, people: Iterable[Person]) -> WantedPlace:
        """Say what a place for a job breaks beside all other places that are on record."""
        others = [self.booked(ref) for ref in self.placed_refs if ref != order.number and ref not in self.in_hand]
        problem = self.problem(self.jobs.values(), others, self.in_hand - {order.number})
        wanted = look_at_place(problem, self.jobs[order.number], start_at, [str(person.pk) for person in people])
        lacking = self.unsupplied().get(order.number)
        return WantedPlace(None, (lacking, *wanted.faults)) if lacking else wanted

    def propose(self, order: WorkOrder, window_ref: str | None = None) -> SimplePlan:
        """Find the earliest start and crew for one job, in one window or in all, beside the places on record."""
        others = ({*self.placed_refs} | self.in_hand) - {order.number}
        problem = self.problem([replace(self.jobs[order.number], after=())], (), sorted(others))
        windows = tuple(w for w in self.windows if window_ref in (None, w.ref))
        return place_jobs(replace(problem, windows=windows))

    def unsupplied(self) -> dict[str, str]:
        """Return the orders whose parts are neither there nor promised nor can be ordered, with what lacks."""
        found = {}
        for ref, order in self.orders.items():
            lacking = [one for one in self.short.get(order.pk, []) if one.arrives_on is None]
            if lacking:
                names = ", ".join(amount(one.missing, one.part) for one in lacking)
                found[ref] = _(
                    "Waits for %(parts)s: not on the shelf, no supplier has promised a day, and nobody is known who "
                    "delivers it. Enter the promised day, or the supplier with the days it takes."
                ) % {"parts": names}
        return found

    def to_order(self, order: WorkOrder, start_at: datetime | None = None) -> str:
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
    windows, links = _windows(programme, now_at, until, mill.zone)
    unfinished = WorkOrder.objects.unfinished().filter(kiln__in=programme)
    with_all = unfinished.select_related("component", "placement", "left_out_by__person")
    orders = {order.number: order for order in with_all.prefetch_related("skills__skill", "assignments__person")}
    for order in orders.values():
        # The kilns are known: to read them with each of thousands of jobs takes its time.
        order.kiln = programme[order.kiln_id].kiln
    short = missing_parts(orders.values())
    desk = Desk(
        mill=mill,
        now_at=now_at,
        until_at=until,
        programme=programme,
        windows=windows,
        links=links,
        workers=[],
        orders=orders,
        jobs={},
        short=short,
    )
    desk.jobs = {ref: _job(desk, order) for ref, order in orders.items() if order.state in WorkOrder.BEFORE_START}
    desk.workers = _workers(desk)
    desk.lock_out = Skill.objects.filter(code=LOCK_OUT).values_list("name", flat=True).first() or LOCK_OUT
    desk.windows = _with_lock_outs(desk)
    desk.left_out = {ref for ref in desk.jobs if orders[ref].is_left_out}
    desk.in_hand = {ref for ref, order in orders.items() if _is_in_hand(order, now_at)}
    return desk


def _is_in_hand(order: WorkOrder, now_at: datetime) -> bool:
    if order.state == State.UNDER_WAY:
        return True
    # What is to begin this very minute has not begun: its lock-out is looked at as any other.
    return has_place(order) and order.placement.start_at < now_at < order.placement.end_at


def _windows(
    programme: Mapping[int, KilnProgramme], now_at: datetime, until_at: datetime, zone: ZoneInfo
) -> tuple[list[Window], dict[str, WindowLink]]:
    windows: list[Window] = []
    links: dict[str, WindowLink] = {}

    def add(link: WindowLink, state: str, start_at: datetime, end_at: datetime | None, label: str = "") -> None:
        kiln, ref, end = link.kiln, f"{link.kiln.tag}/{link.key}", end_at or until_at
        if ref in links or end <= max(start_at, now_at):
            return
        is_inside = state != "running"
        links[ref] = link
        windows.append(
            Window(
                ref=ref,
                kiln=kiln.tag,
                state=state,  # type: ignore[arg-type]
                start_at=start_at.astimezone(UTC),
                end_at=end.astimezone(UTC),
                label=label,
                max_people_inside=kiln.max_people_inside,
                set_up_minutes=kiln.lock_out_minutes if is_inside else 0,
                restore_minutes=kiln.restore_minutes if is_inside else 0,
            )
        )

    today_at = clock.start_of_day(now_at.astimezone(zone).date(), zone)
    for one in programme.values():
        for gap in one.windows.openings:
            before = gap.before_charge_id
            charge = one.charges.get(before) if before else None
            label = _("after charge %(number)s") % {"number": charge.number} if charge else ""
            key = f"after-{before}" if before else "first"
            link = WindowLink(one.kiln, key, after_charge_id=before, end_sd_h=gap.start_sd_h)
            # Where no charge before is known the opening begins now, and would begin later with every look: it is
            # taken to have begun with the day, so that what was placed in it this morning stays.
            add(link, "empty", gap.start_at if before else min(gap.start_at, today_at), gap.end_at, label)
        for run in one.windows.running:
            label = _("during charge %(number)s") % {"number": one.charges[run.charge_id].number}
            link = WindowLink(one.kiln, f"during-{run.charge_id}", None, run.charge_id, run.end_sd_h)
            add(link, "running", run.start_at, run.end_at, label)
        gaps = {(gap.start_at, gap.end_at) for gap in one.windows.openings}
        for still in one.windows.still:
            if (still.start_at, still.end_at) not in gaps:
                link = WindowLink(one.kiln, f"still-{still.start_at:%Y%m%dT%H%M}")
                end_at = still.end_at or max(now_at, still.start_at) + OPEN_STOP
                add(link, "still", still.start_at, end_at, _("while it is stopped"))
    return windows, links


def _with_lock_outs(desk: Desk) -> list[Window]:
    """Let work in a window begin only after somebody who may lock the kiln out is on shift for long enough."""
    there = [
        span
        for worker in desk.workers
        if desk.lock_out in worker.skills
        for duty in worker.duty
        for span in _without(duty, worker.away)
    ]
    return [replace(window, lock_out_at=_lock_out_at(window, there, desk.now_at)) for window in desk.windows]


def _lock_out_at(window: Window, there: Iterable[Interval], now_at: datetime) -> datetime | None:
    set_up = timedelta(minutes=window.set_up_minutes)
    if not set_up or window.start_at <= now_at:
        # A kiln that stands open already is taken for locked out.
        return None
    begins = (
        max(start_at, window.start_at)
        for start_at, end_at in there
        if max(start_at, window.start_at) + set_up <= min(end_at, window.end_at)
    )
    return min(begins, default=None)


def _without(duty: Interval, away: Iterable[Interval]) -> Iterator[Interval]:
    """Give what is left of a time on duty beside absences."""
    start_at, end_at = duty
    for gone_at, back_at in sorted(away):
        if gone_at < end_at and back_at > start_at:
            if gone_at > start_at:
                yield start_at, gone_at
            start_at = back_at
    if start_at < end_at:
        yield start_at, end_at


def _job(desk: Desk, order: WorkOrder) -> JobToPlace:
    arrivals = [one.arrives_on for one in desk.short.get(order.pk, []) if one.arrives_on]
    wished = [order.earliest_at] if order.earliest_at else []
    if order.not_before_on:
        wished.append(clock.start_of_day(order.not_before_on, desk.mill.zone))
    return JobToPlace(
        ref=order.number,
        kiln=order.kiln.tag,
        needs_state=order.needs_state,  # type: ignore[arg-type]
        duration_minutes=max(1, round(order.hours * 60)),
        crew=crew_of(order, desk.anybody),
        earliest_at=max([_full_minute(desk.now_at), *wished]).astimezone(UTC),
        parts_at=_usable_at(max(arrivals), desk) if arrivals else None,
        due_at=order.due_at,
        safety_at=order.safety_at,
        is_safety=order.is_safety,
        delay_cents_per_hour=order.delay_cents_per_hour,
    )


def _full_minute(at: datetime) -> datetime:
    """Return the next full minute: nobody begins at 16:07:47."""
    return (
        at if at == at.replace(second=0, microsecond=0) else at.replace(second=0, microsecond=0) + timedelta(minutes=1)
    )


def _usable_at(arrives_on: date, desk: Desk) -> datetime:
    """A part that arrives on a day, or should have, is there on the next morning."""
    today = desk.now_at.astimezone(desk.mill.zone).date()
    return clock.start_of_day(max(arrives_on, today) + SHELVED, desk.mill.zone)


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
    duty: dict[int, list[Interval]] = defaultdict(list)
    for turn, interval in duties(desk.mill, desk.now_at, desk.until_at):
        duty[turn.person_id].append(interval)
    away: dict[int, list[Interval]] = defaultdict(list)
    for absence in Absence.objects.filter(end_at__gt=desk.now_at, start_at__lt=desk.until_at):
        away[absence.person_id].append((absence.start_at, absence.end_at))
    composed = {skill for job in desk.jobs.values() for skill in job.crew}
    people = Person.objects.working_here().prefetch_related("qualifications__skill")
    return [
        Worker(
            ref=str(person.pk),
            name=person.name,
            skills=_skills(person, composed, desk.anybody),
            duty=tuple(sorted(set(duty[person.pk]))),
            away=tuple(sorted(away[person.pk])),
        )
        for person in people
    ]


def duties(
    mill: Mill, from_at: datetime, until_at: datetime, person: Person | None = None
) -> Iterator[tuple[ShiftDuty, Interval]]:
    """Give every shift of all who work here, or of one, from the day before on (a night shift reaches into today)."""
    first_on = from_at.astimezone(mill.zone).date() - timedelta(days=1)
    last_on = until_at.astimezone(mill.zone).date()
    turns = ShiftDuty.objects.select_related("shift").filter(person__is_active=True, from_on__lte=last_on)
    for turn in turns.filter(person=person) if person else turns:
        for on in (first_on + timedelta(days=n) for n in range((last_on - first_on).days + 1)):
            if turn.from_on <= on <= (turn.until_on or date.max) and WEEKDAYS[on.weekday()] in turn.shift.weekdays:
                yield turn, _shift_on(turn, on, mill)


def _shift_on(turn: ShiftDuty, on: date, mill: Mill) -> Interval:
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


def without_time(workers: Iterable[Worker], placements: Iterable[Placement]) -> list[Worker]:
    """Return the people, busy in the time of these places."""
    busy: dict[str, list[Interval]] = defaultdict(list)
    for placed in placements:
        for ref, _skill in placed.people:
            busy[ref].append((placed.start_at, placed.end_at))
    return [replace(worker, busy=tuple(sorted(busy[worker.ref]))) for worker in workers]
