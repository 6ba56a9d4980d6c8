"""Take an accepted plan, a part of one, or a place by hand back, as a whole, while nothing of it has begun.

What stood before stands again: places with their pins and people, lock-outs, charges, and no stop that was planned for
it. It is refused, with the reason, where something of it has begun, was changed since, or would not hold any more.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import KilnStop, PlacingAct, Plan, WorkOrder
from maintenance.orders.supply import keep_needs_in_step
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.places import RulesBrokenError, bring_parts_along, keep_place, take_place_away
from maintenance.plans.standing import standing_on
from maintenance.plans.what_stood import LOCK_OUT, lock_outs_in, place_in, what_stands
from plant import clock
from plant.access import require
from plant.basics.sentences import all_from_json
from plant.charges.programme import Basis, Stand
from plant.charges.shifting import put_back
from plant.downtime.keeping import take_back_downtime
from plant.frame.saying import say
from plant.models import Change, Charge, Downtime, Kiln, Mill, User

#: What a job has beside its place, as it stood before.
BESIDE_PLACE = ("no_place_why", "pin_lost_why", "left_out_at", "left_out_by", "left_out_why", "not_before_on")


@dataclass(frozen=True)
class TakeBack:
    """What can be taken back: the act, what returns in one sentence, and why it cannot be where it cannot."""

    act: PlacingAct
    returns: str
    why_not: tuple[str, ...]


def last_of_plan(plan: Plan) -> TakeBack | None:
    """Return what of a plan was accepted last and still stands; None where nothing was."""
    return _offered(PlacingAct.objects.filter(plan=plan, taken_back_at=None).first())


def last_of_job(order: WorkOrder) -> TakeBack | None:
    """Return the last place by hand of a job; None where none was given, or it was taken back."""
    return _offered(PlacingAct.objects.filter(work_order=order, taken_back_at=None).first())


def _offered(act: PlacingAct | None) -> TakeBack | None:
    return None if act is None else TakeBack(act, _say_what_returns(act), tuple(_hindrances(act)))


@transaction.atomic
def take_back_plan(plan: Plan, *, by: User | None, version: int | None = None) -> str:
    """Take back what of a plan was accepted last, and return what returned; the plan is to be decided about again.

    Raises ValidationError, and changes nothing, where something of it has begun or was changed since; RulesBrokenError
    with every rule that what stood before would break by now.
    """
    require(by, "place work")
    # All placing goes through the mill's row.
    Mill.objects.select_for_update().get()
    plan = Plan.objects.select_for_update().get(pk=plan.pk)
    if version is not None and plan.version != version:
        raise ValidationError(
            _("Somebody decided about this plan meanwhile: it is %(state)s. Nothing was changed.")
            % {"state": plan.get_state_display()},
            code="stale",
        )
    act = PlacingAct.objects.select_for_update().filter(plan=plan, taken_back_at=None).first()
    if act is None:
        raise ValidationError(_("Nothing of this plan stands that could be taken back."), code="state")
    returned = _take_back(act, by)
    was, kept = {"state": str(plan.state)}, act.before["plan"]
    plan.state, plan.changes = kept["state"], kept["changes"]
    plan.decided_at = plan.decided_by = None
    plan.version += 1
    plan.save(update_fields=["state", "changes", "decided_at", "decided_by", "version"])
    after = {"state": str(plan.state), "jobs": sorted(act.after["jobs"])}
    Change.record(plan, "plan taken back", by=by, before=was, after=after)
    return returned


@transaction.atomic
def take_back_place(work_order: WorkOrder, *, by: User | None, act_id: int | None = None) -> str:
    """Take back the last place by hand of a job: it returns to where it was before; raises as `take_back_plan` does.

    ``act_id`` is the act that whoever takes it back has seen.
    """
    require(by, "place work")
    Mill.objects.select_for_update().get()
    act = PlacingAct.objects.select_for_update().filter(work_order=work_order, taken_back_at=None).first()
    if act is None:
        raise ValidationError(
            _("No place by hand of %(number)s stands that could be taken back.") % {"number": work_order.number},
            code="state",
        )
    if act_id not in (None, act.pk):
        raise ValidationError(
            _("Somebody placed %(number)s, or took its place back, meanwhile. Look at it again; nothing was changed.")
            % {"number": work_order.number},
            code="stale",
        )
    returned = _take_back(act, by)
    was, now = (act.after["jobs"].get(work_order.number) or {}, act.before["jobs"].get(work_order.number) or {})
    Change.record(
        work_order,
        "place taken back",
        by=by,
        before={"start_at": was.get("start_at")},
        after={"start_at": now.get("start_at")},
    )
    return returned


def _take_back(act: PlacingAct, by: User | None) -> str:
    if hindrances := list(_hindrances(act)):
        raise ValidationError([_("It cannot be taken back; nothing was changed."), *hindrances], code="begun")
    returned = _say_what_returns(act)
    desk = load_desk(clock.now())
    fails_already = standing_on(desk).failing.keys() | set(act.before["failing"])
    why = _("What the charge gave way to was taken back.")
    for pk, was in act.before["downtimes"].items():
        if was is None:
            take_back_downtime(Downtime.objects.get(pk=pk), why=_("The plan that wanted it was taken back."), by=by)
    for kiln, times in _charges_by_kiln(act.before["charges"]).items():
        put_back(kiln, {pk: stand.times for pk, stand in times.items()}, why=why, by=by)
    for number, was in act.before["jobs"].items():
        _return(desk, desk.orders[number], was, by)
    _return_lock_outs(act)
    act.taken_back_at, act.taken_back_by = clock.now(), by
    act.save(update_fields=["taken_back_at", "taken_back_by"])
    keep_needs_in_step(desk.orders[number] for number in act.before["jobs"])
    for number in act.before["jobs"]:
        bring_parts_along(desk.orders[number])
    fails = standing_on(load_desk(clock.now())).failing
    faults = [f"{ref}: {say(why)}" for ref, why in sorted(fails.items()) if ref not in fails_already]
    if faults:
        raise RulesBrokenError([_("What stood before would not hold any more. Nothing was changed."), *faults])
    return returned


def _return(desk: Desk, order: WorkOrder, was: Mapping[str, Any], by: User | None) -> None:
    """Let a job be where it was, with its pin and people; or nowhere, and what was said of that."""
    if was["start_at"] is None:
        take_place_away(order, all_from_json(was["no_place_why"]), by=by, act="place taken back")
    else:
        if has_place(order) and order.placement.is_pinned and not was["is_pinned"]:
            order.placement.is_pinned = False
            order.placement.save(update_fields=["is_pinned"])
        span = (datetime.fromisoformat(was["start_at"]), datetime.fromisoformat(was["end_at"]))
        charges = (was["after_charge"], was["during_charge"])
        keep_place(
            desk, order, span, was["people"], charges, all_from_json(was["why"]), by=by, is_pinned=was["is_pinned"]
        )
    order.no_place_why = all_from_json(was["no_place_why"])
    order.pin_lost_why = all_from_json(was["pin_lost_why"])
    order.left_out_at = was["left_out_at"] and datetime.fromisoformat(was["left_out_at"])
    order.left_out_by_id, order.left_out_why = was["left_out_by"], was["left_out_why"]
    order.not_before_on = was["not_before_on"] and date.fromisoformat(was["not_before_on"])
    order.save(update_fields=BESIDE_PLACE)


def _return_lock_outs(act: PlacingAct) -> None:
    """Let the lock-outs of some kilns be as they were; those that the act left as they were stay."""
    for kiln_id, was in act.before["stops"].items():
        before, then = lock_outs_in(was), lock_outs_in(act.after["stops"][kiln_id])
        for key in then.keys() - before.keys():
            names = dict(zip(LOCK_OUT, key, strict=True))
            KilnStop.objects.filter(
                kiln=int(kiln_id), lock_out_at=names["lock_out_at"], person=names["person"]
            ).delete()
        KilnStop.objects.bulk_create(
            KilnStop(
                kiln_id=int(kiln_id),
                after_charge_id=one["after_charge"],
                during_charge_id=one["during_charge"],
                lock_out_at=datetime.fromisoformat(one["lock_out_at"]),
                ready_at=datetime.fromisoformat(one["ready_at"]),
                person_id=one["person"],
                plan_id=one["plan"],
            )
            for key, one in before.items()
            if key not in then
        )


def _charges_by_kiln(kept: Mapping[str, Any]) -> dict[Kiln, dict[int, Stand]]:
    found: dict[Kiln, dict[int, Stand]] = {}
    for charge in Charge.objects.filter(pk__in=kept).select_related("kiln").order_by("kiln_id"):
        found.setdefault(charge.kiln, {})[charge.pk] = Stand.from_json(kept[str(charge.pk)])
    return found


def _hindrances(act: PlacingAct) -> Iterator[str]:
    """Say what stands in the way: work that has begun, what was changed since, time that has gone by."""
    now = what_stands(act)
    yield from _hindrances_of_jobs(act, now["jobs"])
    yield from _hindrances_of_charges(act, now["charges"])
    yield from _hindrances_of_stops(act, now)


def _hindrances_of_jobs(act: PlacingAct, now: Mapping[str, Any]) -> Iterator[str]:
    labels = dict(WorkOrder.State.choices)
    for number, then in act.after["jobs"].items():
        stands, was = now.get(number), act.before["jobs"].get(number)
        if stands is None or then is None or was is None:
            yield _("%(number)s is not on record any more.") % {"number": number}
        elif stands["state"] not in WorkOrder.BEFORE_START:
            yield _("%(number)s is %(state)s.") % {"number": number, "state": labels[stands["state"]]}
        elif stands["version"] != then["version"] or place_in(stands) != place_in(then):
            yield _changed_words(number)
        elif _is_gone_by(then["start_at"]):
            yield _("The time of %(number)s has begun: %(at)s.") % {"number": number, "at": _at(then["start_at"])}
        elif _is_gone_by(was["start_at"]):
            facts = {"number": number, "at": _at(was["start_at"])}
            yield _("%(number)s was placed at %(at)s before: that has gone by.") % facts


def _changed_words(number: str) -> str:
    last = Change.objects.about(WorkOrder.objects.get(number=number)).last()
    facts = {"number": number, "act": last.did if last else "", "who": (last and last.by) or _("the program itself")}
    return _("%(number)s was changed since (%(act)s, %(who)s).") % facts


def _hindrances_of_charges(act: PlacingAct, now: Mapping[str, Any]) -> Iterator[str]:
    known = Charge.objects.filter(pk__in=act.before["charges"]).select_related("kiln").in_bulk()
    for pk, was in act.before["charges"].items():
        charge = known.get(int(pk))
        facts = {"charge": f"{charge.kiln.tag} {charge.number}" if charge else pk}
        if charge is None or now.get(pk) != act.after["charges"][pk]:
            yield _("Charge %(charge)s was told or moved since.") % facts
        elif _is_gone_by(was["begin_at"] if was["basis"] == Basis.PLANNED else was["end_at"]):
            yield _("The time that charge %(charge)s had before has gone by.") % facts


def _hindrances_of_stops(act: PlacingAct, now: Mapping[str, Any]) -> Iterator[str]:
    tags = dict(Kiln.objects.filter(pk__in=act.before["stops"]).values_list("pk", "tag"))
    for kiln_id, was in act.before["stops"].items():
        then, stand = act.after["stops"][kiln_id], now["stops"].get(kiln_id)
        changed = lock_outs_in(then).keys() ^ lock_outs_in(was).keys()
        facts = {"kiln": tags[int(kiln_id)]}
        if any(_is_gone_by(key[0]) for key in changed):
            yield _("The locking-out of %(kiln)s has begun, or was to begin before now.") % facts
        elif lock_outs_in(then).keys() != lock_outs_in(stand).keys():
            yield _("The lock-outs of %(kiln)s were changed since.") % facts
    for pk, then in act.after["downtimes"].items():
        if act.before["downtimes"][pk] is None and now["downtimes"].get(pk) != then:
            yield _("The stop that was planned for it, from %(at)s on, has begun or was changed since.") % {
                "at": _at(then["start_at"])
            }


def _is_gone_by(at: str | None) -> bool:
    return at is not None and datetime.fromisoformat(at) <= clock.now()


def _at(at: str) -> str:
    return date_format(localtime(datetime.fromisoformat(at)), "D j M, H:i")


def _say_what_returns(act: PlacingAct) -> str:
    """Say in one sentence what taking back brings back."""
    jobs = act.before["jobs"]
    lost = [number for number, was in jobs.items() if was and was["start_at"] is None]
    safety = sum(one.latest_at is not None for one in WorkOrder.objects.filter(number__in=lost))
    back, charges = len(jobs) - len(lost), len(act.before["charges"])
    downtimes = sum(one is None for one in act.before["downtimes"].values())
    counts = (
        (back, ngettext("%d job goes back to where it was", "%d jobs go back to where they were", back)),
        (len(lost), ngettext("%d job has no place again", "%d jobs have no place again", len(lost))),
        (safety, ngettext("of these %d is safety work", "of these %d are safety work", safety)),
        (charges, ngettext("%d charge has its former time", "%d charges have their former times", charges)),
        (downtimes, ngettext("%d planned stop is taken back", "%d planned stops are taken back", downtimes)),
    )
    said = [words % count for count, words in counts if count]
    return ", ".join(said) or _("the lock-outs are as they were")
