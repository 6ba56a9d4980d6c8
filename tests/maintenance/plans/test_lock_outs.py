"""The lock-outs of an accepted plan reach whoever does them: page, calendar, paper and the job's own page."""

import io
import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from icalendar import Calendar
from pypdf import PdfReader

from maintenance.models import Caution, KilnStop, Placement, WorkOrder
from maintenance.telling.calendar_address import make_address
from plant.models import Person, User
from tests.factories import MONDAY, ChargeFactory, KilnFactory, MillFactory
from tests.maintenance.mill import a_person, a_user, signed_in
from tests.maintenance.own_work import move, placed

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
# Six in the morning UTC is seven at the mill.
SEVEN = MONDAY


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    MillFactory()
    monkeypatch.setattr("plant.clock.now", lambda: MONDAY)


@pytest.fixture
def oda() -> User:
    return a_user("technician")


def locked(
    start_at: datetime, person: Person, *crew: Person, tag: str = "K3", hours: float = 4, **facts: Any
) -> tuple[KilnStop, WorkOrder]:
    """A kiln that somebody locks out from an instant on, and a job an hour later that others do behind it."""
    kiln = KilnFactory(tag=tag, lock_out_minutes=20)
    order = placed(start_at + HOUR, *(crew or (a_person("per"),)), kiln=kiln, **facts)
    return KilnStop.objects.create(
        kiln=kiln, person=person, lock_out_at=start_at, ready_at=start_at + hours * HOUR
    ), order


def shown(client: Client, user: User, address: str = "/my-work/") -> str:
    answer = signed_in(client, user).get(address)
    assert answer.status_code == 200
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode().split("<main", 1)[1]).split())


def in_order(said: str, *words: str) -> bool:
    places = [said.index(word) for word in words]
    return places == sorted(places)


def events(person: Person) -> list[Any]:
    content = Client().get(f"/calendar/{make_address(person, by=None)}.ics").content
    return list(Calendar.from_ical(content).walk("VEVENT"))


def sheet(client: Client, query: str = "") -> list[str]:
    answer = signed_in(client, a_user("planner", "vera")).get(f"/openings/day-sheet.pdf{query}")
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(answer.content)).pages]


def test_the_day_names_the_lock_out_at_its_time_with_its_jobs_and_cautions(client: Client, oda: User) -> None:
    Caution.objects.create(code="lock-out", title="Lock out every energy", text="Danger.", before_start="Locked.")
    locked(SEVEN + 2 * HOUR, oda.person, title="Set the flaps")
    placed(SEVEN + HOUR, oda.person, title="job-before", needs_state="running")
    placed(SEVEN + 4 * HOUR, oda.person, title="job-after", needs_state="running")
    said = shown(client, oda)
    assert in_order(said, "job-before", "09:00–09:20", "Lock out K3", "Set the flaps", "Ready again 13:00", "job-after")
    assert "Local codes and licensed trades come first." in said and "Lock out every energy" in said
    assert "2 jobs today, the first at K1. To be locked out: K3 09:00." in said


def test_whoever_works_behind_a_lock_out_sees_who_locks_out_and_from_when(client: Client, oda: User) -> None:
    locked(SEVEN + 2 * HOUR, a_person("bo"), oda.person, title="Set the flaps")
    placed(SEVEN + 8 * HOUR, oda.person, title="job-without")
    said = shown(client, oda)
    assert in_order(said, "Set the flaps", "Locked out by Bo, from 09:00", "job-without")
    assert said.count("Locked out") == 1
    of_oda = next(page for page in sheet(client, "?by=person") if "Set the flaps" in page and "Lock out K3" not in page)
    assert "Bo, from 09:00" in of_oda


def test_a_day_with_nothing_but_a_lock_out_opens_with_it(client: Client, oda: User) -> None:
    locked(SEVEN, oda.person)
    said = shown(client, oda)
    assert "To be locked out: K3 07:00." in said and "Nothing is placed" not in said
    assert in_order(said, "Next", "07:00–07:20", "Lock out K3")


def test_the_week_has_lock_outs_among_the_jobs_and_counts_them(client: Client, oda: User) -> None:
    locked(SEVEN + 26 * HOUR, oda.person, title="Set the flaps")
    placed(SEVEN + 25 * HOUR, oda.person, title="job-before")
    said = shown(client, oda, "/my-work/week/")
    assert in_order(said, "Tue 3 Mar", "job-before", "09:00–09:20", "Lock out K3", "for Set the flaps", "Wed 4 Mar")
    assert "1 job in this week, 1 lock-out." in said


def test_a_line_of_the_week_names_two_jobs_and_counts_the_others(client: Client, oda: User) -> None:
    _stop, order = locked(SEVEN + 2 * HOUR, oda.person, title="Set the flaps")
    for hours, title in ((3.5, "Set the flaps"), (4, "Look at the door"), (4.5, "Wash the floor"), (5, "Grease it")):
        placed(SEVEN + hours * HOUR, kiln=order.kiln, title=title)
    assert "for Set the flaps, Look at the door and 2 more · ready again 13:00" in shown(client, oda, "/my-work/week/")


def test_a_lock_out_of_the_coming_days_lies_ahead(client: Client, oda: User) -> None:
    locked(SEVEN + 50 * HOUR, oda.person)
    said = shown(client, oda)
    assert in_order(said, "In the next seven days", "Wed 4 Mar 09:00–09:20", "Lock out K3")


def test_a_lock_out_over_midnight_stands_on_the_day_of_its_locking(client: Client, oda: User) -> None:
    locked(SEVEN + 15 * HOUR, oda.person, hours=12)
    assert "Lock out K3" in shown(client, oda)
    assert "ready again" not in shown(client, oda, "/my-work/?day=2026-03-03").lower()


def test_once_work_behind_it_has_begun_a_lock_out_is_done(client: Client, oda: User) -> None:
    locked(SEVEN - HOUR, oda.person, state="under_way")
    said = shown(client, oda)
    assert in_order(said, "Done", "Lock out K3") and "To be locked out" not in said


def test_a_lock_out_whose_time_went_by_without_work_is_not_begun(client: Client, oda: User) -> None:
    locked(SEVEN - 5 * HOUR, oda.person)
    assert in_order(shown(client, oda), "Not begun in its time", "Lock out K3")


@pytest.mark.parametrize("how", ["moved", "taken away", "runs", "other kiln"])
def test_a_lock_out_that_its_job_has_left_is_shown_nowhere(client: Client, oda: User, how: str) -> None:
    stop, order = locked(SEVEN + 2 * HOUR, oda.person)
    assert KilnStop.objects.with_jobs().get() == stop
    if how == "moved":
        move(order, 40)
    elif how == "taken away":
        Placement.objects.all().delete()
    elif how == "runs":
        WorkOrder.objects.update(needs_state="running")
    else:
        WorkOrder.objects.update(kiln=KilnFactory(tag="K9"))
    assert not KilnStop.objects.with_jobs().exists()
    assert "Lock out K3" not in shown(client, oda) + shown(client, oda, "/my-work/week/")
    assert events(oda.person) == []
    assert "is to lock out K3" not in " ".join(sheet(client))


def test_a_lock_out_of_two_jobs_stays_while_one_keeps_its_place(client: Client, oda: User) -> None:
    _stop, order = locked(SEVEN + 2 * HOUR, oda.person, title="job-that-goes")
    placed(SEVEN + 4 * HOUR, a_person("una"), kiln=order.kiln, title="job-that-stays", needs_state="still")
    move(order, 40)
    said = shown(client, oda)
    assert "Lock out K3" in said and "job-that-stays" in said and "job-that-goes" not in said


def test_the_calendar_has_the_lock_out_as_an_event_of_its_own(oda: User) -> None:
    stop, order = locked(SEVEN + 26 * HOUR, oda.person, title="Set the flaps")
    (event,) = events(oda.person)
    assert str(event["summary"]) == "Lock out K3"
    assert event.decoded("dtstart") == stop.lock_out_at
    assert event.decoded("dtend") == stop.lock_out_at + timedelta(minutes=20)
    said = str(event["description"])
    assert f"For: Set the flaps ({order.number})" in said and "Local codes and licensed trades come first." in said
    assert said.endswith("/kilns/K3/")
    assert [str(one["summary"]) for one in events(order.assignments.get().person)] == ["K3: Set the flaps"]


def written_anew(stop: KilnStop, **facts: Any) -> KilnStop:
    """The lock-out as the next plan writes it."""
    kept = {name: getattr(stop, name) for name in ("kiln", "after_charge", "lock_out_at", "ready_at", "person")}
    stop.delete()
    return KilnStop.objects.create(**{**kept, **facts})


def test_the_event_keeps_its_uid_when_the_next_plan_moves_it_or_gives_it_to_another(oda: User) -> None:
    stop, order = locked(SEVEN + 26 * HOUR, oda.person)
    KilnStop.objects.update(after_charge=ChargeFactory(kiln=stop.kiln, begin_at=MONDAY - 200 * HOUR))
    stop.refresh_from_db()
    (first,) = events(oda.person)
    move(order, 2)
    stop = written_anew(stop, lock_out_at=stop.lock_out_at + 2 * HOUR, ready_at=stop.ready_at + 2 * HOUR)
    (second,) = events(oda.person)
    una = a_person("una")
    written_anew(stop, person=una)
    (third,) = events(una)
    assert first["uid"] == second["uid"] == third["uid"]
    assert first["sequence"] < second["sequence"] < third["sequence"]
    assert second.decoded("dtstart") - first.decoded("dtstart") == 2 * HOUR
    assert events(oda.person) == []


def test_two_lock_outs_in_one_long_opening_are_two_events(oda: User) -> None:
    locked(SEVEN - 30 * HOUR, oda.person)
    locked(SEVEN + 30 * HOUR, oda.person)
    locked(SEVEN + 60 * HOUR, oda.person, tag="K4")
    assert len({str(event["uid"]) for event in events(oda.person)}) == 3


def test_a_kiln_that_takes_no_time_to_lock_out_gives_an_event_without_end(oda: User) -> None:
    stop, _order = locked(SEVEN + 3 * HOUR, oda.person)
    stop.kiln.lock_out_minutes = 0
    stop.kiln.save()
    (event,) = events(oda.person)
    assert "dtend" not in event


def test_the_day_sheet_names_who_locks_out_before_the_jobs_of_the_kiln(client: Client, oda: User) -> None:
    locked(SEVEN + 2 * HOUR, oda.person, title="Set the flaps")
    said = " ".join(sheet(client))
    assert in_order(
        said, "Oda is to lock out K3 from 09:00, to be done by 09:20.", "ready again at 13:00", "Set the flaps"
    )


def test_whoever_only_locks_out_has_a_sheet_too(client: Client, oda: User) -> None:
    _stop, order = locked(SEVEN + 2 * HOUR, oda.person, title="Set the flaps")
    of_oda, of_per = sheet(client, "?by=person")
    assert in_order(of_oda, "Oda", "09:00", "until 09:20", "Lock out K3", f"for {order.number} Set the flaps")
    assert "Ready again: 13:00" in of_oda and "start tried" in of_oda
    assert "Per" in of_per and "Lock out K3" not in of_per
    assert "Lock out K3" in sheet(client, "?person=oda")[0]


def test_a_kiln_still_locked_out_since_the_day_before_says_so_on_its_sheet(client: Client, oda: User) -> None:
    locked(SEVEN + 10 * HOUR, oda.person, hours=20)
    assert "Oda is to lock out K3 from Mon 2 Mar, 17:00" in " ".join(sheet(client, "?day=2026-03-03"))
    assert "No work is placed for Oda" in sheet(client, "?day=2026-03-03&person=oda")[0]


def test_the_jobs_page_says_who_locks_out_and_from_when(client: Client, oda: User) -> None:
    stop, order = locked(SEVEN + 2 * HOUR, oda.person)
    said = shown(client, oda, f"/work-orders/{order.number}/")
    assert "K3 is to be locked out by Oda from Mon 2 Mar 09:00, and ready again Mon 2 Mar 13:00" in said
    stop.delete()
    assert "is to be locked out by" not in shown(client, oda, f"/work-orders/{order.number}/")


def test_a_job_on_the_running_kiln_is_not_said_to_be_behind_a_lock_out(client: Client, oda: User) -> None:
    _stop, order = locked(SEVEN + 2 * HOUR, oda.person, needs_state="running")
    assert "is to be locked out by" not in shown(client, oda, f"/work-orders/{order.number}/")


def test_many_lock_outs_take_no_more_queries(client: Client, oda: User) -> None:
    signed_in(client, oda)
    secret = make_address(oda.person, by=None)
    client.get(f"/calendar/{secret}.ics")
    counts: dict[str, list[int]] = {}
    for turn in range(2):
        for number in range(4):
            locked(SEVEN + (turn * 4 + number) * HOUR, oda.person, a_person(f"p{turn}{number}"), tag=f"K{number}")
        for address in ("/my-work/", "/my-work/week/", f"/calendar/{secret}.ics", "/openings/day-sheet.pdf"):
            # Where a place no longer holds is looked at once after each change.
            client.get(address)
            with CaptureQueriesContext(connection) as queries:
                client.get(address)
            counts.setdefault(address, []).append(len(queries))
    assert all(first == second for first, second in counts.values()), counts
