"""Give work orders their place, or take it away: what is written, with its history, whoever found the place."""

from collections.abc import Collection
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.advice import refresh_advice
from maintenance.models import Assignment, Placement, WorkOrder
from maintenance.orders.raising import update_readiness
from maintenance.orders.supply import keep_needs_in_step
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.drawing import places
from maintenance.plans.lock_outs import keep_lock_outs
from maintenance.plans.standing import standing_on
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, Sentences
from plant.models import Change, Mill, User

State = WorkOrder.State


class RulesBrokenError(ValidationError):
    """Raised for a place that breaks rules; its messages are the rules as sentences."""


def keep_place(
    desk: Desk,
    order: WorkOrder,
    span: tuple[datetime, datetime],
    people: Collection[int],
    charge_ids: tuple[int | None, int | None],
    why: Sentences,
    *,
    by: User | None,
    is_pinned: bool = False,
) -> bool:
    """Keep a place, behind or in a charge, and who is to do the job; False where nothing changed."""
    before = _facts(order)
    known = order.placement if has_place(order) else Placement(work_order=order)
    is_same = (
        known.pk is not None
        and (known.start_at, known.end_at) == span
        and set(people) == {given.person_id for given in order.assignments.all()}
        and order.state == State.PLACED
        and known.is_pinned >= is_pinned
    )
    if is_same:
        # Which charge it lies behind may be told otherwise; for people nothing has changed.
        if (known.after_charge_id, known.during_charge_id) != charge_ids:
            known.after_charge_id, known.during_charge_id = charge_ids
            known.save(update_fields=["after_charge", "during_charge"])
        return False
    (known.start_at, known.end_at), known.why = span, why
    known.after_charge_id, known.during_charge_id = charge_ids
    known.is_pinned = is_pinned or known.is_pinned
    known.save()
    Assignment.objects.filter(work_order=order).exclude(person__in=people).delete()
    Assignment.objects.bulk_create(
        [Assignment(work_order=order, person_id=person) for person in sorted(people)], ignore_conflicts=True
    )
    act = "moved" if before["state"] == State.PLACED else "placed"
    order.state, order.no_place_why = State.PLACED, ()
    changed = ["state", "no_place_why", "version"]
    if is_pinned:
        # Whoever puts a job somewhere by hand wants it in the plan.
        order.left_out_at, order.left_out_by, order.left_out_why, order.not_before_on = None, None, "", None
        order.pin_lost_why = ()
        changed += ["left_out_at", "left_out_by", "left_out_why", "not_before_on", "pin_lost_why"]
    order.version += 1
    order.save(update_fields=changed)
    names = [worker.name for worker in desk.workers if int(worker.ref) in people]
    after = {"state": str(order.state), "start_at": span[0].isoformat(), "people": names}
    Change.record(order, act, by=by, before=before, after=after, said=why)
    return True


def _facts(order: WorkOrder) -> dict[str, object]:
    facts: dict[str, object] = {"state": str(order.state)}
    if has_place(order):
        facts["start_at"] = order.placement.start_at.isoformat()
        facts["people"] = [given.person.name for given in order.assignments.all()]
    return facts


def take_place_away(
    order: WorkOrder,
    why: Sentences,
    *,
    by: User | None,
    act: str = "lost its place",
    after: dict[str, object] | None = None,
) -> None:
    """Keep that a job has no place, and why; take away the place it had."""
    if has_place(order):
        before = _facts(order)
        order.placement.delete()
        order.assignments.all().delete()
        order.state, order.no_place_why = State.RAISED, why
        order.version += 1
        order.save(update_fields=["state", "no_place_why", "version"])
        Change.record(order, act, by=by, before=before, after={"state": str(order.state), **(after or {})}, said=why)
        update_readiness([order])
    elif order.no_place_why != why:
        order.no_place_why = why
        order.save(update_fields=["no_place_why"])


def locked_for_placing(work_order: WorkOrder, by: User | None, version: int | None) -> WorkOrder:
    """Lock a work order that may be placed; refuse a stale edit and work that is under way or over."""
    require(by, "place work")
    # All placing goes through the mill's row, so that two planners cannot give one person to two jobs.
    Mill.objects.select_for_update().get()
    order = WorkOrder.objects.select_for_update().get(pk=work_order.pk)
    if version is not None and order.version != version:
        last = Change.objects.about(order).last()
        raise ValidationError(
            _("Somebody changed this meanwhile (%(act)s, %(who)s). Look at it again; nothing was stored.")
            % {"act": last.did if last else "", "who": (last and last.by) or _("the program itself")},
            code="stale",
        )
    if order.state not in WorkOrder.BEFORE_START:
        raise ValidationError(
            _("%(number)s is %(state)s: only work that has not begun can be placed or changed.")
            % {"number": order.number, "state": order.get_state_display()},
            code="state",
        )
    return order


def keep_place_that_holds(order: WorkOrder, *, by: User | None) -> Sentences:
    """Keep the place of a job that was changed where it fits beside all others, for as long as it takes now.

    Where it does not, it is taken away, and returned is why. A job whose time has begun keeps it.
    """
    desk = load_desk(clock.now())
    mine = desk.orders.get(order.number)
    if mine is None or not has_place(mine):
        return ()
    placed, people = mine.placement, sorted(given.person_id for given in mine.assignments.all())
    if mine.number in desk.in_hand:
        span = (placed.start_at, placed.start_at + timedelta(minutes=mine.minutes))
        keep_place(desk, mine, span, people, (placed.after_charge_id, placed.during_charge_id), placed.why, by=by)
        return ()
    pk, placed.pk = placed.pk, None
    # As if it had no place: all others keep theirs first.
    standing = standing_on(desk)
    placed.pk = pk
    found = standing.try_as_recorded(mine.number, placed.start_at, [str(person) for person in people])
    why = found.faults
    if not why and mine.latest_at is not None and found.end_at > mine.latest_at:
        why = (Sentence.of("fault.after_safety"),)
    if not why and found.plan is not None:
        place = places(standing.drawn, found.plan)[mine.number]
        charge_ids = (place.after_charge_id, place.during_charge_id)
        keep_place(desk, mine, (place.start_at, place.end_at), people, charge_ids, placed.why, by=by)
        keep_lock_outs(desk, standing.drawn, found.plan, [mine.kiln.tag])
        return ()
    if placed.is_pinned:
        end_pin(mine, why, by=by)
    told = (given_up(placed.start_at, why),)
    take_place_away(mine, told, by=by)
    return told


def given_up(was_at: datetime, why: Sentences) -> Sentence:
    """Say that a job had a place that was given up, and why."""
    return Sentence.of("place.given_up", was_at=was_at, why=why)


def bring_parts_along(order: WorkOrder) -> None:
    """Let the parts be wanted when the job's place says so, and the advice know of it."""
    parts = keep_needs_in_step([order])
    if parts:
        refresh_advice(clock.today(Mill.objects.current().zone), parts)


@transaction.atomic
def set_pinned(work_order: WorkOrder, is_pinned: bool, *, by: User | None) -> None:
    """Let a job keep its place whatever comes, or let the day's work move it again."""
    order = locked_for_placing(work_order, by, None)
    # That a place was lost is answered by either: it is kept anew, or may move.
    is_answer = bool(order.pin_lost_why)
    if not has_place(order) and (is_pinned or not is_answer):
        raise ValidationError(_("%(number)s has no place to keep.") % {"number": order.number}, code="state")
    was_pinned = has_place(order) and order.placement.is_pinned
    if has_place(order):
        order.placement.is_pinned = is_pinned
        order.placement.save(update_fields=["is_pinned"])
    if is_answer:
        order.pin_lost_why = ()
        order.save(update_fields=["pin_lost_why"])
    if was_pinned != is_pinned or is_answer:
        act = "kept at its place" if is_pinned else "may be moved again"
        Change.record(order, act, by=by, before={"is_pinned": was_pinned}, after={})


def end_pin(order: WorkOrder, why: Sentences, *, by: User | None = None) -> None:
    """Let a job that was kept by hand leave its place, which no longer holds; remember it until somebody answers."""
    placed = order.placement
    placed.is_pinned = False
    placed.save(update_fields=["is_pinned"])
    order.pin_lost_why = (Sentence.of("place.pin_lost", was_at=placed.start_at, why=why),)
    order.save(update_fields=["pin_lost_why"])
    Change.record(
        order,
        "may be moved again",
        by=by,
        before={"is_pinned": True},
        after={"is_pinned": False},
        said=order.pin_lost_why,
    )


def pin(work_order: WorkOrder, *, by: User | None) -> None:
    """Let a job keep its place whatever comes."""
    set_pinned(work_order, True, by=by)


def unpin(work_order: WorkOrder, *, by: User | None) -> None:
    """Let the day's work move a job again."""
    set_pinned(work_order, False, by=by)
