"""Let people into a chamber although a point that bars entry is in doubt: by name and with a sentence.

It holds until the next finding there or until it is taken back. A defect that bars entry is never overridden so: it is
mended and proved, or struck off by somebody who did not find it.
"""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.entry.bars import doubtful_findings, let_in_of, say_finding
from maintenance.models import Finding, LetIn
from maintenance.orders.four_eyes import Hands, refuse_own, said_before
from plant import clock
from plant.access import require
from plant.frame.reasons import require_sentence
from plant.models import Change, User
from plant.warnings.running_bars import lock_kiln

ACT = "let in despite a bar"


def finders_of(finding: Finding) -> Hands:
    """Return who found it; both where two differ."""
    return Hands.of_users([finding.by, finding.against.by if finding.against else None])


def refusal_of(finding: Finding, by: User) -> str:
    """Say why somebody may not let people in, before a word is typed; empty where nothing is against it."""
    return said_before(_refuse_finder, finding, by)


def _refuse_finder(finding: Finding, by: User) -> None:
    refuse_own(ACT, finders_of(finding), by, what=_("letting people in despite what oneself found"))


@transaction.atomic
def let_in(finding: Finding, *, by: User, key: UUID, why: str) -> LetIn:
    """Say why people may go in despite a finding; somebody entitled who did not find it, in a sentence."""
    require(by, ACT)
    known = LetIn.objects.filter(key=key).first()
    if known:
        return known
    kiln = lock_kiln(finding.item.check_up.kiln_id)
    now_doubtful = {one.pk: one for one in doubtful_findings([kiln])}
    if finding.pk not in now_doubtful:
        raise ValidationError(_("This does not bar entry any more: somebody has looked again or proved it meanwhile."))
    finding = now_doubtful[finding.pk]
    if let_in_of(finding):
        raise ValidationError(_("Somebody said so already: read it on the page of %(kiln)s.") % {"kiln": kiln})
    _refuse_finder(finding, by)
    said = LetIn.objects.create(
        key=key, finding=finding, act=LetIn.Act.LET_IN, why=require_sentence(why), at=clock.now(), by=by
    )
    Change.record(kiln, "let in despite a bar", by=by, after={"point": say_finding(finding)}, note=said.why)
    return said


@transaction.atomic
def take_back(said: LetIn, *, by: User, key: UUID, why: str) -> LetIn:
    """Bar the chamber again; whoever does rounds may, for it makes nothing less safe."""
    require(by, "do rounds")
    kiln = lock_kiln(said.finding.item.check_up.kiln_id)
    known = LetIn.objects.filter(first=said).first()
    if known:
        return known
    if not why.strip():
        raise ValidationError(_("Say why it no longer holds: the record keeps the reason."))
    ended = LetIn.objects.create(
        key=key,
        finding=said.finding,
        act=LetIn.Act.TAKEN_BACK,
        first=said,
        why=why.strip()[:300],
        at=clock.now(),
        by=by,
    )
    Change.record(kiln, "barred to entry", by=by, after={"point": say_finding(said.finding)}, note=ended.why)
    return ended
