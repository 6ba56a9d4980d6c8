"""Proof tests: the outcome of a test of something that fails unseen, and what follows from it."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils.translation import gettext as _

from maintenance.checks.defects import record_defect, work_order_from_defect
from maintenance.entry.bars import LOCK_OUT_SKILL, MENDED_STATES
from maintenance.models import CheckPoint, Defect, ProofTest, StandingDefault, StandingTask, TaskSheet, WorkOrder
from maintenance.orders.raising import raise_work_order
from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule, Unit
from plant import clock
from plant.basics.sentences import Sentence, Sentences
from plant.models import Change, Component, Person, Qualification, User
from plant.models.querysets import PersonQuerySet

PROOF_SKILL = "proof-testing"
UNITS = {"day": Unit.DAYS, "week": Unit.WEEKS, "month": Unit.MONTHS, "year": Unit.YEARS}
MONTH_ENDS = {
    StandingTask.MonthEnd.LAST_DAY: MonthEnd.LAST_DAY,
    StandingTask.MonthEnd.SKIP: MonthEnd.LEAVE_OUT,
    StandingTask.MonthEnd.NEXT_FIRST: MonthEnd.FIRST_OF_NEXT,
}


@dataclass(frozen=True)
class ProofAnswers:
    """What a proof test gave."""

    key: UUID
    outcome: str
    tested_by: Person
    seal_no: str = ""
    next_due_on: date | None = None
    note: str = ""
    component: Component | None = None


def next_proof_on(work_order: WorkOrder, tested_on: date) -> date | None:
    """Return the day on which the next test falls due, by the recurring task or the sheet's own interval."""
    rule = _rule_of(work_order, tested_on)
    return rule.next_after(tested_on) if rule else None


def _rule_of(work_order: WorkOrder, tested_on: date) -> CalendarRule | None:
    task = work_order.standing_task or (
        StandingTask.objects.in_use()
        .filter(kiln=work_order.kiln_id, component=work_order.component_id, sheet=work_order.sheet_id)
        .first()
    )
    if task and task.every:
        return IntervalRule(
            task.every, UNITS[task.every_unit], tested_on, MONTH_ENDS[StandingTask.MonthEnd(task.month_end)]
        )
    if task and task.rrule:
        return TextRule(task.rrule, task.anchor_on)
    usual = StandingDefault.objects.filter(sheet=work_order.sheet_id).first()
    if usual and usual.every_unit in UNITS:
        return IntervalRule(usual.every, UNITS[usual.every_unit], tested_on)
    return None


def testers(work_order: WorkOrder) -> PersonQuerySet:
    """Return who may be named as the tester: of the team on record, with the skill of the test valid today."""
    team = Q(assignments__work_order=work_order) | Q(pk__in=work_order.labour.values("person"))
    people = Person.objects.working_here().filter(team).distinct()
    skills = list(work_order.skills.exclude(skill__code=LOCK_OUT_SKILL).values_list("skill__code", flat=True))
    if PROOF_SKILL in skills:
        skills = [PROOF_SKILL]
    if not skills:
        return people
    day = clock.today(work_order.kiln.mill.zone)
    held = Qualification.objects.filter(Q(valid_until__isnull=True) | Q(valid_until__gte=day), skill__code__in=skills)
    return people.filter(pk__in=held.values("person"))


def _refuse_tester(work_order: WorkOrder, tester: Person) -> None:
    able = testers(work_order)
    if able.filter(pk=tester.pk).exists():
        return
    names = ", ".join(str(person) for person in able)
    who = _("These may be named: %(names)s.") % {"names": names} if names else _("Nobody of the team may be named.")
    raise ValidationError(
        _("%(tester)s cannot be the tester of %(number)s: not in its team, or without the skill today. %(who)s")
        % {"tester": tester, "number": work_order.number, "who": who},
        code="tester",
    )


def record_proof_test(work_order: WorkOrder, answers: ProofAnswers, *, by: User | None) -> ProofTest:
    """Enter the outcome; a failed test raises work at once and closes the chamber where the component is a way out.

    Runs inside the transaction that finishes the work order.
    """
    component = work_order.component or answers.component
    if component is None:
        raise ValidationError(_("Say which component was tested."))
    _refuse_tester(work_order, answers.tested_by)
    passed = answers.outcome == ProofTest.Outcome.PASSED
    seal_no = answers.seal_no.strip()
    if passed and not seal_no:
        raise ValidationError(
            _("Enter the number of the new seal. Where nothing is sealed, enter the number of the tag or record.")
        )
    tested_at = clock.now()
    tested_on = clock.today(work_order.kiln.mill.zone)
    # After a failure the next test is due at once: it proves the repair.
    next_due_on = (answers.next_due_on or next_proof_on(work_order, tested_on)) if passed else tested_on
    if next_due_on is None:
        raise ValidationError(_("Say when the next test is due: no interval is on record for this one."))
    if passed and next_due_on <= tested_on:
        raise ValidationError(_("The next test must be due after today."))
    test = ProofTest.objects.create(
        key=answers.key,
        component=component,
        work_order=work_order,
        tested_at=tested_at,
        tested_by=answers.tested_by,
        outcome=answers.outcome,
        seal_no=seal_no,
        next_due_on=next_due_on,
        note=answers.note,
    )
    Change.record(
        test,
        "tested",
        by=by,
        after={"outcome": test.outcome, "seal_no": seal_no, "next_due_on": next_due_on.isoformat()},
    )
    if not passed:
        _follow_up_failure(test, by)
    return test


def blocks_entry(component: Component) -> bool:
    """Say whether a fault of a component keeps everybody out: it is a way out."""
    return CheckPoint.objects.filter(kind=component.kind_id, blocks_entry=True).exists()


def _follow_up_failure(test: ProofTest, by: User | None) -> None:
    blocks = blocks_entry(test.component)
    # A reading outside its limits may have made the defect a moment ago; one that was mended is another.
    same = Defect.objects.not_cured().filter(component=test.component, blocks_entry=blocks, is_safety=True)
    mended = WorkOrder.objects.filter(state__in=MENDED_STATES, defect__isnull=False).values("defect")
    defect = same.exclude(pk__in=mended).first() or record_defect(
        kiln=test.component.kiln,
        component=test.component,
        what=_("Proof test failed: %(note)s") % {"note": test.note or test.component.name},
        by=by,
        likelihood=Defect.Likelihood.SURE,
        is_safety=True,
        blocks_entry=blocks,
    )
    work_order_from_defect(defect, by)


def proof_sheet_of(component: Component) -> TaskSheet | None:
    """Return the sheet by which a component is proof tested: that of its last test, else the one of its kind."""
    last = component.proof_tests.filter(work_order__sheet__isnull=False).select_related("work_order__sheet")
    test = last.order_by("-tested_at").first()
    sheet = test.work_order.sheet if test and test.work_order else None
    if sheet and sheet.is_proof_test and not sheet.is_withdrawn:
        return sheet
    return TaskSheet.objects.in_use().filter(kind=component.kind_id, is_proof_test=True).first()


def raise_retest(cured: WorkOrder, by: User | None) -> WorkOrder | None:
    """Raise the test that proves a repair, where the component is proof tested: the mending broke its seal.

    Only the passed test lets people in again. A test that waits already is brought forward.
    """
    sheet = proof_sheet_of(cured.component) if cured.component else None
    if sheet is None:
        return None
    why = (Sentence.of("raised.retest", job=cured.number),)
    waiting = WorkOrder.objects.unfinished().filter(component=cured.component, sheet=sheet).first()
    if waiting:
        return _bring_forward(waiting, why, by)
    return raise_work_order(
        kiln=cured.kiln,
        component=cured.component,
        title=sheet.title,
        origin=WorkOrder.Origin.FINDING,
        sheet=sheet,
        due_at=clock.now(),
        safety_at=clock.now(),
        is_safety=True,
        by=by if by and by.may("raise work") else None,
        why=why,
    )


def _bring_forward(waiting: WorkOrder, why: Sentences, by: User | None) -> WorkOrder:
    """Let a test that waits fall due now."""
    order = WorkOrder.objects.select_for_update(of=("self",)).get(pk=waiting.pk)
    now = clock.now()
    if order.due_at <= now:
        return order
    before = {"due_at": order.due_at.isoformat()}
    order.due_at = order.safety_at = now
    order.earliest_at, order.is_safety, order.why = None, True, why
    order.version += 1
    order.save(update_fields=["due_at", "safety_at", "earliest_at", "is_safety", "why", "version"])
    Change.record(order, "brought forward", by=by, before=before, after={"due_at": now.isoformat()}, said=why)
    return order
