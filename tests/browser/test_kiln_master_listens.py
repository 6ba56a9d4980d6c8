"""The kiln master listens to a chamber: its climate, closer and closer, what a watch raised, and was it right?"""

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from maintenance.models import Firing
from plant.models import Kiln
from tests.browser.conftest import Visit
from tests.maintenance.mill import a_user
from tests.maintenance.watching_mill import MONDAY_S, a_watch, a_watched_kiln, dry_wick, looked, ship, stand_at, write

pytestmark = pytest.mark.browser


@pytest.fixture
def kiln(live_server: Any, monkeypatch: pytest.MonkeyPatch) -> Kiln:
    """A kiln whose left wick was dry for a while on Monday, as its watch has said."""
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 2 * 86_400)
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    write(kiln, MONDAY_S + 2 * 3600, 480, air_temperature__left=lambda m: 15 + m / 11, wet_bulb__left=14)
    looked(kiln, dry_wick(kiln, after=120))
    return kiln


def test_from_the_kiln_over_its_climate_to_the_work_and_a_verdict(kiln: Kiln, visit: Visit) -> None:
    page = visit(a_user("kiln_master"))
    page.goto("/kilns/K1/")
    page.get_by_role("link", name="Climate", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Climate of K1, charge")
    expect(page.get_by_role("img", name="Temperatures: air temperature left")).to_be_visible()

    _look_closer(page)
    _read_values(page)
    _take_the_table(page)

    firing = Firing.objects.get()
    assert firing.work_order
    page.get_by_role("link", name="Whole charge").click()
    listed = page.locator(".fired-list li")
    listed.get_by_role("link", name=firing.work_order.number).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Exchange the wick")
    page.go_back()
    page.locator(".fired-list li").get_by_role("link", name="Wick dry (left)").click()
    page.get_by_label("What was found").fill("trough was empty")
    page.get_by_role("button", name="It was right").click()
    expect(page.locator("#messages")).to_contain_text("Kept, with your name and the time.")
    expect(page.locator(".share")).to_contain_text("right in 1 of 1")
    firing.refresh_from_db()
    assert (firing.verdict, firing.verdict_why) == ("right", "trough was empty")


def _look_closer(page: Page) -> None:
    """By a link, by dragging, and back again."""
    page.get_by_role("link", name="drying", exact=True).click()
    expect(page.get_by_role("link", name="drying", exact=True)).to_have_attribute("aria-current", "true")
    whole = page.url
    box = page.locator(".plot-box").first.bounding_box()
    assert box
    page.mouse.move(box["x"] + 2, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 20, box["y"] + 60, steps=4)
    page.mouse.up()
    expect(page.get_by_role("link", name="drying", exact=True)).not_to_have_attribute("aria-current", "true")
    assert page.url != whole
    closer = page.url
    page.go_back()
    expect(page.get_by_role("link", name="drying", exact=True)).to_have_attribute("aria-current", "true")
    page.go_forward()
    expect(page.get_by_role("link", name="drying", exact=True)).not_to_have_attribute("aria-current", "true")
    assert page.url == closer


def _read_values(page: Page) -> None:
    """With the keyboard: read along, and look closer at a stretch."""
    axis = page.get_by_role("slider", name="Read values at a time")
    axis.focus()
    page.keyboard.press("Home")
    first = axis.get_attribute("aria-valuetext")
    value = page.locator('[data-line="temperatures-a"] .value')
    expect(value).to_have_text("60.0 °C")
    page.keyboard.press("Enter")
    for _step in range(30):
        page.keyboard.press("Shift+ArrowRight")
    assert axis.get_attribute("aria-valuetext") != first
    expect(page.locator("[data-read-aloud]")).to_contain_text("air temperature left 60.0 °C")
    before = page.url
    page.keyboard.press("Enter")
    expect(page).not_to_have_url(before)
    expect(page.get_by_role("slider", name="Read values at a time")).to_be_focused()


def _take_the_table(page: Page) -> None:
    page.locator("summary", has_text="The same as a table").click()
    expect(page.get_by_role("columnheader", name="wet-bulb temperature left, °C")).to_be_visible()
    with page.expect_download() as taken:
        page.get_by_role("link", name="Table as CSV").click()
    assert taken.value.suggested_filename.startswith("k1-climate-2026-03-02")


def test_on_a_phone_the_climate_is_read_with_a_finger(kiln: Kiln, visit: Visit) -> None:
    page = visit(a_user("kiln_master"), phone=True)
    page.goto("/kilns/K1/climate/")
    plot = page.locator(".plot-box").first
    plot.scroll_into_view_if_needed()
    plot.tap(position={"x": 60, "y": 40})
    expect(page.locator("[data-read-at]")).to_contain_text("3 Mar")
    assert page.evaluate("document.documentElement.scrollWidth") == 390
