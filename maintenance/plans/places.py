"""Give work orders their place: by the simple rule for all, or by the planner's hand for one."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.advice import refresh_advice
from maintenance.calculations import placing_problem as calc
from maintenance.calculations.hand_placing import look_at_place
from maintenance.calculations.simple_placing import place_jobs
from maintenance.frame.shouts import Shout
from maintenance.models import Assignment, Placement, WorkOrder
from maintenance.orders.raising import update_readiness
from maintenance.orders.supply import keep_needs_in_step
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.lock_outs import keep_lock_outs, somebody_locks_out
from maintenance.plans.standing import Standing, ends_late, standing_on
from plant import clock
from plant.access import require
from plant.models import Change, Mill, Person, User

State = WorkOrder.State


@dataclass(frozen=True)
class Cleared:
    """A place that no longer held: why, and when the job is done instead; None where it has no place now.

    A place that was given by hand stays: the planner decides.
    """

    number: str
    was_at: datetime
    why: str
    now_at: datetime | None
    is_safety: bool = False
    stays: bool = False
    #: Somebody had given it by hand.
    was_kept: bool = False

    def say(self, zone: ZoneInfo) -> str:
        """Say what became of it, in the mill's time."""
        facts = {"number": self.number, "was": _say(self.was_at, zone), "why": self.why}
        if self.stays:
            words = _("%(number)s keeps its place on %(was)s, but that does not hold: %(why)s It stays: you decide.")
            return words % facts
        if self.now_at is None:
            return _("%(number)s lost its place on %(was)s: %(why)s It has none now.") % facts
        if self.now_at == self.was_at:
            return _("%(number)s lost its crew on %(was)s: %(why)s Others do it at the same time.") % facts
        facts["now"] = _say(self.now_at, zone)
        return _("%(number)s lost its place on %(was)s: %(why)s It is placed on %(now)s now.") % facts


def _say(at: datetime, zone: ZoneInfo) -> str:
    return date_format(at.astimezone(zone), "D j M H:i")


@dataclass(frozen=True)
class Placed:
    """What placing all jobs came to."""

    placed: int
    fresh: int
    moved: int
    without_place: int
    left_out: int
    waiting_for_parts: int
    shouts: tuple[Shout, ...]
    cleared: tuple[Cleared, ...] = ()


class RulesBrokenError(ValidationError):
    """Raised for a place that breaks rules; its messages are the rules as sentences."""


@transaction.atomic
def place_all(now_at: datetime) -> Placed:
    """Place every job that may be placed; places that still hold are kept, pinned ones are never moved."""
    Mill.objects.select_for_update().get()
    desk = load_desk(now_at)
    unsupplied = desk.unsupplied()
    kept, given_up, stuck = _sort_places(desk, unsupplied)
    aside = desk.in_hand | set(stuck)
    said = _stuck_by_checker(desk, stuck)
    apart = aside | desk.left_out | set(unsupplied)
    jobs = [job for ref, job in desk.jobs.items() if ref not in apart]
    plan = place_jobs(desk.problem(jobs, kept, aside))
    for ref, one in given_up.items():
        if one.was_kept:
            end_pin(desk.orders[ref], one.why)
    fresh = moved = 0
    for placement in plan.placements:
        order = desk.orders[placement.job_ref]
        had_place = has_place(order)
        words = (_gave_up(desk, given_up.get(order.number)), placement.reason, desk.to_order(order, placement.start_at))
        why = " ".join(word for word in words if word)
        if _store(desk, order, placement, why, by=None):
            fresh, moved = fresh + (not had_place), moved + had_place
    for answer in plan.not_placed:
        causes = " ".join(f"{cause.words} {cause.remedy}" for cause in answer.causes)
        why = f"{_gave_up(desk, given_up.get(answer.job_ref))} {causes}".strip()
        take_place_away(desk.orders[answer.job_ref], why, by=None)
    without = (set(unsupplied) & set(desk.jobs)) - aside - desk.left_out
    for ref, lacking in unsupplied.items():
        if ref in without:
            take_place_away(desk.orders[ref], lacking, by=None)
    keep_needs_in_step(desk.orders[ref] for ref in desk.jobs)
    now = {one.job_ref: one.start_at for one in plan.placements}
    waiting = sum(1 for ref in desk.jobs if desk.short.get(desk.orders[ref].pk))
    return Placed(
        placed=len(plan.placements) + len(aside & set(desk.jobs)),
        fresh=fresh,
        moved=moved,
        without_place=len(plan.not_placed) + len(without),
        left_out=len(desk.left_out),
        waiting_for_parts=waiting,
        shouts=tuple(_shouts(desk, plan, {ref: why for ref, why in unsupplied.items() if ref not in stuck}, said)),
        cleared=tuple(replace(one, now_at=now.get(ref)) for ref, one in sorted(given_up.items())),
    )


def _gave_up(desk: Desk, one: Cleared | None) -> str:
    if one is None:
        return ""
    when = one.was_at.astimezone(desk.mill.zone)
    return _("Had a place on %(when)s, given up: %(why)s") % {"when": f"{when:%Y-%m-%d %H:%M}", "why": one.why}


def _sort_places(
    desk: Desk, unsupplied: dict[str, str]
) -> tuple[list[calc.Placement], dict[str, Cleared], dict[str, list[str]]]:
    """Sort the places on record: those that hold, those given up with the reason, and pinned ones that do not hold."""
    kept: list[calc.Placement] = []
    given_up: dict[str, Cleared] = {}
    stuck: dict[str, list[str]] = {}
    for ref in desk.placed_refs:
        if ref in desk.in_hand or ref not in desk.jobs:
            continue
        order = desk.orders[ref]
        faults: Collection[str]
        if order.placement.end_at <= desk.now_at:
            faults = [_("It was not started.")]
        elif ref in unsupplied:
            faults = [unsupplied[ref]]
        else:
            people = [str(given.person_id) for given in order.assignments.all()]
            problem = desk.problem(desk.jobs.values(), kept, desk.in_hand)
            wanted = look_at_place(problem, desk.jobs[ref], order.placement.start_at, people)
            faults = wanted.faults
            if wanted.placement and wanted.placement.end_at == order.placement.end_at:
                if order.placement.is_pinned and ends_late(desk, ref):
                    # The simple rule would look for an earlier place; the planner has chosen this one.
                    stuck[ref] = list(wanted.warnings)
                    continue
                kept.append(calc.Placement(**{**vars(wanted.placement), "reason": order.placement.why}))
                continue
            faults = faults or [_("The job lasts longer or shorter now.")]
        if order.placement.is_pinned and order.placement.end_at > desk.now_at:
            stuck[ref] = list(faults)
        else:
            # A pin ends with its time: what was not done then needs another place.
            placed, why = order.placement, " ".join(faults)
            given_up[ref] = Cleared(
                ref, placed.start_at, why, None, is_safety=order.is_safety, was_kept=placed.is_pinned
            )
    return kept, given_up, stuck


def _stuck_by_checker(desk: Desk, stuck: dict[str, list[str]]) -> dict[str, list[str]]:
    """Say of kept places what whoever answers for board and plan says of them, and that a safety date passes."""
    if not stuck:
        return {}
    failing, said = standing_on(desk).failing, {}
    for ref, faults in stuck.items():
        if ref in failing:
            said[ref] = [failing[ref]]
        elif ends_late(desk, ref):
            said[ref] = faults
    return said


def _shouts(
    desk: Desk, plan: calc.SimplePlan, unsupplied: dict[str, str], stuck: dict[str, list[str]]
) -> Iterable[Shout]:
    for shout in plan.shouts:
        yield Shout("alarm", shout.words, shout.job_ref)
    for ref, lacking in unsupplied.items():
        if ref in desk.jobs and desk.jobs[ref].is_safety:
            text = _("%(number)s on %(kiln)s is safety work and has no place. %(why)s")
            yield Shout("alarm", text % {"number": ref, "kiln": desk.jobs[ref].kiln, "why": lacking}, ref)
    for ref, faults in stuck.items():
        text = _(
            "%(number)s keeps the place it was given by hand, but that does not hold: %(why)s It stays: you decide."
        )
        level = "alarm" if desk.jobs[ref].is_safety else "mind"
        yield Shout(level, text % {"number": ref, "why": " ".join(faults)}, ref)


def _store(
    desk: Desk, order: WorkOrder, placement: calc.Placement, why: str, *, by: User | None, is_pinned: bool = False
) -> bool:
    """Keep a place that the simple rule found; False where nothing changed."""
    link = desk.links.get(placement.window_ref)
    charge_ids = (link.after_charge_id, link.during_charge_id) if link else (None, None)
    people = {int(ref) for ref, _skill in placement.people}
    span = (placement.start_at, placement.end_at)
    return keep_place(desk, order, span, people, charge_ids, why, by=by, is_pinned=is_pinned)


def keep_place(
    desk: Desk,
    order: WorkOrder,
    span: tuple[datetime, datetime],
    people: Collection[int],
    charge_ids: tuple[int | None, int | None],
    why: str,
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
    order.state, order.no_place_why = State.PLACED, ""
    changed = ["state", "no_place_why", "version"]
    if is_pinned:
        # Whoever puts a job somewhere by hand wants it in the plan.
        order.left_out_at, order.left_out_by, order.left_out_why, order.not_before_on = None, None, "", None
        order.pin_lost_why = ""
        changed += ["left_out_at", "left_out_by", "left_out_why", "not_before_on", "pin_lost_why"]
    order.version += 1
    order.save(update_fields=changed)
    names = [worker.name for worker in desk.workers if int(worker.ref) in people]
    after = {"state": str(order.state), "start_at": span[0].isoformat(), "people": names}
    Change.record(order, act, by=by, before=before, after=after, note=why)
    return True


def _facts(order: WorkOrder) -> dict[str, object]:
    facts: dict[str, object] = {"state": str(order.state)}
    if has_place(order):
        facts["start_at"] = order.placement.start_at.isoformat()
        facts["people"] = [given.person.name for given in order.assignments.all()]
    return facts


def take_place_away(
    order: WorkOrder,
    why: str,
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
        Change.record(order, act, by=by, before=before, after={"state": str(order.state), **(after or {})}, note=why)
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
            % {"act": last.act if last else "", "who": (last and last.by) or _("the program itself")},
            code="stale",
        )
    if order.state not in WorkOrder.BEFORE_START:
        raise ValidationError(
            _("%(number)s is %(state)s: only work that has not begun can be placed or changed.")
            % {"number": order.number, "state": order.get_state_display()},
            code="state",
        )
    return order


@transaction.atomic
def place_by_hand(
    work_order: WorkOrder,
    start_at: datetime,
    people: Collection[Person],
    *,
    by: User | None,
    version: int | None = None,
) -> tuple[str, ...]:
    """Put a job where the planner wants it, and keep it there; return what is worth a warning.

    Raises RulesBrokenError with every rule that the place breaks as a sentence: nothing is stored then.
    """
    order = locked_for_placing(work_order, by, version)
    desk = load_desk(clock.now())
    mine = desk.orders[order.number]
    wanted = desk.look(mine, start_at, people)
    if wanted.placement is None:
        raise RulesBrokenError(list(wanted.faults))
    why = _("Put here by %(who)s.") % {"who": by or _("the program itself")}
    to_order = desk.to_order(mine, wanted.placement.start_at)
    warnings = (*wanted.warnings, to_order) if to_order else wanted.warnings
    standing = _checked(desk, mine, start_at, people)
    _store(desk, mine, wanted.placement, " ".join((why, *warnings)), by=by, is_pinned=True)
    if standing is not None:
        keep_lock_outs(desk, standing.drawn, standing.plan, [mine.kiln.tag])
    bring_parts_along(mine)
    return warnings


def _checked(desk: Desk, order: WorkOrder, start_at: datetime, people: Collection[Person]) -> Standing | None:
    """Hold a place against the checker, lock-outs included; None where nobody on record may lock out."""
    if not somebody_locks_out(desk):
        return None
    # Whoever puts a job somewhere by hand wants it in the plan.
    desk.left_out.discard(order.number)
    standing = standing_on(desk)
    if order.number not in standing.frame.number_of_job:
        return None
    verdict = standing.try_place(order.number, start_at, [str(person.pk) for person in people])
    if not verdict.holds or verdict.plan is None:
        raise RulesBrokenError(list(verdict.faults))
    return standing.with_plan(verdict.plan)


def keep_place_that_holds(order: WorkOrder, *, by: User | None) -> str:
    """Keep the place of a job that was changed where it breaks nothing; else take it away and return why."""
    desk = load_desk(clock.now())
    mine = desk.orders.get(order.number)
    if mine is None or not has_place(mine):
        return ""
    placed = mine.placement
    wanted = desk.look(mine, placed.start_at, [given.person for given in mine.assignments.all()])
    faults, latest_at = wanted.faults, desk.jobs[mine.number].latest_at
    if wanted.placement and latest_at and wanted.placement.end_at > latest_at:
        faults = (_("It would end after the last day that is safe."),)
    elif wanted.placement:
        _store(desk, mine, wanted.placement, placed.why, by=by)
        return ""
    when = placed.start_at.astimezone(desk.mill.zone)
    why = _("Had a place on %(when)s, given up: %(why)s") % {"when": f"{when:%Y-%m-%d %H:%M}", "why": " ".join(faults)}
    if placed.is_pinned:
        end_pin(mine, " ".join(faults), by=by)
    take_place_away(mine, why, by=by)
    return why


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
        order.pin_lost_why = ""
        order.save(update_fields=["pin_lost_why"])
    if was_pinned != is_pinned or is_answer:
        act = "kept at its place" if is_pinned else "may be moved again"
        Change.record(order, act, by=by, before={"is_pinned": was_pinned}, after={})


def end_pin(order: WorkOrder, why: str, *, by: User | None = None) -> None:
    """Let a job that was kept by hand leave its place, which no longer holds; remember it until somebody answers."""
    placed = order.placement
    when = date_format(placed.start_at.astimezone(Mill.objects.current().zone), "D j M H:i")
    placed.is_pinned = False
    placed.save(update_fields=["is_pinned"])
    order.pin_lost_why = _("It was kept on %(when)s, which no longer held: %(why)s") % {"when": when, "why": why}
    order.save(update_fields=["pin_lost_why"])
    Change.record(
        order,
        "may be moved again",
        by=by,
        before={"is_pinned": True},
        after={"is_pinned": False},
        note=order.pin_lost_why,
    )


def pin(work_order: WorkOrder, *, by: User | None) -> None:
    """Let a job keep its place whatever comes."""
    set_pinned(work_order, True, by=by)


def unpin(work_order: WorkOrder, *, by: User | None) -> None:
    """Let the day's work move a job again."""
    set_pinned(work_order, False, by=by)
