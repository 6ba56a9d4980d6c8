"""Who locks a kiln out for the work that is placed in it, and when."""

from collections.abc import Collection, Iterable, Iterator

from maintenance.frame.shouts import Shout
from maintenance.models import KilnStop, Plan, WorkOrder
from maintenance.models.querysets import STATES_WITH_LOCK_OUT
from maintenance.placing import plan as plans
from maintenance.placing.problem import LOCKED_OUT
from maintenance.plans.desk import Desk, has_place
from maintenance.plans.drawing import Drawn, person_id_of
from plant.basics.sentences import Sentence


def keep_lock_outs(
    desk: Desk, drawn: Drawn, after: plans.Plan, kilns: Collection[str] | None = None, plan: Plan | None = None
) -> None:
    """Replace the lock-outs that lie ahead, of all kilns or of some.

    One in which a job is under way, or one that the plan says nothing of, is not taken away from it; the plan's
    lock-out that meets it becomes one with it.
    One that is under way lasts for as long as the plan needs it.
    To be called in the transaction that writes the places.
    """
    ids = {one.kiln.tag: one.kiln.pk for one in desk.programme.values()}
    ahead = KilnStop.objects.filter(lock_out_at__gte=drawn.base_at)
    if kilns is not None:
        ahead = ahead.filter(kiln__tag__in=kilns)
    rows = []
    used = {at.stop for at in after.jobs.values() if at.stop is not None}
    for number, stop in enumerate(after.stops):
        if number not in used or (kilns is not None and stop.kiln not in kilns):
            continue
        if drawn.is_under_way(stop):
            _let_last(next(one for one in desk.lock_outs if drawn.goes_on_from(one) == stop.kiln), drawn, stop)
            continue
        after_id, during_id = drawn.charges_of(stop)
        rows.append(
            KilnStop(
                kiln_id=ids[stop.kiln],
                after_charge_id=after_id,
                during_charge_id=during_id,
                lock_out_at=drawn.at(stop.set_up_start_min),
                ready_at=drawn.at(stop.end_min),
                person_id=int(person_id_of(stop.person)),
                plan=plan,
            )
        )
    standing = _standing_jobs(ids.values())
    under_way = WorkOrder.State.UNDER_WAY
    inside = [order for order in standing if order.state == under_way or not any(row.holds(order) for row in rows)]
    kept = [stop for stop in ahead if any(stop.holds(order) for order in inside)]
    apart = [stop.pk for stop in kept if not _joined(stop, rows)]
    ahead.exclude(pk__in=apart).delete()
    KilnStop.objects.bulk_create(rows)


def _joined(kept: KilnStop, rows: Iterable[KilnStop]) -> bool:
    """Let a lock-out that is kept and the one of the plan that it meets be one: a kiln is locked out once at a time."""
    for row in rows:
        if row.kiln_id == kept.kiln_id and row.lock_out_at < kept.ready_at and kept.lock_out_at < row.ready_at:
            if kept.lock_out_at <= row.lock_out_at:
                row.lock_out_at, row.person_id = kept.lock_out_at, kept.person_id
            row.ready_at = max(row.ready_at, kept.ready_at)
            return True
    return False


def _let_last(under_way: KilnStop, drawn: Drawn, stop: plans.Stop) -> None:
    """Let the lock-out that a kiln stands under last until its last job is done."""
    ready_at = drawn.at(stop.end_min)
    if under_way.pk is None or under_way.ready_at < ready_at:
        under_way.after_charge_id, under_way.during_charge_id = drawn.charges_of(stop)
        under_way.ready_at = ready_at
        under_way.save()


def _standing_jobs(kiln_ids: Collection[int]) -> list[WorkOrder]:
    """Return the jobs that are placed, or under way, in kilns that are locked out for them."""
    unfinished = WorkOrder.objects.unfinished().filter(kiln__in=kiln_ids, placement__isnull=False)
    return list(unfinished.filter(needs_state__in=STATES_WITH_LOCK_OUT).select_related("placement"))


def shout_nobody_locks_out(desk: Desk) -> Iterator[Shout]:
    """Say aloud that jobs have no place because nobody on record may lock a kiln out."""
    if any(desk.lock_out in worker.skills for worker in desk.workers):
        return
    waiting = [one for one in desk.to_place.values() if one.needs_state in LOCKED_OUT and not has_place(one)]
    if waiting:
        yield Shout("alarm", Sentence.of("shout.nobody_locks_out", count=len(waiting), named=desk.lock_out))
