"""Whoever is to lock out a kiln is told by mail when that changes inside 48 hours."""

from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext

from maintenance.models import KilnStop, Telling, ToldLockOut, ToldPlace
from maintenance.plans.places_now import FailingPlaces
from maintenance.telling import doubts_told
from maintenance.telling.places_told import TELL_TASK, tell_people
from plant.models import Job, Person
from tests.factories import MONDAY, KilnFactory, MillFactory, PersonFactory
from tests.maintenance.own_work import move, placed

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


class Clock:
    """The mill's clock, to be set."""

    at = MONDAY


@pytest.fixture(autouse=True)
def at(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Clock:
    """Monday morning, mail is set up, and a first look has been taken."""
    clock = Clock()
    monkeypatch.setattr("plant.clock.now", lambda: clock.at)
    settings.SENDS_MAIL = True
    # There is no programme here, by which places could hold.
    monkeypatch.setattr(doubts_told, "failing_places", lambda _now: FailingPlaces())
    MillFactory()
    tell_people()
    return clock


def somebody(code: str = "per") -> Person:
    person: Person = PersonFactory(code=code, email=f"{code}@mill.example")
    return person


def stop_at(hours: float, person: Person, tag: str = "K3") -> KilnStop:
    """A lock-out for a job of nobody's, so that only the lock-out is told."""
    kiln = KilnFactory(tag=tag, lock_out_minutes=20)
    placed(MONDAY + (hours + 1) * HOUR, kiln=kiln)
    span = {"lock_out_at": MONDAY + hours * HOUR, "ready_at": MONDAY + (hours + 4) * HOUR}
    return KilnStop.objects.create(kiln=kiln, person=person, **span)


def known() -> None:
    """Let everybody know what stands."""
    for stop in KilnStop.objects.select_related("kiln"):
        ToldLockOut.objects.create(kiln=stop.kiln, person=stop.person, start_at=stop.lock_out_at, end_at=stop.locked_at)


def told() -> dict[str, Any]:
    tell_people()
    found = {sent.to[0].partition("@")[0]: sent for sent in mail.outbox}
    assert len(found) == len(mail.outbox)
    mail.outbox.clear()
    return found


def written_anew(stop: KilnStop, hours: float = 0, person: Person | None = None) -> KilnStop:
    """The lock-out as the next plan writes it, its job moved along."""
    by = hours * HOUR
    for order in stop.kiln.work_orders.all():
        move(order, hours)
    stop.delete()
    span = {"lock_out_at": stop.lock_out_at + by, "ready_at": stop.ready_at + by}
    return KilnStop.objects.create(kiln=stop.kiln, person=person or stop.person, **span)


def test_a_lock_out_that_moves_is_told_with_both_times() -> None:
    stop = stop_at(10, somebody())
    known()
    written_anew(stop, 3)
    sent = told()["per"]
    assert sent.subject == "Your work has changed: 1 lock-out changed"
    for words in ("Moved", "- K3: lock out", "was: Mon 2 Mar, 17:00–17:20", "now: Mon 2 Mar, 20:00–20:20"):
        assert words in sent.body
    assert told() == {}


def test_a_lock_out_that_changes_hands_is_told_to_both() -> None:
    stop = stop_at(10, somebody())
    known()
    written_anew(stop, person=somebody("una"))
    mails = told()
    assert "Taken away" in mails["per"].body and "Somebody else does it." in mails["per"].body
    assert "New at short notice" in mails["una"].body and "now: Mon 2 Mar, 17:00" in mails["una"].body


def test_a_lock_out_whose_job_has_gone_elsewhere_is_taken_away() -> None:
    stop = stop_at(10, somebody())
    known()
    move(stop.kiln.work_orders.get(), 90)
    sent = told()["per"]
    assert "It need not be locked out then." in sent.body
    assert not ToldLockOut.objects.exists()


def test_the_same_lock_out_written_anew_by_the_next_plan_is_no_news() -> None:
    stop = stop_at(10, somebody())
    known()
    written_anew(stop)
    assert told() == {}


@pytest.mark.parametrize(
    ("start_h", "by_h", "is_told"), [(10, 5, True), (47, 10, True), (60, -20, True), (60, 10, False), (-3, 20, True)]
)
def test_only_what_touches_the_next_48_hours_is_told(start_h: int, by_h: int, is_told: bool) -> None:
    stop = stop_at(start_h, somebody())
    known()
    written_anew(stop, by_h)
    assert bool(told()) == is_told
    assert ToldLockOut.objects.get().start_at == MONDAY + (start_h + by_h) * HOUR


def test_a_job_and_its_lock_out_come_in_one_mail_the_lock_out_first() -> None:
    per = somebody()
    stop = stop_at(10, per)
    order = stop.kiln.work_orders.get()
    order.assignments.create(person=per)
    known()
    ToldPlace.objects.create(
        work_order=order, person=per, start_at=order.placement.start_at, end_at=order.placement.end_at
    )
    written_anew(stop, 2)
    sent = told()["per"]
    assert sent.subject == "Your work has changed: 1 job moved, 1 lock-out changed"
    assert sent.body.index("K3: lock out") < sent.body.index(order.title)


def test_lock_outs_that_trade_their_times_on_one_kiln_are_no_news() -> None:
    per = somebody()
    first, second = stop_at(10, per), stop_at(20, per)
    known()
    written_anew(first, 10)
    written_anew(second, -10)
    assert told() == {}


def test_what_is_over_falls_silent_and_is_forgotten(at: Clock) -> None:
    stop_at(10, somebody())
    known()
    at.at = MONDAY + 12 * HOUR
    assert told() == {}
    at.at = MONDAY + timedelta(days=9)
    assert told() == {}
    assert not ToldLockOut.objects.exists()


def test_the_first_look_and_a_mill_without_mail_tell_nothing(settings: Any) -> None:
    settings.SENDS_MAIL = False
    stop_at(10, somebody())
    assert told() == {} and ToldLockOut.objects.count() == 1
    settings.SENDS_MAIL = True
    assert told() == {} and not Telling.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_lock_out_taken_away_wants_the_comparison_soon() -> None:
    stop = stop_at(10, somebody())
    wanted = Job.objects.filter(what=TELL_TASK)
    wanted.delete()
    stop.delete()
    assert wanted.filter(state="waiting").exists()


def test_many_lock_outs_take_no_more_queries() -> None:
    counts = []
    for turn in range(2):
        for number in range(4):
            stop_at(10 * turn + 2 * number, somebody(f"p{turn}{number}"), tag=f"K{number}")
        with CaptureQueriesContext(connection) as queries:
            told()
        counts.append(sum("lockout" in one["sql"] or "kilnstop" in one["sql"] for one in queries.captured_queries))
    assert counts[0] <= counts[1] <= counts[0] + 1, counts
