"""The storekeeper sees what to order and why, orders it, and books what arrives."""

from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from inventory.models import PurchaseOrder, StockMove
from tests.browser.conftest import Visit
from tests.inventory.storeroom_things import keeper, kept_part, wanted_part

pytestmark = pytest.mark.browser


@pytest.fixture
def storekeeper(visit: Visit) -> Page:
    wanted_part(on_hand=14, wanted=18)
    kept_part("seal-door", on_hand=9, name="door seal, 25 m")
    page = visit(keeper())
    page.goto("/")
    return page


def test_from_what_to_order_to_the_new_stock(storekeeper: Page) -> None:
    expect(storekeeper.get_by_role("heading", level=1)).to_have_text("Stores")
    wick = storekeeper.get_by_role("row", name="wet-bulb wick")
    expect(wick).to_contain_text("Order 10 today")
    expect(wick).to_contain_text("Planned in the 21 days it takes to arrive: 18")
    storekeeper.get_by_role("button", name="Draw up today's orders").click()

    expect(storekeeper.locator("#messages")).to_contain_text("Drawn up:")
    order = PurchaseOrder.objects.get()
    storekeeper.get_by_role("link", name=order.number).first.click()
    storekeeper.get_by_role("button", name="Mark as sent").click()
    expect(storekeeper.locator("#messages")).to_contain_text(f"{order.number} is marked as sent.")

    storekeeper.get_by_role("link", name="Book in wet-bulb wick").click()
    arrived = storekeeper.get_by_label("How many")
    expect(arrived).to_have_value("10")
    storekeeper.get_by_label("Lot").fill("L-2026-03")
    # An impatient hand
    storekeeper.get_by_role("button", name="Book in").dblclick()
    expect(storekeeper.locator("#messages")).to_contain_text("Booked in: 10 of wet-bulb wick")
    expect(storekeeper.locator(".lead")).to_contain_text("arrived")
    receipts = StockMove.objects.filter(order_line__order=order)
    assert [move.quantity for move in receipts] == [Decimal(10)]

    storekeeper.get_by_role("link", name="Stores").first.click()
    expect(storekeeper.get_by_role("row", name="wet-bulb wick").locator("td").nth(2)).to_contain_text("24")
