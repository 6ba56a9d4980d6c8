"""What other programs and files say of charges is taken, or stands beside what a person said; nobody goes in by it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import ValidationError

from plant.charges import planning, telling
from plant.charges.calculations.told import ChargeTimes
from plant.charges.claims import disagreements
from plant.charges.claims_page import answer
from plant.charges.heard import Heard, HeardCharge, NotHeardError, ToldThere, hear
from plant.kilns.kilns_now import kilns_now
from plant.models import Charge, ChargeClaim, ChargeWord, Kiln, User
from tests.factories import MONDAY, ChargeFactory, KilnFactory, UserFactory
from tests.plant.charges.planned import local, signed_in

HOUR = timedelta(hours=1)
DAY = 24 * HOUR
NOW = MONDAY + 2 * DAY
TIMBER = {"species": "spruce", "thickness_mm": 50, "volume_m3": 55}


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


def said(number: str, begin_at: datetime | None = None, days: float = 4, *told: ToldThere, **facts: Any) -> HeardCharge:
    end_at = begin_at + days * DAY if begin_at else None
    return HeardCharge("K1", number, facts, begin_at, end_at, told)


def heard(*charges: HeardCharge, source: str = "planner") -> Heard:
    return hear(charges, source)


def planned_by(kiln: Kiln, begin_at: datetime, by: User, number: str = "26-1") -> Charge:
    wanted = Charge(kiln=kiln, number=number, **TIMBER)
    times = ChargeTimes(begin_at, begin_at + 4 * DAY)
    return planning.keep(wanted, times, seen=planning.look(wanted, times).mark, key=uuid4(), by=by)


def refused(*charges: HeardCharge) -> list[tuple[int, str]]:
    before = list(Charge.ever.values_list("number", "begin_at", "basis")), ChargeWord.objects.count()
    with pytest.raises(NotHeardError) as refusal:
        heard(*charges)
    assert (list(Charge.ever.values_list("number", "begin_at", "basis")), ChargeWord.objects.count()) == before
    return list(refusal.value.faults)


def shown(kiln: Kiln) -> list[tuple[tuple[str, str, str], ...]]:
    return [one.rows for one in disagreements([kiln]).get(kiln.pk, [])]


def begin(number: str = "26-1") -> datetime:
    at: datetime = Charge.objects.get(number=number).begin_at
    return at


# planned


def test_a_charge_is_planned_once_and_follows_its_source(kiln: Kiln) -> None:
    one = said("26-1", NOW + DAY, **TIMBER)
    assert heard(one).planned == 1
    assert (heard(one).known, Charge.objects.count()) == (1, 1)
    assert heard(said("26-1", NOW + 2 * DAY, **TIMBER)).changed == 1
    assert begin() == NOW + 2 * DAY
    assert shown(kiln) == []


def test_all_of_a_message_or_nothing_and_every_fault_by_its_place(kiln: Kiln) -> None:
    faults = refused(
        said("26-1", NOW + DAY, **TIMBER),
        HeardCharge("K9", "26-2", TIMBER),
        said("26-3", None, 0, ToldThere("opened", NOW)),
        said("26-4", NOW - DAY, **TIMBER),
        said("26-5", NOW + DAY, **{**TIMBER, "volume_m3": 5000}),
        said("26-6", NOW + 20 * DAY, -1, **TIMBER),
    )
    assert [place for place, _what in faults] == [1, 2, 3, 4, 5]
    for (_place, what), words in zip(
        faults,
        ("No kiln “K9”", "send this too: species", "has gone by", "at most", "cannot be out before"),
        strict=True,
    ):
        assert words in what


def test_what_a_person_planned_stands_and_theirs_is_beside_it(kiln: Kiln, ilse: User) -> None:
    charge = planned_by(kiln, NOW + DAY, ilse)
    theirs = said("26-1", NOW + 2 * DAY, **{**TIMBER, "thickness_mm": 38})
    assert heard(theirs).differing == 1
    assert (heard(theirs).differing, ChargeClaim.objects.count()) == (1, 1)
    assert begin() == NOW + DAY
    ((thickness, *_times),) = shown(kiln)
    assert thickness == ("thickness in mm", "50", "38")
    page = signed_in("planner").get("/charges/").content.decode()
    assert "Take what" in page
    assert answer(ChargeClaim.objects.get(), is_theirs=True, by=ilse)
    charge.refresh_from_db()
    assert (charge.begin_at, charge.thickness_mm) == (NOW + 2 * DAY, 38)
    # From then on the source leads it.
    assert heard(said("26-1", NOW + 3 * DAY)).changed == 1


def test_ours_is_kept_and_the_same_is_not_asked_again_but_something_else_is(kiln: Kiln, ilse: User) -> None:
    planned_by(kiln, NOW + DAY, ilse)
    heard(said("26-1", NOW + 2 * DAY))
    assert answer(ChargeClaim.objects.get(), is_theirs=False, by=ilse)
    assert not answer(ChargeClaim.objects.get(), is_theirs=True, by=ilse)
    heard(said("26-1", NOW + 2 * DAY))
    assert shown(kiln) == []
    heard(said("26-1", NOW + 3 * DAY))
    heard(said("26-1", NOW + 5 * DAY), source="other")
    assert len(shown(kiln)) == 2
    assert begin() == NOW + DAY


def test_a_charge_that_a_person_took_out_is_not_planned_again_unasked(kiln: Kiln, ilse: User) -> None:
    heard(said("26-1", NOW + DAY, **TIMBER))
    charge = Charge.objects.get()
    planning.take_out(charge, seen=planning.mark_of(charge), by=ilse, why="The customer does not want it.")
    assert heard(said("26-1", NOW + DAY, **TIMBER)).differing == 1
    assert not Charge.objects.exists()
    assert answer(ChargeClaim.objects.get(), is_theirs=True, by=ilse)
    assert begin() == NOW + DAY


# told


def test_what_a_program_tells_moves_the_programme_and_lets_nobody_in(kiln: Kiln) -> None:
    charge = ChargeFactory(kiln=kiln, begin_at=NOW - 4 * DAY + 3 * HOUR, basis="running", days=4, number="26-1")
    before = kilns_now([kiln], NOW)[0]
    assert heard(said("26-1", None, 0, ToldThere("opened", NOW - HOUR))).told == 1
    assert heard(said("26-1", None, 0, ToldThere("opened", NOW - HOUR))).known == 1
    # The same source knows better a little later.
    assert heard(said("26-1", None, 0, ToldThere("opened", NOW - HOUR / 2))).told == 1
    after = kilns_now([kiln], NOW)[0]
    assert after.state != before.state
    assert (after.told, after.is_shut) == (before.told, before.is_shut)
    assert "said by planner" in signed_in("planner").get(charge.get_absolute_url()).content.decode()


def test_what_a_person_told_stands_and_the_program_is_beside_it(kiln: Kiln, ilse: User) -> None:
    charge = ChargeFactory(kiln=kiln, begin_at=NOW - 5 * HOUR, days=4, number="26-1")
    telling.tell(charge, "started", NOW - 2 * HOUR, key=uuid4(), by=ilse)
    assert heard(said("26-1", None, 0, ToldThere("started", NOW - 2 * HOUR + HOUR / 6))).known == 1
    assert heard(said("26-1", None, 0, ToldThere("started", NOW - 4 * HOUR))).differing == 1
    assert [row[0] for (row,) in shown(kiln)] == ["loaded and started"]
    assert answer(ChargeClaim.objects.get(), is_theirs=True, by=ilse)
    word = ChargeWord.objects.that_count().get()
    assert (word.at, word.by, word.is_by_people) == (NOW - 4 * HOUR, ilse, True)


def test_opened_while_it_dries_by_the_record_waits_for_a_person(kiln: Kiln) -> None:
    ChargeFactory(kiln=kiln, begin_at=NOW - 2 * DAY, basis="running", days=4, number="26-1")
    assert heard(said("26-1", None, 0, ToldThere("opened", NOW - HOUR))).differing == 1
    assert not ChargeWord.objects.exists()
    assert shown(kiln)[0][0][:2] == ("opened", "not told")


def test_a_message_from_the_future_is_refused(kiln: Kiln) -> None:
    ChargeFactory(kiln=kiln, begin_at=NOW - 5 * HOUR, days=4, number="26-1")
    ((place, what),) = refused(said("26-1", None, 0, ToldThere("started", NOW + HOUR)))
    assert (place, "lies ahead" in what) == (0, True)


def test_who_may_not_plan_does_not_take_a_plan(kiln: Kiln, ilse: User) -> None:
    planned_by(kiln, NOW + DAY, ilse)
    heard(said("26-1", NOW + 2 * DAY))
    claim = ChargeClaim.objects.get()
    per = signed_in("technician")
    assert "Take what" not in per.get("/charges/").content.decode()
    assert per.post(f"/charges/K1/claims/{claim.pk}/", {"answer": "theirs"}).status_code == 403
    kept = signed_in("planner", "oda").post(f"/charges/K1/claims/{claim.pk}/", {"answer": "ours"}, follow=True)
    assert "What was on record stays" in kept.content.decode()


def test_theirs_that_can_no_longer_be_is_refused_with_the_reason(kiln: Kiln, ilse: User) -> None:
    planned_by(kiln, NOW + DAY, ilse)
    heard(said("26-1", NOW + HOUR))
    with time_machine.travel(NOW + 3 * HOUR, tick=False), pytest.raises(ValidationError, match="has gone by"):
        answer(ChargeClaim.objects.get(), is_theirs=True, by=ilse)
    assert ChargeClaim.objects.get().answer == "open"


def test_theirs_that_asks_for_a_reason_leads_to_the_form_with_their_time(kiln: Kiln) -> None:
    charge = ChargeFactory(kiln=kiln, begin_at=NOW - 2 * DAY, basis="running", days=4, number="26-1")
    heard(said("26-1", None, 0, ToldThere("opened", NOW - 3 * HOUR)))
    ilse = signed_in("kiln_master")
    page = ilse.post(f"/charges/K1/claims/{ChargeClaim.objects.get().pk}/", {"answer": "theirs"}, follow=True)
    assert page.redirect_chain[0][0].startswith(f"/charges/K1/{charge.pk}/opened/?at=")
    assert "Say why in a sentence" in page.content.decode()
    assert local(NOW - 3 * HOUR) in page.content.decode()
    for nonsense in ("yesterday", "2026-11-30", "9999-12-31T00:00:00+00:00"):
        assert ilse.get(f"/charges/K1/{charge.pk}/opened/", {"at": nonsense}).status_code == 200


def test_whoever_takes_theirs_of_an_open_door_is_told_that_nobody_goes_in_by_it(kiln: Kiln) -> None:
    ChargeFactory(kiln=kiln, begin_at=NOW - 2 * DAY, basis="running", days=4, number="26-1")
    heard(said("26-1", None, 0, ToldThere("opened", NOW - HOUR)))
    assert "Take it only if you saw it" in signed_in("technician").get("/charges/").content.decode()
