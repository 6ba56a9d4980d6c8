"""The technician does a job at the kiln with a phone in the glove, and the planner accepts it."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from playwright.sync_api import Page, expect

from inventory.actions import receive, reserve
from inventory.models import StockLevel
from maintenance.models import Assignment, Placement, StepRecord, WorkOrder, WorkPart
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY, ComponentFactory, MillFactory, PartFactory, WorkOrderFactory, WorkStepFactory
from tests.maintenance.mill import a_person, a_user

pytestmark = pytest.mark.browser


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    put_at(monkeypatch, MONDAY + timedelta(hours=1))


@pytest.fixture
def order(live_server: object) -> WorkOrder:
    """Two steps and one part, placed this morning and given to Oda."""
    MillFactory()
    fan, wick = ComponentFactory(), PartFactory()
    a_person("per")
    order: WorkOrder = WorkOrderFactory(kiln=fan.kiln, component=fan, state="placed", title="Exchange the wick")
    WorkStepFactory(work_order=order, no=1, text="Exchange the wick.")
    WorkStepFactory(
        work_order=order, no=2, text="Measure the gap.", reading_name="Gap", reading_unit="mm", low=1, high=4
    )
    receive(wick, Decimal(6), by=None, key=uuid4())
    set_aside = reserve(wick, Decimal(2), MONDAY.date(), order.number)
    WorkPart.objects.create(work_order=order, part=wick, quantity=2, reservation=set_aside)
    at = MONDAY + timedelta(hours=2)
    Placement.objects.create(work_order=order, start_at=at, end_at=at + timedelta(minutes=90))
    Assignment.objects.create(work_order=order, person=a_person("oda", "lock-out"))
    return order


def test_a_job_from_my_work_to_its_signing_off(visit: Visit, order: WorkOrder) -> None:
    phone = visit(a_user("technician"), phone=True)
    phone.goto("/")
    expect(phone.get_by_role("heading", level=1)).to_have_text("My work")
    expect(phone.locator(".lead")).to_contain_text("1 job today, at K1.")
    phone.get_by_role("link", name=f"Open {order.number}").tap()

    _start(phone, order)
    _work(phone)
    phone.get_by_role("link", name="Finish the job").tap()
    expect(phone.locator(".lead")).to_contain_text("Every step is done.")
    phone.get_by_label("What was done").fill("New wick, gap set.")
    phone.get_by_role("button", name="Done").tap()
    # The job is done when its people are out by the list and the door is closed.
    expect(phone.get_by_role("alert")).to_contain_text("Inside K1: Oda.")
    phone.get_by_role("link", name="At the door of K1").first.tap()
    phone.get_by_role("button", name="Oda is out, own lock off").tap()
    phone.get_by_label(f"{order.number} is paused").check()
    phone.get_by_label("I counted: everybody is out.").check()
    phone.get_by_role("button", name="Close for entry").tap()
    phone.get_by_role("link", name="Finish the job").tap()
    phone.get_by_label("What was done").fill("New wick, gap set.")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator("#messages")).to_contain_text(f"{order.number} is done. It waits to be signed off.")
    expect(phone.get_by_role("button", name="Sign off")).to_have_count(0)

    desk = visit(a_user("planner", "vera"))
    desk.goto(order.get_absolute_url())
    desk.get_by_role("button", name="Sign off").click()
    expect(desk.locator("#messages")).to_contain_text(f"{order.number} is signed off.")
    order.refresh_from_db()
    assert (order.state, order.result) == ("signed_off", "New wick, gap set.")
    assert StepRecord.objects.get(step__no=2).reading == Decimal("2.5")
    assert StockLevel.objects.get().on_hand == 5
    assert order.labour.get().minutes == 45


def _start(phone: Page, order: WorkOrder) -> None:
    """The cautions stand before the start; the door must be as it should before it goes on."""
    cautions = phone.get_by_role("region", name="Cautions")
    start = phone.get_by_role("link", name="Start this job")
    expect(cautions).to_contain_text("Switched off is not the same as safe.")
    assert _top(cautions) < _top(start)
    expect(phone.get_by_role("region", name="Steps").get_by_role("button")).to_have_count(0)
    start.tap()

    expect(phone.get_by_role("region", name="Cautions")).to_be_visible()
    door = phone.get_by_role("group", name="At the door of K1")
    for statement in door.get_by_role("checkbox").all():
        statement.check()
    temperature = phone.get_by_label("Temperature inside")
    temperature.fill("61")
    phone.get_by_label("Stays outside at the main door").select_option("Per")
    phone.get_by_label("We have read all cautions").check()
    phone.get_by_label("each with a lock of their own on").check()
    phone.get_by_role("button", name="Start", exact=True).tap()
    # Too hot: refused in words, nothing typed is lost.
    expect(phone.get_by_text("limit is 35")).to_be_visible()
    expect(temperature).to_have_value("61")
    temperature.fill("24,5")
    phone.get_by_role("button", name="Start", exact=True).tap()
    expect(phone.locator("#messages")).to_contain_text(f"{order.number} is under way.")
    expect(phone.locator(".people-inside").first).to_contain_text("K1 is open for entry")


def _work(phone: Page) -> None:
    """Both steps, the second one with its reading; a part; the time."""
    phone.locator("#step-1").get_by_role("button", name="Done", exact=True).tap()
    expect(phone.locator("#step-1")).to_contain_text("done")
    step = phone.locator("#step-2")
    step.get_by_label("Gap").fill("7")
    step.get_by_role("button", name="Done", exact=True).tap()
    expect(step).to_contain_text("Outside the limits (1 to 4 mm)")
    step.get_by_label("Gap").fill("2,5")
    step.get_by_role("button", name="Done", exact=True).tap()
    expect(step).to_contain_text("2.5 mm")

    phone.get_by_text("Take a part").tap()
    taken = phone.locator("#part")
    expect(taken.get_by_label("How many")).to_have_value("2")
    taken.get_by_label("How many").fill("1")
    taken.get_by_role("button", name="Book it out").tap()
    expect(phone.locator("#messages")).to_contain_text("The part is booked out.")

    phone.get_by_text("Enter time").tap()
    phone.get_by_label("Minutes").fill("45")
    phone.get_by_role("button", name="Enter", exact=True).tap()
    expect(phone.locator("#time")).to_contain_text("45 minutes entered")


def _top(what: object) -> float:
    box = what.bounding_box()  # type: ignore[attr-defined]
    assert box
    return float(box["y"])
