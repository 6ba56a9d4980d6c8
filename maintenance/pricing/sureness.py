"""How sure a cost of delay is: what physics gives at least, what the mill's own charges tell, what is assumed."""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from maintenance.frame.words import money_words
from maintenance.losses.waiting_loss import Sureness
from maintenance.models import Defect, Plan, PriceOfWaiting, WorkOrder
from plant.basics.sentences import Sentence, Sentences
from plant.models import Mill

DAY_MIN = 1440


def sure_of_cost(cost: Decimal, price: PriceOfWaiting | None) -> Sureness:
    """Split a cost of delay as the price does that it comes from; a figure that somebody typed is assumed."""
    if price is not None and price.cost_per_day == cost:
        return price.sure
    return Sureness(assumption=Decimal(cost))


def sure_of_orders(orders: Collection[WorkOrder]) -> dict[int, Sureness]:
    """Return how sure the cost of each work order is, by its key; one query."""
    prices = PriceOfWaiting.objects.last_of({order.defect_id for order in orders if order.defect_id})
    return {order.pk: sure_of_cost(order.cost_of_delay_per_day, prices.get(order.defect_id or 0)) for order in orders}


def sure_of_defects(defects: Collection[Defect]) -> dict[int, Sureness]:
    """Return how sure the cost of each defect is, by its key; one query."""
    prices = PriceOfWaiting.objects.last_of({defect.pk for defect in defects})
    return {defect.pk: sure_of_cost(defect.cost_of_delay_per_day, prices.get(defect.pk)) for defect in defects}


def together(costs: Iterable[Sureness]) -> Sureness:
    """Add costs up; the charges that tell are those of the costs that any tell of."""
    known = list(costs)
    return Sureness(
        sum((one.physics for one in known), Decimal(0)),
        sum((one.experience for one in known), Decimal(0)),
        sum((one.assumption for one in known), Decimal(0)),
        sum(one.charges for one in known),
    )


def kept_sureness(orders: Iterable[WorkOrder]) -> dict[str, list[str]]:
    """Return what a plan keeps of its jobs, by number: the parts of a day's cost in cents; without those of no cost."""
    priced = {order.pk: order for order in orders if order.cost_of_delay_per_day}
    split = sure_of_orders(list(priced.values()))
    return {
        priced[pk].number: [str(100 * part) for part in (one.physics, one.experience, one.assumption)]
        for pk, one in split.items()
    }


def sure_of_plan(plan: Plan, content: Mapping[str, Any]) -> Sureness | None:
    """Return how sure the cost of delay is that a plan's content brings, the plan itself or what stood; in money.

    None for a plan that was drawn before its jobs' prices were kept apart.
    """
    ends = ends_of(plan, content)
    if not content or not plan.sureness:
        return None
    split = []
    for job in plan.problem.get("jobs", ()):
        end_min, parts = ends.get(job["id"]), plan.sureness.get(job["id"])
        if end_min is None or parts is None:
            continue
        late_min = max(0, end_min - job["due_min"])
        split.append(Sureness(*(Decimal(part) * late_min / DAY_MIN / 100 for part in parts)))
    return together(split)


def ends_of(plan: Plan, content: Mapping[str, Any]) -> dict[str, int]:
    """Return the minute in which each job with a place ends, in a plan's content; places that do not hold count too."""
    minutes = {job["id"]: job["duration_min"] for job in plan.problem.get("jobs", ())}
    placed = content.get("jobs", {})
    ends = {ref: at["start_min"] + minutes[ref] for ref, at in placed.items() if ref in minutes}
    for ref, at in content.get("loose", {}).items():
        if plan.base_at is not None:
            ends[ref] = int((datetime.fromisoformat(at["end_at"]) - plan.base_at).total_seconds() // 60)
    return ends


def plan_words(plan: Plan, mill: Mill) -> str:
    """Say how much of a plan's cost rests on assumptions; empty where nothing waits beyond its date."""
    sure = sure_of_plan(plan, plan.plan)
    if sure is None or not sure.total:
        return ""
    parts = {
        "assumed": money_words(round(100 * sure.assumption), mill),
        "delay": money_words(round(100 * sure.total), mill),
    }
    return _("Of it %(delay)s are for waiting, and %(assumed)s of these rest on assumptions.") % parts


def day_told(cost: Decimal, assumed: Decimal, unpriced: int) -> Sentences:
    """Say what waiting with all open work costs a day, and how much of that is assumed."""
    said = (Sentence.of("waiting.a_day", cost_money=cost, assumed_money=assumed),) if cost else ()
    return (*said, *unpriced_told(unpriced))


def unpriced_told(count: int) -> Sentences:
    """Say that jobs have no price, so that nobody takes that for a cost of nothing."""
    return (Sentence.of("waiting.unpriced", count=count),) if count else ()
