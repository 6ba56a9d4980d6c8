"""Every page and every paper, walked by the table of addresses: what names a kiln says what must be said of it."""

import io
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader

from maintenance.models import Assignment, WorkOrder
from maintenance.telling.calendar_address import make_address
from plant.models import Kiln, Person
from tests.factories import DefectFactory, UserFactory
from tests.test_access_walk import ADDRESSES, signed_in, things, url_of

__all__ = ["things"]

BAR = "Nobody may enter {kiln}: the escape door jams."
RUNS = "{kiln} is reported running or hot while people may be in or at it: the fans turn."
# Files of figures for other programs.
FIGURES = ("text/csv", "application/json", "application/zip")


@pytest.fixture
def barred(things: dict[str, dict[str, Any]]) -> Kiln:
    """The kiln that is in everything, with a bar to entry."""
    kiln: Kiln = Kiln.objects.get(tag=things["kilns/"]["tag"])
    DefectFactory(kiln=kiln, what="the escape door jams", blocks_entry=True)
    return kiln


def answers(client: Client, known: dict[str, dict[str, Any]]) -> list[tuple[str, Any]]:
    """Ask for every address there is."""
    found = [(url, client.get(url)) for url in (url_of(address, known) for address in ADDRESSES)]
    return [(url, answer) for url, answer in found if answer.status_code == 200]


def words_of(answer: Any) -> list[str]:
    """Return the words of a page, or of each page of a paper; none where it is neither."""
    kind = answer["Content-Type"].split(";")[0]
    if kind == "application/pdf":
        pages = PdfReader(io.BytesIO(answer.content)).pages
        return [" ".join(page.extract_text().split()) for page in pages]
    if kind == "text/html" and b"<html" in answer.content[:200]:
        return [answer.content.decode()]
    assert kind in ("text/html", "text/plain", *FIGURES), f"neither page nor paper nor figures: {kind}"
    return []


def test_every_page_and_paper_that_names_a_kiln_shows_its_bar_and_its_alarm(
    things: dict[str, dict[str, Any]],
    barred: Kiln,
) -> None:
    said, silent, papers = 0, [], 0
    for url, answer in answers(signed_in("administrator"), things):
        for words in words_of(answer):
            papers += answer["Content-Type"] == "application/pdf"
            if barred.tag not in words:
                continue
            said += 1
            if BAR.format(kiln=barred.tag) not in words or RUNS.format(kiln=barred.tag) not in words:
                silent.append(url)
    assert silent == []
    assert said > 60
    assert papers > 4


def test_a_calendar_names_the_bar_where_one_sees_it_first(
    things: dict[str, dict[str, Any]],
    barred: Kiln,
) -> None:
    order = WorkOrder.objects.get()
    person = Person.objects.get(code="per")
    Assignment.objects.create(work_order=order, person=person)
    user = UserFactory(username="planner", role="planner")
    secret = make_address(person, by=user)
    feed = Client().get(f"/calendar/{secret}.ics").content.decode().replace("\r\n ", "")
    assert f"SUMMARY:ALARM\\, NO ENTRY · {barred.tag}: {order.title}" in feed
    assert BAR.format(kiln=barred.tag) in feed
