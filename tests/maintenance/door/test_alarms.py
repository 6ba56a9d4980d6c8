"""A kiln that is reported running while somebody is inside raises the loudest alarm, at once and by every way in."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, transaction
from django.test import Client

from maintenance.door.alarms import answer_alarm, look_again, raise_alarm
from maintenance.entry.door import come_out, go_in
from maintenance.entry.permits import open_permit
from maintenance.models import EntryAlarm, EntryPermit, FunctionCheck, Telling
from maintenance.telling.places_told import TELL_TASK, tell_people
from plant.basics.sentences import typed
from plant.models import Change, Channel, Job, Kiln, Reading, ReadingSource, User
from plant.readings.source_tokens import make_token
from plant.readings.taking_in import take_in
from plant.signals import runs_against_bar
from plant.warnings.kiln_warnings import KilnWarning, WarningKind, kiln_warnings
from tests.factories import MONDAY, ChannelFactory, ChargeFactory, KilnFactory, MillFactory, WorkOrderFactory
from tests.maintenance.mill import a_person, a_user, answers, opened, shut, signed_in

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


class Clock:
    """The mill's clock, to be set."""

    at = MONDAY


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Monday morning."""
    one = Clock()
    monkeypatch.setattr("plant.clock.now", lambda: one.at)
    return one


@pytest.fixture
def kiln() -> Kiln:
    """A kiln whose fans and air are measured."""
    MillFactory()
    made: Kiln = KilnFactory(tag="K3")
    ChannelFactory(kiln=made, quantity="fan_current", place="1")
    ChannelFactory(kiln=made, quantity="air_temperature", place="left")
    return made


@pytest.fixture
def oda() -> User:
    return a_user("technician")


@pytest.fixture
def permit(kiln: Kiln, oda: User) -> EntryPermit:
    """The kiln is open, and Oda is inside."""
    made = opened(kiln, oda)
    assert oda.person
    go_in(made, oda.person, by=oda, key=uuid4(), is_own_lock_on=True)
    return made


def comes_in(kiln: Kiln, quantity: str, at: datetime, *values: float) -> None:
    """Let readings come in, a minute apart."""
    channel = Channel.objects.get(kiln=kiln, quantity=quantity)
    at_s = int(at.timestamp()) + 60 * np.arange(len(values))
    take_in(np.full(len(values), channel.pk), at_s, np.array(values, float))


def raised() -> Any:
    return EntryAlarm.objects.filter(act="raised")


def shouted() -> list[KilnWarning]:
    return [one for one in kiln_warnings() if one.kind is WarningKind.ALARM]


def test_fans_that_turn_over_somebody_raise_the_alarm_with_the_reading_itself(
    kiln: Kiln, permit: EntryPermit, clock: Clock
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 12.5)
    alarm = raised().get()
    assert (alarm.kiln, alarm.permit, alarm.inside, alarm.outside) == (kiln, permit, ["Oda"], "Per")
    assert "the fans turn (fan current 1: 12.5 A at 07:10)" in alarm.words
    assert Reading.objects.filter(value=12.5).exists()
    (warning,) = shouted()
    assert "Inside: Oda. Outside: Per." in warning.sentence
    assert Change.objects.about(kiln).filter(act="alarm: reported running or hot with people in or at it").exists()


@pytest.mark.parametrize(
    ("quantity", "values", "said"),
    [
        ("air_temperature", [35.5], "hotter than the entry limit"),
        ("air_temperature", [20, 22, 24.5], "gets warmer as if it were heated"),
        ("heating_valve", [40], "heat is on"),
    ],
)
def test_heat_raises_it_too(
    kiln: Kiln, permit: EntryPermit, clock: Clock, quantity: str, values: list[float], said: str
) -> None:
    if quantity == "heating_valve":
        ChannelFactory(kiln=kiln, quantity=quantity, place="")
    clock.at += 10 * MINUTE
    comes_in(kiln, quantity, clock.at - 5 * MINUTE, *values)
    assert said in raised().get().words


def test_a_standing_kiln_says_nothing_and_neither_does_what_was_before_the_opening(
    kiln: Kiln, permit: EntryPermit, clock: Clock
) -> None:
    comes_in(kiln, "fan_current", clock.at - 30 * MINUTE, *[14.0] * 29)
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 0.1)
    comes_in(kiln, "air_temperature", clock.at, 24.0)
    assert not raised().exists()
    assert shouted() == []


def test_a_controller_whose_clock_is_fast_is_believed(kiln: Kiln, permit: EntryPermit, clock: Clock) -> None:
    clock.at += MINUTE
    comes_in(kiln, "fan_current", clock.at + 40 * MINUTE, 14.0)
    assert raised().exists()


def test_a_kiln_that_is_shut_may_run(kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock) -> None:
    shut(kiln, oda)
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    assert not EntryAlarm.objects.exists()


def test_another_kiln_is_none_of_their_business(kiln: Kiln, permit: EntryPermit, clock: Clock) -> None:
    other = KilnFactory(tag="K4")
    ChannelFactory(kiln=other, quantity="fan_current", place="1")
    clock.at += 10 * MINUTE
    comes_in(other, "fan_current", clock.at, 14.0)
    assert not EntryAlarm.objects.exists()


def test_minute_after_minute_is_one_alarm(kiln: Kiln, permit: EntryPermit, clock: Clock) -> None:
    for _minute in range(5):
        clock.at += MINUTE
        comes_in(kiln, "fan_current", clock.at, 14.0)
    assert raised().count() == 1


def test_it_stands_until_it_is_answered_and_no_longer_so(
    kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    answer_alarm(raised().get(), by=oda, key=uuid4(), what="Main switch off and locked, Oda is out.")
    assert "Answered, and still reported." in shouted()[0].sentence
    clock.at += MINUTE
    comes_in(kiln, "fan_current", clock.at, 0.0)
    assert shouted() == []
    clock.at += MINUTE
    comes_in(kiln, "fan_current", clock.at, 9.0)
    assert raised().count() == 2
    assert len(shouted()) == 1


def test_what_is_over_but_unanswered_is_still_shouted_and_later_said_in_a_lower_voice(
    kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at - MINUTE, 14.0, 0.0)
    assert "nobody has said what was done" in shouted()[0].sentence
    shut(kiln, oda)
    assert shouted() == []
    (low,) = [one for one in kiln_warnings() if one.kind is WarningKind.OVERDUE]
    assert "say what was done" in low.sentence
    answer_alarm(raised().get(), by=oda, key=uuid4(), what="The fans were coasting down, all were out.")
    assert kiln_warnings() == []


def test_the_next_opening_does_not_wake_an_alarm_of_the_last(
    kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    answer_alarm(raised().get(), by=oda, key=uuid4(), what="Main switch off and locked, Oda is out.")
    shut(kiln, oda)
    clock.at += 60 * MINUTE
    opened(kiln, oda)
    assert shouted() == []
    look_again()
    assert raised().count() == 1


def test_an_answer_is_a_sentence_by_somebody_who_may(kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    with pytest.raises(ValidationError, match="in a sentence"):
        answer_alarm(raised().get(), by=oda, key=uuid4(), what="ok")
    with pytest.raises(PermissionDenied):
        answer_alarm(raised().get(), by=a_user("auditor", "siv"), key=uuid4(), what="I saw it and did nothing.")


def test_nobody_goes_in_before_an_alarm_is_answered_and_while_readings_say_it_still(
    kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock
) -> None:
    una, bo = a_person("una"), a_person("bo")
    raise_alarm(kiln, EntryAlarm.Source.CHARGE, typed("Charge 26-1 has begun."))
    with pytest.raises(ValidationError, match="Charge 26-1 has begun"):
        go_in(permit, una, by=oda, key=uuid4(), is_own_lock_on=True)
    # Whoever is inside comes out, alarm or not.
    assert oda.person
    come_out(permit, oda.person, by=oda, key=uuid4())
    alarm = EntryAlarm.objects.get()
    answer_alarm(alarm, by=oda, key=uuid4(), what="Wrong kiln in the file; isolator seen locked, fans tried.")
    go_in(permit, una, by=oda, key=uuid4(), is_own_lock_on=True)
    clock.at += MINUTE
    raise_alarm(kiln, EntryAlarm.Source.READINGS, typed("Fan 1 draws 11 A."))
    answer_alarm(EntryAlarm.objects.last(), by=oda, key=uuid4(), what="Looking for the cause, everybody is told.")
    with pytest.raises(ValidationError, match="Fan 1 draws"):
        go_in(permit, bo, by=oda, key=uuid4(), is_own_lock_on=True)


def test_no_more_go_in_than_the_chamber_takes(kiln: Kiln, permit: EntryPermit, oda: User) -> None:
    Kiln.objects.update(max_people_inside=2)
    go_in(permit, a_person("una"), by=oda, key=uuid4(), is_own_lock_on=True)
    with pytest.raises(ValidationError, match="takes 2 people at most, and 2 are inside"):
        go_in(permit, a_person("bo"), by=oda, key=uuid4(), is_own_lock_on=True)


def test_an_answer_sent_twice_counts_once(kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    key = uuid4()
    for _tap in range(2):
        answer_alarm(raised().get(), by=oda, key=key, what="Main switch off and locked, Oda is out.")
    assert EntryAlarm.objects.filter(act="answered").count() == 1


def test_nobody_takes_an_alarm_off_the_record(kiln: Kiln, permit: EntryPermit, clock: Clock) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    for attempt in (
        lambda: EntryAlarm.objects.update(said=""),
        lambda: EntryAlarm.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            attempt()


def test_a_controller_that_sends_by_the_endpoint_is_heard_at_once(
    client: Client, kiln: Kiln, permit: EntryPermit, clock: Clock
) -> None:
    source = ReadingSource.objects.create(code="controller", name="Controller", way="sends")
    channel = Channel.objects.get(kiln=kiln, quantity="fan_current")
    source.names.create(name="M1", channel=channel, unit="A")
    token = make_token(source, by=None)[1]
    clock.at += 10 * MINUTE
    sent = {"readings": [{"channel": "M1", "at": clock.at.isoformat(), "value": 12.5}]}
    headers = {"Authorization": f"Bearer {token}"}
    answer = client.post("/api/readings", sent, content_type="application/json", headers=headers)
    assert answer.status_code == 200, answer.content
    assert raised().get().inside == ["Oda"]
    assert Reading.objects.filter(value=12.5).exists()


def test_a_charge_that_another_program_says_has_begun_raises_it(kiln: Kiln, permit: EntryPermit) -> None:
    facts = {"charge": "26-099", "begin_at": MONDAY.isoformat()}
    runs_against_bar.send(None, kiln=kiln, kind="charge begun", facts=facts)
    assert "charge 26-099 is reported begun at Mon 2 Mar, 07:00" in raised().get().words


def test_what_else_is_reported_is_added_to_the_alarm_that_stands_and_everybody_sees_the_newest(
    client: Client, kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock
) -> None:
    def begun(number: str) -> None:
        facts = {"charge": number, "begin_at": clock.at.isoformat()}
        runs_against_bar.send(None, kiln=kiln, kind="charge begun", facts=facts)

    ChargeFactory(kiln=kiln, begin_at=clock.at - 300 * MINUTE, basis="running")
    begun("26-052")
    answer_alarm(raised().get(), by=oda, key=uuid4(), what="Main switch off and locked, Oda is out.")
    for number in ("26-053", "26-053", "26-052"):
        clock.at += MINUTE
        begun(number)
    alarm = raised().get()
    assert list(EntryAlarm.objects.filter(raising=alarm).values_list("act", flat=True)) == ["answered", "cause"]
    (warning,) = shouted()
    assert "charge 26-052 is reported begun at Mon 2 Mar, 07:00; charge 26-053 is reported begun" in warning.sentence
    # What was answered before it was reported is not the answer to it.
    assert "Answered" not in warning.sentence
    page = signed_in(client, oda).get(f"/alarms/{alarm.pk}/").content.decode()
    assert "Reported as well: charge 26-053 is reported begun" in " ".join(page.split())
    answer_alarm(alarm, by=oda, key=uuid4(), what="The kiln's breaker is off and locked, all are out.")
    assert "Answered, and still reported." in shouted()[0].sentence


def test_another_sign_in_the_readings_is_added_and_the_same_one_is_not(
    kiln: Kiln, permit: EntryPermit, clock: Clock
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    clock.at += MINUTE
    comes_in(kiln, "air_temperature", clock.at, 39.0)
    clock.at += MINUTE
    comes_in(kiln, "fan_current", clock.at, 13.0)
    assert list(EntryAlarm.objects.values_list("act", flat=True)) == ["raised", "cause"]
    assert "hotter than the entry limit" in shouted()[0].sentence


def test_the_tick_notes_that_no_charge_runs_any_more(kiln: Kiln, permit: EntryPermit) -> None:
    runs_against_bar.send(None, kiln=kiln, kind="charge begun", facts={"charge": "1", "begin_at": MONDAY.isoformat()})
    assert look_again() == 1
    assert EntryAlarm.objects.get(act="over").words == "by the record no charge runs any more"


def test_it_is_mailed_at_once_to_the_one_outside_planner_and_kiln_master(
    kiln: Kiln, permit: EntryPermit, clock: Clock, settings: Any
) -> None:
    settings.SENDS_MAIL, settings.SITE_ADDRESS = True, "https://kilnward.mill.example"
    settings.DEFAULT_FROM_EMAIL = "kilnward@mill.example"
    for role, code in (("planner", "pia"), ("kiln_master", "kim"), ("storekeeper", "tova")):
        a_user(role, code)
    for code in ("per", "pia", "kim", "tova"):
        person = a_person(code)
        person.email = f"{code}@mill.example"
        person.save()
    tell_people()
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    assert set(Telling.objects.values_list("person__code", flat=True)) == {"per", "pia", "kim"}
    wanted = Job.objects.filter(what=TELL_TASK, key__contains="alarm").get()
    assert wanted.not_before_at <= wanted.wanted_at
    tell_people()
    assert {one.to[0] for one in mail.outbox} == {"per@mill.example", "pia@mill.example", "kim@mill.example"}
    said = mail.outbox[0]
    assert said.subject == "ALARM: K3 is reported running or hot, people may be inside"
    assert "Inside by the list: Oda." in said.body
    assert f"https://kilnward.mill.example/alarms/{raised().get().pk}/" in said.body


@pytest.mark.parametrize("role", ["kiln_master", "planner", "technician", "storekeeper", "manager", "auditor"])
def test_everybody_sees_it_above_every_page(
    client: Client, kiln: Kiln, permit: EntryPermit, clock: Clock, role: str
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    page = signed_in(client, a_user(role, "eve")).get("/words/").content.decode()
    before_all = page.split("<header")[0]
    assert 'role="alert"' in before_all
    assert "K3 is reported running or hot while people may be in or at it" in before_all


def test_a_page_left_open_learns_of_it_and_is_told_once(
    client: Client, kiln: Kiln, permit: EntryPermit, clock: Clock
) -> None:
    signed_in(client, a_user("manager", "eve"))
    page = client.get("/words/").content.decode()
    assert 'hx-trigger="every 15s"' in page
    address = page.split('id="kiln-warnings"')[1].split('hx-get="')[1].split('"')[0]
    assert client.get(address).status_code == 204
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    news = client.get(address).content.decode()
    assert "K3 is reported running or hot" in news
    assert client.get(news.split('hx-get="')[1].split('"')[0]).status_code == 204


def test_the_page_of_an_alarm_takes_down_what_was_done(
    client: Client, kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock
) -> None:
    clock.at += 10 * MINUTE
    comes_in(kiln, "fan_current", clock.at, 14.0)
    address = f"/alarms/{raised().get().pk}/"
    page = signed_in(client, oda).get(address).content.decode()
    assert "Nobody has said yet what was done." in page
    client.post(address, {"key": str(uuid4()), "what": "Main switch off and locked, Oda is out."})
    assert "Main switch off and locked, Oda is out." in client.get(address).content.decode()


# Opening


@pytest.fixture
def fresh(kiln: Kiln, clock: Clock) -> Iterator[Kiln]:
    """The kiln's fans are measured and stand, a minute ago."""
    comes_in(kiln, "fan_current", clock.at - MINUTE, 0.0)
    yield kiln


def test_a_chamber_whose_fans_turn_by_its_readings_is_not_opened_by_anybody(kiln: Kiln, clock: Clock) -> None:
    comes_in(kiln, "fan_current", clock.at - MINUTE, 14.0)
    with pytest.raises(ValidationError, match=r"the fans turn \(fan current 1: 14 A at 06:59\)"):
        open_permit(kiln, answers(note="It stands, I saw it myself."), by=a_user("kiln_master", "kim"), key=uuid4())


def test_readings_that_are_old_do_not_keep_it_shut(kiln: Kiln, oda: User, clock: Clock) -> None:
    comes_in(kiln, "fan_current", clock.at - 30 * MINUTE, 14.0)
    assert opened(kiln, oda)


def test_a_direction_told_on_change_holds_as_long_as_others_are_heard(kiln: Kiln, oda: User, clock: Clock) -> None:
    ChannelFactory(kiln=kiln, quantity="fan_direction", place="")
    comes_in(kiln, "fan_direction", clock.at - 300 * MINUTE, 1.0)
    comes_in(kiln, "air_temperature", clock.at - MINUTE, 24.0)
    with pytest.raises(ValidationError, match="the fans turn"):
        opened(kiln, oda)
    comes_in(kiln, "fan_direction", clock.at, 0.0)
    assert opened(kiln, oda)


def test_a_hot_chamber_is_opened_by_somebody_entitled_with_a_sentence(fresh: Kiln, clock: Clock) -> None:
    comes_in(fresh, "air_temperature", clock.at - MINUTE, 38.0)
    reason = "The sensor hangs at the coil; by hand it is 24 degrees."
    with pytest.raises(ValidationError, match="only the kiln master or the planner"):
        open_permit(fresh, answers(note=reason), by=a_user("technician", "tom"), key=uuid4())
    master = a_user("kiln_master", "kim")
    with pytest.raises(ValidationError, match="Say in a sentence"):
        open_permit(fresh, answers(note="."), by=master, key=uuid4())
    assert open_permit(fresh, answers(note=reason), by=master, key=uuid4())


def test_a_kiln_that_dries_by_the_record_is_opened_likewise_and_then_shows_open_for_entry(
    client: Client, fresh: Kiln, clock: Clock
) -> None:
    ChargeFactory(kiln=fresh, begin_at=clock.at - timedelta(days=2), days=9, basis="running")
    with pytest.raises(ValidationError, match="only the kiln master or the planner"):
        opened(fresh, a_user("technician", "tom"))
    master = a_user("kiln_master", "kim")
    permit = open_permit(fresh, answers(note="The charge was broken off yesterday."), by=master, key=uuid4())
    go_in(permit, a_person("oda"), by=master, key=uuid4(), is_own_lock_on=True)
    clock.at += 25 * MINUTE
    signed_in(client, master)
    cards, page = (client.get(url).content.decode() for url in ("/kilns/", "/kilns/K3/"))
    assert '<span class="chamber-word">open for entry</span>' in cards
    assert "1 inside, 25 min" in cards
    assert "by the charge record: drying" in cards
    assert "Now: open for entry" in page


@pytest.mark.parametrize("url", ["/kilns/", "/kilns/K3/", "/rounds/", "/my-work/", "/openings/", "/work-orders/"])
def test_who_is_inside_shows_with_number_and_for_how_long(
    client: Client, kiln: Kiln, permit: EntryPermit, oda: User, clock: Clock, url: str
) -> None:
    WorkOrderFactory(kiln=kiln)
    clock.at += 25 * MINUTE
    page = signed_in(client, oda).get(url).content.decode()
    assert "1 inside, 25 min" in page or "Oda (25 min)" in page


@pytest.mark.parametrize("is_open", [True, False])
def test_what_starts_only_at_a_running_kiln_says_first_who_is_inside(
    client: Client, kiln: Kiln, permit: EntryPermit, oda: User, is_open: bool
) -> None:
    there = kiln if is_open else KilnFactory(tag="K9")
    order = WorkOrderFactory(kiln=there, needs_state="running")
    check = FunctionCheck.objects.create(number="FC-9", kiln=there, started_at=MONDAY)
    starts = f"{order.get_absolute_url()}start/", f"{check.get_absolute_url()}sit/?kiln_state=running"
    signed_in(client, oda)
    for page in (client.get(url).content.decode() for url in starts):
        assert (f"Inside {kiln.tag}: Oda." in page) is is_open
        assert ("must not run now" in page) is is_open


def test_the_one_outside_reads_it_first_on_my_work(client: Client, kiln: Kiln, permit: EntryPermit) -> None:
    per = a_user("technician", "per")
    page = signed_in(client, per).get("/my-work/").content.decode()
    assert "You stay outside K3." in page
