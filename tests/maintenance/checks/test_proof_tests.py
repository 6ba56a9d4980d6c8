"""The outcome of a proof test, and what follows: a seal and a next day, or a closed chamber and work at once."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from maintenance.checks.proof_tests import ProofAnswers, next_proof_on
from maintenance.entry.permits import open_permit_of
from maintenance.models import Defect, ProofTest, StandingDefault, StandingTask, WorkOrder
from maintenance.work import course as act
from maintenance.work.records import record_step
from plant import clock
from plant.models import Change
from tests.factories import (
    CheckPointFactory,
    ComponentFactory,
    ComponentKindFactory,
    DefectFactory,
    MillFactory,
    TaskSheetFactory,
    WorkOrderFactory,
    WorkStepFactory,
)
from tests.maintenance.mill import a_person, a_user, opened, signed_in

pytestmark = pytest.mark.django_db


def a_test(**fields: Any) -> WorkOrder:
    """A proof test of the escape door that is under way."""
    kind = ComponentKindFactory(code="escape-door", name="Escape door", group="safety", end_view_no=3)
    CheckPointFactory(code="escape-latch-inside", kind=kind, blocks_entry=True)
    sheet = TaskSheetFactory(code="escape-door-proof-test", title="Proof test", kind=kind, is_proof_test=True)
    door = ComponentFactory(kind=kind, tag="escape-door", name="escape door")
    order: WorkOrder = WorkOrderFactory(
        **{"kiln": door.kiln, "component": door, "sheet": sheet, "state": "under_way", "needs_state": "any", **fields}
    )
    order.assignments.create(person=a_person("oda", "proof-testing"))
    return order


def said(outcome: str = "passed", **fields: Any) -> ProofAnswers:
    usual = {"seal_no": "S-4711", "next_due_on": date(2099, 1, 1), "tested_by": a_person("oda")}
    return ProofAnswers(key=uuid4(), outcome=outcome, **{**usual, **fields})


def finish(order: WorkOrder, answers: ProofAnswers | None) -> WorkOrder:
    return act.finish(order, by=a_user("technician"), version=order.version, proof=answers)


def test_a_passed_test_keeps_seal_and_next_day() -> None:
    finish(a_test(), said())
    test = ProofTest.objects.get()
    assert (test.outcome, test.seal_no, test.next_due_on, test.tested_by.name) == (
        "passed",
        "S-4711",
        date(2099, 1, 1),
        "Oda",
    )


@pytest.mark.parametrize(
    ("answers", "refusal"),
    [
        ({"seal_no": " "}, "number of the new seal"),
        ({"next_due_on": date(2020, 1, 1)}, "due after today"),
        ({"next_due_on": None}, "no interval is on record"),
    ],
)
def test_what_a_passed_test_must_say(answers: dict[str, Any], refusal: str) -> None:
    order = a_test()
    with pytest.raises(ValidationError, match=refusal):
        finish(order, said(**answers))
    assert not ProofTest.objects.exists()
    order.refresh_from_db()
    assert order.state == "under_way"


def test_a_proof_test_is_not_done_without_its_outcome() -> None:
    with pytest.raises(ValidationError, match="outcome of the proof test"):
        finish(a_test(), None)


def test_a_failed_test_closes_the_chamber_and_raises_the_work_at_once() -> None:
    order = a_test()
    WorkStepFactory(work_order=order, text="Fit a new seal.")
    finish(order, said("failed", seal_no="", next_due_on=None, note="latch stiff"))
    defect = Defect.objects.blocking_entry().get()
    mending = WorkOrder.objects.get(defect=defect)
    assert (defect.what, mending.is_safety, mending.state) == ("Proof test failed: latch stiff", True, "raised")
    assert ProofTest.objects.get().next_due_on == clock.today(order.kiln.mill.zone)


def test_a_test_whose_reading_is_outside_its_limits_has_not_passed() -> None:
    order = a_test()
    step = WorkStepFactory(work_order=order, reading_name="Failures to open", low=Decimal(0), high=Decimal(0))
    record_step(step, by=a_user("technician"), key=uuid4(), reading=Decimal(2), note="sticks")
    with pytest.raises(ValidationError, match="has not passed"):
        finish(order, said())
    assert finish(order, said("failed", note="latch sticks")).state == "done"


def test_mending_what_failed_raises_the_test_that_proves_it() -> None:
    finish(a_test(), said("failed", seal_no="", note="latch stiff"))
    mending = WorkOrder.objects.get(defect__isnull=False)
    WorkOrder.objects.filter(pk=mending.pk).update(state="under_way")
    finish(WorkOrder.objects.get(pk=mending.pk), None)
    retest = WorkOrder.objects.unfinished().get()
    assert (retest.sheet.code, retest.is_safety) == ("escape-door-proof-test", True)  # type: ignore[union-attr]


def test_a_test_that_waits_is_brought_forward_when_the_door_was_mended() -> None:
    order = a_test()
    finish(order, said())
    later = clock.now() + timedelta(days=50)
    waiting = WorkOrderFactory(kiln=order.kiln, component=order.component, sheet=order.sheet, due_at=later)
    defect = DefectFactory(kiln=order.kiln, component=order.component, blocks_entry=True)
    mending = WorkOrderFactory(kiln=order.kiln, component=order.component, defect=defect, state="under_way")
    finish(mending, None)
    waiting.refresh_from_db()
    assert waiting.due_at <= clock.now()
    assert waiting.safety_at == waiting.due_at
    assert Change.objects.about(waiting).get().act == "brought forward"


def test_a_failed_way_out_bars_the_chamber_though_it_is_still_open_for_entry() -> None:
    order = a_test(needs_state="empty")
    permit = opened(order.kiln, a_user("technician"), order)
    with pytest.raises(ValidationError, match="close the chamber for entry"):
        finish(order, said())
    finish(order, said("failed", seal_no="", note="latch stiff"))
    assert Defect.objects.blocking_entry().filter(kiln=order.kiln).exists()
    assert open_permit_of(order.kiln) == permit


def test_the_next_test_follows_the_recurring_task_then_the_sheet() -> None:
    order = a_test()
    assert next_proof_on(order, date(2026, 1, 31)) is None
    StandingDefault.objects.create(sheet=order.sheet, every=6, every_unit="month", interval_is="own_choice")
    assert next_proof_on(order, date(2026, 1, 31)) == date(2026, 7, 31)
    StandingTask.objects.create(
        code="proof-k1",
        sheet=order.sheet,
        kiln=order.kiln,
        component=order.component,
        anchor_on=date(2025, 1, 1),
        every=1,
        every_unit="month",
    )
    # A month that lacks the day ends on its last: the default of the recurring task.
    assert next_proof_on(order, date(2026, 1, 31)) == date(2026, 2, 28)


# pages


def test_the_auditor_sees_each_door_with_its_last_test_and_overdue_ones_first(client: Client) -> None:
    MillFactory()
    finish(a_test(), said())
    never = ComponentFactory(kind__code="escape-door", tag="escape-door-2", name="second escape door")
    page = signed_in(client, a_user("auditor", "vera")).get("/rounds/proof-tests/").content.decode()
    assert "S-4711" in page and "never tested" in page
    assert page.index(never.name) < page.index("S-4711")


def test_a_long_list_comes_in_pages_and_the_lead_counts_all_of_it(client: Client) -> None:
    finish(a_test(), said())
    for n in range(60):
        ComponentFactory(kind__code="escape-door", tag=f"door-{n}", name=f"door number {n}")
    browser = signed_in(client, a_user("auditor", "vera"))
    first, second = (browser.get(f"/rounds/proof-tests/?page={n}").content.decode() for n in (1, 2))
    assert "60 of 61 cannot be relied on" in first and "60 of 61 cannot be relied on" in second
    assert "Page 1 of 2" in first
    assert "S-4711" not in first and "S-4711" in second


def test_every_test_of_one_door_stands_on_a_page_of_its_own_the_newest_first(client: Client) -> None:
    MillFactory()
    order = a_test()
    for days, seal in ((200, "S-1"), (10, "S-2")):
        ProofTest.objects.create(
            key=uuid4(),
            component=order.component,
            tested_at=clock.now() - timedelta(days=days),
            tested_by=a_person("oda"),
            outcome="passed",
            seal_no=seal,
            next_due_on=clock.today(order.kiln.mill.zone),
        )
    auditor = signed_in(client, a_user("auditor", "vera"))
    url = f"/rounds/proof-tests/{order.component_id}/"
    assert f'href="{url}"' in auditor.get("/rounds/proof-tests/").content.decode()
    page = auditor.get(url).content.decode()
    assert "2 tests are on record" in page
    assert page.index("S-2") < page.index("S-1")


def test_the_list_goes_out_as_csv_in_which_no_text_runs(client: Client) -> None:
    MillFactory()
    finish(a_test(), said(seal_no="=1+1"))
    answer = signed_in(client, a_user("auditor", "vera")).get("/rounds/proof-tests.csv")
    assert answer["Content-Type"].startswith("text/csv")
    assert "'=1+1" in answer.content.decode()


def test_an_overdue_test_is_shouted_about(client: Client) -> None:
    MillFactory()
    order = a_test()
    ProofTest.objects.create(
        key=uuid4(),
        component=order.component,
        tested_at=clock.now() - timedelta(days=90),
        tested_by=a_person("oda"),
        outcome="passed",
        seal_no="S-1",
        next_due_on=clock.today(order.kiln.mill.zone) - timedelta(days=3),
    )
    page = signed_in(client, a_user("auditor", "vera")).get("/rounds/proof-tests/").content.decode()
    assert "3 days overdue" in page
    assert "1 of 1" in page


def test_a_storekeeper_has_no_business_there(client: Client) -> None:
    MillFactory()
    assert signed_in(client, a_user("storekeeper")).get("/rounds/proof-tests/").status_code == 403
