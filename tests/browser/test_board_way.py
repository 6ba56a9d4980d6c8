"""The planner tries another place for a job on the board: by keys, by hand, and on a phone by the list of days."""

from datetime import timedelta

import pytest
from playwright.sync_api import Locator, Page, expect

from maintenance.models import WorkOrder
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.places import set_pinned
from plant.models import Change, Charge
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY
from tests.maintenance.mill import a_user
from tests.maintenance.placing_mill import OPENING_FROM, job, on_shift, programme

pytestmark = pytest.mark.browser
# Eight o'clock at the mill on the Friday that has the opening; the board of three days begins with it.
FRIDAY = OPENING_FROM + timedelta(hours=1)
BOARD = "/openings/?days=3&start=2026-03-06"


@pytest.fixture(autouse=True)
def _friday(monkeypatch: pytest.MonkeyPatch) -> None:
    put_at(monkeypatch, FRIDAY)


@pytest.fixture
def order(live_server: object) -> WorkOrder:
    # Out at seven, and told so.
    Charge.objects.filter(pk=programme(charges=3)[0].pk).update(basis=Charge.Basis.DONE)
    oda = on_shift(skills=("mechanical", "lock-out"))
    placed = job()
    # At ten; the charge after begins at seven on Saturday.
    place_by_hand(placed, OPENING_FROM + timedelta(hours=3), [oda], by=None)
    set_pinned(placed, False, by=None)
    return placed


@pytest.fixture
def planner(visit: Visit, order: WorkOrder) -> Page:
    page = visit(a_user("planner", "vera"))
    page.goto("/openings/")
    return page


def block(page: Page, order: WorkOrder) -> Locator:
    return page.locator(f'.job[data-job="{order.number}"]')


def start_of(order: WorkOrder) -> timedelta:
    return WorkOrder.objects.get(pk=order.pk).placement.start_at - OPENING_FROM


def test_a_job_is_moved_by_keys_and_the_verdict_is_spoken(planner: Page, order: WorkOrder) -> None:
    planner.get_by_role("link", name="3 days").click()
    planner.goto(BOARD)
    said, panel = planner.locator("#board-say"), planner.locator("#board-panel")
    block(planner, order).focus()
    planner.keyboard.press("m")
    expect(said).to_contain_text("Fri 6 Mar 10:00–11:30: fits.")
    for _hour in range(10):
        planner.keyboard.press("ArrowDown")
    expect(said).to_contain_text("Fri 6 Mar 20:00–21:30: does not fit")
    expect(said).to_contain_text("shift")
    planner.keyboard.press("Enter")
    expect(panel.get_by_role("listitem").first).to_contain_text("shift")
    # Stored it cannot be: the rules are said again, and the job stays where it was.
    panel.get_by_role("button", name="Place it here").click()
    expect(panel.get_by_role("heading")).to_be_focused()
    expect(panel.locator(".faults")).to_contain_text("shift")
    assert start_of(order) == timedelta(hours=3)

    planner.keyboard.press("Escape")
    expect(panel).to_be_hidden()
    expect(block(planner, order)).to_be_focused()
    planner.keyboard.press("m")
    for key in ("ArrowDown", "ArrowRight"):
        planner.keyboard.press(key)
    expect(said).to_contain_text("Fri 6 Mar 11:15–12:45: fits.")
    planner.keyboard.press("Enter")
    place = panel.get_by_role("button", name="Place it here")
    expect(place).to_be_focused()
    planner.keyboard.press("Enter")
    expect(planner.locator("#messages")).to_contain_text(f"{order.number} has its place")
    expect(block(planner, order)).to_be_focused()
    assert start_of(order) == timedelta(hours=4, minutes=15)

    # What was placed by hand keeps its place until somebody lets it move.
    block(planner, order).click()
    panel.get_by_role("button", name="It may move again").click()
    expect(planner.locator("#messages")).to_contain_text("may be moved again")
    expect(block(planner, order)).to_be_focused()
    assert not WorkOrder.objects.get(pk=order.pk).placement.is_pinned


def test_a_job_is_dragged_by_hand_and_let_be(planner: Page, order: WorkOrder) -> None:
    planner.goto(BOARD)
    panel, held = planner.locator("#board-panel"), block(planner, order)
    held.scroll_into_view_if_needed()
    box = held.bounding_box()
    assert box
    x, y = box["x"] + 8, box["y"] + 8
    planner.mouse.move(x, y)
    planner.mouse.down()
    planner.mouse.move(x + 150, y, steps=5)
    # It answers while the job is still in the hand.
    expect(panel).to_contain_text("does not fit")
    planner.mouse.move(x + 14, y, steps=5)
    expect(panel).to_contain_text("fits.")
    with planner.expect_response("**/verdict/**"):
        planner.mouse.up()
    expect(planner.locator(".job.was")).to_be_visible()
    panel.get_by_role("button", name="Let it be").click()
    expect(planner.locator(".job.was")).to_have_count(0)
    assert block(planner, order).bounding_box() == box
    assert start_of(order) == timedelta(hours=3)


def test_a_job_without_a_place_is_dragged_from_the_side(planner: Page, order: WorkOrder) -> None:
    waits = job(title="Seal the joints")
    # As whoever asks for work does: what is on record anew is looked at anew.
    Change.record(waits, "changed", by=None)
    planner.goto(BOARD)
    panel, chip = planner.locator("#board-panel"), planner.locator(f'.chip[data-job="{waits.number}"]')
    box, track = chip.bounding_box(), planner.locator("#row-K1 .track").bounding_box()
    assert box and track
    planner.mouse.move(box["x"] + 8, box["y"] + 8)
    planner.mouse.down()
    planner.mouse.move(track["x"] + track["width"] * 8 / 72, track["y"] + 20, steps=6)
    expect(panel).to_contain_text("Fri 6 Mar 08:00")
    planner.mouse.move(track["x"] + track["width"] * 12 / 72, track["y"] + 20, steps=6)
    expect(panel).to_contain_text("Fri 6 Mar 12:00–13:30: fits.")
    planner.mouse.up()
    panel.get_by_role("button", name="Place it here").click()
    expect(planner.locator("#messages")).to_contain_text(f"{waits.number} has its place")
    expect(block(planner, waits)).to_be_focused()
    assert start_of(waits) == timedelta(hours=5)


def test_a_place_is_typed_with_whoever_is_to_do_it(planner: Page, order: WorkOrder) -> None:
    planner.goto(BOARD)
    block(planner, order).click()
    panel = planner.locator("#board-panel")
    expect(panel.get_by_role("heading")).to_be_focused()
    panel.get_by_label("Begins").fill("2026-03-06T12:00")
    panel.get_by_text("With whom").click()
    panel.get_by_label("Oda").check()
    panel.get_by_role("button", name="What would it break?").click()
    expect(panel).to_contain_text("Fri 6 Mar 12:00–13:30: fits.")
    expect(panel.get_by_label("Oda")).to_be_checked()
    panel.get_by_role("button", name="Place it here").click()
    expect(planner.locator("#messages")).to_contain_text("has its place")
    assert start_of(order) == timedelta(hours=5)


def test_a_search_leaves_only_the_kilns_that_fit_and_marks_the_job(planner: Page, order: WorkOrder) -> None:
    planner.goto(BOARD)
    find = planner.get_by_role("searchbox")
    find.fill("flap")
    expect(planner.locator("#find-said")).to_contain_text("1 kilns")
    expect(block(planner, order)).to_have_class("job inside is-found")
    find.press("Enter")
    expect(block(planner, order)).to_be_focused()
    find.fill("nothing-of-this-name")
    expect(planner.locator(".kiln-row")).to_be_hidden()
    find.press("Enter")
    expect(planner.get_by_role("region", name="Work to be done that fits")).to_contain_text("No unfinished job")


def test_on_a_phone_the_days_come_first(visit: Visit, order: WorkOrder) -> None:
    page = visit(a_user("planner", "vera"), phone=True)
    page.goto("/openings/")
    days = page.get_by_role("region", name="Placed, day by day")
    expect(page.locator(".board")).to_be_hidden()
    expect(days).to_contain_text("Friday 6 March")
    days.get_by_role("link", name="Sat 7").click()
    expect(page.get_by_role("heading", name="Saturday 7 March")).to_be_in_viewport()
    days.get_by_role("link", name="Seven days later").click()
    expect(days).to_contain_text("Friday 13 March")
    days.get_by_label("From day").fill("2026-03-06")
    days.get_by_role("button", name="Show").click()
    days.get_by_role("link", name=f"Move {order.number}").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"Place {order.number}")


def test_the_board_is_of_the_days_that_are_asked_for(planner: Page) -> None:
    assert MONDAY < FRIDAY
    planner.get_by_role("link", name="13 weeks").click()
    expect(planner.get_by_role("heading", level=1)).to_contain_text("Openings, 6 March to 4 June")
    planner.get_by_role("link", name="Later", exact=True).click()
    planner.get_by_role("link", name="From today").click()
    expect(planner.get_by_role("heading", level=1)).to_contain_text("Openings, 6 March")
