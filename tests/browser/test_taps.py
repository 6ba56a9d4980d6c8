"""Bursts of taps on a round: what is entered is exactly what was shown when the finger went down."""

import random
import time
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from maintenance.checks.checks import start_check, start_sitting
from maintenance.models import CheckPoint, Finding, FunctionCheck, TakenBack
from plant.models import User
from tests.browser.conftest import Visit
from tests.factories import CheckPointFactory, ComponentFactory, KilnFactory, MillFactory
from tests.maintenance.mill import a_user

pytestmark = pytest.mark.browser

TAPS = 200
POINTS = 120
LEAST_LOOK_MS = 600
# Keeps in the tab, for each time a finger goes down on a verdict: which point the page shows, for how long it has been
# shown, and whether another finger was down.
WITNESS = """
  let shownAt = null, down = 0;
  addEventListener("DOMContentLoaded", () => { shownAt = performance.now(); });
  addEventListener("pointerdown", (event) => {
    if (event.target instanceof Element && event.target.closest(".finding .verdict")) {
      const seen = JSON.parse(sessionStorage.getItem("seen") || "[]");
      seen.push([location.pathname, shownAt === null ? 0 : performance.now() - shownAt, down]);
      sessionStorage.setItem("seen", JSON.stringify(seen));
    }
    down += 1;
  }, true);
  const up = () => { down = Math.max(0, down - 1); };
  for (const end of ["pointerup", "pointercancel"]) addEventListener(end, up, true);
"""


@pytest.fixture
def oda(live_server: Any) -> User:
    MillFactory()
    return a_user("technician")


@pytest.fixture
def check(oda: User) -> FunctionCheck:
    """A check with so many fans that a burst never reaches the end, and somebody before the running kiln."""
    kiln = KilnFactory(is_reversing=False)
    for number in range(POINTS):
        ComponentFactory(kiln=kiln, tag=f"fan-{number:03d}", name=f"Fan {number}")
    CheckPointFactory(code="fans-run", what="All fans run", seen_in="running")
    one = start_check(kiln, by=oda)
    start_sitting(one, "running", by=oda, is_cautions_read=True, note="trial run")
    return one


def first_points(page: Page, check: FunctionCheck) -> tuple[float, float]:
    """Enter the first point at leisure; return where the button Sound is on the second, as on all that follow."""
    page.context.add_init_script(WITNESS)
    # So high that no point's page must be scrolled.
    page.set_viewport_size({"width": page.viewport_size["width"], "height": 1300})  # type: ignore[index]
    item = check.items.order_by("component__tag").first()
    assert item
    page.goto(f"/rounds/checks/{check.number}/points/{item.pk}/")
    sound = page.get_by_role("button", name="Sound", exact=True)
    sound.click()
    expect(page.locator(".entered")).to_be_visible()
    box = sound.bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def entered(check: FunctionCheck) -> list[str]:
    """Return the addresses of the points with a finding, as often as they have one."""
    return sorted(
        f"/rounds/checks/{check.number}/points/{finding.item_id}/"
        for finding in Finding.objects.filter(item__check_up=check)
    )


def settle(page: Page) -> list[tuple[str, float, int]]:
    """Let the last answer arrive and return what was shown each time the finger went down on a verdict."""
    page.wait_for_load_state("networkidle")
    expect(page.locator("form.finding")).not_to_have_attribute("inert", "")
    return [tuple(one) for one in page.evaluate("JSON.parse(sessionStorage.getItem('seen') || '[]')")]


def tap(page: Page, hand: str, x: float, y: float) -> None:
    """Tap and do not wait for the answer: a page that is left in the middle of a tap never tells the browser of it."""
    driven = page._impl_obj
    tapping = driven.touchscreen.tap(x, y) if hand == "finger" else driven.mouse.click(x, y, None, None, None)
    done = driven._loop.create_task(tapping)
    done.add_done_callback(lambda task: task.cancelled() or task.exception())


@pytest.mark.parametrize(("hand", "seed"), [("finger", 7), ("mouse", 11)])
def test_a_burst_of_taps_enters_exactly_the_points_that_were_shown(
    visit: Visit, check: FunctionCheck, oda: User, hand: str, seed: int
) -> None:
    page = visit(oda, phone=hand == "finger")
    x, y = first_points(page, check)
    dice = random.Random(seed)
    for _tap in range(TAPS):
        tap(page, hand, x, y)
        page.wait_for_timeout(dice.uniform(50, 400))

    seen = settle(page)
    assert entered(check) == sorted({address for address, _age, _down in seen})
    assert min(age for _address, age, _down in seen) >= LEAST_LOOK_MS
    assert len(entered(check)) > 10


def test_nothing_is_taken_while_a_finger_is_still_down(visit: Visit, check: FunctionCheck, oda: User) -> None:
    page = visit(oda, phone=True)
    x, y = first_points(page, check)
    hand = page.context.new_cdp_session(page)
    page.evaluate("rest()")
    hand.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    page.wait_for_timeout(LEAST_LOOK_MS + 400)
    assert page.locator("form.finding").evaluate("form => form.inert")
    hand.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    settle(page)
    assert Finding.objects.count() == 1
    page.touchscreen.tap(x, y)
    expect(page.locator(".entered")).to_contain_text("Fan 1 ")
    assert Finding.objects.count() == 2


def test_a_key_that_is_held_down_counts_once(visit: Visit, check: FunctionCheck, oda: User) -> None:
    page = visit(oda)
    first_points(page, check)
    settle(page)
    page.get_by_role("button", name="Sound", exact=True).focus()
    for _repeat in range(30):
        page.keyboard.down("Enter")
        time.sleep(0.05)
    page.keyboard.up("Enter")
    settle(page)
    assert Finding.objects.count() == 2


def test_what_was_entered_by_mistake_is_taken_back_from_the_next_point(
    visit: Visit, check: FunctionCheck, oda: User
) -> None:
    page = visit(oda, phone=True)
    first_points(page, check)
    page.locator(".entered").get_by_role("button", name="Undo").tap()
    expect(page.locator("#messages")).to_contain_text("Taken back: All fans run, sound.")
    expect(page.locator(".lead")).to_contain_text("Fan 0")
    assert TakenBack.objects.count() == 1
    expect(page.get_by_role("button", name="Sound", exact=True)).to_be_visible()


def test_where_a_fault_bars_entry_the_second_act_is_elsewhere_on_the_screen(
    visit: Visit, check: FunctionCheck, oda: User
) -> None:
    CheckPoint.objects.update(blocks_entry=True)
    page = visit(oda, phone=True)
    item = check.items.order_by("component__tag").first()
    assert item
    page.goto(f"/rounds/checks/{check.number}/points/{item.pk}/")
    sound = page.get_by_role("button", name="Sound", exact=True)
    first = sound.bounding_box()
    sound.tap()
    second = page.get_by_role("button", name="Yes, enter it so").bounding_box()
    assert first and second
    assert second["y"] + second["height"] < first["y"] and min(second["height"], first["height"]) >= 48
    assert not Finding.objects.exists()
    page.get_by_role("button", name="Yes, enter it so").tap()
    expect(page.locator(".entered")).to_contain_text("sound")
    assert Finding.objects.get().item == item
