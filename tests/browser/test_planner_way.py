"""The planner gives a job a place in an opening, and hears it in words when a place breaks a rule."""

from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from maintenance.models import WorkOrder
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY
from tests.maintenance.mill import a_user
from tests.maintenance.placing_mill import job, on_shift, programme

pytestmark = pytest.mark.browser
PASSWORD = "sawdust-and-steam"


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    put_at(monkeypatch, MONDAY + timedelta(hours=1))


@pytest.fixture
def order(live_server: object) -> WorkOrder:
    programme(charges=3)
    on_shift(skills=("mechanical", "lock-out"))
    return job()


@pytest.fixture
def planner(visit: Visit, order: WorkOrder) -> Page:
    user = a_user("planner", "vera")
    user.set_password(PASSWORD)
    user.save()
    page = visit()
    page.goto("/")
    page.get_by_label("Name").fill("vera")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    return page


def test_a_job_without_a_place_gets_one_from_an_opening(planner: Page, order: WorkOrder) -> None:
    expect(planner.get_by_role("heading", level=1)).to_contain_text("Openings, 2 March to")
    unplaced = planner.get_by_role("region", name="Jobs without a place")
    expect(unplaced).to_contain_text(order.title)

    planner.locator(".board a.gap").first.click()
    opening = planner.locator("#opening")
    expect(opening.get_by_role("heading", level=2)).to_contain_text("K1, Fri 6 Mar 07:00 to Sat 7 Mar 07:00")
    expect(opening).to_contain_text("with Oda")
    opening.get_by_role("button", name=f"Put it here {order.number}").click()

    expect(planner.locator("#messages")).to_contain_text(f"{order.number} has its place and keeps it.")
    planner.get_by_role("link", name="Openings").first.click()
    expect(planner.locator(".board a.gap.jobs")).to_contain_text(order.number)
    friday = planner.get_by_role("region", name="Placed, day by day")
    expect(friday).to_contain_text("Friday 6 March")
    expect(friday).to_contain_text("Oda")
    expect(unplaced).to_contain_text("Every job has its place.")
    placement = WorkOrder.objects.get(pk=order.pk).placement
    assert placement.is_pinned
    assert [one.person.code for one in order.assignments.all()] == ["oda"]


def test_a_place_that_breaks_a_rule_is_refused_in_words_and_nothing_typed_is_lost(
    planner: Page, order: WorkOrder
) -> None:
    planner.get_by_role("link", name=f"Find a place {order.number}").click()
    begins = planner.get_by_label("Begins")
    begins.fill("2026-03-04T10:00")
    planner.get_by_label("Oda").check()
    # Asked first, with nothing placed; then tried all the same.
    planner.get_by_role("button", name="What would it break?").click()
    check = planner.locator("#check")
    expect(check).to_contain_text("K1 is not open and empty from Wed 4 Mar, 10:00 to Wed 4 Mar, 11:30")
    planner.get_by_role("button", name="Place it and keep it there").click()
    expect(check).to_contain_text("This place breaks a rule:")
    expect(begins).to_have_value("2026-03-04T10:00")
    expect(planner.get_by_label("Oda")).to_be_checked()
    assert not WorkOrder.objects.filter(placement__isnull=False).exists()

    begins.fill("2026-03-06T10:00")
    planner.get_by_role("button", name="Place it and keep it there").click()
    expect(planner.locator("#messages")).to_contain_text("has its place and keeps it")
