"""Plans: wanted, worked out beside what stands, stopped, set aside, and accepted.

A plan touches no work order before it is accepted, and is accepted only if it still holds by the independent checker
on the records as they then are; so a solver that fails, is killed or is late changes nothing.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.models import Plan, WorkOrder
from maintenance.orders.supply import keep_needs_in_step
from maintenance.placing import plan as plans
from maintenance.placing.frame import Frame
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.problem import LOCKED_OUT
from maintenance.placing.standing import KeptPlace, KeptStop, stand
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.drawing import Drawn, Place, draw_problem, person_id_of, places, stand_longer
from maintenance.plans.lock_outs import keep_lock_outs
from maintenance.plans.places import (
    RulesBrokenError,
    end_pin,
    keep_place,
    take_place_away,
)
from maintenance.plans.places_now import failing_places
from maintenance.plans.standing import (
    Standing,
    as_bytes,
    drawn_of,
    kept_places,
    kept_stops,
    standing_in,
)
from maintenance.plans.what_stood import remember, what_stands
from maintenance.plans.why import say_how_early, say_reason
from plant import clock
from plant.access import require
from plant.background.queueing import enqueue
from plant.basics.sentences import Sentence, Sentences, all_from_json, all_to_json
from plant.charges.shifting import Shift, shift_charges
from plant.downtime.keeping import DowntimeFacts, report_downtime
from plant.frame.saying import say
from plant.models import Change, Downtime, Mill, User

PLAN_TASK = "work out a plan"
State = Plan.State
#: Seconds a plan may be given; a task ends by itself after KILNWARD_TASK_TIMEOUT_S.
LEAST_SECONDS, MOST_SECONDS = 2, 600
#: What the plan of each day is given. Our own choice.
DAILY_SECONDS = 120


@dataclass
class Accepted:
    """What accepting a plan changed, by work order number."""

    placed: list[str] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)
    without_place: list[str] = field(default_factory=list)
    passed_over: dict[str, Sentences] = field(default_factory=dict)
    charges_moved: list[str] = field(default_factory=list)


@transaction.atomic
def want_plan(
    *, name: str = "", seconds: int = 60, suppositions: Sequence[Mapping[str, Any]] = (), by: User | None
) -> Plan:
    """Want a plan worked out in the background, for the records as they are or with what is supposed."""
    require(by, "place work")
    if not LEAST_SECONDS <= seconds <= MOST_SECONDS:
        raise ValidationError(
            _("A plan is given %(least)d to %(most)d seconds, not %(seconds)d.")
            % {"least": LEAST_SECONDS, "most": MOST_SECONDS, "seconds": seconds}
        )
    plan = Plan.objects.create(
        name=name.strip(),
        wanted_at=clock.now(),
        wanted_by=by,
        seconds_allowed=seconds,
        suppositions=[dict(one) for one in suppositions],
        mends=[] if suppositions else sorted(failing_places(clock.now()).why),
    )
    enqueue(PLAN_TASK, f"plan {plan.pk}", {"plan": plan.pk}, by=by)
    return plan


@transaction.atomic
def want_daily_plan(day: date) -> Plan | None:
    """Want a plan for a day, once, where there is something to place; the planner finds it in the morning."""
    Mill.objects.select_for_update().get()
    name = _("Plan of %s") % date_format(day, "j F Y")
    if (
        Plan.objects.filter(name=name).exists()
        or not WorkOrder.objects.filter(state__in=WorkOrder.BEFORE_START).exists()
    ):
        return None
    return want_plan(name=name, seconds=DAILY_SECONDS, by=None)


@transaction.atomic
def stop_plan(plan: Plan, *, by: User | None) -> None:
    """Let the working-out come to its end; the best plan found so far is kept."""
    require(by, "place work")
    plan = Plan.objects.select_for_update().get(pk=plan.pk)
    if not plan.is_at_work:
        raise ValidationError(_("This plan is not being worked out any more."), code="state")
    plan.wants_stop = True
    plan.save(update_fields=["wants_stop"])


def _locked(plan: Plan, version: int | None) -> Plan:
    found = Plan.objects.select_for_update().get(pk=plan.pk)
    if version is not None and found.version != version:
        raise ValidationError(
            _("Somebody decided about this plan meanwhile: it is %(state)s. Nothing was changed.")
            % {"state": found.get_state_display()},
            code="stale",
        )
    return found


@transaction.atomic
def set_aside(plan: Plan, *, by: User | None, version: int | None = None) -> None:
    """Decide against a plan; it stays to be looked at."""
    require(by, "place work")
    plan = _locked(plan, version)
    if not (plan.is_to_decide or plan.state == State.FAILED):
        raise ValidationError(
            _("This plan is %(state)s: only one that is worked out or ended early can be set aside.")
            % {"state": plan.get_state_display()},
            code="state",
        )
    _decide(plan, State.SET_ASIDE, by)


def _decide(plan: Plan, state: str, by: User | None) -> None:
    before = {"state": plan.state}
    plan.state, plan.decided_at, plan.decided_by = state, clock.now(), by
    plan.version += 1
    plan.save(update_fields=["state", "decided_at", "decided_by", "version"])
    Change.record(plan, str(state), by=by, before=before, after={"state": str(state)})


@transaction.atomic
def accept_plan(
    plan: Plan, *, by: User | None, version: int | None = None, part: Collection[str] | None = None
) -> Accepted:
    """Give the work orders the places of a plan, in one piece; of a part of its jobs alone, the rest stays to decide.

    Jobs that were begun, finished or withdrawn since are passed over, jobs raised since keep what they have. Raises
    RulesBrokenError with every rule that the plan would break on the records as they are now: nothing is changed then.
    """
    require(by, "place work")
    # All placing goes through the mill's row.
    Mill.objects.select_for_update().get()
    plan = _locked(plan, version)
    if not plan.is_to_decide:
        raise ValidationError(
            _("This plan is %(state)s: only one that is worked out or ended early can be accepted.")
            % {"state": plan.get_state_display()},
            code="state",
        )
    if plan.suppositions:
        raise ValidationError(
            _(
                "This plan supposes what is not on record. Enter the absence, the delivery or the charge's new times "
                "first, then work out a plan without suppositions."
            ),
            code="supposed",
        )
    desk = load_desk(clock.now())
    drawn = draw_problem(desk, gives_way=set(plan.unsafe))
    now = standing_in(desk, drawn)
    # Pins of later jobs that do not hold are as little in a plan's way as those that it has let go.
    fail = drawn.problem.pinned - now.drawn.problem.pinned - plan.versions.keys()
    let_go = _pins_let_go(plan, desk)
    drawn = drawn.without_pins(fail | let_go)
    accepted = Accepted()
    wanted, stops = _carried_over(plan, desk, drawn, accepted, fail)
    if part is not None:
        wanted, stops = _of_part(part, desk, now, wanted, stops, drawn)
        accepted.passed_over = {ref: why for ref, why in accepted.passed_over.items() if ref in part}
    frame = Frame(drawn.problem)
    state, loose = stand(frame, wanted, stops)
    standing = Standing(drawn, state)
    faults: list[Sentence] = []
    for ref in loose:
        faults += standing.faults_of_kept(ref, wanted[ref]) or [Sentence.of("fault.beside", job=ref)]
    faults += [standing.said_of(one, standing.plan) for one in standing.broken]
    if faults:
        gone = _("The plan no longer holds; work out a new one. Nothing was changed.")
        raise RulesBrokenError([gone if part is None else _pulled(loose, part), *map(say, faults)])
    before, plan_before = what_stands(), {"state": str(plan.state), "changes": plan.changes}
    _end_pins(plan, desk, standing, let_go if part is None else let_go & set(part), by)
    carry_out(desk, now.plan, standing, set(wanted), accepted, by=by, plan=plan)
    for ref in drawn.problem.issued:
        # Where the plan has no place for a job that somebody keeps at one, it stays, and whoever keeps it decides.
        if ref not in standing.plan.jobs and ref not in fail | let_go and (part is None or ref in part):
            take_place_away(desk.orders[ref], say_reason(standing, ref), by=by)
            accepted.without_place.append(ref)
    keep_needs_in_step(desk.to_place.values())
    remember(before, failing=now.loose, by=by, plan=plan, plan_before=plan_before)
    if part is not None:
        _note_part(plan, part, by)
        return accepted
    plan.changes = changes_between(now, standing)
    plan.save(update_fields=["changes"])
    _decide(plan, State.ACCEPTED, by)
    for other in Plan.objects.select_for_update().to_decide():
        # They were worked out for places that stand no longer.
        _decide(other, State.SET_ASIDE, None)
    return accepted


def _of_part(
    part: Collection[str],
    desk: Desk,
    now: Standing,
    wanted: Mapping[str, KeptPlace],
    stops: Collection[KeptStop],
    drawn: Drawn,
) -> tuple[dict[str, KeptPlace], list[KeptStop]]:
    """Take the places of a part of the jobs from the plan, those of all others as they are on record.

    What does not hold on record as it is stands in nobody's way.
    """
    kept = {ref: at for ref, at in kept_places(desk, drawn).items() if ref not in part and ref not in now.loose}
    mine = {ref: at for ref, at in wanted.items() if ref in part}
    kilns = {job.kiln for job in drawn.problem.jobs if job.ref in mine}
    # Of a kiln and opening the last named counts: what is on record gives way to what the plan has there.
    return kept | mine, [*kept_stops(desk, drawn), *(stop for stop in stops if stop.kiln in kilns)]


def _pulled(loose: Collection[str], part: Collection[str]) -> str:
    """Say which jobs stop a part of a plan from being accepted alone."""
    others = sorted(set(loose) - set(part))
    if others:
        return _("This part does not hold alone: %(jobs)s must move with it. Nothing was changed.") % {
            "jobs": ", ".join(others)
        }
    return _("This part does not hold beside what is on record: accept the whole plan. Nothing was changed.")


def _note_part(plan: Plan, part: Collection[str], by: User | None) -> None:
    """Keep who accepted which jobs of a plan alone; what is left of it stays to decide."""
    plan.changes = [one for one in plan.changes if one["number"] not in part]
    plan.version += 1
    plan.save(update_fields=["changes", "version"])
    after = {"jobs": sorted(part), "state": str(plan.state)}
    Change.record(plan, "accepted in part", by=by, before={"state": str(plan.state)}, after=after)


def _pins_let_go(plan: Plan, desk: Desk) -> frozenset[str]:
    """Return the pins that a plan lets go and that stand as they stood: one that was given anew since counts."""
    return frozenset(
        ref
        for ref, told in plan.pins_let_go.items()
        if ref in desk.orders
        and has_place(desk.orders[ref])
        and desk.orders[ref].placement.start_at.isoformat() == told["start_at"]
    )


def _end_pins(plan: Plan, desk: Desk, standing: Standing, refs: Collection[str], by: User | None) -> None:
    """Let the jobs that the plan has elsewhere leave the places they were kept at, and remember that."""
    for ref, place in places(standing.drawn, standing.plan).items():
        order = desk.orders[ref]
        if ref in refs and order.placement.is_pinned and place.start_at != order.placement.start_at:
            end_pin(order, all_from_json(plan.pins_let_go[ref]["why"]), by=by)


def _carried_over(
    plan: Plan, desk: Desk, drawn: Drawn, accepted: Accepted, stays: Collection[str]
) -> tuple[dict[str, KeptPlace], list[KeptStop]]:
    """Put the places of a plan into the minutes, people and charges of the problem as it is drawn now."""
    old = drawn_of(plan)
    kept = read_plan(as_bytes(plan.plan))
    if not isinstance(kept, plans.Plan):
        raise TypeError(f"Plan {plan.pk} says that none is possible.")
    jobs = {job.ref: job for job in drawn.problem.jobs}
    wanted: dict[str, KeptPlace] = {}
    for ref, place in places(old, kept).items():
        order = desk.orders.get(ref)
        start_min = drawn.minute(place.start_at)
        if order is None or order.state not in WorkOrder.BEFORE_START:
            accepted.passed_over[ref] = (Sentence.of("passed.begun"),)
        elif ref not in jobs:
            accepted.passed_over[ref] = drawn.aside.get(ref) or (Sentence.of("passed.left_out"),)
        elif start_min < 0:
            accepted.passed_over[ref] = (Sentence.of("passed.time_gone"),)
        else:
            people = [drawn.part_of(person, start_min) for person in place.person_ids]
            if None in people:
                raise RulesBrokenError([_("%(number)s: somebody of its crew no longer works here.") % {"number": ref}])
            is_locked_out = jobs[ref].needs_state in LOCKED_OUT
            charges = (place.after_charge_id, place.during_charge_id)
            at = drawn.place_of(jobs[ref].kiln, *charges, start_min, is_locked_out=is_locked_out)
            wanted[ref] = KeptPlace(start_min, frozenset(one for one in people if one), at)
    for ref, kept_place in kept_places(desk, drawn).items():
        # What was raised or placed since the plan was drawn stays where it is.
        if ref not in wanted and ref not in plan.versions and ref not in stays:
            wanted[ref] = kept_place
    return wanted, _carried_stops(old, kept, drawn)


def _carried_stops(old: Drawn, kept: plans.Plan, drawn: Drawn) -> list[KeptStop]:
    found = []
    for stop in kept.stops:
        after_id, during_id = old.charges_of(stop)
        begin_min = drawn.minute(old.at(stop.set_up_start_min))
        place = drawn.place_of(stop.kiln, after_id, during_id, begin_min, is_locked_out=True)
        if after_id is None and during_id is None:
            # No charge is known before it: it is the first opening now as it was then.
            place = 0
        person = drawn.part_of(person_id_of(stop.person), begin_min)
        if place is not None and person is not None:
            found.append(KeptStop(stop.kiln, place, begin_min, person))
    return found


def carry_out(
    desk: Desk,
    before: plans.Plan,
    standing: Standing,
    refs: Collection[str],
    accepted: Accepted,
    *,
    by: User | None,
    plan: Plan | None = None,
    words: Sentences = (),
) -> None:
    """Write places, lock-outs and the charges that give way; what is said in ``words`` was placed by hand."""
    drawn, after = standing.drawn, standing.plan
    _shift(desk, drawn, before, after, accepted, by)
    found = places(drawn, after)
    for ref in sorted(refs & found.keys(), key=lambda ref: (found[ref].start_at, ref)):
        keep(desk, standing, found[ref], accepted, by=by, words=words)
    kilns = {standing.frame.jobs[standing.frame.number_of_job[ref]].kiln for ref in refs} if words else None
    keep_lock_outs(desk, drawn, after, kilns, plan)


def keep(
    desk: Desk,
    standing: Standing,
    place: Place,
    accepted: Accepted,
    *,
    by: User | None,
    first: Sentences = (),
    words: Sentences = (),
) -> None:
    """Write one place of a plan with why it is there; what is said in ``words`` was given by hand, and is kept."""
    order = desk.orders[place.job_ref]
    had_place = has_place(order)
    told = words or (*first, *say_reason(standing, place.job_ref), say_how_early(standing, place.job_ref))
    why = (*told, *desk.to_order(order, place.start_at))
    charge_ids = (place.after_charge_id, place.during_charge_id)
    span = (place.start_at, place.end_at)
    if keep_place(desk, order, span, place.person_ids, charge_ids, why, by=by, is_pinned=bool(words)):
        (accepted.moved if had_place else accepted.placed).append(order.number)


def _shift(
    desk: Desk, drawn: Drawn, before: plans.Plan, after: plans.Plan, accepted: Accepted, by: User | None
) -> None:
    """Load charges later where the plan does, let them stand longer, and interrupt those it interrupts."""
    kilns = {one.kiln.tag: one.kiln for one in desk.programme.values()}
    known = {(stop.kiln, stop.in_charge) for stop in before.stops if stop.in_charge is not None}
    longer_stands = stand_longer(drawn, after)
    for of in drawn.problem.kilns:
        ids = drawn.charge_ids[of.tag]
        shifts: dict[int, Shift] = {}
        for charge_id, charge, start in zip(ids, of.charges, after.charge_starts[of.tag], strict=True):
            if charge_id is not None and not charge.goes_on and start > charge.start_min:
                shifts[charge_id] = Shift(later=timedelta(minutes=start - charge.start_min))
            elif charge_id in longer_stands:
                from_min, minutes = longer_stands[charge_id]
                held = shifts.get(charge_id, Shift()).later
                shifts[charge_id] = Shift(held, drawn.at(from_min), timedelta(minutes=minutes))
        for stop in after.stops:
            if stop.kiln != of.tag or stop.in_charge is None or (stop.kiln, stop.in_charge) in known:
                continue
            charge_id = ids[stop.in_charge]
            if charge_id is None:
                continue
            was = shifts.get(charge_id, Shift())
            from_at = min(was.interrupted_at or drawn.at(stop.set_up_start_min), drawn.at(stop.set_up_start_min))
            longer = was.longer + timedelta(minutes=stop.end_min - stop.set_up_start_min + of.reheat_min)
            shifts[charge_id] = Shift(was.later, from_at, longer)
            numbers = sorted(ref for ref, at in after.jobs.items() if at.stop == after.stops.index(stop))
            facts = DowntimeFacts(
                kind=Downtime.Kind.PLANNED,
                start_at=drawn.at(stop.set_up_start_min),
                end_at=drawn.at(stop.end_min),
                announced_at=clock.now(),
                cause=_("Locked out for %(jobs)s") % {"jobs": ", ".join(numbers)},
            )
            report_downtime(kilns[of.tag], facts, by=by)
        if shifts:
            why = _("Work in the opening before it, or in it, by the plan.")
            moved = shift_charges(kilns[of.tag], shifts, why=why, by=by)
            accepted.charges_moved += [f"{of.tag} {charge.number}" for charge in moved]


def changes_between(before: Standing, after: Standing) -> list[dict[str, Any]]:
    """List what a plan has elsewhere than it was, with why; people by name, instants as ISO text.

    A place on record that does not hold is named all the same, with what it breaks as ``broken``.
    """

    def told(standing: Standing, place: Place | None) -> dict[str, Any] | None:
        if place is None:
            return None
        names = [standing.name_of(str(person)) for person in place.person_ids]
        return {"start_at": place.start_at.isoformat(), "end_at": place.end_at.isoformat(), "people": names}

    def on_record(ref: str) -> dict[str, Any] | None:
        kept = told(before, before.loose_at.get(ref))
        return kept and {**kept, "broken": all_to_json(before.loose[ref])}

    was, now = places(before.drawn, before.plan), places(after.drawn, after.plan)
    found = []
    for ref in sorted(set(was) | set(now)):
        old, new = was.get(ref), now.get(ref)
        if old and new and (old.start_at, old.person_ids) == (new.start_at, new.person_ids):
            continue
        if ref not in after.frame.number_of_job:
            continue
        found.append(
            {
                "number": ref,
                "kiln": after.frame.jobs[after.frame.number_of_job[ref]].kiln,
                "from": told(before, old) or on_record(ref),
                "to": told(after, new),
                "why": all_to_json(say_reason(after, ref)),
            }
        )
    return found
