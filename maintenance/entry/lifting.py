"""What lets people into a chamber again: the signature under the mending, or under the proof test where one belongs."""

from django.utils.translation import gettext as _

from maintenance.entry.bars import doubtful_findings, kinds_with_test, say_finding
from maintenance.models import Defect, Finding, ProofTest, WorkOrder
from maintenance.orders.four_eyes import Hands, hands_on, is_safety_work, refuse_own, said_before
from plant.models import User

State = WorkOrder.State


def needs_proof(defect: Defect) -> bool:
    """Say whether only a passed proof test shows that it is mended."""
    return defect.blocks_entry and defect.component is not None and defect.component.kind_id in kinds_with_test()


def mended_by(defect: Defect) -> WorkOrder | None:
    """Return the work that is to mend a defect, is doing so or has done so."""
    return defect.work_orders.exclude(state=State.WITHDRAWN).first()


def defects_lifted_by(order: WorkOrder) -> list[Defect]:
    """Return the defects that bar entry now and no more once a finished job is signed off."""
    found = []
    own = order.defect
    if own and own.blocks_entry and own.cured_at is None and (not needs_proof(own) or _was_proved(order)):
        found.append(own)
    test = _passed_test(order)
    if test is not None:
        mended = Defect.objects.blocking_entry().filter(component=test.component)
        for defect in mended.exclude(work_orders=order).select_related("component"):
            mending = mended_by(defect)
            if mending and mending.state == State.SIGNED_OFF and mending.done_at and mending.done_at <= test.tested_at:
                found.append(defect)
    return found


def findings_lifted_by(order: WorkOrder) -> list[Finding]:
    """Return the points in doubt that a passed proof test answers once it is signed off."""
    test = _passed_test(order)
    if test is None:
        return []
    return [
        finding
        for finding in doubtful_findings([order.kiln])
        if finding.item.component_id == test.component_id and finding.at < test.tested_at
    ]


def what_it_lifts(order: WorkOrder) -> list[str]:
    """Say what bars entry now and no more once a finished job is signed off."""
    return [*map(str, defects_lifted_by(order)), *map(say_finding, findings_lifted_by(order))]


def _last_test(component_id: int) -> ProofTest | None:
    tests = ProofTest.objects.filter(component=component_id).select_related("component", "work_order")
    return tests.order_by("-tested_at", "-id").first()


def _passed_test(order: WorkOrder) -> ProofTest | None:
    """Return what a job proved: its test was passed, and none of that component came after it."""
    mine = order.proof_tests.order_by("-tested_at", "-id").first()
    if mine is None or mine.outcome != ProofTest.Outcome.PASSED:
        return None
    last = _last_test(mine.component_id)
    return last if last == mine else None


def _was_proved(mending: WorkOrder) -> bool:
    """Say whether what a job mended was tested after it was done, with success and signed off."""
    done_at = mending.done_at
    last = _last_test(mending.component_id) if mending.component_id else None
    if done_at is None or last is None or last.outcome != ProofTest.Outcome.PASSED or last.tested_at < done_at:
        return False
    return last.work_order_id == mending.pk or bool(last.work_order and last.work_order.state == State.SIGNED_OFF)


def hands_at_sign_off(order: WorkOrder) -> Hands:
    """Return who must not sign a finished job off: who did it, and who mended what the signature lifts."""
    mended = [mended_by(defect) for defect in defects_lifted_by(order)]
    return hands_on([order, *(one for one in mended if one and one.pk != order.pk)])


def refuse_own_work(order: WorkOrder, by: User | None) -> None:
    """Refuse the signature under safety work by somebody who did it."""
    if is_safety_work(order):
        refuse_own(
            "sign off work", hands_at_sign_off(order), by, what=_("signing off %(number)s") % {"number": order.number}
        )


def said_of_own_work(order: WorkOrder, by: User) -> str:
    """Say why somebody may not sign a job off, before a form is shown; empty where nothing is against it."""
    return said_before(refuse_own_work, order, by)


def waiting_proof(mending: WorkOrder) -> str:
    """Return the number of the proof test for which a bar stays after its mending; empty where none does."""
    if mending.defect is None or not needs_proof(mending.defect) or mending.component is None:
        return ""
    tests = WorkOrder.objects.unfinished().filter(component=mending.component, sheet__is_proof_test=True)
    test = tests.order_by("due_at").first()
    return test.number if test else ""
