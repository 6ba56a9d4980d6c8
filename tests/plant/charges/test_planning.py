"""A charge is planned, moved, changed and taken out by its page; what follows is shown before, and nothing is lost."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from plant import clock
from plant.charges import planning, telling
from plant.charges.drying_times import drying_times, usual_length
from plant.charges.programme import stand_of
from plant.models import Change, Charge, Kiln, Mill
from plant.warnings import running_bars
from tests.factories import ChargeFactory, KilnFactory, UserFactory
from tests.plant.charges.planned import DAY, HOUR, NOW, dried, field, local, sent, signed_in, spans, user, wish

pytestmark = pytest.mark.django_db
PLAN = "/charges/plan/"


@pytest.fixture(autouse=True)
def _wednesday() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def kiln(db: None) -> Kiln:
    made: Kiln = KilnFactory()
    return made


@pytest.fixture
def ilse(db: None) -> Client:
    return signed_in("kiln_master", "ilse")


def planned(kiln: Kiln, begin_at: Any, days: float = 4, **more: Any) -> Charge:
    made: Charge = ChargeFactory(kiln=kiln, begin_at=begin_at, days=days, **more)
    return made


# its length


def test_the_length_is_that_of_the_kilns_own_charges_and_the_page_says_how_many(kiln: Kiln, ilse: Client) -> None:
    dried(kiln, 5)
    page = ilse.post(PLAN, wish(kiln, NOW + DAY)).content.decode()
    assert "so say 5 charges of spruce that K1 dried" in page
    assert not Charge.objects.filter(number="26-1").exists()
    assert "stands from" in sent(ilse, PLAN, wish(kiln, NOW + DAY))
    charge = Charge.objects.get(number="26-1")
    # Five days, the usual loading and unloading included, give or take what the charges differ by.
    assert abs(charge.end_at - charge.begin_at - 5.1 * DAY) < timedelta(hours=4)
    assert next(phase.kind for phase in charge.phases.order_by("begin_at")) == "loading"
    assert charge.end_spread_h > 0
    # The page of drying times says the same of it.
    coming = drying_times(kiln, NOW).coming[0]
    assert (coming.charge, coming.verdict) == (charge, "apt")


def test_a_kiln_with_too_few_of_its_own_asks_the_others(kiln: Kiln, ilse: Client) -> None:
    dried(kiln, 2)
    other = KilnFactory(tag="K2")
    dried(other, 4, days=6)
    page = ilse.post(PLAN, wish(kiln, NOW + DAY)).content.decode()
    assert "K1 dried too few of spruce to tell, so 4 charges of the other kilns do" in page


def test_where_all_are_too_few_to_tell_the_end_is_typed(kiln: Kiln, ilse: Client) -> None:
    dried(kiln, 4)
    page = ilse.post(PLAN, wish(kiln, NOW + DAY, species="larch")).content.decode()
    assert "Too few charges of larch" in page and "type when it will be out" in page
    sent(ilse, PLAN, wish(kiln, NOW + DAY, species="larch", end_at=local(NOW + 8 * DAY)))
    assert spans(kiln) == [("26-1", NOW + DAY, NOW + 8 * DAY)]


def test_without_its_moisture_no_length_is_proposed_but_one_is_taken(kiln: Kiln, ilse: Client) -> None:
    dried(kiln)
    said = wish(kiln, NOW + DAY, initial_mc_pct="")
    assert "write it, or type when the charge will be out" in sent(ilse, PLAN, said)
    sent(ilse, PLAN, {**said, "end_at": local(NOW + 4 * DAY)})
    assert spans(kiln) == [("26-1", NOW + DAY, NOW + 4 * DAY)]
    # Moved, it keeps its length, and needs no more to be known of it.
    charge = Charge.objects.get(number="26-1")
    page = ilse.get(f"/charges/K1/{charge.pk}/change/?from={(NOW + 2 * DAY).isoformat().replace('+', '%2B')}")
    assert "What follows" in page.content.decode()
    sent(ilse, f"/charges/K1/{charge.pk}/change/", {**said, "begin_at": local(NOW + 2 * DAY)})
    assert spans(kiln) == [("26-1", NOW + 2 * DAY, NOW + 5 * DAY)]


def test_the_end_that_is_proposed_can_be_overruled(kiln: Kiln, ilse: Client) -> None:
    dried(kiln)
    sent(ilse, PLAN, wish(kiln, NOW + DAY, end_at=local(NOW + 9 * DAY)))
    assert spans(kiln) == [("26-1", NOW + DAY, NOW + 9 * DAY)]
    charge = Charge.objects.get(number="26-1")
    assert {phase.kind: phase.end_at - phase.begin_at for phase in charge.phases.all()}["loading"] == 2 * HOUR
    page = sent(ilse, PLAN, wish(kiln, NOW + 20 * DAY, number="26-2", end_at=local(NOW + 20 * DAY + 5 * HOUR)))
    assert "all else but drying usually take 28 h" in page


def test_as_many_queries_tell_a_length_from_many_charges_as_from_few(kiln: Kiln) -> None:
    def asked() -> int:
        wanted = Charge(kiln=kiln, species="spruce", thickness_mm=50, initial_mc_pct=70, final_mc_pct=12)
        with CaptureQueriesContext(connection) as queries:
            assert usual_length(kiln, wanted, NOW)
        return len(queries)

    dried(kiln, 3)
    few = asked()
    dried_before = NOW - 100 * DAY
    for n in range(10):
        ChargeFactory(kiln=kiln, begin_at=dried_before - n * 8 * DAY, basis="done", initial_mc_pct=70, final_mc_pct=12)
    assert asked() == few


# what gives way


def test_what_follows_is_shown_before_who_gives_way_by_how_much_and_which_promise_breaks(
    kiln: Kiln, ilse: Client
) -> None:
    first = planned(kiln, NOW + 3 * DAY, promised_at=NOW + 7 * DAY, late_cost_per_h=Decimal("12.50"))
    second = planned(kiln, NOW + 8 * DAY)
    third = planned(kiln, NOW + 14 * DAY)
    said = wish(kiln, NOW + DAY, end_at=local(NOW + 5 * DAY))
    page = " ".join(ilse.post(PLAN, said).content.decode().split())
    assert "2 charges behind it give way" in page
    assert f"<b>{first.number}</b>: begins" in page and "48.0 h later" in page
    assert "misses its promise" in page and "48.0 h more of delay" in page and "600" in page
    assert third.number not in page
    assert spans(kiln)[0][1] == NOW + 3 * DAY, "looking moves nothing"
    sent(ilse, PLAN, said)
    # A day was free between first and second: it is used up first.
    assert [(number, begin) for number, begin, _end in spans(kiln)] == [
        ("26-1", NOW + DAY),
        (first.number, NOW + 5 * DAY),
        (second.number, NOW + 9 * DAY),
        (third.number, NOW + 14 * DAY),
    ]
    assert Change.objects.about(first).last().act == "gave way to another charge"


def test_a_promise_of_its_own_that_cannot_be_kept_is_shown_with_what_it_costs(kiln: Kiln, ilse: Client) -> None:
    promise = {"promised_at": local(NOW + 4 * DAY), "late_cost_per_h": "2,50"}
    page = " ".join(
        ilse.post(PLAN, wish(kiln, NOW + DAY, end_at=local(NOW + 5 * DAY), **promise)).content.decode().split()
    )
    assert "It is out 24.0 h after it was promised for: 60 EUR" in page
    sent(ilse, PLAN, wish(kiln, NOW + DAY, end_at=local(NOW + 5 * DAY), **promise))
    charge = Charge.objects.get()
    assert (charge.promised_at, charge.late_cost_per_h) == (NOW + 4 * DAY, Decimal("2.50"))
    assert Change.objects.about(charge).get().after["cost_of_an_hour_late"] == "2.50"


@pytest.mark.parametrize("basis", ["running", "done"])
def test_what_has_begun_gives_way_to_nothing(kiln: Kiln, ilse: Client, basis: str) -> None:
    inside = planned(kiln, NOW - 2 * DAY, basis=basis)
    page = sent(ilse, PLAN, wish(kiln, NOW + DAY, end_at=local(NOW + 4 * DAY)))
    assert f"K1 holds {inside.number}" in page and "it is in the kiln by the record" in page
    assert "This charge can begin on Fri 6 Mar 07:00" in page
    assert Charge.objects.count() == 1


def test_what_somebody_told_is_not_moved_by_a_plan(kiln: Kiln, ilse: Client) -> None:
    told = planned(kiln, NOW + 2 * DAY)
    telling.tell(told, "expected", NOW + 3 * DAY, key=uuid4(), by=user("ilse"))
    was = spans(kiln)
    page = sent(ilse, PLAN, wish(kiln, NOW + DAY, end_at=local(NOW + 4 * DAY)))
    assert "somebody told when it is expected, so it stays" in page
    address = f"/charges/K1/{told.pk}/change/"
    page = ilse.post(address, wish(kiln, NOW + 9 * DAY, number=told.number), follow=True).content.decode()
    assert "take that back first" in page
    assert spans(kiln) == was


def test_no_charge_begins_while_somebody_is_inside(kiln: Kiln, ilse: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def somebody(kilns: Any) -> dict[int, Any]:
        return {one.pk: running_bars.RunningBar(("Una",), NOW, NOW, "", "Bring everybody out.") for one in kilns}

    monkeypatch.setattr(running_bars, "_sources", [somebody])
    page = sent(ilse, PLAN, wish(kiln, NOW + HOUR / 2, end_at=local(NOW + 3 * DAY)))
    assert "Inside K1: Una" in page
    assert not Charge.objects.exists()
    sent(ilse, PLAN, wish(kiln, NOW + 2 * HOUR, end_at=local(NOW + 3 * DAY)))
    assert Charge.objects.exists()


# moved, changed, copied, taken out


def test_a_charge_is_moved_to_another_kiln_and_keeps_its_length(kiln: Kiln, ilse: Client) -> None:
    dried(kiln)
    charge, other = planned(kiln, NOW + 2 * DAY, initial_mc_pct=70, final_mc_pct=12), KilnFactory(tag="K2")
    behind = planned(other, NOW + 6 * DAY)
    address = f"/charges/K1/{charge.pk}/change/"
    assert field(ilse.get(address).content.decode(), "number") == charge.number
    page = sent(ilse, address, wish(other, NOW + 4 * DAY, number=charge.number, end_at=local(NOW + 8 * DAY)))
    assert f"K2: {charge.number} stands from" in page
    assert spans(kiln) == []
    assert [(number, begin) for number, begin, _end in spans(other)] == [
        (charge.number, NOW + 4 * DAY),
        (behind.number, NOW + 8 * DAY),
    ]
    last = Change.objects.about(charge).last()
    assert (last.act, last.before["kiln"], last.after["kiln"]) == ("moved", "K1", "K2")


def test_a_charge_moved_within_its_kiln_keeps_its_phases_and_none_is_drawn_forward(kiln: Kiln, ilse: Client) -> None:
    charge = planned(kiln, NOW + 2 * DAY, initial_mc_pct=70, final_mc_pct=12)
    behind = planned(kiln, NOW + 20 * DAY)
    lengths = [span.end_at - span.begin_at for span in stand_of(charge).times.spans]
    sent(ilse, f"/charges/K1/{charge.pk}/change/", wish(kiln, NOW + 3 * DAY, number=charge.number))
    moved = Charge.objects.get(pk=charge.pk)
    assert (moved.begin_at, moved.end_at) == (NOW + 3 * DAY, NOW + 7 * DAY)
    assert [span.end_at - span.begin_at for span in stand_of(moved).times.spans] == lengths
    assert spans(kiln)[1] == (behind.number, NOW + 20 * DAY, NOW + 24 * DAY)


def test_the_only_kiln_is_chosen_already_and_of_several_none(kiln: Kiln, ilse: Client) -> None:
    assert ilse.get(PLAN).context["form"].initial["kiln"] == kiln.tag
    KilnFactory(tag="K2")
    assert "kiln" not in ilse.get(PLAN).context["form"].initial


def test_one_like_another_is_planned_at_the_next_free_time(kiln: Kiln, ilse: Client) -> None:
    inside = planned(kiln, NOW - DAY, basis="running", number="26-118")
    planned(kiln, NOW + 4 * DAY, number="26-119")
    page = ilse.get(f"{PLAN}?like={inside.pk}").content.decode()
    # A day between the two is too short for four.
    assert field(page, "begin_at") == local(NOW + 8 * DAY)
    assert (field(page, "number"), field(page, "species")) == ("26-120", "spruce")
    other = KilnFactory(tag="K2")
    page = ilse.get(f"{PLAN}?like={inside.pk}&kiln={other.tag}").content.decode()
    assert field(page, "begin_at") == local(NOW + HOUR / 4)


def test_a_charge_is_taken_out_with_a_reason_and_nothing_of_it_is_lost(kiln: Kiln, ilse: Client) -> None:
    charge = planned(kiln, NOW + 2 * DAY)
    word = telling.tell(charge, "expected", NOW + 3 * DAY, key=uuid4(), by=user("ilse"))
    telling.take_back(word, key=uuid4(), by=user("ilse"), why="that was K2")
    address = f"/charges/K1/{charge.pk}/take-out/"
    seen = field(ilse.get(address).content.decode(), "seen")
    assert "Say why in a sentence" in ilse.post(address, {"why": "no", "seen": seen}).content.decode()
    page = ilse.post(address, {"why": "The customer wants it green", "seen": seen}, follow=True).content.decode()
    assert "is taken out of the programme of K1" in page and "Plan it again" in page
    assert spans(kiln) == []
    kept = Charge.ever.get(pk=charge.pk)
    assert (kept.phases.count(), kept.words.count()) == (6, 2)
    assert Change.objects.about(kept).last().note == "The customer wants it green"
    assert Change.objects.about(kiln).last().note == "The customer wants it green"
    # Its place and its number are free again.
    planned(kiln, NOW + 2 * DAY, number=kept.number)
    assert f"{kept.number} was taken out" in sent(
        ilse, f"/charges/K1/{charge.pk}/take-out/", {"why": "The customer wants it green", "seen": seen}
    )


def test_nobody_types_a_reason_to_take_out_what_has_begun(kiln: Kiln, ilse: Client) -> None:
    charge = planned(kiln, NOW - DAY, basis="running")
    answer = ilse.get(f"/charges/K1/{charge.pk}/take-out/", follow=True)
    assert answer.redirect_chain[-1][0] == charge.get_absolute_url()
    assert "has begun on" in answer.content.decode()


# bad input


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"thickness_mm": 2}, "Boards are between 5 and 300 mm thick"),
        ({"volume_m3": "0"}, "Write a volume above 0"),
        ({"volume_m3": "9000"}, "K1 holds"),
        ({"volume_m3": "much"}, "Write a number, such as 12 or 2.5"),
        ({"initial_mc_pct": "700"}, "between 1 and 250 %"),
        ({"initial_mc_pct": "20", "final_mc_pct": "30"}, "with 20 % is not dried to 30 %: write less"),
        ({"final_mc_pct": "0"}, "between 1 and 60 %"),
        ({"begin_at": NOW - HOUR}, "has gone by. Give a begin that lies ahead"),
        ({"end_at": NOW + HOUR}, "It cannot be out before it is loaded"),
        ({"late_cost_per_h": "-1", "promised_at": NOW + DAY}, "write 0 or more"),
        ({"late_cost_per_h": "5"}, "Say for when it is promised"),
        ({"kiln": "K9"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_said_with_how_to_mend_it(kiln: Kiln, ilse: Client, typed: dict[str, Any], said: str) -> None:
    typed = {name: local(value) if name.endswith("_at") else value for name, value in typed.items()}
    page = sent(ilse, PLAN, {**wish(kiln, NOW + DAY, end_at=local(NOW + 6 * DAY)), **typed})
    assert said in page
    assert not Charge.objects.exists()


def test_a_number_stands_once_in_a_kilns_programme(kiln: Kiln, ilse: Client) -> None:
    planned(kiln, NOW + 9 * DAY, number="26-1")
    page = sent(ilse, PLAN, wish(kiln, NOW + DAY, end_at=local(NOW + 3 * DAY)))
    assert "K1 has a charge 26-1 already" in page


def test_a_form_sent_twice_plans_once(kiln: Kiln, ilse: Client) -> None:
    said = wish(kiln, NOW + DAY, end_at=local(NOW + 3 * DAY))
    seen = field(ilse.post(PLAN, said).content.decode(), "seen")
    for _ in range(2):
        ilse.post(PLAN, {**said, "seen": seen})
    assert Charge.objects.count() == 1


# two people at once


def test_of_two_who_plan_the_same_kiln_the_second_looks_at_what_follows_now(kiln: Kiln, ilse: Client) -> None:
    oda = signed_in("planner", "oda")
    mine = wish(kiln, NOW + DAY, end_at=local(NOW + 4 * DAY), key=str(uuid4()))
    hers = {**mine, "number": "26-2", "key": str(uuid4())}
    seen = [field(client.post(PLAN, said).content.decode(), "seen") for client, said in ((ilse, mine), (oda, hers))]
    ilse.post(PLAN, {**mine, "seen": seen[0]})
    page = oda.post(PLAN, {**hers, "seen": seen[1]}).content.decode()
    # Hers is to begin where his begins: his gives way, and she is shown that before anything happens.
    assert "1 charge behind it gives way" in page
    assert [number for number, _begin, _end in spans(kiln)] == ["26-1"]
    oda.post(PLAN, {**hers, "seen": field(page, "seen")})
    assert [number for number, _begin, _end in spans(kiln)] == ["26-2", "26-1"]


def test_the_act_refuses_what_was_shown_otherwise_and_who_may_not(kiln: Kiln) -> None:
    wanted = Charge(kiln=kiln, number="1", species="spruce", thickness_mm=50, volume_m3=Decimal(5))
    times = stand_of(planned(kiln, NOW + 9 * DAY)).times.later(-7 * DAY)
    outcome = planning.look(wanted, times)
    with pytest.raises(PermissionDenied):
        planning.keep(wanted, times, seen=outcome.mark, key=uuid4(), by=UserFactory(role="technician"))
    planned(kiln, NOW + 2 * DAY, days=2)
    with pytest.raises(ValidationError, match="was changed meanwhile"):
        planning.keep(wanted, times, seen=outcome.mark, key=uuid4(), by=None)


def test_the_database_lets_no_two_planned_charges_share_a_kiln_but_those_taken_out(kiln: Kiln) -> None:
    charge = planned(kiln, NOW + DAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        planned(kiln, NOW + 2 * DAY)
    Charge.objects.filter(pk=charge.pk).update(taken_out_at=clock.now())
    planned(kiln, NOW + 2 * DAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        Charge.ever.filter(pk=charge.pk).update(taken_out_at=None)


# the yard's hours


def test_a_time_at_which_the_yard_does_not_work_is_taken_only_with_an_answer(kiln: Kiln, ilse: Client) -> None:
    day = ["06:00", "14:00"]
    Mill.objects.update(yard_hours=[day, day, day, day, day, None, None])
    dried(kiln)
    saturday = NOW + 3 * DAY
    said = wish(kiln, saturday, end_at=local(saturday + 5 * DAY))
    page = ilse.post(PLAN, said).content.decode()
    assert "The yard does not load at Sat" in page and "It works again from Mon" in page
    assert 'name="is_outside_meant"' in page
    sent(ilse, PLAN, {**said, "is_outside_meant": "on"})
    assert spans(kiln) == [("26-1", saturday, saturday + 5 * DAY)]


def test_unloading_is_proposed_for_when_the_yard_works(kiln: Kiln, ilse: Client) -> None:
    dried(kiln)
    Mill.objects.update(yard_hours=[["06:00", "14:00"], *[None] * 6])
    monday = NOW + 5 * DAY
    sent(ilse, PLAN, wish(kiln, monday))
    unloading = Charge.objects.get(number="26-1").phases.get(kind="unloading")
    # Five days after a Monday is a Saturday: the Monday after, at 6 by the mill's clock. Out at 8, and loaded again.
    assert local(unloading.begin_at) == local(monday + 7 * DAY).replace("T07", "T06")
    assert field(ilse.get(f"{PLAN}?kiln=K1").content.decode(), "begin_at") == local(unloading.end_at)
    assert local(unloading.end_at).endswith("T08:00")


def test_what_gives_way_to_a_plan_is_loaded_when_the_yard_works(kiln: Kiln, ilse: Client) -> None:
    Mill.objects.update(yard_hours=[["06:00", "14:00"]] * 5 + [None, None])
    behind = planned(kiln, NOW + 2 * DAY)
    friday_night = NOW + 2 * DAY + 14 * HOUR
    said = wish(kiln, NOW + DAY, end_at=local(friday_night), is_outside_meant="on")
    sent(ilse, PLAN, said)
    behind.refresh_from_db()
    assert local(behind.begin_at) == local(NOW + 5 * DAY).replace("T07", "T06")
