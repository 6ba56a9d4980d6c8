"""What keeps people alive is accepted by somebody who did not do it, and a bar ends by its proof, not before."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from maintenance.checks.defects import record_defect, strike_defect
from maintenance.checks.proof_tests import ProofAnswers
from maintenance.checks.proof_tests import testers as who_may_test
from maintenance.entry.bars import BarKind, bars_of
from maintenance.models import Caution, Defect, ProofTest, TaskSkill, WorkOrder
from maintenance.orders.four_eyes import is_safety_work
from maintenance.work import course as act
from maintenance.work.records import record_labour, record_step
from plant import clock
from plant.models import Component, Person, Qualification, User
from tests.factories import (
    CheckPointFactory,
    ComponentFactory,
    ComponentKindFactory,
    DefectFactory,
    SkillFactory,
    TaskSheetFactory,
    WorkOrderFactory,
    WorkStepFactory,
)
from tests.maintenance.mill import a_person, a_user

pytestmark = pytest.mark.django_db


def a_door() -> Component:
    """An escape door that is proof tested, with the sheets of its mending and of its test."""
    kind = ComponentKindFactory(code="escape-door", name="Escape door", group="safety", end_view_no=3)
    CheckPointFactory(code="escape-latch-inside", kind=kind, blocks_entry=True)
    TaskSheetFactory(code="latch-exchange", title="Exchange the latch", kind=kind, is_safety=True, needs_state="empty")
    test = TaskSheetFactory(
        code="escape-door-proof-test", title="Proof test", kind=kind, is_proof_test=True, needs_state="empty"
    )
    TaskSkill.objects.create(sheet=test, skill=SkillFactory(code="proof-testing"))
    door: Component = ComponentFactory(kind=kind, tag="escape-door", name="escape door")
    return door


def technician(code: str = "per") -> User:
    return a_user("technician", code, ("lock-out", "proof-testing"))


def broken(door: Component) -> WorkOrder:
    """The work order that a blocking defect of the door raised."""
    record_defect(kiln=door.kiln, component=door, what="latch corroded", by=technician(), blocks_entry=True)
    order: WorkOrder = WorkOrder.objects.get(defect__isnull=False)
    return order


def begun(order: WorkOrder, by: User, **more: Any) -> WorkOrder:
    """A job that somebody does from outside."""
    assert by.person
    said = {"is_cautions_read": True, "locked_out_outside_by": by.person, "people": [by.person], **more}
    return act.start(order, by=by, version=order.version, **said)


def mended(order: WorkOrder, by: User) -> WorkOrder:
    order = begun(order, by)
    return act.finish(order, by=by, version=order.version)


def signed(order: WorkOrder, by: User) -> WorkOrder:
    return act.sign_off(order, by=by, version=order.version, is_proved=True)


def the_test() -> WorkOrder:
    order: WorkOrder = WorkOrder.objects.unfinished().get(sheet__is_proof_test=True)
    return order


def proved(order: WorkOrder, by: User, outcome: str = "passed") -> WorkOrder:
    """The proof test, done from outside with somebody at the main door."""
    if order.state != "under_way":
        order = begun(order, by, stays_outside=a_person("bo"))
    passed = outcome == "passed"
    answers = ProofAnswers(
        key=uuid4(),
        outcome=outcome,
        tested_by=by.person,  # type: ignore[arg-type]
        seal_no="S-1" if passed else "",
        next_due_on=clock.today(order.kiln.mill.zone).replace(year=2099) if passed else None,
        note="" if passed else "latch sticks",
    )
    return act.finish(order, by=by, version=order.version, proof=answers)


# what is safety work


@pytest.mark.parametrize(
    ("sheet", "is_safety"),
    [
        ({"code": "grease"}, False),
        ({"code": "walkways", "is_safety": True}, True),
        ({"code": "alarm-test", "is_proof_test": True}, True),
    ],
)
def test_the_sheet_says_what_is_safety_work(sheet: dict[str, Any], is_safety: bool) -> None:
    assert is_safety_work(WorkOrderFactory(sheet=TaskSheetFactory(**sheet))) is is_safety


def test_work_at_which_guards_come_off_is_safety_work_with_a_sheet_and_without() -> None:
    fan = ComponentFactory()
    plain = TaskSheetFactory(code="look", kind=fan.kind)
    assert not is_safety_work(WorkOrderFactory(component=fan))
    guarded = TaskSheetFactory(code="blades", kind=fan.kind)
    guarded.cautions.add(Caution.objects.create(code="fans", title="Fans", text="t", before_start="guard goes back on"))
    assert is_safety_work(WorkOrderFactory(component=fan, sheet=guarded))
    assert not is_safety_work(WorkOrderFactory(component=fan, sheet=plain))
    assert is_safety_work(WorkOrderFactory(component=fan))


def test_work_on_a_way_out_and_on_what_bars_entry_is_safety_work() -> None:
    assert is_safety_work(WorkOrderFactory(component=a_door()))
    assert is_safety_work(WorkOrderFactory(defect=DefectFactory(blocks_entry=True)))


# who may sign


@pytest.mark.parametrize("part", ["team", "time", "step", "started", "done", "tester"])
def test_whoever_took_part_does_not_sign_and_is_told_who_may(part: str) -> None:
    planner, ilse = a_user("planner"), a_user("kiln_master", "ilse")
    order = WorkOrderFactory(is_safety=True, state="under_way")
    step = WorkStepFactory(work_order=order)
    worker = technician()
    record_step(step, by=planner if part == "step" else worker, key=uuid4())
    if part == "team":
        order.assignments.create(person=planner.person)
    if part == "time":
        record_labour(order, planner.person, 30, by=worker, key=uuid4())  # type: ignore[arg-type]
    if part == "tester":
        door = ComponentFactory()
        ProofTest.objects.create(
            key=uuid4(),
            component=door,
            work_order=order,
            tested_at=clock.now(),
            tested_by=planner.person,
            outcome="failed",
            next_due_on=clock.today(order.kiln.mill.zone),
        )
    if part == "started":
        order = begun(
            WorkOrderFactory(is_safety=True, state="ready", needs_state="any"), planner, people=[worker.person]
        )
    order = act.finish(order, by=planner if part == "done" else worker, version=order.version)
    with pytest.raises(ValidationError, match=r"Oda took part.*These may: Ilse") as refused:
        signed(order, planner)
    assert refused.value.code == "four-eyes"
    assert signed(order, ilse).state == "signed_off"


def test_other_work_is_signed_off_by_whoever_may() -> None:
    planner = a_user("planner")
    order = act.finish(WorkOrderFactory(state="under_way"), by=planner, version=0)
    assert signed(order, planner).state == "signed_off"


def test_who_was_given_the_job_and_did_not_do_it_may_sign() -> None:
    planner = a_user("planner")
    order = WorkOrderFactory(is_safety=True, state="ready", needs_state="any")
    order.assignments.create(person=planner.person)
    order = begun(order, technician())
    order = act.finish(order, by=technician(), version=order.version)
    assert signed(order, planner).state == "signed_off"


def test_a_mill_too_small_for_four_eyes_is_told_how_to_mend_it() -> None:
    planner = a_user("planner")
    a_user("administrator", "arne")
    User.objects.filter(username="arne").update(is_active=False)
    order = act.finish(WorkOrderFactory(is_safety=True, state="under_way"), by=planner, version=0)
    with pytest.raises(ValidationError, match="nobody on record may give it"):
        signed(order, planner)
    User.objects.filter(username="arne").update(is_active=True)
    order.assignments.create(person=a_person("arne"))
    with pytest.raises(ValidationError, match="Arne can give it to somebody else: People"):
        signed(order, planner)
    order.refresh_from_db()
    assert order.state == "done"


# the bar ends by its proof


def test_a_blocking_defect_raises_its_work_order_by_itself_and_only_once() -> None:
    order = broken(a_door())
    assert order.is_safety and order.sheet and order.sheet.code == "latch-exchange"
    assert [(bar.kind, bar.ref) for bar in bars_of(order.kiln)] == [(BarKind.DEFECT, order.number)]
    assert WorkOrder.objects.count() == 1


def test_the_signature_under_the_mending_does_not_lift_the_bar_its_proof_test_does() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    signed(mended(order, technician()), ilse)
    test = the_test()
    bar = bars_of(order.kiln)[0]
    assert (bar.kind, bar.ref) == (BarKind.PROOF, test.number)
    assert f"Still barred until the proof test of escape door is passed: {test.number}" in bar.remedy
    test = proved(test, technician())
    assert "signed off by somebody who did not do it" in bars_of(order.kiln)[0].remedy
    signed(test, ilse)
    assert bars_of(order.kiln) == []
    assert Defect.objects.get().cured_at


def test_the_test_may_be_signed_off_before_the_mending_is() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    mending = mended(order, technician())
    signed(proved(the_test(), technician()), ilse)
    assert [bar.kind for bar in bars_of(order.kiln)] == [BarKind.PROOF]
    signed(mending, ilse)
    assert bars_of(order.kiln) == []


def test_who_mended_it_does_not_sign_the_test_that_lifts_it() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    oda = a_user("planner", "oda", ("lock-out",))
    signed(mended(order, oda), ilse)
    test = proved(the_test(), technician())
    with pytest.raises(ValidationError, match="Oda took part"):
        signed(test, oda)
    assert bars_of(order.kiln)
    signed(test, ilse)
    assert not bars_of(order.kiln)


def test_lifting_a_bar_needs_the_word_that_it_was_tried() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    mending = mended(order, technician())
    act.sign_off(mending, by=ilse, version=mending.version)
    test = proved(the_test(), technician())
    with pytest.raises(ValidationError, match="lets people into K1 again"):
        act.sign_off(test, by=ilse, version=test.version)


def test_a_failed_retest_keeps_it_barred_and_raises_the_mending_anew() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    signed(mended(order, technician()), ilse)
    signed(proved(the_test(), technician(), "failed"), ilse)
    again = WorkOrder.objects.unfinished().get(defect__isnull=False)
    assert again != order
    assert {bar.kind for bar in bars_of(order.kiln)} == {BarKind.DEFECT, BarKind.PROOF}
    signed(mended(again, technician()), ilse)
    assert {bar.kind for bar in bars_of(order.kiln)} == {BarKind.PROOF}
    signed(proved(the_test(), technician()), ilse)
    assert bars_of(order.kiln) == []


def test_a_test_from_before_the_mending_or_the_sending_back_proves_nothing() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    mending = mended(order, technician())
    signed(proved(the_test(), technician()), ilse)
    back = act.send_back(mending, by=ilse, version=mending.version, why="hinge too")
    back = begun(back, technician())
    signed(act.finish(back, by=technician(), version=back.version), ilse)
    assert [bar.kind for bar in bars_of(order.kiln)] == [BarKind.PROOF]
    signed(proved(the_test(), technician()), ilse)
    assert bars_of(order.kiln) == []


def test_a_test_that_was_sent_back_and_repeated_counts_by_its_last_outcome() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    signed(mended(order, technician()), ilse)
    test = proved(the_test(), technician())
    test = act.send_back(test, by=ilse, version=test.version, why="try it three times")
    test = begun(test, technician(), stays_outside=a_person("bo"))
    signed(proved(test, technician(), "failed"), ilse)
    assert {bar.kind for bar in bars_of(order.kiln)} == {BarKind.DEFECT, BarKind.PROOF}


def test_the_retest_is_done_although_entry_is_barred_with_somebody_outside_by_name() -> None:
    order, per = broken(a_door()), technician()
    mended(order, per)
    test = the_test()
    for outside in (None, per.person):
        with pytest.raises(ValidationError, match="name who stays outside at the main door"):
            begun(test, per, stays_outside=outside)
    assert begun(test, per, stays_outside=a_person("bo")).state == "under_way"


def test_what_is_known_to_be_broken_is_not_tried_from_inside() -> None:
    door = a_door()
    broken(door)
    sheet = door.kind.task_sheets.get(is_proof_test=True)
    test = WorkOrderFactory(kiln=door.kiln, component=door, sheet=sheet, needs_state="empty", state="ready")
    with pytest.raises(ValidationError, match="Nobody may enter K1"):
        begun(test, technician(), stays_outside=a_person("bo"))


# the tester


def test_the_tester_was_in_the_team_and_has_the_skill_today() -> None:
    order, per = broken(a_door()), technician()
    mended(order, per)
    test = begun(the_test(), per, stays_outside=a_person("bo"))
    assert list(who_may_test(test)) == [per.person]
    stranger: Person = a_person("una", "proof-testing")
    with pytest.raises(ValidationError, match=r"Una cannot be the tester.*These may be named: Per"):
        act.finish(test, by=per, version=test.version, proof=ProofAnswers(uuid4(), "passed", stranger, "S-1"))
    Qualification.objects.filter(skill__code="proof-testing").update(
        valid_until=clock.today(test.kiln.mill.zone).replace(year=2020)
    )
    with pytest.raises(ValidationError, match="Nobody of the team may be named"):
        act.finish(test, by=per, version=test.version, proof=ProofAnswers(uuid4(), "passed", per.person, "S-1"))  # type: ignore[arg-type]
    assert not ProofTest.objects.exists()


# striking


def test_what_bars_entry_is_not_struck_by_its_finder_nor_by_who_worked_on_it() -> None:
    oda, ilse = a_user("planner"), a_user("kiln_master", "ilse")
    why = "The latch was frozen on and opens freely now."
    defect = record_defect(kiln=a_door().kiln, what="latch stiff", by=oda, blocks_entry=True)
    order = WorkOrder.objects.get(defect=defect)
    with pytest.raises(ValidationError, match="withdraw that work order first"):
        strike_defect(defect, by=ilse, why=why)
    act.withdraw(order, by=ilse, version=order.version, why="no defect")
    with pytest.raises(ValidationError, match=r"Oda took part.*These may: Ilse"):
        strike_defect(defect, by=oda, why=why)
    order.assignments.create(person=ilse.person)
    with pytest.raises(ValidationError, match="Ilse took part"):
        strike_defect(defect, by=ilse, why=why)
    strike_defect(defect, by=a_user("planner", "una"), why=why)
    assert not bars_of(defect.kiln)


def test_what_was_mended_is_not_struck() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    signed(mended(order, technician()), ilse)
    with pytest.raises(ValidationError, match="mended it, so it was a defect"):
        strike_defect(Defect.objects.get(), by=ilse, why="It opens freely, I tried it myself.")


def test_a_reading_outside_its_limits_keeps_a_mending_from_its_signature() -> None:
    order, ilse = broken(a_door()), a_user("kiln_master", "ilse")
    step = WorkStepFactory(work_order=order, reading_name="Failures", low=Decimal(0), high=Decimal(0))
    order = begun(order, technician())
    record_step(step, by=technician(), key=uuid4(), reading=Decimal(2), note="oiled")
    order = act.finish(order, by=technician(), version=order.version)
    with pytest.raises(ValidationError, match="what keeps people out is not mended"):
        signed(order, ilse)
