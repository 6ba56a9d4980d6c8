"""What readings say of a charge is proposed, confirmed or refused in one tap, or taken at once; entry is by people."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from plant.charges import proposals as room
from plant.charges import telling
from plant.kilns.kilns_now import KilnNow, kilns_now
from plant.models import Charge, ChargeWord, ClimateSign, Kiln, User
from tests.factories import MONDAY, ChargeFactory, KilnFactory, UserFactory
from tests.plant.charges.planned import signed_in

HOUR = timedelta(hours=1)
DAY = 24 * HOUR
NOW = MONDAY + 2 * DAY


@pytest.fixture(autouse=True)
def _wednesday(db: None) -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def ilse() -> User:
    user: User = UserFactory(username="ilse", role="kiln_master")
    return user


@pytest.fixture
def kiln() -> Kiln:
    made: Kiln = KilnFactory()
    return made


def a_charge(kiln: Kiln, begin_at: datetime, basis: str = "planned", **more: Any) -> Charge:
    made: Charge = ChargeFactory(kiln=kiln, begin_at=begin_at, basis=basis, days=4, **more)
    return made


def a_sign(kiln: Kiln, kind: str, at: datetime, is_sure: bool = True) -> ClimateSign:
    return ClimateSign.objects.create(
        kiln=kiln, kind=kind, at=at, seen_at=at + HOUR / 2, noted_at=at + HOUR / 2, is_sure=is_sure
    )


def proposed(kiln: Kiln) -> tuple[str, str, datetime] | None:
    found = room.proposals([kiln], NOW).get(kiln.pk)
    return None if found is None else (found.what, found.charge.number if found.charge else "", found.at)


def stand(kiln: Kiln) -> KilnNow:
    return kilns_now([kiln], NOW)[0]


def told(charge: Charge, what: str, at: datetime, by: User) -> ChargeWord:
    return telling.tell(charge, what, at, key=uuid4(), by=by, why="the probe says that it is dry")


# proposed


def test_heating_says_that_the_next_charge_was_started(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 5 * HOUR)
    sign = a_sign(kiln, "heating", NOW - 2 * HOUR)
    assert proposed(kiln) == ("started", charge.number, NOW - 2 * HOUR)
    word = room.confirm(sign, "started", charge.pk, by=ilse)
    assert room.confirm(sign, "started", charge.pk, by=ilse) == word
    assert (word.by, word.by_source, word.at) == (ilse, None, NOW - 2 * HOUR)
    assert proposed(kiln) is None
    assert ClimateSign.objects.get().answer == "confirmed"


def test_of_heating_without_a_planned_charge_it_is_said_that_one_is_missing(kiln: Kiln) -> None:
    a_sign(kiln, "heating", NOW - 2 * HOUR)
    assert proposed(kiln) == ("started", "", NOW - 2 * HOUR)


def test_a_kiln_that_is_heated_again_after_a_stop_starts_nothing(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - DAY)
    told(charge, "started", NOW - 22 * HOUR, ilse)
    a_charge(kiln, NOW + 5 * DAY)
    a_sign(kiln, "heating", NOW - 2 * HOUR)
    assert proposed(kiln) is None


def test_heated_anew_after_its_opening_the_charge_is_out_and_the_next_one_started(kiln: Kiln, ilse: User) -> None:
    before, after = a_charge(kiln, NOW - 4 * DAY, "running"), a_charge(kiln, NOW + HOUR)
    a_sign(kiln, "door", NOW - 9 * HOUR)
    heating = a_sign(kiln, "heating", NOW - 2 * HOUR)
    assert proposed(kiln) == ("opened", before.number, NOW - 9 * HOUR)
    told(before, "opened", NOW - 9 * HOUR, ilse)
    assert proposed(kiln) == ("unloaded", before.number, NOW - 2 * HOUR)
    room.confirm(heating, "unloaded", before.pk, by=ilse)
    assert proposed(kiln) == ("started", after.number, NOW - 2 * HOUR)
    room.confirm(heating, "started", after.pk, by=ilse)
    assert proposed(kiln) is None


def test_a_late_setting_says_when_the_charge_is_expected_out(kiln: Kiln) -> None:
    charge = a_charge(kiln, NOW - DAY, "running")
    heated_up_at = charge.phases.get(kind="heating_up").end_at
    a_sign(kiln, "setting", heated_up_at + HOUR / 2)
    assert proposed(kiln) is None
    a_sign(kiln, "setting", heated_up_at + 3 * HOUR)
    assert proposed(kiln) == ("expected", charge.number, charge.end_at + 3 * HOUR)


def test_what_is_refused_or_was_told_meanwhile_is_not_proposed_again(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 5 * HOUR)
    sign = a_sign(kiln, "heating", NOW - 2 * HOUR)
    told(charge, "started", NOW - HOUR, ilse)
    with pytest.raises(ValidationError, match="Something else was told"):
        room.confirm(sign, "started", charge.pk, by=ilse)
    door = a_sign(kiln, "door", NOW - HOUR / 2)
    assert proposed(kiln) == ("opened", charge.number, NOW - HOUR / 2)
    room.refuse(door, by=ilse)
    assert room.refuse(door, by=ilse).answer == "refused"
    assert proposed(kiln) is None


def test_old_signs_and_those_of_the_future_propose_nothing(kiln: Kiln) -> None:
    a_charge(kiln, NOW - 4 * DAY)
    a_sign(kiln, "heating", NOW - 4 * DAY)
    a_sign(kiln, "heating", NOW + HOUR)
    assert proposed(kiln) is None


# taken at once


def test_what_is_sure_is_taken_at_once_where_the_mill_says_so_and_said_to_be_by_readings(kiln: Kiln) -> None:
    charge = a_charge(kiln, NOW - 5 * HOUR)
    a_sign(kiln, "heating", NOW - 2 * HOUR)
    (word,) = room.take_at_once(kiln, NOW)
    assert (word.what, word.by, word.is_by_readings, word.is_by_people) == ("started", None, True, False)
    assert "said by the readings" in signed_in("kiln_master").get(f"/charges/?kiln={kiln.tag}").content.decode()
    told_now = stand(kiln)
    assert told_now.is_shut
    assert told_now.charge == charge


def test_what_the_temperature_alone_says_waits_for_a_person(kiln: Kiln) -> None:
    a_charge(kiln, NOW - 5 * HOUR)
    a_sign(kiln, "heating", NOW - 2 * HOUR, is_sure=False)
    assert room.take_at_once(kiln, NOW) == []
    assert proposed(kiln) is not None


def cooling(kiln: Kiln) -> Charge:
    """Return a charge that cools by the record."""
    return a_charge(kiln, NOW - 4 * DAY + 3 * HOUR, "running")


def test_nobody_goes_in_because_readings_say_that_a_kiln_was_opened_or_is_empty(kiln: Kiln, ilse: User) -> None:
    charge = cooling(kiln)
    before = stand(kiln)
    a_sign(kiln, "door", NOW - HOUR)
    assert [word.what for word in room.take_at_once(kiln, NOW)] == ["opened"]
    opened = stand(kiln)
    assert opened.state != before.state
    assert (opened.told, opened.is_shut, opened.due) == (before.told, before.is_shut, before.due)
    telling.tell(charge, "unloaded", NOW, key=uuid4(), by=None, by_source="controller")
    empty = stand(kiln)
    assert (empty.told, empty.is_shut) == (before.told, before.is_shut)
    # A person who puts it right, or tells it, is heard.
    word = ChargeWord.objects.get(what="unloaded")
    telling.correct(word, NOW - HOUR / 4, key=uuid4(), by=ilse, why="I stood there")
    assert stand(kiln).told == stand(kiln).state
    assert not stand(kiln).is_shut


def test_readings_never_say_that_a_kiln_was_opened_which_dries_by_what_people_told(kiln: Kiln) -> None:
    charge = a_charge(kiln, NOW - 2 * DAY, "running")
    a_sign(kiln, "door", NOW - HOUR)
    assert room.take_at_once(kiln, NOW) == []
    assert proposed(kiln) == ("opened", charge.number, NOW - HOUR)
    # Nor after readings drew its end nearer.
    telling.tell(charge, "expected", NOW + HOUR, key=uuid4(), by=None, by_source="")
    assert room.take_at_once(kiln, NOW) == []
    per = UserFactory(username="per", role="technician")
    with pytest.raises(ValidationError, match="only the kiln master or the planner"):
        told(charge, "opened", NOW, per)


def test_what_was_taken_is_taken_back_like_any_word(kiln: Kiln, ilse: User) -> None:
    charge = a_charge(kiln, NOW - 5 * HOUR)
    a_sign(kiln, "heating", NOW - 2 * HOUR)
    (word,) = room.take_at_once(kiln, NOW)
    telling.take_back(word, key=uuid4(), by=ilse, why="a test of the fans")
    charge.refresh_from_db()
    assert (charge.basis, charge.begin_at) == ("planned", NOW - 5 * HOUR)
    assert room.take_at_once(kiln, NOW) == []


# pages


def post(client: Client, sign: ClimateSign, **said: Any) -> str:
    return client.post(f"/charges/{sign.kiln.tag}/signs/{sign.pk}/", said, follow=True).content.decode()


def test_one_tap_on_either_page_confirms(kiln: Kiln) -> None:
    charge = a_charge(kiln, NOW - 5 * HOUR)
    sign = a_sign(kiln, "heating", NOW - 2 * HOUR)
    client = signed_in("technician")
    for page in ("/charges/", f"/kilns/{kiln.tag}/"):
        assert "The readings say:" in client.get(page).content.decode(), page
    assert "The readings say:" in signed_in("auditor").get("/charges/").content.decode()
    assert "is on record" in post(client, sign, answer="yes", what="started", charge=charge.pk)
    assert "The readings say:" not in client.get("/charges/").content.decode()


def test_a_forged_or_outdated_answer_changes_nothing(kiln: Kiln) -> None:
    charge = a_charge(kiln, NOW - 5 * HOUR)
    sign = a_sign(kiln, "heating", NOW - 2 * HOUR)
    client = signed_in("kiln_master")
    for said in ({"what": "opened", "charge": charge.pk}, {"what": "started", "charge": "9" * 40}, {}):
        assert "Something else was told" in post(client, sign, answer="yes", **said)
    assert not ChargeWord.objects.exists()
    assert "not proposed any more" in post(client, sign, answer="no")


def test_the_page_asks_as_often_for_many_proposals_as_for_one(
    kiln: Kiln, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    client = signed_in("kiln_master")

    def add(where: Kiln) -> None:
        a_charge(where, NOW - 5 * HOUR)
        a_sign(where, "heating", NOW - 2 * HOUR)

    add(kiln)
    client.get("/charges/")
    with CaptureQueriesContext(connection) as few:
        client.get("/charges/")
    for n in range(4):
        add(KilnFactory(tag=f"K{n + 2}"))
    with django_assert_num_queries(len(few)):
        client.get("/charges/")


def test_a_person_says_too_what_the_readings_said_and_only_then_it_counts_for_entry(kiln: Kiln, ilse: User) -> None:
    charge = cooling(kiln)
    a_sign(kiln, "door", NOW - HOUR)
    room.take_at_once(kiln, NOW)
    assert stand(kiln).is_shut
    assert telling.may_tell(Charge.objects.get(), telling.words_of([charge])[charge.pk])[0] == "opened"
    told(charge, "opened", NOW - HOUR, ilse)
    assert not stand(kiln).is_shut
    with pytest.raises(ValidationError, match=r"opened on .* already"):
        told(charge, "opened", NOW, ilse)
    telling.tell(charge, "unloaded", NOW - HOUR / 2, key=uuid4(), by=None, by_source="controller")
    charge.refresh_from_db()
    assert telling.may_tell(charge, telling.words_of([charge])[charge.pk]) == ("unloaded",)
    told(charge, "unloaded", NOW, ilse)
    charge.refresh_from_db()
    assert (charge.basis, charge.end_at) == ("done", NOW)
