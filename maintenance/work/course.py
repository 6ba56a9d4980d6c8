"""Work orders from the start to the sign-off: each move locks the row, asks for leave, and writes its history."""

from collections.abc import Collection, Iterable
from datetime import date
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions import release
from maintenance.checks.defects import cure_defect, record_defect
from maintenance.checks.proof_tests import ProofAnswers, blocks_entry, raise_retest, record_proof_test
from maintenance.entry.bars import bars_of
from maintenance.entry.door import see_in
from maintenance.entry.lifting import defects_lifted_by, refuse_own_work, what_it_lifts
from maintenance.entry.now import entry_of
from maintenance.entry.permits import (
    is_somebody_at_work_inside,
    open_permit_of,
    refuse_while_open_for,
    runs_the_kiln,
    takes_people_inside,
)
from maintenance.entry.start_at_kiln import check_entry
from maintenance.models import Assignment, ProofTest, StepRecord, WorkOrder, WorkStep
from maintenance.orders.moving import check_version, give_up, lock_with_kiln, move
from maintenance.recurring.rolling_on import complete, pass_occurrence_over
from maintenance.watches.resets import begin_anew
from maintenance.watches.verdicts import judge_by_work
from plant import clock
from plant.access import require
from plant.models import Change, Component, FailureMode, Person, User
from plant.warnings.running_bars import refuse_running

State = WorkOrder.State


@transaction.atomic
def start(
    work_order: WorkOrder,
    *,
    by: User,
    version: int,
    is_cautions_read: bool,
    people: Collection[Person] = (),
    locked_out_outside_by: Person | None = None,
    is_own_lock_on: bool = False,
    stays_outside: Person | None = None,
) -> WorkOrder:
    """Start a job or carry on with a paused one: cautions read, people able to do it, and the kiln as it needs it.

    A job inside needs the chamber open for entry and its people in by the list; ``is_own_lock_on`` says that those who
    are not in yet go in now, each with a lock of their own. ``locked_out_outside_by`` names who locked the kiln out for
    a job that mends or proves, from outside, what bars entry; ``stays_outside`` who stays at the main door of a test.
    """
    require(by, "do work")
    order = lock_with_kiln(work_order)
    if order.state == State.UNDER_WAY and not order.is_paused:
        return order
    check_version(order, version)
    if not is_cautions_read:
        raise ValidationError(_("Read the cautions and confirm them before the start."))
    team = _team(order, people, by)
    check_team(order, team)
    if runs_the_kiln(order):
        refuse_running(order.kiln)
    entry = check_entry(order, team, locked_out_outside_by, stays_outside)
    if takes_people_inside(order) and not entry:
        stand = entry_of(order.kiln)
        went_in = see_in(stand, team, by=by, is_own_lock_on=is_own_lock_on) if stand else []
        entry = {"goes_in": [person.name for person in went_in]} if went_in else {}
    if not order.is_paused:
        # The team on record is who does it: whoever was given the job and is not among them did not.
        Assignment.objects.filter(work_order=order).exclude(person__in=team).delete()
    for person in team:
        Assignment.objects.get_or_create(work_order=order, person=person)
    after = {"people": [person.name for person in team], "cautions_read": True, **entry}
    if order.is_paused:
        order.paused_at = None
        order.version += 1
        order.save(update_fields=["paused_at", "version"])
        Change.record(order, "carried on", by=by, after=after)
        return order
    order.started_at = clock.now()
    move(order, State.UNDER_WAY, "started", by, after=after)
    return order


@transaction.atomic
def pause(work_order: WorkOrder, *, by: User, version: int, note: str = "") -> WorkOrder:
    """Stop work that is not finished: its people are out, and it is carried on another time."""
    require(by, "do work")
    order = lock_with_kiln(work_order)
    if order.is_paused:
        return order
    check_version(order, version)
    if order.state != State.UNDER_WAY:
        raise ValidationError(
            _("%(number)s is %(state)s: only work that goes on can be paused.")
            % {"number": order.number, "state": order.get_state_display()},
            code="state",
        )
    stand = entry_of(order.kiln) if takes_people_inside(order) else None
    team = Person.objects.filter(assignments__work_order=order)
    inside = [person.name for person in team if stand and stand.is_inside(person)]
    if inside:
        raise ValidationError(
            _("Still inside %(kiln)s: %(names)s. Work there is paused when its people are out.")
            % {"kiln": order.kiln.tag, "names": ", ".join(inside)},
            code="inside",
        )
    pause_locked(order, by, note)
    return order


def pause_locked(order: WorkOrder, by: User | None, note: str = "") -> None:
    """Pause a job whose row is locked and whose people are out."""
    if order.state != State.UNDER_WAY or order.is_paused:
        return
    order.paused_at = clock.now()
    order.version += 1
    order.save(update_fields=["paused_at", "version"])
    Change.record(order, "paused", by=by, note=note.strip())


def refuse_return(order: WorkOrder) -> None:
    """Refuse to give a kiln back to service while it is open for entry, or others are at work there."""
    if not takes_people_inside(order):
        return
    if open_permit_of(order.kiln) or is_somebody_at_work_inside(order.kiln, besides=order):
        refuse_running(order.kiln)


def _team(order: WorkOrder, people: Collection[Person], by: User) -> list[Person]:
    team = list(people) or list(Person.objects.filter(assignments__work_order=order))
    if not team and by.person:
        team = [by.person]
    if not team:
        raise ValidationError(_("Say who does the work."))
    return team


def check_team(order: WorkOrder, team: Collection[Person]) -> None:
    """Refuse a team that is too small or lacks a skill that counts today."""
    faults = []
    if len(team) < order.crew:
        faults.append(
            _("%(number)s takes %(crew)d people, %(named)d named.")
            % {"number": order.number, "crew": order.crew, "named": len(team)}
        )
    day = clock.today(order.kiln.mill.zone)
    members = Person.objects.filter(pk__in=[person.pk for person in team]).prefetch_related("qualifications")
    for needed in order.skills.select_related("skill"):
        counted = [person for person in members if _holds(person, needed.skill_id, day)]
        if len(counted) < needed.persons:
            faults.append(
                _("Needed: %(persons)d with the skill “%(skill)s”. %(why)s")
                % {"persons": needed.persons, "skill": needed.skill, "why": _why_not(members, needed.skill_id, day)}
            )
    if faults:
        raise ValidationError(faults)


def _holds(person: Person, skill_id: int, day: date) -> bool:
    return any(held.skill_id == skill_id and held.is_valid_on(day) for held in person.qualifications.all())


def _why_not(members: Iterable[Person], skill_id: int, day: date) -> str:
    ran_out = [
        _("%(person)s's ran out on %(day)s.") % {"person": person, "day": f"{held.valid_until:%Y-%m-%d}"}
        for person in members
        for held in person.qualifications.all()
        if held.skill_id == skill_id and not held.is_valid_on(day)
    ]
    return " ".join(ran_out) or _("Nobody named holds it.")


def latest_records(order: WorkOrder) -> dict[int, StepRecord]:
    """Return step id -> the record that counts; one query."""
    records = StepRecord.objects.filter(step__work_order=order).select_related("by__person").order_by("at", "id")
    return {record.step_id: record for record in records}


def steps_left(order: WorkOrder) -> list[WorkStep]:
    """Return the required steps that are not recorded as done."""
    latest = latest_records(order)
    required = order.steps.filter(is_required=True).order_by("no")
    return [step for step in required if step.pk not in latest or not latest[step.pk].is_done]


def is_outside_limits(step: WorkStep, reading: Decimal) -> bool:
    """Say whether a reading lies below or above what its step allows."""
    return (step.low is not None and reading < step.low) or (step.high is not None and reading > step.high)


@transaction.atomic
def finish(
    work_order: WorkOrder,
    *,
    by: User,
    version: int,
    result: str = "",
    proof: ProofAnswers | None = None,
    found: FailureMode | None = None,
    found_nothing: bool = False,
) -> WorkOrder:
    """Call a job done: required steps and readings are there, the chamber is closed, parts not used go back.

    Of a job that a watch raised ``found`` says which failure mode it was (it goes on record as the defect that the job
    mends), ``found_nothing`` that nothing was wrong.
    """
    require(by, "do work")
    order = lock_with_kiln(work_order)
    if order.state == State.DONE:
        return order
    check_version(order, version)
    is_test = bool(order.sheet and order.sheet.is_proof_test)
    if is_test and proof is None:
        raise ValidationError(_("Enter the outcome of the proof test."))
    if proof is not None and proof.outcome == ProofTest.Outcome.PASSED:
        _refuse_outside_limits(order, _("the test has not passed."))
    failed = proof is not None and proof.outcome == ProofTest.Outcome.FAILED
    left = steps_left(order)
    # A test that fails ends there: the steps after the failure cannot be done.
    if left and not failed:
        numbers = ", ".join(str(step.no) for step in left)
        raise ValidationError(_("Not done yet: step %(numbers)s.") % {"numbers": numbers}, code="steps")
    # A way out that failed its test bars the chamber at once; whoever is inside is brought out after that.
    bars = failed and order.component is not None and blocks_entry(order.component)
    if not bars:
        refuse_return(order)
    order.paused_at = None
    order.done_at = clock.now()
    order.result = result.strip()
    move(order, State.DONE, "done", by, note=order.result)
    release(order.number, by)
    if is_test and proof is not None:
        record_proof_test(order, proof, by=by)
    _count_on(order, by)
    if found and order.defect is None:
        order.defect = record_defect(
            kiln=order.kiln, component=order.component or _suspected(order), failure_mode=found, what=found.name, by=by
        )
        order.save(update_fields=["defect"])
    if _wants_proof(order):
        raise_retest(order, by)
    judge_by_work(order, by=by, found_nothing=found_nothing)
    begin_anew(order)
    return order


def _suspected(order: WorkOrder) -> Component | None:
    """Return what the watches of a job that covers several components suspect, where they agree on one."""
    found = {firing.watch.component for firing in order.firings.select_related("watch__component")}
    return found.pop() if len(found) == 1 else None


def _wants_proof(order: WorkOrder) -> bool:
    """Say whether a job worked on what bars entry, so that only a proof test lets people in again."""
    if order.component is None or (order.sheet and order.sheet.is_proof_test):
        return False
    return any(
        bar.defect_id == order.defect_id if bar.defect_id else bar.component_id == order.component_id
        for bar in bars_of(order.kiln)
    )


def _refuse_outside_limits(order: WorkOrder, so: str) -> None:
    """Refuse to call passed or mended what its own readings say is not: a note does not make a latch open."""
    records = latest_records(order)
    for step in order.steps.filter(pk__in=records):
        reading = records[step.pk].reading
        if reading is not None and is_outside_limits(step, reading):
            raise ValidationError(
                _("The reading of step %(no)d is outside its limits: %(so)s") % {"no": step.no, "so": so}
            )


def _count_on(order: WorkOrder, by: User) -> None:
    """Let the recurring task count on from today."""
    if order.standing_task is None:
        return
    try:
        complete(order.standing_task, clock.today(order.kiln.mill.zone), work_order=order, by=by)
    except ValueError as fault:
        raise ValidationError(
            _("The recurring task's rule cannot be followed: %(fault)s. Mend the rule, then finish the work.")
            % {"fault": fault}
        ) from None


@transaction.atomic
def sign_off(work_order: WorkOrder, *, by: User, version: int, is_proved: bool = False, note: str = "") -> WorkOrder:
    """Accept finished work; what it mended is off the list.

    Safety work is accepted by somebody who did not do it. Where the signature lets people in again, it needs the word
    that the mended thing was tried (``is_proved``). What is proof tested is lifted by its test, not by its mending;
    whoever mended it does not sign that test either.
    """
    require(by, "sign off work")
    order = lock_with_kiln(work_order)
    if order.state == State.SIGNED_OFF:
        return order
    check_version(order, version)
    refuse_return(order)
    refuse_own_work(order, by)
    lifted, opens = defects_lifted_by(order), bool(what_it_lifts(order))
    if opens and not is_proved:
        raise ValidationError(
            _("Signing this off lets people into %(kiln)s again. Confirm that what was mended was tried.")
            % {"kiln": order.kiln}
        )
    bars = bool(order.defect and order.defect.blocks_entry and order.defect.cured_at is None)
    if bars or opens:
        _refuse_outside_limits(order, _("what keeps people out is not mended. Send the work back."))
    order.signed_off_at = clock.now()
    order.signed_off_by = by
    move(order, State.SIGNED_OFF, "signed off", by, after={"proved": is_proved} if opens else None, note=note.strip())
    if order.defect and not order.defect.blocks_entry:
        cure_defect(order.defect, by=by, work_order=order)
    for defect in lifted:
        cure_defect(defect, by=by, work_order=order)
    return order


@transaction.atomic
def send_back(work_order: WorkOrder, *, by: User, version: int, why: str) -> WorkOrder:
    """Give finished work back to those who did it, with a reason; it is paused until they carry on."""
    require(by, "sign off work")
    order = lock_with_kiln(work_order)
    check_version(order, version)
    if not why.strip():
        raise ValidationError(_("Say what is still to be done."))
    order.done_at, order.paused_at = None, clock.now()
    move(order, State.UNDER_WAY, "sent back", by, note=why.strip())
    return order


@transaction.atomic
def withdraw(
    work_order: WorkOrder,
    *,
    by: User | None,
    version: int,
    why: str,
    found_nothing: bool = False,
    counts_on: bool = True,
) -> WorkOrder:
    """Give a job up, with a reason; its parts and its place become free. A defect it was to mend stays on the list.

    ``found_nothing`` says that somebody looked and nothing was wrong: then the watch that raised it was mistaken.
    ``counts_on`` is not said where the date of its recurring task is skipped, which lets the task count on.
    """
    require(by, "withdraw work")
    order = lock_with_kiln(work_order)
    if order.state == State.WITHDRAWN:
        return order
    check_version(order, version)
    why = why.strip()
    if not why:
        raise ValidationError(_("Say why the work is withdrawn: the history keeps the reason."))
    if len(why) > 200:
        raise ValidationError(_("Say it in at most 200 characters."))
    refuse_while_open_for(order)
    if order.state == State.UNDER_WAY and not order.is_paused and takes_people_inside(order):
        raise ValidationError(
            _("%(number)s goes on inside %(kiln)s: bring its people out and pause it first.")
            % {"number": order.number, "kiln": order.kiln.tag}
        )
    give_up(order, by, why)
    if counts_on and order.standing_task and order.standing_task.is_active:
        _count_past(order, by)
    judge_by_work(order, by=by, found_nothing=found_nothing)
    return order


def _count_past(order: WorkOrder, by: User | None) -> None:
    """Let the recurring task count on from the occurrence that was withdrawn."""
    try:
        pass_occurrence_over(order, by=by)
    except ValueError as fault:
        raise ValidationError(
            _("The recurring task's rule cannot be followed: %(fault)s. Mend the rule, then withdraw the work.")
            % {"fault": fault}
        ) from None
