"""What is told of a charge lets no kiln run while somebody is inside: not by the act, not by its page."""

from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from maintenance.entry import door
from plant import clock
from plant.charges import planning, telling
from plant.charges.programme import stand_of
from plant.models import Charge, ChargeWord, Kiln, User
from tests.factories import ChargeFactory, KilnFactory
from tests.maintenance.mill import a_person, a_user, opened, shut, signed_in

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def master(db: None) -> User:
    return a_user("kiln_master", "ilse")


def inside(kiln: Kiln, master: User) -> None:
    permit = opened(kiln, master)
    door.go_in(permit, a_person("una"), by=master, key=uuid4(), is_own_lock_on=True)


def started(kiln: Kiln, master: User) -> Callable[[], object]:
    charge = ChargeFactory(kiln=kiln, begin_at=clock.now())
    return lambda: telling.tell(charge, "started", clock.now(), key=uuid4(), by=master)


def put_back_into_the_kiln(kiln: Kiln, master: User) -> Callable[[], object]:
    charge = ChargeFactory(kiln=kiln, begin_at=clock.now() - 116 * HOUR, basis="running")
    word = telling.tell(charge, "unloaded", clock.now() - HOUR, key=uuid4(), by=master)
    return lambda: telling.take_back(word, key=uuid4(), by=master, why="that was K2")


def opened_later_than_was_told(kiln: Kiln, master: User) -> Callable[[], object]:
    charge = ChargeFactory(kiln=kiln, begin_at=clock.now() - 116 * HOUR, basis="running")
    word = telling.tell(charge, "opened", clock.now() - 2 * HOUR, key=uuid4(), by=master)
    return lambda: telling.correct(word, clock.now() - HOUR, key=uuid4(), by=master, why="an hour later")


@pytest.mark.parametrize("way", [started, put_back_into_the_kiln, opened_later_than_was_told])
def test_nothing_told_of_a_charge_makes_the_kiln_run_while_somebody_is_inside(
    master: User, way: Callable[[Kiln, User], Callable[[], object]]
) -> None:
    kiln = KilnFactory()
    tell = way(kiln, master)
    inside(kiln, master)
    before = list(Charge.objects.values()), ChargeWord.objects.count()
    with pytest.raises(ValidationError, match="Inside K1: Una"):
        tell()
    assert (list(Charge.objects.values()), ChargeWord.objects.count()) == before
    # The walk can fail: with nobody inside it goes through.
    shut(kiln, master)
    tell()
    assert ChargeWord.objects.count() == before[1] + 1


def test_the_page_refuses_it_too_and_says_who_is_inside(master: User, client: Client) -> None:
    kiln = KilnFactory()
    charge = ChargeFactory(kiln=kiln, begin_at=clock.now())
    inside(kiln, master)
    now = timezone.localtime(clock.now()).strftime("%Y-%m-%dT%H:%M")
    page = signed_in(client, master).post(
        f"/charges/{kiln.tag}/{charge.pk}/started/", {"at": now, "key": str(uuid4()), "why": ""}
    )
    assert page.status_code == 200
    assert "Inside K1: Una" in page.content.decode()
    assert Charge.objects.get().basis == "planned"


# What is only expected


def expected(charge: Charge, master: User, in_h: float) -> ChargeWord:
    return telling.tell(charge, "expected", minute_in(in_h), key=uuid4(), by=master)


def minute_in(hours: float) -> datetime:
    return clock.now().replace(second=0, microsecond=0) + hours * HOUR


def test_a_start_is_not_expected_while_people_may_be_inside(master: User) -> None:
    """Loading takes two hours: expected in 1 h it would be loaded now, in 3.5 h heated under the permit."""
    kiln = KilnFactory()
    charge = ChargeFactory(kiln=kiln, begin_at=minute_in(30))
    inside(kiln, master)
    before = list(Charge.objects.values())
    with pytest.raises(ValidationError, match="Inside K1: Una"):
        expected(charge, master, 1)
    with pytest.raises(ValidationError, match=r"Inside K1: Una.*people may be inside until .* by the permit"):
        expected(charge, master, 3.5)
    assert (list(Charge.objects.values()), ChargeWord.objects.count()) == (before, 0)
    expected(charge, master, 4.5)
    shut(kiln, master)
    assert expected(charge, master, 1).what == "expected"


def test_a_start_that_was_put_off_is_not_drawn_forward_again_over_people(master: User) -> None:
    kiln = KilnFactory()
    charge = ChargeFactory(kiln=kiln, begin_at=minute_in(0.5))
    word = expected(charge, master, 30)
    inside(kiln, master)
    with pytest.raises(ValidationError, match="Inside K1: Una"):
        telling.take_back(word, key=uuid4(), by=master, why="it comes tonight after all")
    shut(kiln, master)
    telling.take_back(word, key=uuid4(), by=master, why="it comes tonight after all")
    assert Charge.objects.get().begin_at == minute_in(0.5)


def test_a_plan_heats_no_kiln_before_everybody_is_to_be_out(master: User) -> None:
    kiln = KilnFactory()
    charge = ChargeFactory(kiln=kiln, begin_at=minute_in(30))
    inside(kiln, master)
    times = stand_of(charge).times
    with pytest.raises(ValidationError, match="people may be inside until"):
        planning.look(charge, times.later(-28.5 * HOUR))
    assert planning.look(charge, times.later(-27.5 * HOUR)).gave_way == ()
