"""Defects: put on record, made into work, mended when that work is signed off, or struck where they were a mistake."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.models import Defect, Finding, TaskSheet, WorkOrder
from maintenance.models.catalogue import NeedsState
from maintenance.models.querysets import FINISHED_STATES
from maintenance.orders.four_eyes import Hands, hands_on, refuse_own, said_before
from maintenance.orders.joining import Asked, join, same_work
from maintenance.orders.origins import is_asked_for_besides
from maintenance.orders.raising import raise_work_order
from maintenance.watches.specs import shipped_specs
from maintenance.watches.verdicts import STRUCK, judge_by_defect, take_back
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, Sentences, typed
from plant.frame.reasons import require_sentence
from plant.models import Change, Component, FailureMode, Kiln, User
from plant.warnings.running_bars import lock_kiln

# How long work on a defect may wait where nobody says otherwise: the mill's own choice, edited on the work order.
DAYS_TO_MEND = {Defect.Likelihood.SURE: 2, Defect.Likelihood.SOON: 14, Defect.Likelihood.LATER: 56}
# What a job without a task sheet takes until somebody knows better.
GUESSED_HOURS = Decimal(1)


@transaction.atomic
def record_defect(
    *,
    kiln: Kiln,
    what: str,
    by: User | None,
    component: Component | None = None,
    failure_mode: FailureMode | None = None,
    finding: Finding | None = None,
    consequence: str = "",
    likelihood: str = Defect.Likelihood.SOON,
    cost_of_delay_per_day: Decimal = Decimal(0),
    is_safety: bool = False,
    blocks_entry: bool = False,
) -> Defect:
    """Put a defect on record; one that blocks entry does so from this moment on, and raises its work order itself."""
    if by is not None and not by.may("do work"):
        require(by, "do rounds")
    if not what.strip():
        raise ValidationError(_("Say what is wrong: choose a failure mode or write a few words."))
    defect = Defect.objects.create(
        kiln=kiln,
        component=component,
        failure_mode=failure_mode,
        finding=finding,
        found_at=clock.now(),
        found_by=by,
        what=what.strip()[:200],
        consequence=consequence or (failure_mode.consequence if failure_mode else ""),
        likelihood=likelihood,
        cost_of_delay_per_day=cost_of_delay_per_day,
        is_safety=is_safety or blocks_entry,
        blocks_entry=blocks_entry,
    )
    Change.record(defect, "recorded", by=by, after={"what": defect.what, "blocks_entry": blocks_entry})
    if blocks_entry:
        Change.record(kiln, "barred to entry", by=by, after={"defect": defect.what}, note=str(defect))
        # Whoever found it need not be allowed to raise work: the program does.
        work_order_from_defect(defect, by if by and by.may("raise work") else None)
    judge_by_defect(defect)
    return defect


def suggest_sheet(defect: Defect) -> TaskSheet | None:
    """Return the task sheet that most likely mends a defect: the only one for its kind that is no test.

    Where there are several, it is the remedy of the failure mode, as the watches that hear it name it.
    """
    if defect.component is None:
        return None
    mending = TaskSheet.objects.in_use().filter(kind=defect.component.kind_id, is_proof_test=False)
    sheets = {one.code: one for one in mending}
    if len(sheets) > 1 and defect.failure_mode is not None:
        remedies = {spec.task_sheet for spec in shipped_specs() if defect.failure_mode.code in spec.failure_modes}
        sheets = {code: sheet for code, sheet in sheets.items() if code in remedies}
    return next(iter(sheets.values())) if len(sheets) == 1 else None


@transaction.atomic
def work_order_from_defect(defect: Defect, by: User | None, *, sheet: TaskSheet | None = None) -> WorkOrder:
    """Raise the work order that mends a defect; asked twice, it gives the same one."""
    require(by, "raise work")
    defect = Defect.objects.select_for_update(of=("self",)).select_related("kiln", "component").get(pk=defect.pk)
    known = defect.work_orders.exclude(state=WorkOrder.State.WITHDRAWN).first()
    if known:
        return known
    if defect.cured_at:
        raise ValidationError(_("This defect is off the list already: record it again if it is back."))
    if sheet and sheet.is_proof_test:
        raise ValidationError(_("A proof test mends nothing: choose the task sheet of the mending."))
    sheet = sheet or suggest_sheet(defect)
    due_at = _mend_by(defect)
    if not defect.is_safety and not defect.blocks_entry:
        # What is safety ends by its own signature.
        lock_kiln(defect.kiln_id)
        order = same_work(defect.kiln, defect.component, sheet)
        if order is not None and order.defect_id is None:
            cost = defect.cost_of_delay_per_day
            asked = Asked(WorkOrder.Origin.FINDING, _why(defect), due_at, cost_of_delay_per_day=cost, defect=defect)
            join(order, asked, by=by)
            Change.record(defect, "joined a work order", by=by, after={"work_order": order.number})
            return order
    order = raise_work_order(
        kiln=defect.kiln,
        component=defect.component,
        title=_title(defect, sheet),
        origin=WorkOrder.Origin.FINDING,
        defect=defect,
        sheet=sheet,
        needs_state=None if sheet else NeedsState.EMPTY,
        hours=None if sheet else GUESSED_HOURS,
        due_at=due_at,
        safety_at=due_at if defect.is_safety else None,
        is_safety=defect.is_safety,
        cost_of_delay_per_day=defect.cost_of_delay_per_day,
        by=by,
        why=_why(defect),
    )
    Change.record(defect, "made a work order", by=by, after={"work_order": order.number})
    return order


def _mend_by(defect: Defect) -> datetime:
    if defect.blocks_entry:
        # At once: it is late only when the day is over.
        zone = defect.kiln.mill.zone
        return clock.start_of_day(clock.today(zone) + timedelta(days=1), zone) - timedelta(minutes=1)
    return clock.now() + timedelta(days=DAYS_TO_MEND[Defect.Likelihood(defect.likelihood)])


def _title(defect: Defect, sheet: TaskSheet | None) -> str:
    if sheet:
        return sheet.title
    where = defect.component.name if defect.component else defect.kiln.tag
    return (_("Mend %(where)s: %(what)s") % {"where": where, "what": defect.what})[:160]


def _why(defect: Defect) -> Sentences:
    barred = (Sentence.of("raised.barred"),) if defect.blocks_entry else ()
    return (Sentence.of("raised.found", what=defect.what), *barred, *typed(defect.consequence))


@transaction.atomic
def cure_defect(defect: Defect, *, by: User | None, work_order: WorkOrder) -> None:
    """Take a defect off the list because its work order was signed off."""
    defect = Defect.objects.select_for_update().get(pk=defect.pk)
    if defect.cured_at:
        return
    defect.cured_at = clock.now()
    defect.save(update_fields=["cured_at"])
    Change.record(defect, "mended", by=by, after={"work_order": work_order.number})
    if defect.blocks_entry:
        Change.record(defect.kiln, "defect that barred entry is mended", by=by, after={"defect": defect.what})


def judges_of(defect: Defect) -> Hands:
    """Return who may not strike a defect that bars entry: its finder, who worked on it, who found it sound since."""
    users = [defect.found_by]
    if defect.finding:
        later = Finding.objects.filter(item=defect.finding.item_id, at__gte=defect.finding.at)
        users += [finding.by for finding in later.select_related("by")]
    return hands_on(defect.work_orders.all()).and_those(Hands.of_users(users))


def own_judgement(defect: Defect, by: User) -> str:
    """Say why somebody may not strike a defect, before a word is typed; empty where nothing is against it."""
    return said_before(_refuse_judge, defect, by) if defect.blocks_entry else ""


def _refuse_judge(defect: Defect, by: User | None) -> None:
    refuse_own("sign off work", judges_of(defect), by, what=_("striking what bars entry"))


@transaction.atomic
def strike_defect(defect: Defect, *, by: User | None, why: str) -> None:
    """Take a defect off the list because it never was one; whoever signs off work may say so, with a reason.

    Striking one that bars entry lets people in: that takes somebody who neither found it nor worked on it nor corrected
    the finding, and a sentence. What was mended is no mistake: it ends by its signature and its proof test.
    """
    require(by, "sign off work")
    lock_kiln(defect.kiln_id)
    defect = Defect.objects.select_related("found_by", "finding").get(pk=defect.pk)
    if defect.blocks_entry and why.strip() and not defect.cured_at:
        order = defect.work_orders.exclude(state=WorkOrder.State.WITHDRAWN).first()
        if order and order.state in FINISHED_STATES:
            raise ValidationError(
                _("%(number)s mended it, so it was a defect: sign that off, and its proof test where one is raised.")
                % {"number": order.number}
            )
        if order is None:
            _refuse_judge(defect, by)
            why = require_sentence(why)
    take_off_the_list(defect, by=by, why=why)


def _leave(order: WorkOrder, defect: Defect, *, by: User | None, why: str) -> None:
    """Let a work order go on for the others that asked for it."""
    order = WorkOrder.objects.select_for_update(of=("self",)).get(pk=order.pk)
    order.defect = None
    order.version += 1
    order.save(update_fields=["defect", "version"])
    said = Sentence.of("raised.no_defect", what=defect.what, why=typed(why))
    Change.record(order, "an origin fell away", by=by, before={"defect": defect.what}, after={}, said=said)


def take_off_the_list(defect: Defect, *, by: User | None, why: str) -> None:
    """Strike a defect; whoever calls it has seen that the one who wants it may."""
    defect = Defect.objects.select_for_update().get(pk=defect.pk)
    if not why.strip():
        raise ValidationError(_("Say why the defect is no defect: the record keeps the reason."))
    if defect.cured_at:
        raise ValidationError(_("This defect is off the list already."))
    order = defect.work_orders.unfinished().first()
    if order and not defect.blocks_entry and is_asked_for_besides(order, defect):
        _leave(order, defect, by=by, why=why.strip())
    elif order:
        raise ValidationError(_("%(number)s is to mend it: withdraw that work order first.") % {"number": order.number})
    defect.cured_at = clock.now()
    defect.save(update_fields=["cured_at"])
    Change.record(defect, STRUCK, by=by, note=why.strip())
    take_back(defect)
    if defect.blocks_entry:
        Change.record(
            defect.kiln, "defect that barred entry is struck", by=by, after={"defect": defect.what}, note=why.strip()
        )
