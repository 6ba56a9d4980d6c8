"""At the door with a phone: in under one's own lock, relief, out, and closed when the list is empty."""

import pytest
from playwright.sync_api import Page, expect

from maintenance.entry.now import entry_of
from maintenance.models import EntryPermit
from tests.browser.conftest import Visit
from tests.factories import KilnFactory
from tests.maintenance.mill import a_person, a_user, opened

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def wide_enough(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_in_and_out_with_a_few_taps(visit: Visit, live_server: object) -> None:
    oda = a_user("technician")
    kiln = KilnFactory()
    una, jon = a_person("una"), a_person("jon")
    permit = opened(kiln, oda)

    phone = visit(oda, phone=True)
    phone.goto(permit.get_absolute_url())
    phone.get_by_role("button", name="Oda goes in, own lock is on").tap()
    expect(phone.locator(".lead")).to_contain_text("1 person is inside.")
    phone.get_by_text("Somebody else goes in").tap()
    phone.get_by_label("Who goes in").select_option(str(una.pk))
    phone.get_by_label("Their own lock is on.").check()
    phone.get_by_role("button", name="Goes in", exact=True).tap()
    expect(phone.locator(".lead")).to_contain_text("2 people are inside.")
    wide_enough(phone)

    phone.get_by_text("Somebody else stays outside", exact=True).tap()
    phone.get_by_label("Stays outside from now on").select_option(str(jon.pk))
    phone.get_by_role("button", name="Stays outside from now on").tap()
    expect(phone.get_by_role("region", name="Stays outside")).to_contain_text("Jon")

    desk = visit(a_user("planner", "ilse"))
    desk.goto(permit.get_absolute_url())
    wide_enough(desk)
    desk.get_by_role("button", name="Una is out, own lock off").click()
    phone.reload()
    phone.get_by_role("button", name="Oda is out, own lock off").tap()
    phone.get_by_label("I counted: everybody is out.").check()
    phone.get_by_role("button", name="Close for entry").tap()
    expect(phone.locator("#messages")).to_contain_text("K1 is closed for entry: everybody is out.")
    assert entry_of(kiln) is None and EntryPermit.objects.filter(act="closed").count() == 1
