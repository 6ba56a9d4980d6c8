"""What waiting with a defect costs: worked out on a page, kept with what it rests on, taken over by the work."""

from dataclasses import fields
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from maintenance.checks.defects import work_order_from_defect
from maintenance.losses.price_of_waiting import KINDS
from maintenance.losses.waiting_heat import BarePipe
from maintenance.losses.waiting_loss import Bound, Worth, price
from maintenance.models import Defect, PriceOfWaiting
from maintenance.pricing.forms import PriceForm
from maintenance.pricing.keeping import price_defect
from maintenance.pricing.prefill import CannotBePricedError, cannot_say, price_for, proposals, proposed_loss
from maintenance.pricing.words import BOUND_WHY, HINTS, LABELS, SENTENCES, how_found
from plant import clock
from plant.models import Change, Channel, ChannelDay, FailureMode, Mill
from tests.factories import ChargeFactory, ComponentFactory, ComponentKindFactory, DefectFactory, KilnFactory
from tests.maintenance.mill import BACKEND, a_user

pytestmark = pytest.mark.django_db
WORTH = Worth(Decimal("0.08"), Decimal(45), Decimal(14))


@pytest.fixture
def seal() -> Defect:
    """A torn door seal of K1, which dries spruce."""
    kiln = KilnFactory()
    now = clock.now()
    ChargeFactory(kiln=kiln, begin_at=now - timedelta(days=7), basis="done")
    ChargeFactory(
        kiln=kiln,
        begin_at=now - timedelta(days=1),
        basis="running",
        initial_mc_pct=Decimal(70),
        final_mc_pct=Decimal(18),
    )
    kind = ComponentKindFactory(code="door-seal", name="Main door seal", group="doors", end_view_no=2)
    mode = FailureMode.objects.create(kind=kind, code="door-seal-torn", name="seal torn")
    component = ComponentFactory(kiln=kiln, kind=kind, tag="door-seal", name="door seal")
    defect: Defect = DefectFactory(kiln=kiln, component=component, failure_mode=mode, what="seal torn")
    return defect


def keep(defect: Defect, by: Any, **changed: Any) -> PriceOfWaiting:
    terms = BarePipe(length_m=3)
    told: dict[str, Any] = {
        "key": uuid4(),
        "seen": 0,
        "loss": "bare_pipe",
        "assumptions": {one.name: str(getattr(terms, one.name)) for one in fields(terms)},
        "worth": WORTH,
        "found": price(terms, WORTH),
    }
    return price_defect(defect, by=by, **{**told, **changed})


def signed_in(client: Client, role: str) -> Client:
    client.force_login(a_user(role), backend=BACKEND)
    return client


def typed(client: Client, url: str, **changed: Any) -> dict[str, Any]:
    form = client.get(url).context["form"]
    return {**{name: form[name].value() for name in form.fields}, **changed}


def page_of(defect: Defect) -> str:
    return f"/rounds/defects/{defect.pk}/cost/work-out/"


def test_the_kind_of_loss_is_proposed_and_the_form_is_filled_in(client: Client, seal: Defect) -> None:
    answer = signed_in(client, "kiln_master").get(page_of(seal))
    form = answer.context["form"]
    assert answer.context["loss"] == "door_gap"
    assert form["energy_price_per_kwh"].value() == Decimal("0.08")
    assert Decimal(form["kiln_m3_per_day"].value()) == pytest.approx(Decimal(11), abs=Decimal("1"))
    # Of the last seven days the kiln was hot for most: the phases of its charges tell.
    assert "Mean of the last 60 days of K1" in form.fields["hot_h_per_day"].help_text
    content = answer.content.decode()
    assert "driven by buoyancy alone" in content and "running fans press the air out harder" in content


def test_the_price_follows_what_is_typed(client: Client, seal: Defect) -> None:
    signed_in(client, "planner")
    told = typed(client, page_of(seal), gap_mm="20", hot_h_per_day="10", vented_anyway_pct="0")
    narrow = client.post(page_of(seal), {**told, "preview": "yes"}).context["worked"]
    wide = client.post(page_of(seal), {**told, "gap_mm": "40"}, headers={"HX-Request": "true"})
    assert wide.context["worked"].kwh_per_day == pytest.approx(2 * narrow.kwh_per_day, abs=Decimal("0.1"))
    assert "<html" not in wide.content.decode()
    assert not PriceOfWaiting.objects.exists()


def test_what_cannot_be_is_said_and_nothing_is_kept(client: Client, seal: Defect) -> None:
    signed_in(client, "planner")
    told = typed(client, page_of(seal))
    for changed, said in (
        ({"wet_bulb_c": "70"}, "A wet bulb is never warmer than the dry bulb"),
        ({"wet_bulb_c": "12"}, "even dry air keeps it warmer"),
        ({"gap_mm": "-3"}, "greater than or equal to 0.1"),
        ({"gap_mm": "wide"}, "Write a number"),
        ({"gap_mm": "NaN"}, "Write a number"),
        ({"energy_price_per_kwh": "1e30"}, "Ensure"),
        ({"kiln_m3_per_day": ""}, "required"),
    ):
        answer = client.post(page_of(seal), {**told, **changed})
        assert answer.status_code == 200
        assert said in answer.content.decode()
        assert said in client.post(page_of(seal), {**told, **changed, "preview": "yes"}).content.decode()
    assert not PriceOfWaiting.objects.exists()
    assert client.post(page_of(seal), {}).status_code == 200
    assert client.get(f"{page_of(seal)}?loss=magic").status_code == 404


def test_a_kept_price_becomes_the_cost_of_delay_of_the_defect_and_its_work(client: Client, seal: Defect) -> None:
    signed_in(client, "kiln_master")
    order = work_order_from_defect(seal, None)
    told = typed(client, page_of(seal), gap_mm="12,5", longer_drying_pct="2")
    assert client.post(page_of(seal), told).status_code == 302
    kept = PriceOfWaiting.objects.get()
    seal.refresh_from_db()
    order.refresh_from_db()
    assert kept.assumptions["gap_mm"] == "12.500"
    assert kept.m3_per_day > 0 and kept.kwh_per_day > 0
    assert seal.cost_of_delay_per_day == order.cost_of_delay_per_day == kept.cost_per_day
    assert [change.act for change in Change.objects.about(seal)][-1] == "price of waiting worked out"
    assert [change.act for change in Change.objects.about(order)][-1] == "cost of delay changed"


def test_how_it_was_found_is_one_click_from_every_place_that_shows_it(client: Client, seal: Defect) -> None:
    order = work_order_from_defect(seal, None)
    keep(seal, None)
    signed_in(client, "manager")
    link = f"/rounds/defects/{seal.pk}/cost/"
    for page in ("/rounds/defects/", order.get_absolute_url(), "/work-orders/"):
        assert link in client.get(page).content.decode(), page
    answer = client.get(link)
    content = answer.content.decode()
    assert "A metre of bare pipe gives off 188 W" in content
    assert "Churchill and Chu" in content and "at least" in content
    assert "Length of bare pipe" in content and "3.00 m" in content
    assert "Work it out" not in content


def test_a_cost_that_came_with_the_defect_says_so(client: Client, seal: Defect) -> None:
    Defect.objects.filter(pk=seal.pk).update(cost_of_delay_per_day=Decimal(64))
    signed_in(client, "planner")
    content = client.get(f"/rounds/defects/{seal.pk}/cost/").content.decode()
    assert "64.00 EUR a day was entered with the defect" in content and "Work it out" in content
    Defect.objects.filter(pk=seal.pk).update(cost_of_delay_per_day=0)
    assert "What does waiting cost?" in client.get("/rounds/defects/").content.decode()


@pytest.mark.parametrize("role", ["technician", "storekeeper", "manager", "auditor"])
def test_other_roles_put_no_price(client: Client, seal: Defect, role: str) -> None:
    assert signed_in(client, role).get(page_of(seal)).status_code == 403
    with pytest.raises(PermissionDenied):
        keep(seal, a_user(role))


def test_a_price_sent_twice_is_kept_once(seal: Defect) -> None:
    key, planner = uuid4(), a_user("planner")
    assert keep(seal, planner, key=key) == keep(seal, planner, key=key)
    assert PriceOfWaiting.objects.count() == 1


def test_a_price_worked_out_meanwhile_is_not_written_over_unseen(seal: Defect) -> None:
    planner = a_user("planner")
    first = keep(seal, planner)
    with pytest.raises(ValidationError, match="worked out a price meanwhile"):
        keep(seal, planner)
    assert keep(seal, planner, seen=first.pk).pk > first.pk


def test_a_defect_off_the_list_gets_no_price(client: Client, seal: Defect) -> None:
    Defect.objects.filter(pk=seal.pk).update(cured_at=clock.now())
    with pytest.raises(ValidationError, match="off the list already"):
        keep(seal, a_user("planner"))
    signed_in(client, "planner")
    told = typed(client, page_of(seal))
    assert "off the list already" in client.post(page_of(seal), told).content.decode()


def test_what_was_kept_is_never_rewritten(seal: Defect) -> None:
    keep(seal, None)
    with pytest.raises(DatabaseError, match="add a correcting entry"), transaction.atomic():
        PriceOfWaiting.objects.update(loss="door_gap")


def test_the_next_price_starts_from_the_last_one(client: Client, seal: Defect) -> None:
    kept = keep(seal, None)
    assert proposed_loss(seal) == "bare_pipe"
    found = proposals(seal, "bare_pipe", clock.now())
    assert found["length_m"].value == Decimal(kept.assumptions["length_m"])
    assert "It starts from the price of" in signed_in(client, "planner").get(page_of(seal)).content.decode()


def test_the_fans_and_the_charge_fill_in_the_price_of_a_fan() -> None:
    kiln = KilnFactory()
    fans = [ComponentFactory(kiln=kiln, tag=f"fan-{number}") for number in (1, 2, 3)]
    ChargeFactory(kiln=kiln, begin_at=clock.now(), initial_mc_pct=Decimal(70), final_mc_pct=Decimal(18))
    defect = DefectFactory(kiln=kiln, component=fans[0])
    found = proposals(defect, "less_air", clock.now())
    assert proposed_loss(defect) == "less_air"
    assert found["fans"].value == 3
    assert 40 < (found["above_fibre_saturation_pct"].value or 0) < 90
    assert found["kiln_m3_per_day"].value


def test_readings_fill_in_the_climate_of_a_price(seal: Defect) -> None:
    today = clock.now().date()
    means = {"air_temperature": 64.5, "wet_bulb": 57.2, "outside_temperature": -3.4, "outside_humidity": 81.0}
    for quantity, mean in means.items():
        channel = Channel.objects.create(kiln=seal.kiln, quantity=quantity)
        ChannelDay.objects.bulk_create(
            ChannelDay(channel=channel, day=today - timedelta(days=n), readings=1, marked=0, low=0, mean=mean, high=99)
            for n in range(1, 8)
        )
    found = proposals(seal, "door_gap", clock.now())
    told = [found[name].value for name in ("dry_bulb_c", "wet_bulb_c", "outside_c", "outside_rh_pct")]
    assert [str(value) for value in told] == ["64.5", "57.2", "-3.4", "81.0"]
    assert "by the readings of K1" in found["dry_bulb_c"].why


def dried_at(kiln: Any, mean_c: float) -> None:
    channel = Channel.objects.create(kiln=kiln, quantity="air_temperature")
    ChannelDay.objects.bulk_create(
        ChannelDay(
            channel=channel,
            day=clock.now().date() - timedelta(days=n),
            readings=1,
            marked=0,
            low=0,
            mean=mean_c,
            high=mean_c,
        )
        for n in range(1, 8)
    )


def test_a_hot_kilns_climate_is_filled_in(client: Client, seal: Defect) -> None:
    dried_at(seal.kiln, 112)
    assert proposals(seal, "door_gap", clock.now())["dry_bulb_c"].value == 112
    assert cannot_say(seal.kiln, "door_gap", clock.now()) == ()


def test_a_climate_beyond_what_is_published_is_said_before_anybody_relies_on_it(client: Client, seal: Defect) -> None:
    dried_at(seal.kiln, 121)
    assert proposals(seal, "cold_side", clock.now())["dry_bulb_c"].value == 60
    content = signed_in(client, "planner").get(f"{page_of(seal)}?loss=cold_side").content.decode()
    assert "K1 reads 121 °C, and this can be worked out up to 99 °C" in content
    with pytest.raises(CannotBePricedError) as refused:
        price_for(seal.kiln, seal.component, "cold_side", clock.now())
    assert [one.code for one in refused.value.why] == ["price.too_hot"]
    assert price_for(seal.kiln, seal.component, "door_gap", clock.now()) is not None


def test_a_kiln_without_charges_asks_what_it_dries(client: Client) -> None:
    defect = DefectFactory()
    answer = signed_in(client, "planner").get(page_of(defect))
    assert answer.context["loss"] is None
    answer = client.get(f"{page_of(defect)}?loss=less_air")
    assert answer.status_code == 200
    assert "No charge tells what K1 dries a day" in answer.content.decode()


def test_a_mill_that_reads_fahrenheit_types_fahrenheit(client: Client, seal: Defect) -> None:
    Mill.objects.update(temperature_unit="degF")
    signed_in(client, "planner")
    told = typed(client, page_of(seal), dry_bulb_c="140", wet_bulb_c="131", outside_c="41")
    client.post(page_of(seal), told)
    kept = PriceOfWaiting.objects.get().assumptions
    assert [Decimal(kept[name]) for name in ("dry_bulb_c", "wet_bulb_c", "outside_c")] == [60, 55, 5]
    assert "140.0 °F" in client.get(f"/rounds/defects/{seal.pk}/cost/").content.decode()


@pytest.mark.parametrize("loss", KINDS)
def test_every_kind_has_its_words_and_shows_its_usual_values(client: Client, seal: Defect, loss: str) -> None:
    terms = KINDS[loss]()
    said = how_found(loss, terms, price(terms, WORTH).figures, None)
    assert len(said) >= 2 and "%" not in "".join(said).replace(" %", "")
    assert {one.name for one in fields(terms)} <= set(LABELS)
    answer = signed_in(client, "planner").get(f"{page_of(seal)}?loss={loss}")
    assert answer.context["worked"].cost_per_day > 0


def test_the_tables_of_words_know_what_the_computation_knows() -> None:
    names = {one.name for kind in KINDS.values() for one in fields(kind)}
    assert set(LABELS) == names and set(HINTS) <= names
    assert set(SENTENCES) == set(BOUND_WHY) == set(KINDS) == set(PriceOfWaiting.Loss.values)
    assert {str(bound) for bound in Bound} == set(PriceOfWaiting.Bound.values)


def test_the_form_offers_each_assumption_once(seal: Defect) -> None:
    found = proposals(seal, "door_gap", clock.now())
    form = PriceForm(loss="door_gap", proposals=found, mill=Mill.objects.current(), seen=0)
    shown = [field.name for field in [*form.own_fields, *form.worth_fields]]
    assert sorted([*shown, "key", "seen", "is_measured"]) == sorted(form.fields)
    assert shown[0] == "gap_mm"


def test_the_page_of_many_prices_costs_no_query_for_each(client: Client, seal: Defect) -> None:
    signed_in(client, "planner")
    last = keep(seal, None)
    link = f"/rounds/defects/{seal.pk}/cost/"
    client.get(link)
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(link)
    for _ in range(5):
        last = keep(seal, None, seen=last.pk)
    with CaptureQueriesContext(connection) as many:
        client.get(link)
    assert len(many) == len(few)
