"""Whoever may plan charges moves one on the board, by keys and by hand; what follows is shown before it is kept."""

from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Page, expect

from plant.models import Charge
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY
from tests.maintenance.mill import a_user
from tests.maintenance.placing_mill import programme

pytestmark = pytest.mark.browser
BOARD = "/openings/?days=14&start=2026-03-02"
HOUR = timedelta(hours=1)


@pytest.fixture
def ahead(live_server: object, monkeypatch: pytest.MonkeyPatch) -> Charge:
    """The second of two charges, which begins on the Saturday."""
    put_at(monkeypatch, MONDAY + HOUR)
    return programme()[1]


def begin(charge: Charge) -> datetime:
    return Charge.objects.get(pk=charge.pk).begin_at


def at_work(visit: Visit, role: str) -> Page:
    page = visit(a_user(role, "vera"))
    page.goto(BOARD)
    return page


def test_a_charge_is_moved_by_keys(visit: Visit, ahead: Charge) -> None:
    page, was = at_work(visit, "planner"), ahead.begin_at
    page.locator(f'a.charge[href="{ahead.get_absolute_url()}"]').focus()
    for key in ("m", "PageDown", "ArrowDown", "Escape", "m", "PageDown", "ArrowDown"):
        page.keyboard.press(key)
    expect(page.locator("#board-say")).to_contain_text("Sun, Mar 8, 08:00")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What follows")).to_be_visible()
    assert begin(ahead) == was
    page.get_by_role("button", name="Put on record").click()
    expect(page.get_by_text("stands from Sun 8 Mar")).to_be_visible()
    assert begin(ahead) == was + 25 * HOUR


def test_a_charge_is_moved_by_hand_and_a_press_alone_opens_it(visit: Visit, ahead: Charge) -> None:
    page, was = at_work(visit, "kiln_master"), ahead.begin_at
    block = page.locator(f'a.charge[href="{ahead.get_absolute_url()}"]')
    box = block.bounding_box()
    assert box
    page.mouse.move(box["x"] + 20, box["y"] + 8)
    page.mouse.down()
    page.mouse.move(box["x"] + 60, box["y"] + 8)
    page.mouse.move(box["x"] + 100, box["y"] + 8)
    page.mouse.up()
    expect(page.get_by_role("heading", name="What follows")).to_be_visible()
    page.get_by_role("button", name="Put on record").click()
    expect(page.get_by_text("stands from")).to_be_visible()
    assert begin(ahead) > was + 12 * HOUR
    page.goto(BOARD)
    page.locator(f'a.charge[href="{ahead.get_absolute_url()}"]').click()
    expect(page.get_by_role("heading", name=f"Charge {ahead}")).to_be_visible()


def test_who_may_not_plan_only_looks(visit: Visit, ahead: Charge) -> None:
    page = at_work(visit, "technician")
    block = page.locator(f'a.charge[href="{ahead.get_absolute_url()}"]')
    expect(block).to_be_visible()
    assert block.get_attribute("data-change") is None
