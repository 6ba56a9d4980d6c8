"""Where the programme takes jobs their place, a plan is wanted by itself, once, and waits for the planner."""

from datetime import timedelta
from typing import Any

import pytest

from maintenance.models import Plan, WorkOrder
from maintenance.plans.accepting import set_aside, want_plan
from maintenance.plans.mending import want_plan_that_mends
from maintenance.plans.placing_all import place_all
from plant.basics.sentences import typed
from plant.charges.shifting import Shift, shift_charges
from tests.factories import MONDAY
from tests.maintenance.placing_mill import job, on_shift, programme

pytestmark = pytest.mark.django_db
NOW = MONDAY + timedelta(hours=1)
LATER = NOW + timedelta(minutes=20)


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plant.clock.now", lambda: NOW)


@pytest.fixture
def placed() -> WorkOrder:
    programme()
    on_shift()
    order = job()
    place_all(NOW)
    order.refresh_from_db()
    return order


def slips(order: WorkOrder) -> None:
    longer = {order.placement.after_charge_id: Shift(interrupted_at=NOW, longer=timedelta(days=2))}
    shift_charges(order.kiln, longer, why=typed("fog"), by=None)


def worked_out(plan: Plan) -> None:
    told: dict[str, Any] = {"state": Plan.State.WORKED_OUT, "cost_cents": 0, "base_at": NOW}
    Plan.objects.filter(pk=plan.pk).update(**told)


def test_nothing_is_wanted_while_all_places_hold(placed: WorkOrder) -> None:
    assert want_plan_that_mends(NOW) is None


def test_a_charge_that_takes_longer_wants_one_plan_that_names_the_jobs(placed: WorkOrder) -> None:
    slips(placed)
    plan = want_plan_that_mends(NOW)
    assert plan is not None
    assert (plan.name, plan.mends, plan.wanted_by) == (f"New places for {placed.number}", [placed.number], None)
    worked_out(plan)
    assert want_plan_that_mends(LATER) is None


def test_what_the_planner_set_aside_is_not_asked_again_but_another_loss_is(placed: WorkOrder) -> None:
    slips(placed)
    plan = want_plan_that_mends(NOW)
    assert plan is not None
    worked_out(plan)
    set_aside(plan, by=None)
    assert want_plan_that_mends(LATER) is None
    Plan.objects.update(mends=["WO-9999"])
    assert want_plan_that_mends(LATER) is not None


def test_a_plan_that_somebody_wanted_after_the_loss_answers_for_it(placed: WorkOrder) -> None:
    slips(placed)
    worked_out(want_plan(by=None))
    assert want_plan_that_mends(LATER) is None


def test_one_that_was_wanted_before_the_loss_does_not_nor_what_supposes_something(placed: WorkOrder) -> None:
    worked_out(want_plan(by=None))
    slips(placed)
    what_if = want_plan(suppositions=[{"kind": "away"}], by=None)
    assert what_if.mends == []
    assert want_plan_that_mends(LATER) is not None


def test_changes_in_a_row_become_one_plan(placed: WorkOrder) -> None:
    worked_out(want_plan(by=None))
    slips(placed)
    assert want_plan_that_mends(NOW + timedelta(minutes=2)) is None
    assert want_plan_that_mends(NOW + timedelta(minutes=11)) is not None
