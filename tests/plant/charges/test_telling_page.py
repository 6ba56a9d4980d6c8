"""The page of charges: what is in each kiln, what comes, and two taps to tell what happened."""

import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from plant import clock
from plant.kilns.due_words import door_words
from plant.kilns.kilns_now import kilns_now
from plant.models import Charge, ChargeWord, Reading, User
from tests.factories import MONDAY, ChannelFactory, ChargeFactory, KilnFactory, MillFactory, UserFactory

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
NOW = MONDAY + 2 * DAY
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture(autouse=True)
def _wednesday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(UserFactory(username=role, role=role), backend=BACKEND)
    return client


def typed(page: str) -> dict[str, str]:
    """Return what stands in the fields of a page's form."""
    fields = re.findall(r"<input[^>]*>", page)
    named = [(re.search(r'name="(\w+)"', field), re.search(r'value="([^"]*)"', field)) for field in fields]
    return {name[1]: value[1] for name, value in named if name and value}


def links(page: str) -> list[str]:
    return re.findall(r'href="(/charges/[^"]+)"', page)


def test_that_a_kiln_was_opened_is_proposed_since_its_door_reads_open() -> None:
    kiln = KilnFactory()
    charge = ChargeFactory(kiln=kiln, begin_at=NOW - 4 * DAY, days=4, basis="running")
    door = ChannelFactory(kiln=kiln, quantity="door_open")
    for minutes, value in ((-300, 1), (-290, 0), (-60, 0), (-50, 1), (-40, 1)):
        Reading.objects.create(channel=door, at_s=int(NOW.timestamp()) + 60 * minutes, value=value)
    page = signed_in("technician").get(f"/charges/{kiln.tag}/{charge.pk}/opened/").content.decode()
    # It was seen shut an hour ago for the last time.
    assert typed(page)["at"] == "2026-03-04T06:10"
    assert door_words(kilns_now([kiln], NOW)[0], NOW).startswith("A main door reads open since Wed 4 Mar")
    # It is a hint for people: by the record the kiln is shut until somebody tells it.
    assert kilns_now([kiln], NOW)[0].is_shut


def test_four_things_happen_to_a_charge_each_in_two_taps() -> None:
    kiln = KilnFactory()
    charge = ChargeFactory(kiln=kiln, begin_at=NOW, days=4)
    client = signed_in("technician")
    for what, days in (("started", 0), ("expected", 4), ("opened", 5), ("unloaded", 5.1)):
        with time_machine.travel(NOW + days * DAY, tick=False):
            client.force_login(User.objects.get(), backend=BACKEND)
            # The first tap: a button of the page. The second: what it opens is sent as it stands there.
            button = f"/charges/{kiln.tag}/{charge.pk}/{what}/"
            assert button in links(client.get("/charges/").content.decode())
            said = typed(client.get(button).content.decode())
            if what == "expected":
                said["at"] = timezone.localtime(NOW + 6 * DAY).strftime("%Y-%m-%dT%H:%M")
            page = client.post(button, said, follow=True).content.decode()
            assert "is on record" in page
    charge.refresh_from_db()
    assert (charge.basis, charge.end_at) == ("done", NOW + 5.1 * DAY)
    assert [word.what for word in ChargeWord.objects.all()] == ["started", "expected", "opened", "unloaded"]


def test_a_form_sent_twice_is_told_once() -> None:
    charge = ChargeFactory(begin_at=NOW - 5 * DAY + DAY / 6, basis="running")
    client, said = signed_in("planner"), {"at": timezone.localtime(NOW).strftime("%Y-%m-%dT%H:%M"), "key": str(uuid4())}
    for _ in range(2):
        assert client.post(f"/charges/{charge.kiln.tag}/{charge.pk}/opened/", said).status_code == 302
    assert ChargeWord.objects.count() == 1


def test_what_was_told_is_put_right_and_taken_back_by_the_page() -> None:
    charge = ChargeFactory(begin_at=NOW - 5 * DAY + DAY / 6, basis="running")
    client, at = signed_in("kiln_master"), timezone.localtime(NOW).strftime("%Y-%m-%dT%H:%M")
    client.post(f"/charges/{charge.kiln.tag}/{charge.pk}/unloaded/", {"at": at, "key": str(uuid4())})
    word = ChargeWord.objects.get()
    address = f"/charges/{charge.kiln.tag}/{charge.pk}/words/{word.pk}/"
    assert address in links(client.get("/charges/").content.decode())
    refused = client.post(address, {"at": at, "key": str(uuid4()), "why": ""})
    assert refused.status_code == 200
    client.post(f"{address}back/", {"key": str(uuid4()), "why": "that was K2"})
    charge.refresh_from_db()
    assert charge.basis == "running"


def test_who_only_looks_sees_no_button() -> None:
    charge = ChargeFactory(begin_at=NOW - DAY, basis="running")
    page = signed_in("auditor").get("/charges/").content.decode()
    assert "1 of 1 kiln holds a charge" in page
    assert set(links(page)) == {charge.get_absolute_url()}
    assert links(signed_in("manager").get(charge.get_absolute_url()).content.decode()) == []


def test_a_mill_without_kilns_or_charges_says_so() -> None:
    MillFactory()
    client = signed_in("planner")
    assert "No kiln is in use" in client.get("/charges/").content.decode()
    KilnFactory()
    assert "No charge is in it, and none is planned" in client.get("/charges/").content.decode()


def test_an_address_that_names_nothing_is_not_found() -> None:
    charge = ChargeFactory(begin_at=NOW)
    client = signed_in("planner")
    assert client.get(f"/charges/{charge.kiln.tag}/{charge.pk}/burnt/").status_code == 404
    assert client.get(f"/charges/{charge.kiln.tag}/{charge.pk}/taken_back/").status_code == 404
    assert client.get(f"/charges/K99/{charge.pk}/started/").status_code == 404


def test_many_kilns_take_as_many_queries_as_few() -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get("/charges/").status_code == 200
        return len(queries)

    client = signed_in("planner")
    for n in range(6):
        charge = ChargeFactory(kiln=KilnFactory(tag=f"K{n}"), begin_at=NOW - DAY, basis="running")
        ChargeFactory(kiln=charge.kiln, begin_at=clock.now() + 9 * DAY)
        if n == 0:
            client.get("/charges/")
            few = asked()
    assert asked() == few
    assert Charge.objects.count() == 12
