"""Plans as the background leaves them, made in this process by the due-date rule: without waiting for the solver."""

from typing import Any

from maintenance.models import Plan
from maintenance.placing.inserting import due_date_plan
from maintenance.plans import working_out
from maintenance.plans.accepting import want_plan
from maintenance.plans.desk import load_desk
from plant import clock
from plant.models import User
from tests.factories import KilnFactory, UserFactory
from tests.maintenance.placing_mill import job, on_shift, programme


def made_plan(by: User, **ways: Any) -> Plan:
    """Want a plan and give it the plan by due dates, with steps on the way to it."""
    plan = want_plan(by=by, **{"seconds": 10, **ways})
    desk = load_desk(clock.now())
    before, unsafe, let_go = working_out._drawn(desk, plan)
    working_out._keep_problem(plan, desk, before, unsafe, let_go)
    kept = due_date_plan(before.frame).to_plan()
    cents = kept.stated_total_cents
    plan.progress = [[0.2, cents + 9000, 0], [1.5, cents + 100, cents // 2], [3.0, cents, cents * 9 // 10]]
    plan.save(update_fields=["progress"])
    working_out._keep_plan(plan, before, kept, {"due_date_cents": cents})
    Plan.objects.filter(pk=plan.pk).update(bound_cents=cents * 9 // 10)
    return Plan.objects.get(pk=plan.pk)


def plan_of_two_kilns() -> Plan:
    """Make a plan of one job in each of two kilns, with the same two people."""
    one, other = KilnFactory(tag="K1"), KilnFactory(tag="K2")
    programme(one), programme(other)
    on_shift(), on_shift("rolf")
    job(number="WO-1", kiln=one), job(number="WO-2", kiln=other)
    return made_plan(UserFactory(role="planner", username="vera"))
