"""What becomes of a finding: taken back by whoever entered it, set against another one, decided."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.checks.check_sittings import lock_open_check
from maintenance.checks.defects import take_off_the_list
from maintenance.models import CheckItem, Finding, TakenBack, WorkOrder
from maintenance.orders.four_eyes import Hands, refuse_own
from plant import clock
from plant.access import require
from plant.models import Change, User
from plant.pictures.marks import WORST_FIRST

Result = Finding.Result


def _since_decision(item: CheckItem) -> list[Finding]:
    """Return the standing findings of a point since somebody decided, that decision included."""
    findings = list(item.findings.standing().in_order())
    decided = max((at for at, one in enumerate(findings) if one.confirms_id), default=0)
    return findings[decided:]


def contradicted(item: CheckItem, result: str, by: User) -> Finding | None:
    """Return what somebody else found there that a result differs from: the worst, of sittings under way.

    Where two differ already, who has ended the sitting since is not forgotten.
    """
    findings = _since_decision(item)
    is_disputed = bool(findings) and findings[-1].is_disputed
    of_others = {one.by_id: one for one in findings}
    of_others.pop(by.pk, None)
    now = [one for one in of_others.values() if is_disputed or one.sitting.ended_at is None]
    return min(
        (one for one in now if one.result != result), key=lambda one: WORST_FIRST.index(one.result), default=None
    )


def in_dispute(item: CheckItem) -> list[Finding]:
    """Return what each person found at a point where they differ and nobody has decided; else nothing."""
    findings = _since_decision(item)
    if not findings or not findings[-1].is_disputed:
        return []
    return list({one.by_id: one for one in findings}.values())


def is_own_and_open(finding: Finding, by: User) -> bool:
    """Say whether somebody may take a finding back: the own one, in the sitting in which it was entered."""
    return not finding.is_taken_back and finding.by_id == by.pk and finding.sitting.ended_at is None


def bars_by_itself(finding: Finding) -> bool:
    """Say whether it keeps people out of the chamber: that does not end by taking it back."""
    return finding.item.point.blocks_entry and finding.result != Result.SOUND


@transaction.atomic
def take_back(finding: Finding, *, by: User, key: UUID) -> TakenBack:
    """Take back what one entered by mistake: a further entry. What was found there before counts again.

    The defect that it put on record is struck with it, but for one that bars entry or is to be mended already.
    """
    require(by, "do rounds")
    check = lock_open_check(finding.item.check_up)
    known = TakenBack.objects.filter(finding=finding).first()
    if known:
        return known
    finding = Finding.objects.select_related("item__point", "sitting").get(pk=finding.pk)
    if not is_own_and_open(finding, by):
        raise ValidationError(_("Only who entered it takes it back, during the same sitting. Correct it instead."))
    if bars_by_itself(finding):
        raise ValidationError(
            _("This keeps people out of the chamber, so it is not taken back: somebody entitled strikes the defect.")
        )
    defect = getattr(finding, "defect", None)
    if defect and defect.cured_at is None:
        order = defect.work_orders.exclude(state=WorkOrder.State.WITHDRAWN).first()
        if order:
            raise ValidationError(_("%(number)s is to mend it: withdraw that first.") % {"number": order.number})
        take_off_the_list(defect, by=by, why=_("Entered by mistake and taken back."))
    taken = TakenBack.objects.create(key=key, finding=finding, at=clock.now(), by=by)
    after = {"result": finding.result, "point": finding.item.point.code}
    Change.record(check, "finding taken back", by=by, after=after)
    return taken


def may_decide(item: CheckItem, finding: Finding, by: User) -> bool:
    """Say whether somebody may say which of two findings holds.

    That is one of those who found them, or whoever signs off work; where a fault bars entry, the better one of them
    takes somebody who signs off work.
    """
    findings = in_dispute(item)
    if finding not in findings or not by.may("do rounds"):
        return False
    if by.may("sign off work"):
        return True
    worst = min(findings, key=lambda one: WORST_FIRST.index(one.result))
    is_better = finding.result != worst.result
    return by.pk in {one.by_id for one in findings} and not (item.point.blocks_entry and is_better)


@transaction.atomic
def decide(item: CheckItem, finding: Finding, *, by: User, key: UUID, why: str) -> Finding:
    """Say which of two findings holds, with a reason: a further entry that repeats it."""
    require(by, "do rounds")
    known = Finding.objects.filter(key=key).first()
    if known:
        return known
    check = lock_open_check(item.check_up)
    item = CheckItem.objects.select_related("point").get(pk=item.pk)
    if finding not in in_dispute(item):
        raise ValidationError(_("Here nothing is left to decide: load the page again."))
    if not may_decide(item, finding, by):
        raise ValidationError(
            _("That is decided by one of those who found it; where a fault bars entry, by who signs off work.")
        )
    if not why.strip():
        raise ValidationError(_("Say why this one holds."))
    if item.point.blocks_entry and finding.result == Result.SOUND:
        # That would end a bar to entry: not by whoever found nothing.
        what = _("deciding that a point that bars entry is sound")
        refuse_own("sign off work", Hands.of_users([finding.by]), by, what=what)
    decision = Finding.objects.create(
        key=key,
        item=item,
        sitting=finding.sitting,
        result=finding.result,
        failure_mode=finding.failure_mode,
        reason=finding.reason,
        note=why.strip(),
        at=clock.now(),
        by=by,
        confirms=finding,
    )
    after = {"result": decision.result, "point": item.point.code}
    Change.record(check, "finding decided", by=by, after=after, note=decision.note)
    return decision
