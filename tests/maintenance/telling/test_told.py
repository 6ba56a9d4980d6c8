"""People are told by mail when a place of theirs changes inside 48 hours: once, whole, and whatever changed it."""

import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from smtplib import SMTPException
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core import mail
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.models import Placement, Telling, ToldPlace, WorkOrder
from maintenance.plans.places_now import FailingPlaces
from maintenance.telling import doubts_told
from maintenance.telling import places_told as telling
from maintenance.telling.places_told import TELL_TASK, MailNotSentError, tell_people
from plant.basics.sentences import all_to_json, typed
from plant.models import Job, Person
from tests.factories import MONDAY, MillFactory, PersonFactory
from tests.maintenance.mill import a_user, signed_in
from tests.maintenance.own_work import move, placed
from tests.maintenance.telling.mail_sink import mail_sink

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
# Work order number -> why its place no longer holds.
FAILING: dict[str, Any] = {}


class Clock:
    """The mill's clock, to be set."""

    at = MONDAY


@pytest.fixture(autouse=True)
def at(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Clock:
    """Monday morning, mail is set up, and a first look has been taken."""
    clock = Clock()
    monkeypatch.setattr("plant.clock.now", lambda: clock.at)
    settings.SENDS_MAIL = True
    settings.SITE_ADDRESS = "https://kilnward.mill.example"
    settings.DEFAULT_FROM_EMAIL = "kilnward@mill.example"
    # There is no programme here, by which places could hold.
    monkeypatch.setattr(doubts_told, "failing_places", lambda _now: FailingPlaces(FAILING))
    FAILING.clear()
    MillFactory()
    tell_people()
    return clock


def somebody(code: str = "per", email: str | None = None) -> Person:
    person: Person = PersonFactory(code=code, email=f"{code}@mill.example" if email is None else email)
    return person


def known(*orders: WorkOrder) -> None:
    """Let people know of places as if they had always stood there."""
    ToldPlace.objects.bulk_create(
        ToldPlace(work_order=order, person=given.person, start_at=place.start_at, end_at=place.end_at)
        for order in orders
        for place in [Placement.objects.get(work_order=order)]
        for given in order.assignments.all()
    )


def only_mail() -> Any:
    tell_people()
    (sent,) = mail.outbox
    mail.outbox.clear()
    return sent


def nobody_is_told() -> bool:
    tell_people()
    return not mail.outbox and not Telling.objects.filter(sent_at__isnull=True).exists()


def test_the_first_look_at_a_mill_tells_nothing() -> None:
    telling.TellingLook.objects.all().delete()
    placed(MONDAY + 5 * HOUR, somebody())
    assert nobody_is_told()
    assert ToldPlace.objects.count() == 1
    assert nobody_is_told()


def test_a_job_moved_inside_48_hours_is_told_with_both_times_and_the_crew() -> None:
    order = placed(MONDAY + 26 * HOUR, somebody(), somebody("una", ""), hours=2, title="Set the flaps")
    known(order)
    move(order, 3)
    sent = only_mail()
    assert (sent.to, sent.from_email) == (["per@mill.example"], "kilnward@mill.example")
    assert sent.subject == "Your work has changed: 1 job moved"
    for words in (
        f"- K1: Set the flaps ({order.number})",
        "was: Tue 3 Mar, 09:00–11:00",
        "now: Tue 3 Mar, 12:00–14:00",
        "kiln must be open and empty; with Una",
        "https://kilnward.mill.example/my-work/",
    ):
        assert words in sent.body
    assert sent.extra_headers["Auto-Submitted"] == "auto-generated"
    assert nobody_is_told() or Telling.objects.filter(sent_at__isnull=True).get().person.code == "una"


def test_all_that_changed_for_a_person_comes_in_one_mail() -> None:
    per = somebody()
    moved, gone = placed(MONDAY + 10 * HOUR, per, title="moved"), placed(MONDAY + 20 * HOUR, per, title="gone")
    known(moved, gone)
    move(moved, 1)
    Placement.objects.filter(work_order=gone).delete()
    WorkOrder.objects.filter(pk=gone.pk).update(state="raised")
    placed(MONDAY + 30 * HOUR, per, title="fresh")
    sent = only_mail()
    assert sent.subject == "Your work has changed: 1 job moved, 1 new job, 1 job taken away"
    places = [
        sent.body.index(word) for word in ("Moved", "moved", "New at short notice", "fresh", "Taken away", "gone")
    ]
    assert places == sorted(places)
    assert "The job has no place now." in sent.body
    assert nobody_is_told()


@pytest.mark.parametrize(
    ("start_h", "by_h", "is_told"),
    [(10, 5, True), (47, 10, True), (60, -20, True), (60, 10, False), (100, -40, False), (-3, 20, True)],
)
def test_only_what_touches_the_next_48_hours_is_told(start_h: int, by_h: int, is_told: bool) -> None:
    order = placed(MONDAY + start_h * HOUR, somebody())
    known(order)
    move(order, by_h)
    assert nobody_is_told() != is_told
    assert ToldPlace.objects.get().start_at == MONDAY + (start_h + by_h) * HOUR


def test_a_job_that_only_comes_nearer_is_not_told(at: Clock) -> None:
    placed(MONDAY + 100 * HOUR, somebody())
    assert nobody_is_told()
    at.at = MONDAY + 99 * HOUR
    assert nobody_is_told()


def test_a_job_moved_there_and_back_between_two_looks_is_not_told() -> None:
    order = placed(MONDAY + 10 * HOUR, somebody())
    known(order)
    move(order, 4)
    move(order, -4)
    assert nobody_is_told()


def test_another_persons_turn_tells_both() -> None:
    order = placed(MONDAY + 10 * HOUR, somebody("per"))
    known(order)
    order.assignments.all().delete()
    order.assignments.create(person=somebody("una"))
    tell_people()
    said = {sent.to[0]: sent for sent in mail.outbox}
    assert "Others do it." in said["per@mill.example"].body
    assert "1 new job" in said["una@mill.example"].subject


def test_withdrawn_work_is_told_as_withdrawn() -> None:
    order = placed(MONDAY + 10 * HOUR, somebody())
    known(order)
    Placement.objects.all().delete()
    WorkOrder.objects.update(state="withdrawn", withdrawn_why="not needed")
    assert "The job is withdrawn." in only_mail().body


@pytest.mark.parametrize("state", ["under_way", "done", "signed_off"])
def test_whoever_has_begun_is_told_nothing(state: str) -> None:
    order = placed(MONDAY + HOUR, somebody())
    known(order)
    WorkOrder.objects.update(state=state)
    move(order, 1)
    assert nobody_is_told()


def test_work_that_is_over_falls_silent_and_is_forgotten(at: Clock) -> None:
    known(placed(MONDAY + HOUR, somebody()))
    at.at = MONDAY + 3 * HOUR
    Placement.objects.all().delete()
    assert nobody_is_told()
    known(placed(MONDAY + HOUR, somebody()))
    at.at = MONDAY + timedelta(days=9)
    assert nobody_is_told()
    assert not ToldPlace.objects.exists()


def test_somebody_who_left_is_told_nothing() -> None:
    per = somebody()
    order = placed(MONDAY + 10 * HOUR, per)
    known(order)
    per.is_active = False
    per.save()
    move(order, 2)
    assert nobody_is_told()


def test_without_mail_set_up_nothing_is_written_and_setting_it_up_later_tells_nothing_old(settings: Any) -> None:
    settings.SENDS_MAIL = False
    order = placed(MONDAY + 10 * HOUR, somebody())
    known(order)
    move(order, 2)
    assert nobody_is_told()
    settings.SENDS_MAIL = True
    assert nobody_is_told()


def test_nobody_without_an_address_is_mailed_and_the_planner_sees_it(client: Client) -> None:
    order = placed(MONDAY + 10 * HOUR, somebody("per", ""), title="Set the flaps")
    known(order)
    move(order, 2)
    assert tell_people() == {"written": 1, "sent": 0}
    for address in ("/my-work/", "/my-work/week/"):
        page = signed_in(client, a_user("planner", "vera")).get(address).content.decode()
        assert "Could not be told" in page and "no e-mail address" in page and "Set the flaps" in page
    assert "Could not be told" not in signed_in(client, a_user("technician")).get("/my-work/").content.decode()
    Person.objects.filter(code="per").update(email="per@mill.example")
    assert tell_people() == {"written": 0, "sent": 1}


def test_an_old_mail_that_was_never_sent_is_not_sent_any_more(at: Clock) -> None:
    order = placed(MONDAY + 10 * HOUR, somebody("per", ""))
    known(order)
    move(order, 2)
    tell_people()
    Person.objects.update(email="per@mill.example")
    at.at = MONDAY + 50 * HOUR
    assert tell_people()["sent"] == 0
    assert telling.not_told(at.at) == []


class Broken:
    """A server of mails that refuses some, or cannot be reached."""

    def __init__(self, refuses: str = "", *, is_away: bool = False) -> None:
        self.refuses, self.is_away = refuses, is_away

    def __call__(self, *args: Any, **kwargs: Any) -> "Broken":
        return self

    def open(self) -> None:
        if self.is_away:
            raise ConnectionRefusedError("nobody listens")

    def close(self) -> None:
        pass

    def send_messages(self, messages: list[Any]) -> int:
        if self.refuses in messages[0].to:
            raise SMTPException("no such box")
        mail.outbox += messages
        return len(messages)


@pytest.mark.parametrize("is_away", [True, False])
def test_a_mail_that_cannot_be_sent_fails_the_task_stays_and_is_sent_once_later(
    monkeypatch: pytest.MonkeyPatch, client: Client, is_away: bool
) -> None:
    order = placed(MONDAY + 10 * HOUR, somebody("per"), somebody("una"))
    known(order)
    move(order, 2)
    with monkeypatch.context() as broken:
        broken.setattr(telling, "get_connection", Broken("per@mill.example", is_away=is_away))
        with pytest.raises(MailNotSentError, match="could not be sent"):
            tell_people()
        assert [sent.to for sent in mail.outbox] == ([] if is_away else [["una@mill.example"]])
    page = signed_in(client, a_user("planner", "vera")).get("/my-work/").content.decode()
    assert ("nobody listens" if is_away else "no such box") in page
    tell_people()
    assert sorted(sent.to[0] for sent in mail.outbox) == ["per@mill.example", "una@mill.example"]
    assert tell_people() == {"written": 0, "sent": 0}


def test_a_mail_that_somebody_is_sending_is_left_alone_until_that_one_must_have_ended(at: Clock) -> None:
    per = somebody()
    Telling.objects.create(person=per, made_at=MONDAY, subject="s", body="b", claimed_at=MONDAY)
    at.at = MONDAY + timedelta(minutes=5)
    assert tell_people()["sent"] == 0
    at.at = MONDAY + timedelta(minutes=11)
    assert tell_people()["sent"] == 1
    first = mail.outbox[0].extra_headers["Message-ID"]
    # Where the note of it was lost it goes out once more, and is known by its id.
    Telling.objects.update(sent_at=None)
    tell_people()
    assert mail.outbox[1].extra_headers["Message-ID"] == first


def test_mails_that_were_not_written_leave_nobody_as_told(monkeypatch: pytest.MonkeyPatch) -> None:
    order = placed(MONDAY + 10 * HOUR, somebody())
    known(order)
    move(order, 2)

    def fail(*args: Any) -> str:
        raise RuntimeError("full")

    with monkeypatch.context() as broken:
        broken.setattr(telling, "_body", fail)
        with pytest.raises(RuntimeError):
            tell_people()
    assert ToldPlace.objects.get().start_at == MONDAY + 10 * HOUR
    assert "1 job moved" in only_mail().subject


def test_times_are_the_mills_own_across_the_end_of_winter_time(at: Clock) -> None:
    at.at = MONDAY + timedelta(days=26)  # Saturday; the clocks go forward in the night
    order = placed(at.at + 20 * HOUR, somebody())
    known(order)
    move(order, 5)
    body = only_mail().body
    assert "was: Sun 29 Mar, 04:00–05:00" in body and "now: Sun 29 Mar, 09:00–10:00" in body


@pytest.mark.django_db(transaction=True)
def test_a_place_that_is_stored_or_taken_away_wants_the_comparison_soon_and_once() -> None:
    with transaction.atomic():
        orders = [placed(MONDAY + hour * HOUR, somebody()) for hour in range(4)]
        orders[0].placement.delete()
    wanted = Job.objects.filter(what=TELL_TASK)
    assert 1 <= wanted.count() <= 2  # two where the clock passed from one stretch to the next
    assert wanted.filter(state="waiting").exists()


def test_many_places_take_no_more_queries() -> None:
    counts = []
    people = [somebody(f"p{number}") for number in range(3)]
    for _round in range(2):
        orders = [placed(MONDAY + number * HOUR, *people) for number in range(1, 6)]
        known(*orders)
        for order in orders:
            move(order, 1)
        with CaptureQueriesContext(connection) as queries:
            telling.compare_places(MONDAY)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_mails_reach_a_real_server_over_one_connection(settings: Any) -> None:
    order = placed(MONDAY + 10 * HOUR, somebody("per"), somebody("una"), title="Wärmetauscher spülen")
    known(order)
    move(order, 2)
    with mail_sink() as (port, kept):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", port, False
        assert tell_people() == {"written": 2, "sent": 2}
    assert sorted(str(one["To"]) for one in kept) == ["per@mill.example", "una@mill.example"]
    assert len({one["Message-ID"] for one in kept}) == 2
    body: Any = kept[0].get_payload(decode=True)
    assert "Wärmetauscher spülen" in body.decode()


def settings_with(tmp_path: Path, **environment: str) -> str:
    """What the settings make of an environment, in a process of its own."""
    named = {f"KILNWARD_{name}": value for name, value in environment.items()}
    asked = "from config import settings as s; print(s.SENDS_MAIL, s.EMAIL_PORT, s.EMAIL_USE_TLS, s.EMAIL_USE_SSL)"
    kept = {name: value for name, value in os.environ.items() if not name.startswith("KILNWARD_")}
    run = subprocess.run(
        [sys.executable, "-c", asked],
        env={**kept, "KILNWARD_DATA_DIR": str(tmp_path), **named},
        cwd=django_settings.BASE_DIR,
        capture_output=True,
        text=True,
    )
    return run.stdout.strip() or run.stderr.strip().rpartition("\n")[2]


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({}, "False 587 True False"),
        ({"MAIL_HOST": "m", "MAIL_FROM": "k@m"}, "True 587 True False"),
        ({"MAIL_HOST": "m", "MAIL_FROM": "k@m", "MAIL_SECURITY": "tls"}, "True 465 False True"),
        ({"MAIL_HOST": "m", "MAIL_FROM": "k@m", "MAIL_SECURITY": "none", "MAIL_PORT": "2525"}, "True 2525 False False"),
    ],
)
def test_mail_is_set_up_from_the_environment(tmp_path: Path, environment: dict[str, str], expected: str) -> None:
    assert settings_with(tmp_path, **environment) == expected


@pytest.mark.parametrize(
    ("environment", "variable"),
    [({"MAIL_HOST": "m"}, "KILNWARD_MAIL_FROM"), ({"MAIL_SECURITY": "ssl"}, "KILNWARD_MAIL_SECURITY")],
)
def test_mail_set_up_by_half_is_refused_by_name(tmp_path: Path, environment: dict[str, str], variable: str) -> None:
    assert variable in settings_with(tmp_path, **environment)


# --- what no longer holds ----------------------------------------------------------------------------------


def lost(order: WorkOrder) -> None:
    FAILING[order.number] = all_to_json(typed("The opening begins on Tuesday."))


def test_a_place_that_no_longer_holds_is_told_once_and_so_is_that_it_holds_after_all() -> None:
    order = placed(MONDAY + 5 * HOUR, somebody())
    known(order)
    lost(order)
    told = only_mail()
    assert told.subject == "Your work has changed: 1 place that does not hold"
    assert "Does not hold: ask the planner before you set out" in told.body
    assert "The opening begins on Tuesday." in told.body and order.number in told.body
    assert nobody_is_told()
    FAILING.clear()
    again = only_mail()
    assert "Holds after all" in again.body and order.number in again.body
    assert nobody_is_told()


def test_what_lies_far_ahead_is_not_told_before_it_is_near(at: Clock) -> None:
    order = placed(MONDAY + 100 * HOUR, somebody())
    known(order)
    lost(order)
    assert nobody_is_told()
    at.at = MONDAY + 60 * HOUR
    assert order.number in only_mail().body


def test_a_new_place_that_does_not_hold_either_is_told_as_one_mail() -> None:
    order = placed(MONDAY + 5 * HOUR, somebody())
    known(order)
    lost(order)
    only_mail()
    move(order, 7)
    told = only_mail()
    assert "1 place that does not hold" in told.subject and "1 job moved" in told.subject
    FAILING.clear()
    assert "Holds after all" in only_mail().body
