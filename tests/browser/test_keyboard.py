"""Everything that matters without a mouse: where the focus goes, and that one sees it."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from maintenance.models import WorkOrder
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY, MillFactory
from tests.maintenance.mill import a_user
from tests.maintenance.placing_mill import job, on_shift, programme

pytestmark = pytest.mark.browser

PLACES = ["Kilns", "Rounds", "Openings", "Stores", "Availability"]
MOST_STOPS = 80
# The focused element: what it is called, and how thick its outline is (px).
FOCUS = """() => {
  const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
  return [one.innerText.trim().split("\\n")[0], style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
          box.width * box.height > 4 && box.left >= 0];
}"""


@pytest.fixture
def planner(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> Page:
    put_at(monkeypatch, MONDAY + timedelta(hours=1))
    MillFactory()
    programme(charges=3)
    on_shift(skills=("mechanical", "lock-out"))
    job()
    page = visit(a_user("planner", "vera"))
    page.goto("/openings/")
    return page


def stops(page: Page) -> Iterator[tuple[str, float, bool]]:
    """Go through the page with the tab key until the focus leaves it: name, outline, whether it is in sight."""
    for _stop in range(MOST_STOPS):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement === document.body"):
            return
        yield tuple(page.evaluate(FOCUS))
    pytest.fail(f"more than {MOST_STOPS} stops: the focus is caught, or the page asks too much of a hand")


def tab_to(page: Page, name: str) -> None:
    """Press the tab key until this is focused."""
    assert any(stop[0].startswith(name) for stop in stops(page)), f"the tab key never reaches {name!r}"


def test_the_first_stop_skips_to_the_content(planner: Page) -> None:
    planner.keyboard.press("Tab")
    skip = planner.get_by_role("link", name="Skip to the content")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    planner.keyboard.press("Enter")
    expect(planner.locator("main")).to_be_focused()
    planner.keyboard.press("Tab")
    expect(planner.get_by_role("link", name="Day sheet (PDF)")).to_be_focused()


def test_the_tab_key_reaches_the_places_in_order_and_every_act_and_shows_where_it_is(planner: Page) -> None:
    seen = list(stops(planner))
    names = [name for name, _outline, _is_in_sight in seen]
    at = [names.index(place) for place in PLACES]
    assert at == sorted(at)
    for act in ("Recurring tasks", "Work out the day again", "Earlier", "Later", "Find a place"):
        assert max(at) < next(n for n, name in enumerate(names) if name.startswith(act)), act
    assert [name for name, outline, is_in_sight in seen if outline < 2 or not is_in_sight] == []


def test_escape_closes_the_menu_and_gives_the_focus_back(planner: Page) -> None:
    menu = planner.locator("details.me")
    summary = menu.locator("summary")
    summary.focus()
    planner.keyboard.press("Enter")
    expect(menu.get_by_role("link", name="My work")).to_be_visible()
    planner.keyboard.press("Tab")
    expect(menu.get_by_role("link", name="My work")).to_be_focused()
    planner.keyboard.press("Escape")
    expect(menu.get_by_role("link", name="My work")).to_be_hidden()
    expect(summary).to_be_focused()


def test_a_job_is_placed_from_the_board_without_a_mouse(planner: Page) -> None:
    tab_to(planner, "K1 open and empty")
    expect(planner.locator(".board a.gap").first).to_be_focused()
    planner.keyboard.press("Enter")
    expect(planner.locator("#opening").get_by_role("heading", level=2)).to_be_visible()
    tab_to(planner, "Put it here")
    planner.keyboard.press("Enter")
    expect(planner.locator("#messages")).to_contain_text("has its place and keeps it")
    assert WorkOrder.objects.filter(placement__isnull=False).count() == 1
