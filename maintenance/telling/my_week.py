"""Somebody's own time: the jobs placed with them by day, with all that is to be known before setting out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from maintenance.frame.words import say_needed_state
from maintenance.models import Caution, KilnStop, WorkOrder, WorkPart
from maintenance.models.catalogue import NeedsState
from maintenance.models.querysets import FINISHED_STATES, STATES_WITH_LOCK_OUT, KilnStopQuerySet, WorkOrderQuerySet
from maintenance.plans.desk import duties
from maintenance.plans.places_now import FailingPlaces, failing_places
from plant import clock
from plant.charges.lasting import standing_spans
from plant.models import Absence, Kiln, Mill, Person

State = WorkOrder.State
DAY = timedelta(days=1)
TITLES_IN_A_LINE = 2


@dataclass(frozen=True)
class OwnJob:
    """A job of somebody, with what must be said of it; ``others`` are those who do it too."""

    order: WorkOrder
    others: Sequence[Person]
    parts: Sequence[WorkPart]
    cautions: Sequence[Caution]
    stop: KilnStop | None = None
    #: Why its place no longer holds; nothing where it holds.
    broken: str = ""

    @property
    def kiln(self) -> Kiln:
        """Return the kiln."""
        return self.order.kiln

    @property
    def locked_by(self) -> str:
        """Say who is to lock the kiln out for it, and from when; nothing where no plan says so."""
        if self.stop is None or self.start_at is None:
            return ""
        when = say_moment(self.stop.lock_out_at, localtime(self.start_at).date())
        return _("%(who)s, from %(when)s") % {"who": self.stop.person, "when": when}

    @property
    def is_finished(self) -> bool:
        """Say whether nothing is to be done any more."""
        return self.order.state in FINISHED_STATES

    @property
    def is_under_way(self) -> bool:
        """Say whether somebody has begun."""
        return self.order.state == State.UNDER_WAY

    @property
    def takes_lock_out(self) -> bool:
        """Say whether every energy is locked out first."""
        return self.order.needs_state in STATES_WITH_LOCK_OUT

    @property
    def kiln_must_be(self) -> str:
        """Say the state that the kiln must be in."""
        return say_needed_state(self.order.needs_state)

    @property
    def start_at(self) -> datetime | None:
        """Return when it is to begin; None without a place."""
        placed = getattr(self.order, "placement", None)
        return placed.start_at if placed else None

    @property
    def end_at(self) -> datetime | None:
        """Return when it is to be over; None without a place."""
        placed = getattr(self.order, "placement", None)
        return placed.end_at if placed else None

    @property
    def times(self) -> str:
        """Say from when until when, naming the days where they are two."""
        return say_times(self.start_at, self.end_at)

    def is_missed(self, now: datetime) -> bool:
        """Say whether its time has passed without anybody beginning."""
        return self.order.state == State.PLACED and self.end_at is not None and self.end_at <= now


@dataclass(frozen=True)
class LockOut:
    """A kiln that somebody is to lock out, and the jobs that it is for."""

    stop: KilnStop
    jobs: Sequence[WorkOrder]
    cautions: Sequence[Caution]
    is_lock_out = True
    is_under_way = False

    @property
    def kiln(self) -> Kiln:
        """Return the kiln."""
        return self.stop.kiln

    @property
    def start_at(self) -> datetime:
        """Return when the locking-out is to begin."""
        return self.stop.lock_out_at

    @property
    def end_at(self) -> datetime:
        """Return when it is to be over, so that work may begin."""
        return self.stop.locked_at

    @property
    def times(self) -> str:
        """Say from when until when it is locked out, naming the days where they are two."""
        return say_times(self.start_at, self.end_at)

    @property
    def ready(self) -> str:
        """Say when the kiln is to be ready again, with the day where it is another."""
        return say_moment(self.stop.ready_at, localtime(self.start_at).date())

    @property
    def said_jobs(self) -> str:
        """Name what it is for in one line: two titles, and how many more there are."""
        titles = list(dict.fromkeys(job.title for job in self.jobs))
        more = len(titles) - TITLES_IN_A_LINE
        named = ", ".join(titles[:TITLES_IN_A_LINE])
        return _("%(named)s and %(more)d more") % {"named": named, "more": more} if more > 0 else named

    def get_absolute_url(self) -> str:
        """Return the kiln's page."""
        return reverse("maintenance:kiln", args=[self.kiln.tag])

    @property
    def is_finished(self) -> bool:
        """Say whether work has begun behind it: without the lock-out nobody could."""
        return any(job.state not in WorkOrder.BEFORE_START for job in self.jobs)

    def is_missed(self, now: datetime) -> bool:
        """Say whether its time has passed without any work behind it."""
        return not self.is_finished and self.stop.ready_at <= now


Entry = OwnJob | LockOut


@dataclass(frozen=True)
class OwnDay:
    """A day of somebody: shift hours, absences, jobs and lock-outs in the order of time."""

    on: date
    shifts: Sequence[str]
    absences: Sequence[str]
    jobs: Sequence[OwnJob]
    lock_outs: Sequence[LockOut] = ()

    @property
    def entries(self) -> list[Entry]:
        """Return jobs and lock-outs in the order of time; what is locked out at the same minute comes first."""
        return in_order([*self.lock_outs, *self.jobs])


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Put jobs and lock-outs into the order of time; of the same minute, the lock-out comes first."""
    placed = [entry for entry in entries if entry.start_at is not None]
    return sorted(placed, key=lambda entry: (entry.start_at, not isinstance(entry, LockOut)))


def say_moment(at: datetime, on: date) -> str:
    """Say a time of a day, or one of another with its day."""
    local = localtime(at)
    return f"{local:%H:%M}" if local.date() == on else date_format(local, "D j M, H:i")


def say_times(start_at: datetime | None, end_at: datetime | None) -> str:
    """Say a span of time in the mill's zone: 08:00–10:00, or with the days where they are two."""
    if start_at is None or end_at is None:
        return ""
    start, end = localtime(start_at), localtime(end_at)
    if start.date() == end.date():
        return f"{start:%H:%M}–{end:%H:%M}"
    return f"{date_format(start, 'D H:i')} – {date_format(end, 'D H:i')}"


def placed_between(start_at: datetime, end_at: datetime) -> Q:
    """Return the condition that a work order's place overlaps a span of time."""
    return Q(placement__start_at__lt=end_at, placement__end_at__gt=start_at)


def with_crew(orders: WorkOrderQuerySet) -> WorkOrderQuerySet:
    """Load what is said of placed jobs, in a fixed number of queries, in the order of time."""
    found = orders.select_related("kiln", "component", "defect", "placement")
    found = found.prefetch_related("assignments__person", "parts__part__bin")
    return found.order_by("placement__start_at", "number")


def as_own(orders: Iterable[WorkOrder], person: Person | None = None) -> list[OwnJob]:
    """Return jobs with crew, parts and cautions; the crew without ``person``."""
    orders = list(orders)
    cautions = Caution.objects.for_work_orders(orders)
    stops = _stops_for(orders)
    failing = failing_places(clock.now()) if orders else FailingPlaces()
    return [
        OwnJob(
            order=order,
            others=[given.person for given in order.assignments.all() if given.person != person],
            parts=list(order.parts.all()),
            cautions=cautions[order.pk],
            stop=stops.get(order.pk),
            broken=failing.of(order.number),
        )
        for order in orders
    ]


def jobs_of_standing_kilns(jobs: Sequence[OwnJob], now: datetime) -> list[OwnJob]:
    """Return the jobs that need a running kiln, are not begun, and have their place while it stands."""
    asked = [
        job
        for job in jobs
        if job.order.needs_state == NeedsState.RUNNING
        and job.order.state in WorkOrder.BEFORE_START
        and getattr(job.order, "placement", None)
    ]
    if not asked:
        return []
    span = min(job.order.placement.start_at for job in asked), max(job.order.placement.end_at for job in asked)
    stands = standing_spans({job.kiln.pk for job in asked}, *span, now)
    return [
        job
        for job in asked
        for place in [job.order.placement]
        if any(place.start_at < until_at and place.end_at > from_at for from_at, until_at in stands[job.kiln.pk])
    ]


def _stops_for(orders: Sequence[WorkOrder]) -> dict[int, KilnStop]:
    """Return order id -> the lock-out in which it has its place; one query."""
    inside = [one for one in orders if one.needs_state in STATES_WITH_LOCK_OUT and getattr(one, "placement", None)]
    if not inside:
        return {}
    span = min(one.placement.start_at for one in inside), max(one.placement.end_at for one in inside)
    stops = KilnStop.objects.between(*span).filter(kiln__in={one.kiln_id for one in inside}).select_related("person")
    return {order.pk: stop for stop in stops for order in inside if stop.holds(order)}


def as_lock_outs(stops: KilnStopQuerySet) -> list[LockOut]:
    """Return lock-outs with their jobs, in a fixed number of queries; those that all jobs have left are none."""
    found = list(stops.with_jobs().for_people())
    if not found:
        return []
    inside = placed_between(min(one.lock_out_at for one in found), max(one.ready_at for one in found))
    jobs = WorkOrder.objects.filter(
        inside, needs_state__in=STATES_WITH_LOCK_OUT, kiln__in={one.kiln_id for one in found}
    )
    jobs = with_crew(jobs)
    cautions = list(Caution.objects.for_lock_out())
    return [LockOut(stop, [job for job in jobs if stop.holds(job)], cautions) for stop in found]


def own_days(person: Person, first_on: date, count: int, mill: Mill) -> list[OwnDay]:
    """Return so many days of somebody from a day on; the number of queries does not depend on the number of jobs."""
    start_at, end_at = _span(first_on, count, mill.zone)
    orders = with_crew(WorkOrder.objects.of_person(person).filter(placed_between(start_at, end_at)))
    jobs = as_own(orders, person)
    lock_outs = as_lock_outs(KilnStop.objects.filter(person=person).between(start_at, end_at))
    shifts = [(interval, turn.shift.name) for turn, interval in duties(mill, start_at, end_at, person)]
    away = list(person.absences.filter(start_at__lt=end_at, end_at__gt=start_at))
    days = []
    for on in (first_on + n * DAY for n in range(count)):
        from_at, until_at = _span(on, 1, mill.zone)
        of_day = sorted(interval for interval, _name in shifts if from_at <= interval[0] < until_at)
        days.append(
            OwnDay(
                on=on,
                shifts=[say_times(*interval) for interval in dict.fromkeys(of_day)],
                absences=[_say_absence(one, from_at, until_at) for one in away if _overlap(one, from_at, until_at)],
                jobs=[job for job in jobs if _is_on(job, from_at, until_at)],
                lock_outs=[one for one in lock_outs if is_locked_out_on(one, from_at, until_at)],
            )
        )
    return days


def _span(first_on: date, count: int, zone: ZoneInfo) -> tuple[datetime, datetime]:
    return clock.start_of_day(first_on, zone), clock.start_of_day(first_on + count * DAY, zone)


def _is_on(job: OwnJob, from_at: datetime, until_at: datetime) -> bool:
    return bool(job.start_at and job.end_at and job.start_at < until_at and job.end_at > from_at)


def is_locked_out_on(one: LockOut, from_at: datetime, until_at: datetime) -> bool:
    """Say whether the locking-out itself falls into a span of time."""
    return one.start_at < until_at and (one.end_at > from_at or one.start_at >= from_at)


def _overlap(absence: Absence, from_at: datetime, until_at: datetime) -> bool:
    return absence.start_at < until_at and absence.end_at > from_at


def _say_absence(absence: Absence, from_at: datetime, until_at: datetime) -> str:
    """Say when somebody is away on a day."""
    starts, ends = absence.start_at > from_at, absence.end_at < until_at
    facts = {"from": f"{localtime(absence.start_at):%H:%M}", "until": f"{localtime(absence.end_at):%H:%M}"}
    if starts and ends:
        said = _("away %(from)s–%(until)s") % facts
    elif starts:
        said = _("away from %(from)s on") % facts
    elif ends:
        said = _("away until %(until)s") % facts
    else:
        said = _("away all day")
    return f"{said}: {absence.reason}" if absence.reason else said
