"""The board of what is on record: the charge programme as it is expected now, and the places that were given."""

import gc
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from maintenance.board.crew import Day, OnDuty, days_of
from maintenance.board.drawing import Row, draw_row, in_order
from maintenance.board.scale import Scale, scale_of
from maintenance.board.seen import ChargeSeen, GapSeen, JobSeen, KilnSeen, StopSeen
from maintenance.board.words import barred_jobs
from maintenance.entry.bars import bars_to_entry
from maintenance.models import KilnStop, WorkOrder
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.places_now import FailingPlaces, failing_places
from maintenance.plans.programme import KilnProgramme

MINUTE = timedelta(minutes=1)


@dataclass
class Board:
    """What the page shows of a stretch of time."""

    scale: Scale
    rows: list[Row]
    days: list[Day]
    jobs: list[JobSeen]

    @property
    def failing(self) -> list[JobSeen]:
        """Return the jobs whose place no longer holds, in the order of time."""
        return sorted((job for job in self.jobs if job.broken), key=lambda job: (job.start_at, job.number))


@dataclass
class RecordBoard(Board):
    """The board of the record, with the desk it came from and the chambers that nobody may enter."""

    desk: Desk
    barred_in: Collection[int]
    barred: frozenset[str]


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """Let the garbage collector rest while a hundred thousand rows are read: it would walk through all of them again
    and again and find nothing, which takes a third of the time of a large board.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def build_board(first_on: date, days: int, now_at: datetime, marked: Collection[str] = ()) -> RecordBoard:
    """Gather the board for some days from a local day on; a fixed number of queries."""
    ahead = days + max((first_on - now_at.date()).days, 0) + 2
    with collector_at_rest():
        desk = load_desk(now_at, now_at + timedelta(days=ahead))
    scale = scale_of(first_on, days, desk.mill.zone)
    shut = bars_to_entry(list(desk.programme))
    barred = barred_jobs(desk.orders.values(), shut)
    failing = failing_places(now_at)
    placed: dict[int, list[JobSeen]] = defaultdict(list)
    for order in desk.orders.values():
        if has_place(order):
            placed[order.kiln_id].append(_job(desk, order, barred, failing))
    stops = _kept_stops(scale) if scale.is_near else {}
    rows = [
        draw_row(_kiln(desk, one, scale, placed.get(kiln_id, []), stops.get(kiln_id, [])), scale, marked)
        for kiln_id, one in desk.programme.items()
    ]
    rows.sort(key=in_order)
    jobs = [job for of_kiln in placed.values() for job in of_kiln]
    found = days_of(scale, jobs, [OnDuty(worker.duty, worker.away) for worker in desk.workers])
    return RecordBoard(scale, rows, found, jobs, desk, shut, barred)


def _job(desk: Desk, order: WorkOrder, barred: Collection[str], failing: FailingPlaces) -> JobSeen:
    place = order.placement
    return JobSeen(
        number=order.number,
        title=order.title,
        kiln=order.kiln.tag,
        start_at=place.start_at,
        end_at=place.end_at,
        people=tuple(given.person.name for given in order.assignments.all()),
        needs_state=order.needs_state,
        after_charge_id=place.after_charge_id,
        during_charge_id=place.during_charge_id,
        is_safety=order.is_safety,
        is_pinned=place.is_pinned,
        is_barred=order.number in barred,
        broken=failing.of(order.number),
        may_move=order.state in WorkOrder.BEFORE_START and order.number not in desk.in_hand,
        is_under_way=order.state == WorkOrder.State.UNDER_WAY,
    )


def _kept_stops(scale: Scale) -> dict[int, list[KilnStop]]:
    """Return kiln id -> the lock-outs of the accepted plan that the board reaches."""
    found: dict[int, list[KilnStop]] = defaultdict(list)
    known = KilnStop.objects.filter(lock_out_at__lt=scale.to_at, ready_at__gt=scale.from_at)
    for stop in known.select_related("person"):
        found[stop.kiln_id].append(stop)
    return found


def _kiln(desk: Desk, one: KilnProgramme, scale: Scale, placed: list[JobSeen], stops: Sequence[KilnStop]) -> KilnSeen:
    charges = [
        ChargeSeen(
            one.charges[cast.charge.charge_id].number,
            tuple((phase.kind, phase.start_at, phase.end_at) for phase in cast.phases),
            cast.end_sd_h,
            pk=cast.charge.charge_id,
            is_planned=not cast.charge.is_begun,
        )
        for cast in one.forecasts
    ]
    return KilnSeen(
        kiln=one.kiln,
        charges=charges,
        gaps=list(_gaps(desk, one)),
        stops=list(_stops(one, placed, stops)) if scale.is_near else (),
        downs=one.downtimes,
        down_until={pk: until.end_at for pk, until in one.lasting.items()},
        jobs=placed,
    )


def _gaps(desk: Desk, one: KilnProgramme) -> Iterator[GapSeen]:
    for gap in one.windows.openings:
        if gap.end_at is None or gap.end_at > desk.now_at:
            before = gap.before_charge_id
            yield GapSeen(gap.start_at, gap.end_at, before, f"after-{before}" if before else "first")


def _stops(one: KilnProgramme, placed: Iterable[JobSeen], kept: Sequence[KilnStop]) -> Iterator[StopSeen]:
    """Give the lock-outs that a plan named, and those that jobs in an opening need without anybody being named yet."""
    groups: dict[tuple[int | None, int | None], list[JobSeen]] = defaultdict(list)
    for job in placed:
        if job.is_inside:
            groups[job.after_charge_id, job.during_charge_id].append(job)
    kiln = one.kiln
    set_up, restoring = kiln.lock_out_minutes * MINUTE, kiln.restore_minutes * MINUTE
    named = {(stop.after_charge_id, stop.during_charge_id): stop for stop in kept}
    for key, jobs in groups.items():
        first_at, last_at = min(job.start_at for job in jobs), max(job.end_at for job in jobs)
        stop = named.get(key)
        # Jobs that were placed by hand since may lie outside what the plan had said.
        if stop and stop.lock_out_at + set_up <= first_at and stop.ready_at >= last_at:
            ready_at, who = max(stop.ready_at, last_at + restoring), stop.person.name
            yield StopSeen(stop.lock_out_at, stop.lock_out_at + set_up, ready_at - restoring, ready_at, who)
        else:
            yield StopSeen(first_at - set_up, first_at, last_at, last_at + restoring, "")
