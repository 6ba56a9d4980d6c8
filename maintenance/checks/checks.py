"""Function checks: looked at over several sittings by several people, complete when every point has a finding."""

from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.checks.check_points import ensure_substitutes, items_for
from maintenance.checks.check_sittings import lock_open_check, withdraw_sittings
from maintenance.checks.defects import record_defect
from maintenance.checks.findings import contradicted
from maintenance.entry.bars import MENDED_STATES
from maintenance.entry.door import see_in
from maintenance.entry.now import entry_of
from maintenance.entry.permits import open_permit_of, refuse_where_blocked
from maintenance.models import CheckItem, CheckPoint, Defect, Finding, FunctionCheck, Sitting, WorkOrder
from plant import clock
from plant.access import require
from plant.kilns.calculations.kiln_state import CheckState, KilnState
from plant.kilns.kilns_now import kilns_now
from plant.models import Change, ComponentKind, FailureMode, Kiln, NumberSeries, User
from plant.warnings.running_bars import lock_kiln, refuse_running

SERIES = "function check"
SeenIn = CheckPoint.SeenIn
Result = Finding.Result


@dataclass(frozen=True)
class Answer:
    """What somebody found at a point."""

    result: str
    failure_mode: FailureMode | None = None
    note: str = ""
    reason: str = ""
    likelihood: str = Defect.Likelihood.SOON


@transaction.atomic
def start_check(kiln: Kiln, *, by: User) -> FunctionCheck:
    """Start a check of a kiln, or return the one that is under way."""
    require(by, "do rounds")
    kiln = lock_kiln(kiln.pk)
    known = FunctionCheck.objects.under_way().filter(kiln=kiln).first()
    if known:
        return known
    check = FunctionCheck(kiln=kiln, started_at=clock.now(), started_by=by)
    items = items_for(check)
    check.number = f"FC-{NumberSeries.take(SERIES):04d}"
    check.save()
    CheckItem.objects.bulk_create(items)
    Change.record(check, "started", by=by, after={"kiln": kiln.tag, "points": len(items)})
    return check


@transaction.atomic
def start_sitting(
    check: FunctionCheck,
    kiln_state: str,
    *,
    by: User,
    is_cautions_read: bool,
    note: str = "",
    is_own_lock_on: bool = False,
) -> Sitting:
    """Start to look, in one state of the kiln; somebody who goes in needs the chamber open for entry.

    Whoever is not in by the list yet goes in now, with a lock of their own (``is_own_lock_on``).
    Where the charge record says otherwise of the kiln, the note must say why: it may be the wrong chamber.
    """
    require(by, "do rounds")
    # Entry and running take turns: the kiln first.
    lock_kiln(check.kiln_id)
    check = lock_open_check(check)
    if kiln_state not in (SeenIn.RUNNING, SeenIn.OPEN_EMPTY):
        raise ValidationError(_("Say whether the kiln is running or open and empty."))
    mine = Sitting.objects.filter(check_up=check, by=by, ended_at__isnull=True).first()
    if mine and mine.kiln_state == kiln_state:
        return mine
    if kiln_state == SeenIn.RUNNING:
        refuse_running(check.kiln)
    if mine:
        raise ValidationError(
            _("End your sitting with the kiln %(state)s first.") % {"state": mine.get_kiln_state_display()}
        )
    if not is_cautions_read:
        raise ValidationError(_("Read the cautions and confirm them before you start."))
    permit = open_permit_of(check.kiln)
    if kiln_state == SeenIn.OPEN_EMPTY:
        refuse_where_blocked(check.kiln)
        if permit is None:
            raise ValidationError(
                _("Open %(kiln)s for entry first: open, cooled, locked out, escape door tried.") % {"kiln": check.kiln},
                code="permit",
            )
    # What was said at the door holds for whoever goes in by the same permit.
    reason = note.strip() or (permit.note.strip() if permit and kiln_state == SeenIn.OPEN_EMPTY else "")
    if not reason:
        _refuse_against_record(check.kiln, kiln_state)
    if kiln_state == SeenIn.OPEN_EMPTY:
        _take_in(check.kiln, by, is_own_lock_on)
    sitting = Sitting.objects.create(check_up=check, kiln_state=kiln_state, started_at=clock.now(), by=by)
    said = {"kiln_state": kiln_state, "cautions_read": True}
    Change.record(check, "sitting started", by=by, after=said, note=note.strip())
    return sitting


def _take_in(kiln: Kiln, by: User, is_own_lock_on: bool) -> None:
    """See that whoever looks is in by the list, or goes in now."""
    stand = entry_of(kiln)
    if by.person is None:
        raise ValidationError(_("Your sign-in belongs to no person on record: who goes in is on record by name."))
    if stand:
        see_in(stand, [by.person], by=by, is_own_lock_on=is_own_lock_on)


def _refuse_against_record(kiln: Kiln, kiln_state: str) -> None:
    """Refuse to look at a kiln as running that is open and empty by its charge record, and the other way round."""
    state = kilns_now([kiln], clock.now())[0].told
    is_open = state.state is KilnState.OPEN_AND_EMPTY
    if kiln_state == SeenIn.RUNNING and is_open:
        raise ValidationError(
            _(
                "By its charge record %(kiln)s is open and empty now. See that this is the right chamber; say in the "
                "note why it runs."
            )
            % {"kiln": kiln},
            code="record",
        )
    if kiln_state == SeenIn.OPEN_EMPTY and CheckState.RUNNING in state.check_states:
        raise ValidationError(
            _("By its charge record %(kiln)s runs now. See that this is the right chamber; say in the note why.")
            % {"kiln": kiln},
            code="record",
        )


@transaction.atomic
def end_sitting(sitting: Sitting, *, by: User) -> Sitting:
    """Stop looking for now; what was found stays."""
    require(by, "do rounds")
    sitting = Sitting.objects.select_for_update(of=("self",)).select_related("check_up").get(pk=sitting.pk)
    if sitting.ended_at:
        return sitting
    sitting.ended_at = clock.now()
    sitting.save(update_fields=["ended_at"])
    Change.record(sitting.check_up, "sitting ended", by=by, after={"kiln_state": sitting.kiln_state})
    return sitting


@transaction.atomic
def record_finding(item: CheckItem, sitting: Sitting, answer: Answer, *, by: User, key: UUID) -> Finding:
    """Enter what was found at a point; a later entry corrects an earlier one, but not somebody else's of now.

    A defect goes on record at once, and closes the chamber where the point says so. The defect of an earlier finding
    stays on record: it ends by work that is signed off, or struck with a reason.
    """
    require(by, "do rounds")
    known = Finding.objects.filter(key=key).first()
    if known and known.item_id != item.pk:
        raise ValidationError(_("This was entered at another point already: load the page again."), code="key")
    if known:
        return known
    check = lock_open_check(item.check_up)
    item = CheckItem.objects.select_related("point__kind", "point__substitute", "component").get(pk=item.pk)
    _refuse_wrong_sitting(item, sitting, by)
    refuse_incomplete(item, answer)
    earlier = item.findings.standing().order_by("at", "id").last()
    against = contradicted(item, answer.result, by)
    finding = Finding.objects.create(
        key=key,
        item=item,
        sitting=sitting,
        result=answer.result,
        failure_mode=answer.failure_mode,
        reason=answer.reason.strip() if answer.result == Result.NOT_SEEN else "",
        note=answer.note.strip(),
        at=clock.now(),
        by=by,
        against=against,
    )
    if earlier:
        Change.record(
            check,
            "finding differs" if against else "finding corrected",
            by=by,
            before={"result": earlier.result},
            after={"result": finding.result, "point": item.point.code},
        )
    if answer.result == Result.NOT_SEEN:
        item.check_up = check
        ensure_substitutes(item)
    if answer.result == Result.DEFECT:
        _put_defect_on_record(check.kiln, item, finding, answer, by)
    return finding


def _refuse_wrong_sitting(item: CheckItem, sitting: Sitting, by: User) -> None:
    if sitting.check_up_id != item.check_up_id or sitting.by_id != by.pk:
        raise ValidationError(_("This is not your sitting of this check: start one."))
    if sitting.ended_at:
        raise ValidationError(_("Your sitting has ended: start another to go on."))
    if item.point.seen_in not in (SeenIn.EITHER, sitting.kiln_state):
        raise ValidationError(
            _("This point is looked at with the kiln %(state)s.") % {"state": item.point.get_seen_in_display()}
        )


def refuse_incomplete(item: CheckItem, answer: Answer) -> None:
    """Refuse an answer in which something is missing."""
    if answer.result not in Result.values:
        raise ValidationError(_("Choose sound, worn, defect or could not be seen."))
    if answer.result == Result.NOT_SEEN and not answer.reason.strip():
        raise ValidationError(_("Say why it could not be seen."))
    if answer.result == Result.WORN and item.point.blocks_entry and not answer.note.strip():
        raise ValidationError(
            _("What is worn here can shut people in: write in the note what is worn and how far."), code="word"
        )
    if len(answer.reason) > 200:
        raise ValidationError(_("Say the reason in at most 200 characters."))
    if answer.result == Result.DEFECT and not (answer.failure_mode or answer.note.strip()):
        raise ValidationError(_("Say what is wrong: choose one of the failure modes or write a note."))
    if answer.failure_mode and answer.failure_mode.kind_id != item.point.kind_id:
        raise ValidationError(_("That failure mode belongs to another kind of component."))


def _put_defect_on_record(kiln: Kiln, item: CheckItem, finding: Finding, answer: Answer, by: User) -> None:
    again = still_to_mend(kiln, item)
    if again:
        Change.record(again, "found again", by=by, after={"check": item.check_up.number}, note=finding.note)
        return
    words = [answer.failure_mode.name if answer.failure_mode else "", finding.note]
    record_defect(
        kiln=kiln,
        component=item.component,
        failure_mode=answer.failure_mode,
        finding=finding,
        what=": ".join(word for word in words if word),
        by=by,
        likelihood=answer.likelihood,
        is_safety=item.point.kind.group == ComponentKind.Group.SAFETY,
        blocks_entry=item.point.blocks_entry,
    )


def still_to_mend(kiln: Kiln, item: CheckItem) -> Defect | None:
    """Return the defect that was found before at a point and is still to be mended.

    What bars entry is looked for over all checks of the kiln, so that its work is not raised twice; once it is mended
    and waits to be signed off or proved, a finding is a defect of its own.
    """
    defects = Defect.objects.not_cured()
    if not item.point.blocks_entry:
        return defects.filter(finding__item=item).first()
    mended = WorkOrder.objects.filter(state__in=MENDED_STATES, defect__isnull=False).values("defect")
    same = defects.filter(kiln=kiln, finding__item__point=item.point_id, finding__item__component=item.component_id)
    return same.exclude(pk__in=mended).first()


@transaction.atomic
def complete_check(check: FunctionCheck, *, by: User) -> FunctionCheck:
    """Close a check; refused while a point, or what stands in for one, has no finding.

    Work orders for its sittings that nobody has started are withdrawn.
    """
    require(by, "do rounds")
    if FunctionCheck.objects.filter(pk=check.pk, completed_at__isnull=False).exists():
        return FunctionCheck.objects.get(pk=check.pk)
    lock_kiln(check.kiln_id)
    check = lock_open_check(check)
    left = check.items.without_finding().count()
    if left:
        raise ValidationError(
            _("%(number)s is not complete: %(left)d points have no finding yet.")
            % {"number": check.number, "left": left},
            code="incomplete",
        )
    differing = check.items.disputed().count()
    if differing:
        raise ValidationError(
            _("%(number)s is not complete: at %(count)d points two people found different things; decide there first.")
            % {"number": check.number, "count": differing},
            code="disputed",
        )
    if check.sittings.filter(ended_at__isnull=True).exists():
        raise ValidationError(_("A sitting is still under way: end it first."))
    check.completed_at = clock.now()
    check.save(update_fields=["completed_at"])
    Change.record(check, "completed", by=by)
    withdraw_sittings(check, _("%(number)s is complete.") % {"number": check.number})
    return check


@transaction.atomic
def withdraw_check(check: FunctionCheck, *, by: User, why: str) -> FunctionCheck:
    """Give a check up, with a reason; its findings and defects stay on record.

    Work orders for its sittings that nobody has started are withdrawn.
    """
    require(by, "do rounds")
    lock_kiln(check.kiln_id)
    check = lock_open_check(check)
    why = why.strip()
    if not why or len(why) > 200:
        raise ValidationError(_("Say in at most 200 characters why the check is withdrawn."))
    now = clock.now()
    check.sittings.filter(ended_at__isnull=True).update(ended_at=now)
    check.withdrawn_at, check.withdrawn_why = now, why
    check.save(update_fields=["withdrawn_at", "withdrawn_why"])
    Change.record(check, "withdrawn", by=by, note=why)
    withdraw_sittings(check, _("%(number)s is withdrawn: %(why)s") % {"number": check.number, "why": why})
    return check
