"""The kiln master checks a kiln over two sittings on two days, with a phone."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from maintenance.models import Finding, FunctionCheck, WorkOrder
from plant.models import FailureMode
from tests.browser.conftest import Visit
from tests.factories import CheckPointFactory, ComponentFactory, ComponentKindFactory, KilnFactory, MillFactory
from tests.maintenance.mill import a_person, a_user

pytestmark = pytest.mark.browser


@pytest.fixture
def master(visit: Visit, settings: Any) -> Page:
    """Somebody with a phone before a kiln with four points, one of them with a substitute."""
    settings.KILNWARD_TODAY = "2026-03-02"
    kiln = KilnFactory(mill=MillFactory(), is_reversing=False)
    ComponentFactory(kiln=kiln)
    inner = ComponentKindFactory(code="inner-skin", name="Inner skin", group="envelope", end_view_no=1)
    ComponentFactory(kiln=kiln, kind=inner, tag="inner-skin", name="inner skin")
    FailureMode.objects.create(kind=ComponentKindFactory(), code="fan-crack", name="blade root cracked")
    outer = ComponentKindFactory(code="outer-skin", name="Outer skin", group="envelope", end_view_no=1)
    felt = CheckPointFactory(
        code="outer-skin-felt", kind=outer, seen_in="running", what="Outer skin felt", end_view_no=1
    )
    CheckPointFactory(code="inner-skin-surface", kind=inner, what="Inner skin", substitute=felt, end_view_no=1)
    CheckPointFactory()
    CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
    a_person("per")
    return visit(a_user("kiln_master"), phone=True)


def test_a_check_over_two_sittings(master: Page, settings: Any) -> None:
    master.goto("/")
    expect(master.get_by_role("heading", level=1)).to_have_text(
        re.compile("^(This (morning|afternoon|evening)|Tonight)$")
    )
    master.get_by_role("link", name="Rounds").first.tap()
    master.get_by_role("button", name="Start a check of K1").tap()
    expect(master.locator(".lead")).to_contain_text("3 of 3 points wait for a finding.")

    _look_inside(master)
    number = FunctionCheck.objects.get().number
    settings.KILNWARD_TODAY = "2026-03-04"
    _look_while_it_runs(master, number)

    check = FunctionCheck.objects.get()
    assert check.completed_at
    days = [sitting.started_at.date().day for sitting in check.sittings.order_by("started_at")]
    assert days == [2, 4]
    assert Finding.objects.count() == 4


def _look_inside(master: Page) -> None:
    """Open and empty: one point cannot be seen, another has a defect, which becomes work in one step."""
    master.get_by_role("link", name="Look with it open and empty").tap()
    expect(master.get_by_role("region", name="Cautions")).to_be_visible()
    for statement in master.get_by_role("group", name="At the door of K1").get_by_role("checkbox").all():
        statement.check()
    master.get_by_label("Temperature inside").fill("21")
    master.get_by_label("Stays outside at the main door").select_option("Per")
    master.get_by_label("I have read all cautions").check()
    master.get_by_label("own lock is on").check()
    master.get_by_role("button", name="Start the sitting").tap()

    master.get_by_role("link", name="Inner skin").tap()
    master.locator("summary", has_text="Could not be seen").tap()
    enter = master.get_by_role("button", name="Enter that it could not be seen")
    enter.tap()
    expect(master.get_by_text("Say why it could not be seen.")).to_be_visible()
    master.get_by_label("Why it could not be seen").fill("Clad with sheet.")
    enter.tap()
    expect(master.locator("#messages")).to_contain_text("Look at its substitute instead: Outer skin felt.")

    expect(master.get_by_role("heading", level=1)).to_contain_text("Blades, hub, shroud and guard")
    master.locator("summary", has_text="Defect").tap()
    master.get_by_text("blade root cracked").tap()
    master.get_by_label("Note").fill("blade 4")
    master.get_by_role("button", name="Enter it as a defect").tap()
    master.get_by_role("button", name="Make it a work order").tap()
    expect(master.locator("#messages")).not_to_be_empty()
    order = WorkOrder.objects.get()
    expect(master.locator("main")).to_contain_text(order.number)
    assert order.defect
    assert order.defect.what == "blade root cracked: blade 4"

    master.goto(FunctionCheck.objects.get().get_absolute_url())
    expect(master.get_by_role("button", name="Complete the check")).to_have_count(0)
    master.get_by_role("button", name="End the sitting").tap()
    # Whoever was inside comes out by name before anything else.
    master.get_by_role("button", name="is out, own lock off").tap()
    master.get_by_label("I counted: everybody is out.").check()
    master.get_by_role("button", name="Close for entry").tap()
    expect(master.locator("#messages")).to_contain_text("closed")


def _look_while_it_runs(master: Page, number: str) -> None:
    """Two days later: what is left, the substitute among it."""
    master.goto("/rounds/")
    expect(master.locator("main")).to_contain_text("open part: 2 of 2 seen")
    expect(master.locator("main")).to_contain_text("running part: 0 of 2 seen")
    master.get_by_role("link", name="Go on").first.tap()
    expect(master.get_by_text("stands in")).to_be_visible()
    master.get_by_role("link", name="Look while it runs").tap()
    expect(master.locator(".lead")).to_contain_text("Nobody steps in while the kiln runs.")
    master.get_by_label("I have read all cautions").check()
    master.get_by_role("button", name="Start the sitting").tap()
    master.get_by_role("link", name="Next point").tap()
    for _point in range(2):
        master.get_by_role("button", name="Sound", exact=True).tap()
    expect(master.locator("main")).to_contain_text("Everything that can be seen in this state has a finding.")
    master.get_by_role("button", name="End the sitting").tap()
    master.get_by_role("button", name="Complete the check").tap()
    expect(master.locator("#messages")).to_contain_text(f"{number} is complete")
