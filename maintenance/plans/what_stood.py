"""What stands of places, lock-outs, charges and stops, read before and after an act that changes them.

What differs is kept with the act (``PlacingAct``), so that it can be taken back as a whole (``taking_back.py``).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from django.db.models import QuerySet

from maintenance.models import KilnStop, PlacingAct, Plan, WorkOrder
from maintenance.plans.desk import has_place
from plant import clock
from plant.basics.sentences import all_to_json
from plant.charges.programme import stand_of, utc
from plant.models import Charge, Downtime, User

Facts = dict[str, Any]
KINDS = ("jobs", "stops", "charges", "downtimes")
#: What a lock-out is known by.
LOCK_OUT = ("lock_out_at", "ready_at", "person", "after_charge", "during_charge")
#: What of a job makes no other place of it: why it has none, and what counts its edits.
BESIDE = ("no_place_why", "state", "version", "why")


def what_stands(of: PlacingAct | None = None) -> dict[str, Facts]:
    """Read what an act of placing can change, by kind: all that is not finished, or what one act has changed."""
    orders, charges = WorkOrder.objects.unfinished(), Charge.objects.exclude(basis=Charge.Basis.DONE)
    stops, kept = KilnStop.objects.filter(ready_at__gt=clock.now()), defaultdict(list)
    if of is not None:
        orders = WorkOrder.objects.filter(number__in=of.before["jobs"])
        charges = Charge.objects.filter(pk__in=of.before["charges"])
        stops = stops.filter(kiln__in=of.before["stops"])
    for stop in stops:
        kept[str(stop.kiln_id)].append(_stop_facts(stop))
    return {
        "jobs": {order.number: _job_facts(order) for order in orders.with_crew()},
        "stops": dict(kept),
        "charges": {str(charge.pk): stand_of(charge).as_json() for charge in charges.prefetch_related("phases")},
        "downtimes": {str(one.pk): _downtime_facts(one) for one in _planned_ahead()},
    }


def _planned_ahead() -> QuerySet[Downtime]:
    return Downtime.objects.filter(kind=Downtime.Kind.PLANNED, start_at__gt=clock.now())


def _job_facts(order: WorkOrder) -> Facts:
    placed = order.placement if has_place(order) else None
    return {
        "version": order.version,
        "state": str(order.state),
        "start_at": placed and utc(placed.start_at),
        "end_at": placed and utc(placed.end_at),
        "after_charge": placed and placed.after_charge_id,
        "during_charge": placed and placed.during_charge_id,
        "is_pinned": bool(placed and placed.is_pinned),
        "why": all_to_json(placed.why) if placed else [],
        "people": sorted(given.person_id for given in order.assignments.all()) if placed else [],
        "no_place_why": all_to_json(order.no_place_why),
        "pin_lost_why": all_to_json(order.pin_lost_why),
        "left_out_at": order.left_out_at and utc(order.left_out_at),
        "left_out_by": order.left_out_by_id,
        "left_out_why": order.left_out_why,
        "not_before_on": order.not_before_on and order.not_before_on.isoformat(),
    }


def _stop_facts(stop: KilnStop) -> Facts:
    return {
        "after_charge": stop.after_charge_id,
        "during_charge": stop.during_charge_id,
        "lock_out_at": utc(stop.lock_out_at),
        "ready_at": utc(stop.ready_at),
        "person": stop.person_id,
        "plan": stop.plan_id,
    }


def _downtime_facts(one: Downtime) -> Facts:
    return {"start_at": utc(one.start_at), "end_at": one.end_at and utc(one.end_at), "cause": one.cause}


def place_in(facts: Mapping[str, Any]) -> Facts:
    """Return of the facts of a job what makes its place."""
    return {name: value for name, value in facts.items() if name not in BESIDE}


def lock_outs_in(facts: Iterable[Mapping[str, Any]] | None) -> dict[tuple[Any, ...], Mapping[str, Any]]:
    """Return the lock-outs of a kiln that are not over, by what each is; which plan it is of makes no other of it."""
    now = utc(clock.now())
    return {tuple(one[name] for name in LOCK_OUT): one for one in facts or () if one["ready_at"] > now}


def remember(
    before: Mapping[str, Facts],
    *,
    failing: Collection[str],
    by: User | None,
    plan: Plan | None = None,
    plan_before: Mapping[str, Any] | None = None,
    work_order: WorkOrder | None = None,
) -> PlacingAct:
    """Keep what an act changed; to be called in its transaction, after all is written."""
    after = what_stands()
    kept: tuple[dict[str, Any], dict[str, Any]] = ({}, {})
    for kind in KINDS:
        was, now = before[kind], after[kind]
        keys = [key for key in {**was, **now} if _differs(kind, was.get(key), now.get(key))]
        for facts, of in zip(kept, (was, now), strict=True):
            facts[kind] = {key: of.get(key) for key in sorted(keys)}
    kept[0]["failing"] = sorted(failing)
    kept[0]["plan"] = dict(plan_before or {})
    return PlacingAct.objects.create(
        plan=plan, work_order=work_order, at=clock.now(), by=by, before=kept[0], after=kept[1]
    )


def _differs(kind: str, was: Any, now: Any) -> bool:
    if kind == "jobs" and was and now:
        return place_in(was) != place_in(now)
    if kind == "stops":
        return lock_outs_in(was).keys() != lock_outs_in(now).keys()
    return bool(was != now)
