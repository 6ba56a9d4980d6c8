"""How sure a cost of delay is, wherever it is shown: defect, price, work order, kiln, plan and the words of the day."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from maintenance.checks.defects import work_order_from_defect
from maintenance.day.run import run_day
from maintenance.models import Plan, PriceOfWaiting, WorkOrder
from maintenance.plans.seen_plan import cost_rows, lead_words
from maintenance.pricing.prefill import proposals
from maintenance.pricing.sureness import kept_sureness, sure_of_orders, sure_of_plan
from plant import clock
from plant.basics.sentences import Sentence
from plant.basics.sentences import typed as as_typed
from plant.models import Mill
from tests.factories import ChargeFactory, DefectFactory, KilnFactory
from tests.maintenance.pricing.test_pricing import page_of, seal, signed_in, typed  # noqa: F401

pytestmark = pytest.mark.django_db


def price_of_seal(client: Client, defect: Any, **changed: Any) -> PriceOfWaiting:
    signed_in(client, "planner")
    told = typed(client, page_of(defect), gap_mm="8", longer_drying_pct="8", is_measured="on", **changed)
    assert client.post(page_of(defect), told).status_code == 302
    kept: PriceOfWaiting = PriceOfWaiting.objects.get()
    return kept


def test_a_typed_guess_is_shown_apart_wherever_the_cost_is(client: Client, seal: Any) -> None:  # noqa: F811
    order = work_order_from_defect(seal, None)
    kept = price_of_seal(client, seal)
    assert kept.is_measured and kept.bound == "estimate"
    assert 0 < kept.sure.physics < kept.sure.assumption
    least, guessed = f"at least {kept.sure.physics:.2f} EUR", f"{kept.sure.assumption:.2f} EUR assumed"
    for page in ("/rounds/defects/", order.get_absolute_url(), f"/kilns/{seal.kiln.tag}/"):
        content = client.get(page).content.decode()
        assert least in content and guessed in content, page
    content = client.get(f"/rounds/defects/{seal.pk}/cost/").content.decode()
    assert f"costs about {kept.cost_per_day} EUR" in content
    assert "no charges tell it yet" in content


def test_what_is_typed_with_a_work_order_is_assumed(seal: Any) -> None:  # noqa: F811
    order = work_order_from_defect(seal, None)
    WorkOrder.objects.filter(pk=order.pk).update(cost_of_delay_per_day=Decimal(30))
    order.refresh_from_db()
    assert sure_of_orders([order])[order.pk].assumption == 30


def test_charges_dried_since_the_defect_was_found_replace_the_guess() -> None:
    kiln, now = KilnFactory(), clock.now()
    for day, hours in [(60, 100), (54, 100), (48, 100), (24, 110), (18, 110), (12, 110)]:
        begin_at = now - timedelta(days=day)
        charge = ChargeFactory(kiln=kiln, begin_at=begin_at, basis="done")
        type(charge).objects.filter(pk=charge.pk).update(end_at=begin_at + timedelta(hours=hours))
    defect = DefectFactory(kiln=kiln, found_at=now - timedelta(days=30))
    told = proposals(defect, "door_gap", now)["longer_drying_pct"]
    assert told.value == 10 and told.charges == 3
    assert "3 charges since it was found, against 3" in told.why


def a_plan(order: WorkOrder, start_min: int) -> Plan:
    """A plan of one job that is due at minute 0 and takes an hour."""
    placed = {"jobs": {order.number: {"start_min": start_min}}, "cost_cents": {"delay": 5000}}
    return Plan(
        state=Plan.State.WORKED_OUT,
        cost_cents=5000,
        problem={"jobs": [{"id": order.number, "duration_min": 60, "due_min": 0}]},
        plan=placed,
        as_it_stood=placed,
        sureness=kept_sureness([order]),
    )


def test_a_plan_says_how_much_of_its_cost_rests_on_assumptions(client: Client, seal: Any) -> None:  # noqa: F811
    order = work_order_from_defect(seal, None)
    kept = price_of_seal(client, seal)
    order.refresh_from_db()
    plan = a_plan(order, 2 * 1440 - 60)
    sure = sure_of_plan(plan, plan.plan)
    assert sure is not None
    # Two days late: twice a day's price.
    assert sure.physics == 2 * kept.sure.physics and sure.assumption == 2 * kept.sure.assumption
    mill = Mill.objects.current()
    assert "rest on assumptions" in lead_words(plan, mill)
    rows = {row.name: row for row in cost_rows(plan)}
    assert rows["of it assumed"].cost == rows["of it assumed"].stood == sure.assumption
    assert rows["of it at least, by physics"].cost == sure.physics
    # What is left of the 50.00 is no price of waiting.
    assert rows["of it for safety dates that pass"].cost == round(50 - sure.total, 2)


def test_a_plan_without_its_prices_says_nothing_about_them() -> None:
    plan = Plan(plan={"jobs": {}}, problem={"jobs": []})
    assert sure_of_plan(plan, plan.plan) is None


def test_the_days_words_say_what_waiting_costs_and_what_of_it_is_assumed(seal: Any) -> None:  # noqa: F811
    order = work_order_from_defect(seal, None)
    WorkOrder.objects.filter(pk=order.pk).update(cost_of_delay_per_day=Decimal(30))
    lines = "\n".join(run_day().lines())
    assert "30 EUR a day; 30 EUR of it rest on assumptions" in lines
    WorkOrder.objects.filter(pk=order.pk).update(cost_of_delay_per_day=0, cost_unknown_why=as_typed("nobody knows"))
    assert "costs cannot be said: here it counts as nothing, which it is not" in "\n".join(run_day().lines())


def test_what_cannot_be_said_is_shown_as_that_and_not_as_nothing(client: Client, seal: Any) -> None:  # noqa: F811
    order = work_order_from_defect(seal, None)
    WorkOrder.objects.filter(pk=order.pk).update(cost_unknown_why=(Sentence.of("price.no_rate"),))
    signed_in(client, "planner")
    for page in (order.get_absolute_url(), "/work-orders/"):
        assert "cannot be said" in client.get(page).content.decode(), page
    WorkOrder.objects.filter(pk=order.pk).update(cost_of_delay_per_day=Decimal(3))
    order.refresh_from_db()
    assert not order.is_cost_unknown
