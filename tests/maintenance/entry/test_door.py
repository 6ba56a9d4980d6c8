"""The list at a chamber's door: in and out by name under a lock of one's own, and closed only when it is empty."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import Error, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.door.closing import close_permit, force_closing
from maintenance.entry.door import Measured, come_out, go_in, measure, relieve, take_back, take_lock_off
from maintenance.entry.now import EntryNow, entry_now, entry_of
from maintenance.entry.permits import open_permit
from maintenance.models import EntryMove, EntryPermit, Telling, WorkOrder
from maintenance.work import course as work
from plant import clock
from plant.models import Change, Kiln, Person, User
from tests.factories import MONDAY, DefectFactory, KilnFactory, WorkOrderFactory
from tests.maintenance.mill import a_person, a_user, answers, opened, shut, signed_in

pytestmark = pytest.mark.django_db
SENTENCE = "I walked through it with a lamp; the phone of Una is broken."


class Clock:
    """The mill's clock, to be set."""

    at = MONDAY


@pytest.fixture(autouse=True)
def at(monkeypatch: pytest.MonkeyPatch) -> Clock:
    stands = Clock()
    monkeypatch.setattr(clock, "now", lambda: stands.at)
    return stands


@pytest.fixture
def oda() -> User:
    """Who locks out; Per stays outside."""
    return a_user("technician")


@pytest.fixture
def permit(oda: User) -> EntryPermit:
    return opened(KilnFactory(), oda)


def enter(permit: EntryPermit, code: str, by: User, *, is_own_lock_on: bool = True) -> Person:
    person = a_person(code)
    go_in(permit, person, by=by, key=uuid4(), is_own_lock_on=is_own_lock_on)
    return person


def stand(permit: EntryPermit) -> EntryNow:
    found = entry_of(permit.kiln)
    assert found
    return found


# in and out


def test_who_goes_in_stands_in_the_list_with_the_instant_and_the_lock(
    permit: EntryPermit, oda: User, at: Clock
) -> None:
    una = enter(permit, "una", oda)
    at.at += timedelta(minutes=25)
    (inside,) = stand(permit).inside
    assert (inside.person, inside.since_at, inside.minutes) == (una, MONDAY, 25)
    come_out(permit, una, by=oda, key=uuid4())
    assert stand(permit).is_empty
    assert [move.act for move in permit.moves.all()] == ["lock_on", "in", "out", "lock_off"]


def test_nobody_goes_in_without_a_lock_of_their_own(permit: EntryPermit, oda: User) -> None:
    with pytest.raises(ValidationError, match="no lock of their own"):
        enter(permit, "una", oda, is_own_lock_on=False)
    assert not EntryMove.objects.exists()


def test_a_lock_may_stay_on_over_a_walk_to_the_tools_and_comes_off_outside_alone(
    permit: EntryPermit, oda: User
) -> None:
    una = enter(permit, "una", oda)
    with pytest.raises(ValidationError, match="only when they are out"):
        take_lock_off(permit, una, by=oda, key=uuid4())
    come_out(permit, una, by=oda, key=uuid4(), is_lock_off=False)
    enter(permit, "una", oda, is_own_lock_on=False)
    come_out(permit, una, by=oda, key=uuid4(), is_lock_off=False)
    with pytest.raises(ValidationError, match=r"Have each lock taken off \(Una\)"):
        close_permit(permit, by=oda, key=uuid4(), is_everybody_out=True)
    take_lock_off(permit, una, by=oda, key=uuid4())
    assert close_permit(permit, by=oda, key=uuid4(), is_everybody_out=True)


def test_nobody_is_in_two_chambers(permit: EntryPermit, oda: User) -> None:
    other = open_permit(KilnFactory(tag="K2"), answers(watch_outside=a_person("jon")), by=oda, key=uuid4())
    enter(permit, "una", oda)
    with pytest.raises(ValidationError, match="Una is inside K1 by the list"):
        enter(other, "una", oda)
    with pytest.raises(ValidationError, match="Jon stays outside K2"):
        enter(permit, "jon", oda)


def test_a_tap_that_is_sent_twice_counts_once(permit: EntryPermit, oda: User) -> None:
    una, key = a_person("una"), uuid4()
    for _ in range(2):
        go_in(permit, una, by=oda, key=key, is_own_lock_on=True)
    assert EntryMove.objects.count() == 2
    key = uuid4()
    for _ in range(2):
        come_out(permit, una, by=oda, key=key)
    assert EntryMove.objects.count() == 4


def test_what_bars_or_is_over_or_too_hot_lets_nobody_in(permit: EntryPermit, oda: User, at: Clock) -> None:
    at.at += timedelta(hours=5)
    assert stand(permit).is_overdue
    with pytest.raises(ValidationError, match="measure again and say by when"):
        enter(permit, "una", oda)
    assert measure(permit, Measured(Decimal(48), until_at=at.at + timedelta(hours=2)), by=oda, key=uuid4())
    assert stand(permit).is_overdue, "nobody gets more time in a chamber that is too hot"
    with pytest.raises(ValidationError, match="48"):
        enter(permit, "una", oda)
    assert not measure(permit, Measured(Decimal(30), until_at=at.at + timedelta(hours=2)), by=oda, key=uuid4())
    enter(permit, "una", oda)
    DefectFactory(kiln=permit.kiln, blocks_entry=True)
    with pytest.raises(ValidationError, match="Nobody may enter K1"):
        enter(permit, "vera", oda)


def test_no_job_starts_in_a_chamber_that_got_too_hot_for_those_inside(permit: EntryPermit, oda: User) -> None:
    enter(permit, "oda", oda)
    measure(permit, Measured(Decimal(48)), by=oda, key=uuid4())
    with pytest.raises(ValidationError, match="K1 is 48"):
        work.start(WorkOrderFactory(kiln=permit.kiln), by=oda, version=0, is_cautions_read=True)


def test_no_chamber_stays_open_longer_than_a_shift(oda: User) -> None:
    with pytest.raises(ValidationError, match="At most 12 hours"):
        open_permit(KilnFactory(), answers(until_at=MONDAY + timedelta(hours=13)), by=oda, key=uuid4())


@pytest.mark.parametrize(
    ("air", "fault"),
    [
        ({"oxygen_pct": Decimal("19.4")}, "Oxygen inside is 19.4"),
        ({"oxygen_pct": Decimal("23.6")}, "Oxygen inside is 23.6"),
        ({"carbon_monoxide_ppm": 21}, "Carbon monoxide inside is 21 ppm"),
        ({"is_air_checked": False}, "Check the air inside for gas"),
    ],
)
def test_bad_air_lets_nobody_into_a_kiln_with_a_flame(oda: User, air: dict[str, Any], fault: str) -> None:
    kiln = KilnFactory(heating_medium=Kiln.HeatingMedium.DIRECT_FIRED)
    with pytest.raises(ValidationError, match=fault):
        open_permit(kiln, answers(**{"is_air_checked": True, **air}), by=oda, key=uuid4())
    sound = {"is_air_checked": True, "oxygen_pct": Decimal("20.9"), "carbon_monoxide_ppm": 20}
    permit = open_permit(kiln, answers(**sound), by=oda, key=uuid4())
    measure(permit, Measured(**{"temperature_c": Decimal(24), **sound, **air}), by=oda, key=uuid4())
    with pytest.raises(ValidationError, match=fault):
        enter(permit, "una", oda)


# who stays outside


def test_who_stays_outside_goes_in_when_relieved_by_name(permit: EntryPermit, oda: User) -> None:
    with pytest.raises(ValidationError, match="Per stays outside K1 and cannot go in"):
        enter(permit, "per", oda)
    relieve(permit, a_person("jon"), by=oda, key=uuid4())
    assert stand(permit).outside == a_person("jon")
    assert Change.objects.about(permit.kiln).filter(act="relieved at the door").exists()
    enter(permit, "per", oda)
    with pytest.raises(ValidationError, match="Per is inside K1"):
        relieve(permit, a_person("per"), by=oda, key=uuid4())


def test_whoever_stands_at_another_door_or_only_reads_relieves_nobody(permit: EntryPermit, oda: User) -> None:
    open_permit(KilnFactory(tag="K2"), answers(watch_outside=a_person("jon")), by=oda, key=uuid4())
    auditor = a_user("auditor", "rae", skills=())
    for person, why in (("jon", "two doors"), ("rae", "may not stay at a door"), ("oda", "go in with the key")):
        with pytest.raises(ValidationError, match=why):
            relieve(permit, a_person(person) if person != "rae" else auditor.person, by=oda, key=uuid4())  # type: ignore[arg-type]


# mistakes


def test_a_mistaken_way_in_is_taken_back_by_a_further_entry(permit: EntryPermit, oda: User) -> None:
    enter(permit, "una", oda)
    move = EntryMove.objects.get(act="in")
    with pytest.raises(ValidationError, match="what was wrong"):
        take_back(move, by=oda, key=uuid4(), why=" ")
    take_back(move, by=oda, key=uuid4(), why="it was Vera")
    assert stand(permit).is_empty
    assert EntryMove.objects.filter(act="taken_back").count() == 2
    assert Change.objects.about(permit.kiln).last().note == "it was Vera"  # type: ignore[union-attr]


def test_who_was_never_out_is_put_back_on_the_list_with_the_first_instant(
    permit: EntryPermit, oda: User, at: Clock
) -> None:
    una = enter(permit, "una", oda)
    at.at += timedelta(minutes=10)
    come_out(permit, una, by=oda, key=uuid4())
    take_back(EntryMove.objects.get(act="out"), by=oda, key=uuid4(), why="it was Vera who came out")
    assert [(one.person, one.since_at) for one in stand(permit).inside] == [(una, MONDAY)]
    assert stand(permit).has_lock(una)


def test_only_the_last_entry_of_somebody_is_taken_back(permit: EntryPermit, oda: User) -> None:
    una = enter(permit, "una", oda)
    come_out(permit, una, by=oda, key=uuid4())
    with pytest.raises(ValidationError, match="Only the last entry of Una"):
        take_back(EntryMove.objects.get(act="in"), by=oda, key=uuid4(), why="wrong")


def test_the_list_refuses_to_be_rewritten(permit: EntryPermit, oda: User) -> None:
    enter(permit, "una", oda)
    for change in (EntryMove.objects.all().delete, lambda: EntryMove.objects.update(note="x")):
        with pytest.raises(Error, match="ledger"), transaction.atomic():
            change()


# work inside


def test_a_job_starts_with_its_people_on_the_list_or_takes_them_in_with_their_word(
    permit: EntryPermit, oda: User
) -> None:
    order = WorkOrderFactory(kiln=permit.kiln)
    team = [oda.person, a_person("una")]
    with pytest.raises(ValidationError, match="Not in by the list: Oda, Una"):
        work.start(order, by=oda, version=0, is_cautions_read=True, people=team)  # type: ignore[arg-type]
    enter(permit, "una", oda)
    order = work.start(order, by=oda, version=0, is_cautions_read=True, people=team, is_own_lock_on=True)  # type: ignore[arg-type]
    assert stand(permit).names == ("Una", "Oda")
    with pytest.raises(ValidationError, match="Still inside K1: Oda, Una"):
        work.pause(order, by=oda, version=order.version)


def test_a_job_is_closed_with_by_name_and_carried_on_another_day(permit: EntryPermit, oda: User) -> None:
    order = WorkOrderFactory(kiln=permit.kiln)
    order = work.start(order, by=oda, version=0, is_cautions_read=True, is_own_lock_on=True)
    shut(permit.kiln, oda)
    order.refresh_from_db()
    assert order.is_paused and WorkOrder.objects.at_work().count() == 0
    with pytest.raises(ValidationError, match="Open K1 for entry first"):
        work.start(order, by=oda, version=order.version, is_cautions_read=True)
    opened(permit.kiln, oda)
    order = work.start(order, by=oda, version=order.version, is_cautions_read=True, is_own_lock_on=True)
    assert not order.is_paused
    assert [change.act for change in Change.objects.about(order)] == ["started", "paused", "carried on"]


def test_a_chamber_is_not_opened_while_somebody_works_at_the_running_kiln(oda: User) -> None:
    order = WorkOrderFactory(needs_state="running")
    order = work.start(order, by=oda, version=0, is_cautions_read=True)
    with pytest.raises(ValidationError, match=f"K1 runs by the record: {order.number}"):
        opened(order.kiln, oda)
    work.pause(order, by=oda, version=order.version)
    assert opened(order.kiln, oda)


def test_work_that_is_sent_back_waits_until_it_is_carried_on(permit: EntryPermit, oda: User) -> None:
    order = WorkOrderFactory(kiln=permit.kiln, needs_state="running", state="done")
    order = work.send_back(order, by=a_user("planner", "ilse"), version=0, why="it rattles still")
    assert order.is_paused
    with pytest.raises(ValidationError, match="open for entry"):
        work.start(order, by=oda, version=order.version, is_cautions_read=True)


# an incomplete list


def test_only_the_one_outside_and_the_one_who_locked_out_close_an_incomplete_list(
    permit: EntryPermit, oda: User, settings: Any
) -> None:
    settings.SENDS_MAIL = True
    enter(permit, "una", oda)
    planner = a_user("planner", "ilse")
    with pytest.raises(PermissionDenied, match="Only Per, who stays outside, or Oda, who locked out"):
        force_closing(permit, by=planner, key=uuid4(), why=SENTENCE)
    with pytest.raises(ValidationError, match="in a sentence"):
        force_closing(permit, by=oda, key=uuid4(), why="all out")
    assert entry_of(permit.kiln)
    closing = force_closing(permit, by=oda, key=uuid4(), why=SENTENCE)
    assert closing.is_forced and closing.left_open == {"inside": ["Una"], "locks_on": ["Una"], "work": []}
    assert list(EntryPermit.objects.forced_closings()) == [closing]
    assert Change.objects.about(permit.kiln).last().note == SENTENCE  # type: ignore[union-attr]
    told = Telling.objects.get(person=planner.person)
    assert "incomplete list" in told.subject and "Una" in told.body and SENTENCE in told.body


def test_a_complete_list_is_not_forced(permit: EntryPermit, oda: User) -> None:
    with pytest.raises(ValidationError, match="in the ordinary way"):
        force_closing(permit, by=oda, key=uuid4(), why=SENTENCE)


# reading


def test_all_doors_are_read_in_as_many_queries_as_one(permit: EntryPermit, oda: User) -> None:
    enter(permit, "una", oda)
    with CaptureQueriesContext(connection) as one:
        entry_now()
    other = open_permit(KilnFactory(tag="K2"), answers(watch_outside=a_person("jon")), by=oda, key=uuid4())
    enter(other, "vera", oda)
    WorkOrderFactory(kiln=other.kiln, state="under_way")
    with CaptureQueriesContext(connection) as two:
        assert len(entry_now()) == 2
    assert len(one) == len(two) == 4


def test_the_page_of_the_door_takes_in_out_relief_measure_and_closing(
    permit: EntryPermit, oda: User, client: Client
) -> None:
    phone, url = signed_in(client, oda), permit.get_absolute_url()

    def tap(act: str, **said: Any) -> str:
        answer = phone.post(f"{url}{act}/", {"key": uuid4(), **said}, follow=True)
        assert answer.status_code == 200
        return answer.content.decode()

    una, jon = a_person("una"), a_person("jon")
    assert "Nobody is inside by the list" in phone.get(url).content.decode()
    assert "This must be so first" in tap("in", person=una.pk)
    assert "1 person is inside" in tap("in", person=una.pk, is_own_lock_on="on")
    assert "is inside K1 by the list" in tap("in", person=una.pk, is_own_lock_on="on")
    assert "every own lock is off" in tap("close", is_everybody_out="on")
    assert "<strong>Jon</strong>" in tap("outside", person=jon.pk)
    assert "Bring everybody out of K1 now" in tap("measured", temperature="50")
    assert "the own lock is still on" in tap("out", person=una.pk, is_lock_kept="on")
    assert "Nobody is inside by the list" in tap("lock", person=una.pk)
    out = EntryMove.objects.get(act="out")
    assert "Only the last entry of Una" in tap(f"back/{out.pk}", why="wrong")
    assert "is closed for entry: everybody is out" in tap("close", is_everybody_out="on")
    assert EntryPermit.objects.get(act="closed").left_open is None


def test_the_page_offers_the_forced_closing_to_those_two_alone(permit: EntryPermit, oda: User, client: Client) -> None:
    enter(permit, "una", oda)
    url = permit.get_absolute_url()
    planner = a_user("planner", "ilse")
    assert "cannot be completed" not in signed_in(client, planner).get(url).content.decode()
    assert client.post(f"{url}close/incomplete/", {"key": uuid4(), "why": SENTENCE}).status_code == 403
    assert "cannot be completed" in signed_in(client, oda).get(url).content.decode()
    shown = client.post(f"{url}close/incomplete/", {"key": uuid4(), "why": SENTENCE}, follow=True).content.decode()
    assert "The list was not complete." in shown and "Inside by the list: Una" in " ".join(shown.split())
