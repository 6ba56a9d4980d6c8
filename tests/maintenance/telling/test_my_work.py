"""The technician's landing: what is under way, the day in the order of time, the week."""

import re
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.models import Caution, WorkPart
from plant.models import Absence, Shift, ShiftDuty, User
from tests.factories import MONDAY, KilnFactory, MillFactory, PartFactory, UserFactory, WorkOrderFactory
from tests.maintenance.mill import a_person, a_user, signed_in
from tests.maintenance.own_work import placed

pytestmark = pytest.mark.django_db
# Six in the morning UTC is seven at the mill.
MORNING = MONDAY
HOUR = timedelta(hours=1)
ZONE = ZoneInfo("Europe/Stockholm")


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    MillFactory()
    monkeypatch.setattr("plant.clock.now", lambda: MORNING)


@pytest.fixture
def oda() -> User:
    return a_user("technician")


def shown(client: Client, user: User, address: str = "/my-work/") -> str:
    answer = signed_in(client, user).get(address)
    assert answer.status_code == 200
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode().split("<main", 1)[1]).split())


def in_order(said: str, *words: str) -> bool:
    places = [said.index(word) for word in words]
    return places == sorted(places)


def test_one_sees_ones_own_jobs_in_their_order(client: Client, oda: User) -> None:
    placed(MORNING + 72 * HOUR, oda.person, title="job-of-week")
    placed(MORNING + 3 * HOUR, oda.person, title="job-of-noon")
    placed(MORNING + 1 * HOUR, oda.person, title="job-of-morning")
    placed(MORNING, oda.person, title="job-under-way", state="under_way")
    placed(MORNING + 900 * HOUR, oda.person, title="job-far-off")
    placed(MORNING, a_person("per"), title="job-of-another")
    said = shown(client, oda)
    assert in_order(said, "job-under-way", "job-of-morning", "job-of-noon", "job-of-week")
    assert "job-far-off" not in said and "job-of-another" not in said
    assert "is under way; 2 more today." in said


def test_the_next_job_stands_first_with_all_that_is_to_be_known(client: Client, oda: User) -> None:
    Caution.objects.create(code="lock-out", title="Lock out every energy", text="Danger.", before_start="Locked.")
    order = placed(MORNING + HOUR, oda.person, a_person("per"), hours=2, title="Set the flaps", needs_state="still")
    WorkPart.objects.create(work_order=order, part=PartFactory(), quantity=2)
    said = shown(client, oda)
    place = said[said.index("Next") :]
    assert in_order(place, "08:00–10:00", "K1", "Set the flaps", "stopped", "With Per", "2 piece wet-bulb wick")
    assert "bin C2-1" in place
    assert "Lock out K1 before anybody goes in." in place and "Lock out every energy" in place


def test_what_nobody_began_in_its_time_and_what_is_done_stand_apart(client: Client, oda: User) -> None:
    placed(MORNING - 4 * HOUR, oda.person, title="job-missed")
    placed(MORNING - 2 * HOUR, oda.person, title="job-done", state="done")
    said = shown(client, oda)
    assert in_order(said, "Not begun in its time", "job-missed", "Done", "job-done")
    assert "Nothing is placed for you today." in said


def test_a_job_that_reaches_into_the_day_belongs_to_both_days(client: Client, oda: User) -> None:
    placed(datetime.combine(MORNING.date(), time(23), ZONE), oda.person, hours=3, title="job-of-night")
    for day in ("2026-03-02", "2026-03-03"):
        said = shown(client, oda, f"/my-work/?day={day}")
        assert "job-of-night" in said and "Mon 23:00 – Tue 02:00" in said


def test_somebody_without_jobs_is_told_where_they_come_from(client: Client, oda: User) -> None:
    assert "Nothing is placed for you today. The planner gives out work" in shown(client, oda)


@pytest.mark.parametrize("address", ["/my-work/", "/my-work/week/", "/my-work/calendar/"])
def test_a_sign_in_that_belongs_to_nobody_is_told_what_to_do(client: Client, address: str) -> None:
    said = shown(client, UserFactory(username="screen", role="technician"), address)
    assert "Ask an administrator to give this sign-in to your name under People." in said
    assert "belongs to nobody" in said or "No calendar shows this work" in said


@pytest.mark.parametrize("value", ["", "yesterday", "2026-13-40", "0001-01-01", "9999-12-31", "2026-03-02x"])
def test_a_day_that_makes_no_sense_is_today(client: Client, oda: User, value: str) -> None:
    placed(MORNING + HOUR, oda.person, title="job-of-today")
    assert "job-of-today" in shown(client, oda, f"/my-work/?day={value}")
    assert "this week" in shown(client, oda, f"/my-work/week/?week={value}")


def test_the_week_lists_every_day_with_shift_absence_and_jobs(client: Client, oda: User) -> None:
    early = Shift.objects.create(code="e", name="early", weekdays="MO,TU", start_time="06:00", end_time="14:00")
    ShiftDuty.objects.create(person=oda.person, shift=early, from_on=MORNING.date())
    Absence.objects.create(
        person=oda.person, start_at=MORNING + 30 * HOUR, end_at=MORNING + 60 * HOUR, reason="at the dentist"
    )
    placed(MORNING + 2 * HOUR, oda.person, title="job-of-monday")
    placed(MORNING + 170 * HOUR, oda.person, title="job-of-next-week")
    said = shown(client, oda, "/my-work/week/")
    tuesday, wednesday = said.index("Tue 3 Mar"), said.index("Wed 4 Mar")
    assert in_order(said, "Mon 2 Mar", "shift 06:00–14:00", "job-of-monday", "Tue 3 Mar")
    assert "away from 13:00 on: at the dentist" in said[tuesday:wednesday]
    assert "away until 19:00: at the dentist" in said[wednesday : said.index("Thu 5 Mar")]
    assert "no work placed" in said[tuesday:wednesday]
    assert said.count("no work placed") == 6
    assert "1 job in this week." in said and "job-of-next-week" not in said
    assert "job-of-next-week" in shown(client, oda, "/my-work/week/?week=2026-03-11")


def test_a_night_shift_counts_for_the_day_on_which_it_begins(client: Client, oda: User) -> None:
    night = Shift.objects.create(code="n", name="night", weekdays="TU", start_time="22:00", end_time="06:00")
    ShiftDuty.objects.create(person=oda.person, shift=night, from_on=MORNING.date())
    said = shown(client, oda, "/my-work/week/")
    assert in_order(said, "Tue 3 Mar", "shift Tue 22:00 – Wed 06:00", "Wed 4 Mar")
    assert said.count("shift Tue") == 1 and said.count("no shift") == 6


def test_the_planner_looks_at_anybodys_week_and_nobody_else_does(client: Client, oda: User) -> None:
    placed(MORNING + HOUR, a_person("per"), title="job-of-per")
    planner = a_user("planner", "vera")
    for address in ("/my-work/?person=per", "/my-work/week/?person=per"):
        said = shown(client, planner, address)
        assert "job-of-per" in said and "of Per" in said
        assert signed_in(client, oda).get(address).status_code == 403
    assert "of Oda" not in shown(client, oda, "/my-work/?person=oda")
    assert signed_in(client, planner).get("/my-work/?person=nobody").status_code == 404


def test_many_jobs_take_no_more_queries(client: Client, oda: User) -> None:
    signed_in(client, oda)
    counts: dict[str, list[int]] = {}
    for _round in range(2):
        for number in range(5):
            order = placed(
                MORNING + number * HOUR, oda.person, a_person(f"p{number}"), kiln=KilnFactory(tag=f"K{number}")
            )
            WorkPart.objects.create(work_order=order, part=PartFactory(code=f"part-{order.pk}"), quantity=1)
            placed(MORNING - HOUR, oda.person, state="under_way")
        # The first look after a change holds all places against the record, and is kept.
        client.get("/my-work/")
        for address in ("/my-work/", "/my-work/week/"):
            with CaptureQueriesContext(connection) as queries:
                client.get(address)
            counts.setdefault(address, []).append(len(queries))
    assert all(first == second for first, second in counts.values()), counts


@pytest.mark.parametrize(("role", "is_shown"), [("technician", True), ("kiln_master", True), ("manager", False)])
def test_only_who_does_work_is_led_to_my_work(client: Client, role: str, is_shown: bool) -> None:
    signed_in(client, a_user(role))
    page = client.get("/work-orders/").content.decode()
    assert page.count('href="/my-work/"') == (2 if is_shown else 0)


def test_work_without_a_place_is_kept_in_sight(client: Client, oda: User) -> None:
    order: Any = WorkOrderFactory(title="job-without-place", state="ready")
    order.assignments.create(person=oda.person)
    assert "job-without-place" in shown(client, oda)
