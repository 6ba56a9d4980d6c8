"""A technician looks at the own week on a phone, and lets a calendar fetch it until the address is revoked."""

from datetime import timedelta

import pytest
from django.test import Client
from icalendar import Calendar
from playwright.sync_api import Page, expect

from plant.models import User
from tests.browser.conftest import Visit, put_at
from tests.factories import MONDAY, MillFactory
from tests.maintenance.mill import a_person, a_user
from tests.maintenance.own_work import placed

pytestmark = pytest.mark.browser


@pytest.fixture
def oda(live_server: object, monkeypatch: pytest.MonkeyPatch) -> User:
    """Two jobs this week, one of them today, and one next week."""
    put_at(monkeypatch, MONDAY + timedelta(hours=1))
    MillFactory()
    user = a_user("technician")
    for hours, title in ((3, "Set the flaps"), (50, "Grease the fans"), (170, "Descale the nozzles")):
        placed(MONDAY + timedelta(hours=hours), user.person, a_person("per"), title=title)  # type: ignore[arg-type]
    return user


def test_from_my_work_over_the_week_to_a_calendar_that_stops(visit: Visit, oda: User) -> None:
    phone = visit(oda, phone=True)
    phone.goto("/")
    _look_at_the_week(phone)
    phone.get_by_role("link", name="Calendar").tap()
    expect(phone.locator(".lead")).to_contain_text("No calendar shows this work yet.")
    phone.get_by_role("button", name="Make an address").tap()
    expect(phone.get_by_role("heading", name="The new address")).to_be_visible()
    address = phone.get_by_label("Address", exact=True).input_value()
    assert address.startswith(phone.url.split("/my-work/")[0]) and address.endswith(".ics")

    path = address[address.index("/calendar/") :]
    found = Client().get(path)
    events = Calendar.from_ical(found.content).walk("VEVENT")
    assert [str(event["summary"]) for event in events] == [  # type: ignore[index]
        "K1: Set the flaps",
        "K1: Grease the fans",
        "K1: Descale the nozzles",
    ]
    phone.goto("/my-work/calendar/")
    expect(phone.get_by_label("Address", exact=True)).to_have_count(0)
    expect(phone.locator(".lead")).to_contain_text("A calendar last fetched it 2 Mar 2026")
    phone.get_by_role("button", name="Revoke the address").tap()
    expect(phone.locator("#messages")).to_contain_text("The address is revoked.")
    assert Client().get(path).status_code == 404


def _look_at_the_week(phone: Page) -> None:
    """Today's job stands on top; the week has every day; the next one is a tap away, and so is a job."""
    expect(phone.get_by_role("heading", name="Next", exact=True)).to_be_visible()
    expect(phone.get_by_role("heading", name="Set the flaps")).to_be_visible()
    phone.get_by_role("link", name="Week", exact=True).tap()
    expect(phone.get_by_role("heading", level=1)).to_have_text("My week")
    expect(phone.locator(".own-day")).to_have_count(7)
    expect(phone.locator(".own-today")).to_contain_text("Set the flaps")
    expect(phone.get_by_text("no work placed")).to_have_count(5)
    phone.get_by_role("link", name="Later").tap()
    expect(phone.get_by_role("link", name="Descale the nozzles")).to_be_visible()
    phone.get_by_role("link", name="Back to this week").tap()
    box = phone.get_by_role("link", name="Grease the fans").bounding_box()
    assert box and box["height"] >= 48
