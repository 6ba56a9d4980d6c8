"""A plan in the demo, worked out and left for the planner to decide about."""

from maintenance.models import Plan
from maintenance.plans.accepting import PLAN_TASK, want_plan
from plant.background.running import run_job
from plant.models import Job


def work_out_plan(seconds: int) -> list[str]:
    """Work a plan out, unless there is one already, and say what came of it; in this process and the solver's."""
    if Plan.objects.exists():
        return []
    plan = want_plan(name="The first plan", seconds=seconds, by=None)
    run_job(Job.objects.get(what=PLAN_TASK, key=f"plan {plan.pk}").pk)
    plan.refresh_from_db()
    if plan.cost_cents is None or plan.bound_cents is None:
        return [f" ! No plan was worked out: {plan.failure}"]
    cost, least = plan.cost_cents / 100, plan.bound_cents / 100
    return [
        f"A plan is worked out: it costs {cost:,.0f}, and no plan costs less than {least:,.0f}. "
        "It waits on the page Openings, under Plans, for the planner to accept it."
    ]
