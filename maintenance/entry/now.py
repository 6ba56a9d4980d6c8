"""Who is inside now, by name: the one answer for every page, paper and refusal; a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from maintenance.models import EntryMove, EntryPermit, Sitting, WorkOrder
from maintenance.models.querysets import STATES_WITH_LOCK_OUT
from plant import clock
from plant.models import Kiln, Person
from plant.warnings.running_bars import RunningBar

Act = EntryMove.Act


@dataclass(frozen=True, slots=True)
class Inside:
    """Somebody in a chamber, since when."""

    person: Person
    since_at: datetime
    move: EntryMove

    @property
    def minutes(self) -> int:
        """Say for how long."""
        return int((clock.now() - self.since_at).total_seconds() // 60)


@dataclass(frozen=True, slots=True)
class Air:
    """What was measured last."""

    at: datetime
    temperature_c: Decimal
    is_air_checked: bool | None
    oxygen_pct: Decimal | None
    carbon_monoxide_ppm: int | None


@dataclass(frozen=True, slots=True)
class EntryNow:
    """A chamber that is open for entry: who is in it, whose locks are on, who stays outside, and until when.

    ``sittings`` and ``jobs`` go on inside; what is paused is not among them.
    """

    permit: EntryPermit
    inside: tuple[Inside, ...]
    locks_on: tuple[Person, ...]
    outside: Person
    outside_since_at: datetime
    until_at: datetime | None
    air: Air
    sittings: tuple[Sitting, ...]
    jobs: tuple[WorkOrder, ...]
    now: datetime

    @property
    def count(self) -> int:
        """Return how many are inside."""
        return len(self.inside)

    @property
    def names(self) -> tuple[str, ...]:
        """Name those inside, whoever has been in longest first."""
        return tuple(one.person.name for one in self.inside)

    @property
    def since_at(self) -> datetime | None:
        """Return when the first of those inside went in."""
        return self.inside[0].since_at if self.inside else None

    @property
    def is_overdue(self) -> bool:
        """Say whether everybody should be out by now."""
        return self.until_at is not None and self.now >= self.until_at

    @property
    def is_empty(self) -> bool:
        """Say whether nobody is inside and nobody's own lock is on."""
        return not self.inside and not self.locks_on

    @property
    def work(self) -> tuple[str, ...]:
        """Name what goes on inside: sittings by who looks, jobs by number."""
        return _work_words(self.sittings, self.jobs)

    def is_inside(self, person: Person) -> bool:
        """Say whether somebody is in."""
        return any(one.person == person for one in self.inside)

    def has_lock(self, person: Person) -> bool:
        """Say whether somebody's own lock is on."""
        return person in self.locks_on


def entry_now(kilns: Collection[Kiln] | None = None) -> dict[int, EntryNow]:
    """Return kiln id -> how its door stands, of those that are open for entry; four queries, of all kilns or some."""
    permits = EntryPermit.objects.still_open().select_related("kiln", "locked_out_by", "watch_outside", "by__person")
    if kilns is not None:
        permits = permits.filter(kiln__in=[kiln.pk for kiln in kilns])
    found = {permit.kiln_id: permit for permit in permits}
    if not found:
        return {}
    moves: dict[int, list[EntryMove]] = defaultdict(list)
    for move in EntryMove.objects.that_count(list(found.values())):
        moves[move.permit_id].append(move)
    sittings, jobs = work_inside(found)
    now = clock.now()
    return {pk: _stand(permit, moves[permit.pk], sittings[pk], jobs[pk], now) for pk, permit in found.items()}


def entry_of(kiln: Kiln) -> EntryNow | None:
    """Return how the door of one kiln stands; None where it is not open for entry."""
    return entry_now([kiln]).get(kiln.pk)


def work_inside(kiln_ids: Iterable[int]) -> tuple[dict[int, list[Sitting]], dict[int, list[WorkOrder]]]:
    """Return kiln id -> sittings, and kiln id -> jobs, at which somebody is in the chamber or at its machinery now."""
    ids = list(kiln_ids)
    sittings: dict[int, list[Sitting]] = defaultdict(list)
    found = Sitting.objects.filter(check_up__kiln__in=ids, kiln_state="open_empty", ended_at__isnull=True)
    for sitting in found.select_related("check_up", "by__person").order_by("pk"):
        sittings[sitting.check_up.kiln_id].append(sitting)
    jobs: dict[int, list[WorkOrder]] = defaultdict(list)
    under_way = WorkOrder.objects.at_work().filter(kiln__in=ids, needs_state__in=STATES_WITH_LOCK_OUT)
    for order in under_way.order_by("number"):
        jobs[order.kiln_id].append(order)
    return sittings, jobs


def _stand(
    permit: EntryPermit, moves: list[EntryMove], sittings: list[Sitting], jobs: list[WorkOrder], now: datetime
) -> EntryNow:
    """Go through what was entered, in its order."""
    inside: dict[Person, Inside] = {}
    locks: dict[Person, None] = {}
    assert permit.watch_outside is not None  # noqa: S101 (the database holds it)
    outside, outside_since_at, until_at = permit.watch_outside, permit.at, permit.until_at
    measured: EntryPermit | EntryMove = permit
    for move in moves:
        if move.act == Act.IN:
            inside[move.person] = Inside(move.person, move.at, move)
        elif move.act == Act.OUT:
            inside.pop(move.person, None)
        elif move.act == Act.LOCK_ON:
            locks[move.person] = None
        elif move.act == Act.LOCK_OFF:
            locks.pop(move.person, None)
        elif move.act == Act.OUTSIDE:
            outside, outside_since_at = move.person, move.at
        elif move.act == Act.MEASURED:
            measured, until_at = move, move.until_at or until_at
    air = Air(
        measured.at,
        Decimal(measured.temperature_c or 0),
        measured.is_air_checked,
        measured.oxygen_pct,
        measured.carbon_monoxide_ppm,
    )
    return EntryNow(
        permit,
        tuple(inside.values()),
        tuple(locks),
        outside,
        outside_since_at,
        until_at,
        air,
        tuple(sittings),
        tuple(jobs),
        now,
    )


def _work_words(sittings: Iterable[Sitting], jobs: Iterable[WorkOrder]) -> tuple[str, ...]:
    looks = [
        _("%(number)s (%(who)s looks)") % {"number": one.check_up, "who": one.by or _("somebody")} for one in sittings
    ]
    return (*looks, *(order.number for order in jobs))


def bars_of_entry(kilns: Collection[Kiln]) -> dict[int, RunningBar]:
    """Say for ``plant.warnings.running_bars`` which kilns must not run: open for entry, or somebody at work at them."""
    stands = entry_now(kilns)
    sittings, jobs = work_inside([kiln.pk for kiln in kilns if kiln.pk not in stands])
    bars = {pk: _bar(stand) for pk, stand in stands.items()}
    for kiln in kilns:
        if kiln.pk not in stands and (sittings[kiln.pk] or jobs[kiln.pk]):
            bars[kiln.pk] = _bar_without_permit(sittings[kiln.pk], jobs[kiln.pk])
    return bars


def _bar(stand: EntryNow) -> RunningBar:
    if stand.inside:
        remedy = _("Bring everybody out, have each lock taken off, and close the chamber for entry.")
    elif stand.work:
        remedy = _("End what goes on inside, and close the chamber for entry.")
    elif stand.locks_on:
        names = ", ".join(str(person) for person in stand.locks_on)
        remedy = _("Have each lock taken off (%(names)s), and close the chamber for entry.") % {"names": names}
    else:
        remedy = _("Close the chamber for entry first.")
    return RunningBar(
        people=stand.names,
        since_at=stand.since_at,
        permit_since_at=stand.permit.at,
        outside=stand.outside.name,
        remedy=remedy,
        work=stand.work,
        url=stand.permit.get_absolute_url(),
        until_at=stand.until_at,
    )


def _bar_without_permit(sittings: list[Sitting], jobs: list[WorkOrder]) -> RunningBar:
    people = [one.by.person.name for one in sittings if one.by and one.by.person]
    begun = [one.started_at for one in sittings] + [order.started_at for order in jobs if order.started_at]
    return RunningBar(
        people=tuple(people),
        since_at=min(begun, default=None),
        permit_since_at=None,
        outside="",
        remedy=_("See that nobody is in or at the kiln; end the sitting, and finish or pause the job."),
        work=_work_words(sittings, jobs),
        url=jobs[0].get_absolute_url() if jobs else sittings[0].check_up.get_absolute_url(),
    )
