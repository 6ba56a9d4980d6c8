"""A day of a kiln master with a phone: what happens to the charges of a kiln is told in two taps each."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from plant.models import Charge, ChargeWord
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY
from tests.maintenance.mill import a_user
from tests.maintenance.placing_mill import programme

pytestmark = pytest.mark.browser
HOUR = timedelta(hours=1)
FRIDAY = MONDAY + timedelta(days=4)
What = ChargeWord.What


class Hand:
    """Taps, and counts them."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = 0

    def tap(self, name: str, role: Any = "button") -> None:
        self.taps += 1
        self.page.get_by_role(role, name=name).first.tap()
        self.page.wait_for_load_state("networkidle")

    def event(self, *names: str) -> None:
        """Tell one thing: the first tap is a way, the others are buttons."""
        self.taps = 0
        self.tap(names[0], "link")
        for name in names[1:]:
            self.tap(name)
        expect(self.page.get_by_text("is on record")).to_be_visible()
        assert self.taps <= 2


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], None]:
    return lambda instant: put_at(monkeypatch, instant)


def test_four_things_that_happen_to_charges_are_told_in_two_taps_each(visit: Visit, at: Callable[[Any], None]) -> None:
    at(FRIDAY - 3 * HOUR)
    inside, ahead = programme()
    page = visit(a_user("kiln_master", "vera"), phone=True)
    page.goto("/charges/")
    hand = Hand(page)

    hand.event("Out later or sooner", "6 h later")
    assert Charge.objects.get(pk=inside.pk).end_at == inside.end_at + 6 * HOUR
    at(FRIDAY + 4 * HOUR)
    page.reload()
    hand.event("Opened", "Put on record")
    at(FRIDAY + 7 * HOUR)
    page.reload()
    hand.event("Unloaded", "Put on record")
    at(FRIDAY + 9 * HOUR)
    page.reload()
    hand.event("Loaded and started", "Put on record")

    told = ChargeWord.objects.order_by("id").values_list("what", "at")
    assert list(told) == [
        (What.EXPECTED, inside.end_at + 6 * HOUR),
        (What.OPENED, FRIDAY + 4 * HOUR),
        (What.UNLOADED, FRIDAY + 7 * HOUR),
        (What.STARTED, FRIDAY + 9 * HOUR),
    ]
    # What was told is put right on the same page, and keeps what was said before.
    hand.tap("Put it right", "link")
    page.get_by_label("Doors closed and started at").fill("2026-03-06T15:30")
    page.get_by_label("Why it is put right").fill("The fans ran half an hour before I had the phone at hand.")
    hand.tap("Put on record")
    expect(page.get_by_text("is put right")).to_be_visible()
    assert ChargeWord.objects.count() == 5
    assert Charge.objects.get(pk=ahead.pk).basis == Charge.Basis.RUNNING
