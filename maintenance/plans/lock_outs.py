"""Who locks a kiln out for the work that is placed in it, and when."""

from collections.abc import Collection

from maintenance.models import KilnStop, Plan, WorkOrder
from maintenance.models.querysets import STATES_WITH_LOCK_OUT
from maintenance.placing import plan as plans
from maintenance.plans.desk import Desk
from maintenance.plans.drawing import Drawn, person_id_of


def keep_lock_outs(
    desk: Desk, drawn: Drawn, after: plans.Plan, kilns: Collection[str] | None = None, plan: Plan | None = None
) -> None:
    """Replace the lock-outs that lie ahead, of all kilns or of some.

    One in which a job stands that the plan says nothing of, or that it has there as well, is not taken away from it.
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
    inside = [order for order in standing if not any(row.holds(order) for row in rows)]
    kept = [stop.pk for stop in ahead if any(stop.holds(order) for order in inside)]
    ahead.exclude(pk__in=kept).delete()
    KilnStop.objects.bulk_create(rows)


def _standing_jobs(kiln_ids: Collection[int]) -> list[WorkOrder]:
    """Return the jobs that are placed, or under way, in kilns that are locked out for them."""
    unfinished = WorkOrder.objects.unfinished().filter(kiln__in=kiln_ids, placement__isnull=False)
    return list(unfinished.filter(needs_state__in=STATES_WITH_LOCK_OUT).select_related("placement"))


def somebody_locks_out(desk: Desk) -> bool:
    """Say whether anybody on record may lock kilns out; else nothing can be said of it."""
    return any(desk.lock_out in worker.skills for worker in desk.workers)
