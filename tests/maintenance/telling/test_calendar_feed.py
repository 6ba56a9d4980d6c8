"""Somebody's work as a calendar: who gets in, what stands in it, and that RFC 5545 is kept to the octet."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import example, given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from maintenance.models import CalendarAddress, Placement, WorkOrder, WorkPart
from maintenance.telling.calendar_address import make_address, revoke_address
from maintenance.telling.calendar_feed import event_of, feed_of
from maintenance.telling.my_week import OwnJob
from plant.models import Change, Kiln, Mill, User
from tests.factories import MONDAY, MillFactory, PartFactory, PersonFactory
from tests.maintenance.mill import a_person, a_user, signed_in
from tests.maintenance.own_work import move, placed

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
SECRET = re.compile(r"http://testserver/calendar/([-\w]{43})\.ics")


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY)


@pytest.fixture
def oda(db: None) -> User:
    MillFactory()
    return a_user("technician")


def made(client: Client, user: User, address: str = "/my-work/calendar/") -> str:
    """Make an address on the page and return its path."""
    found = SECRET.findall(signed_in(client, user).post(address).content.decode())
    assert len(found) == 1
    return f"/calendar/{found[0]}.ics"


def fetched(path: str, **headers: str) -> Any:
    return Client().get(path, headers=headers)


def events(content: bytes) -> list[Any]:
    return list(Calendar.from_ical(content).walk("VEVENT"))


def test_the_address_is_shown_once_works_without_a_sign_in_and_is_kept_as_a_digest(client: Client, oda: User) -> None:
    path = made(client, oda)
    secret = path.removeprefix("/calendar/").removesuffix(".ics")
    kept = CalendarAddress.objects.get()
    assert secret not in str([*CalendarAddress.objects.values(), *Change.objects.values()])
    assert (len(kept.digest), kept.tail, len(secret)) == (64, secret[-4:], 43)
    again = client.get("/my-work/calendar/").content.decode()
    assert secret not in again and f"ends in {kept.tail}" in again
    answer = fetched(path)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "private" in answer["Cache-Control"]
    assert answer["Referrer-Policy"] == "no-referrer"
    kept.refresh_from_db()
    assert kept.last_used_at == MONDAY


def test_a_new_address_stops_the_old_one_and_revoking_stops_both(client: Client, oda: User) -> None:
    old, new = made(client, oda), made(client, oda)
    assert [fetched(path).status_code for path in (old, new)] == [404, 200]
    client.post("/my-work/calendar/revoke/")
    assert [fetched(path).status_code for path in (old, new)] == [404, 404]
    acts = Change.objects.about(oda.person).values_list("act", flat=True)
    assert list(acts) == ["calendar address made", "calendar address made", "calendar address revoked"]
    assert "no address that works" in client.post("/my-work/calendar/revoke/", follow=True).content.decode()


@pytest.mark.parametrize("leaves", ["person", "sign-in"])
def test_whoever_left_or_was_switched_off_has_no_calendar(client: Client, oda: User, leaves: str) -> None:
    path = made(client, oda)
    what: Any = oda.person if leaves == "person" else oda
    what.is_active = False
    what.save()
    assert fetched(path).status_code == 404
    what.is_active = True
    what.save()
    assert fetched(path).status_code == 200


def test_guesses_and_other_methods_find_nothing(client: Client, oda: User) -> None:
    path = made(client, oda)
    assert fetched(f"/calendar/{'a' * 43}.ics").status_code == 404
    assert fetched(path.swapcase()).status_code == 404
    assert fetched(path.replace(".ics", "")).status_code == 404
    assert Client().post(path).status_code == 405
    assert Client().head(path).content == b""


@pytest.mark.parametrize(("role", "status"), [("planner", 200), ("administrator", 200), ("kiln_master", 403)])
def test_who_keeps_particulars_makes_an_address_for_others(client: Client, oda: User, role: str, status: int) -> None:
    other = a_user(role, "vera")
    answer = signed_in(client, other).post("/my-work/calendar/?person=oda")
    assert answer.status_code == status
    assert CalendarAddress.objects.filter(person=oda.person).exists() == (status == 200)


def test_an_auditor_takes_no_calendar(client: Client, oda: User) -> None:
    assert signed_in(client, a_user("auditor", "siv")).post("/my-work/calendar/").status_code == 403


def test_a_person_without_a_sign_in_may_have_one(oda: User) -> None:
    text = make_address(PersonFactory(code="guest"), by=None)
    assert fetched(f"/calendar/{text}.ics").status_code == 200
    assert revoke_address(PersonFactory(code="guest"), by=None)


def test_an_event_says_where_when_with_whom_and_what_to_fetch(client: Client, oda: User) -> None:
    order = placed(
        MONDAY + 26 * HOUR, oda.person, a_person("per"), hours=1.5, title="Set flaps, doors; and more", version=3
    )
    WorkPart.objects.create(work_order=order, part=PartFactory(), quantity=2)
    Change.record(order, "placed", by=None)
    body = fetched(made(client, oda)).content
    (event,) = events(body)
    assert event.decoded("dtstart") == datetime(2026, 3, 3, 8, tzinfo=UTC)
    assert event.decoded("dtend") == datetime(2026, 3, 3, 9, 30, tzinfo=UTC)
    assert str(event["summary"]) == "K1: Set flaps, doors; and more"
    assert b"SUMMARY:K1: Set flaps\\, doors\\; and more\r\n" in body
    assert str(event["location"]) == "K1"
    assert event["sequence"] == 3
    said = str(event["description"])
    for words in ("open and empty", "Crew: Oda, Per", "Fetch: 2 piece wet-bulb wick", "bin C2-1", "Lock out K1"):
        assert words in said
    assert said.endswith(f"http://testserver/work-orders/{order.number}/")
    assert event.decoded("dtstamp") == event.decoded("last-modified") == MONDAY
    assert b"DTSTART:20260303T080000Z\r\n" in body


def test_a_moved_job_keeps_its_uid_and_grows_its_sequence_and_a_lost_place_is_gone(client: Client, oda: User) -> None:
    order, path = placed(MONDAY + 26 * HOUR, oda.person), made(client, oda)
    first = events(fetched(path).content)[0]
    move(order, 3)
    second = events(fetched(path).content)[0]
    assert first["uid"] == second["uid"]
    assert second["sequence"] > first["sequence"]
    assert second.decoded("dtstart") - first.decoded("dtstart") == 3 * HOUR
    Placement.objects.all().delete()
    assert events(fetched(path).content) == []


def test_two_jobs_never_share_a_uid_and_a_crew_shares_the_event(client: Client, oda: User) -> None:
    per = a_user("technician", "per")
    for number in range(5):
        placed(MONDAY + number * HOUR, oda.person, per.person)
    of_oda = {str(event["uid"]) for event in events(fetched(made(client, oda)).content)}
    of_per = {str(event["uid"]) for event in events(fetched(made(client, per)).content)}
    assert len(of_oda) == 5
    assert of_oda == of_per


def test_it_reaches_from_14_days_back_to_90_ahead(client: Client, oda: User) -> None:
    for days in (-16, -13, 0, 89, 92):
        placed(MONDAY + days * DAY, oda.person, title=f"day {days}")
    said = [str(event["summary"]) for event in events(fetched(made(client, oda)).content)]
    assert said == ["K1: day -13", "K1: day 0", "K1: day 89"]


def test_only_own_jobs_stand_in_it(client: Client, oda: User) -> None:
    placed(MONDAY, a_person("per"))
    assert events(fetched(made(client, oda)).content) == []


def test_what_has_not_changed_is_not_sent_again(client: Client, oda: User) -> None:
    order, path = placed(MONDAY + HOUR, oda.person), made(client, oda)
    first = fetched(path)
    same = fetched(path, **{"If-None-Match": first["ETag"]})
    assert (same.status_code, same.content) == (304, b"")
    move(order, 1)
    assert fetched(path, **{"If-None-Match": first["ETag"]}).status_code == 200


def test_many_jobs_take_no_more_queries(client: Client, oda: User) -> None:
    path, counts = made(client, oda), []
    fetched(path)
    for _round in range(2):
        for number in range(5):
            order = placed(MONDAY + number * HOUR, oda.person, a_person(f"p{number}"))
            WorkPart.objects.create(work_order=order, part=PartFactory(code=f"part-{order.pk}"), quantity=1)
        # Where a place no longer holds is looked at once after each change.
        fetched(path)
        with CaptureQueriesContext(connection) as queries:
            fetched(path)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_calendar_has_what_rfc_5545_requires(oda: User) -> None:
    placed(MONDAY, oda.person)
    body = feed_of(oda.person, Mill.objects.get(), MONDAY, lambda path: f"https://mill.example{path}")  # type: ignore[arg-type]
    calendar = Calendar.from_ical(body)
    assert (calendar["version"], str(calendar["prodid"])) == ("2.0", "-//Kilnward//Own work//EN")
    (event,) = calendar.walk("VEVENT")
    assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "SUMMARY", "LOCATION", "DESCRIPTION"} <= set(event)
    assert body.startswith(b"BEGIN:VCALENDAR\r\n") and body.endswith(b"END:VCALENDAR\r\n")


ODD = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=160)


@settings(max_examples=60, deadline=None)
@example("Wärme; Öl, Fett\\n\nund\r\nmehr " + "ü" * 120, "BEGIN:VEVENT\r\nEND:VCALENDAR")
@example("🔥" * 80, 'a:b;c=d,"e"^n')
@example("\x01\x1f\x7f\t x", "\x85\u2028\u2029")
@given(ODD, ODD)
def test_odd_words_are_folded_and_escaped_so_that_they_come_back_whole(title: str, name: str) -> None:
    kiln = Kiln(pk=1, tag="K1", name=name)
    order = WorkOrder(pk=1, number="WO-1", title=title, kiln=kiln, needs_state="any", state="placed", raised_at=MONDAY)
    order.placement = Placement(start_at=MONDAY, end_at=MONDAY + HOUR)
    event = event_of(OwnJob(order, [], [], []), None, lambda path: f"https://mill.example{path}")
    body = bytes(event.to_ical())
    lines = body.split(b"\r\n")
    assert max(map(len, lines)) <= 75  # octets without the line end: RFC 5545, 3.1
    assert not re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", b"".join(lines))  # nothing bare is left between the line ends
    for line in lines:
        line.decode("utf-8")  # no letter is cut in two
    back: Any = Calendar.from_ical(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n" + body + b"END:VCALENDAR\r\n").walk("VEVENT")
    assert len(back) == 1
    clean = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", "", title.replace("\r\n", "\n").replace("\r", "\n"))
    assert str(back[0]["summary"]) == f"K1: {clean}"
