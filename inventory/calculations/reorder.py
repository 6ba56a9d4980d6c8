"""When to order a part, how many, and why: planned need plus the Poisson quantile of random use.

What is counted once and where
    *Planned need* is everything that open work orders still want, reserved on the shelf or not.
    A reservation is therefore never taken off the position a second time. *Random use* is what was
    issued without having been planned. The *position* is what is on the shelf and fit for use, plus
    what is on order.

Lead-time spread
    Handled as a mixture: the arrival is spread over whole days by a normal law around the mean lead
    time, what falls below zero gathered at zero. The reorder point is the quantile of the need over
    that mixture, so a spread delivery raises it by what it truly adds and no safety factor is
    stacked on another. (Normal lead times are common practice, not a law of nature.)

Probabilities
    `wanted_cycle_service` is the chance that nothing runs short from one order to its arrival,
    P(X <= reorder point). It is neither the share of pieces served from the shelf (fill rate) nor the
    chance that a demand need not wait, which for a base stock S is P(X <= S - 1). Ordering at the
    reorder point, not below it, makes S - 1 the reorder point, so both chances are the wanted one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from inventory.calculations.outlooks import (
    ZERO,
    LateDelivery,
    Outlook,
    PartOutlook,
    SupplyTerms,
    round_up,
    spread_lead_time,
)
from inventory.calculations.reorder_reasons import reason_of
from plant.basics.sentences import Sentences

#: More certainty than this no record of past use can promise.
MOST_CYCLE_SERVICE = 0.9999


@dataclass(frozen=True)
class ReorderAdvice:
    """What to do about one part today, and why; quantities in the part's unit.

    `run_out_chance` is the chance that the shelf runs short before an order placed today arrives.
    """

    order_now: bool
    quantity: Decimal
    reorder_point: Decimal
    position: Decimal
    expired: Decimal
    will_expire_unused: Decimal
    on_order: Decimal
    planned_in_interval: Decimal
    run_out_chance: float
    late: tuple[LateDelivery, ...]
    reason: Sentences


def reorder_advice(part: PartOutlook) -> ReorderAdvice:
    """Advise whether to order a part today, how many, and why.

    Parameters
    ----------
    part : PartOutlook
        shelf, needs, deliveries, past use, terms and the wanted cycle service on one day

    Returns
    -------
    ReorderAdvice
        the order, the figures behind it and the reason

    Raises
    ------
    ValueError
        when a figure is outside its range; the message names it

    Notes
    -----
    Protected interval: lead time, plus the review interval where the mill orders only every so often.
    With random use in it, order when the position is at or below the reorder point; where all need is
    planned, a position equal to the need is enough. Ordered is up to the reorder point plus what
    `cover_days` use, in whole packs.

    References
    ----------
    Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), sections 4.3.4 and 5.5, for
    base stock and the exact Poisson (r, Q) system; Silver, Pyke and Thomas, Inventory and Production
    Management in Supply Chains, for the interval of periodic review (from memory).
    """
    _refuse_bad_figures(part)
    outlook = Outlook(part)
    point = outlook.reorder_point
    order_now = outlook.position < point or (outlook.has_random_need and outlook.position == outlook.quantile)
    quantity = _order_quantity(outlook) if order_now else ZERO
    return ReorderAdvice(
        order_now=order_now,
        quantity=quantity,
        reorder_point=point,
        position=outlook.position,
        expired=outlook.expired,
        will_expire_unused=outlook.will_expire_unused,
        on_order=outlook.on_order,
        planned_in_interval=outlook.planned_within(outlook.interval_days),
        run_out_chance=outlook.run_out_chance,
        late=outlook.late,
        reason=reason_of(outlook, order_now=order_now),
    )


def days_to_arrive(terms: SupplyTerms, wanted_cycle_service: float) -> int:
    """Give the days within which an order is there with the wanted chance.

    What is needed so many days ahead or sooner is what `reorder_advice` orders today at the latest.

    Parameters
    ----------
    terms : SupplyTerms
        mean lead time and its spread, days
    wanted_cycle_service : float
        chance that it has arrived, dimensionless, 0 to 1

    Returns
    -------
    int
        whole days, 0 or more
    """
    chance = 0.0
    arrivals = spread_lead_time(float(terms.lead_time_days), float(terms.lead_time_sd_days))
    for days, weight in arrivals:
        chance += weight
        if chance >= wanted_cycle_service:
            return math.ceil(days)
    return math.ceil(arrivals[-1][0])


def _order_quantity(outlook: Outlook) -> Decimal:
    """Up to the reorder point and what the cover uses, in whole packs and not below the least order."""
    part = outlook.part
    end_days = outlook.interval_days
    planned_after = outlook.planned_within(end_days + part.cover_days) - outlook.planned_within(end_days)
    missing = outlook.reorder_point + planned_after + outlook.random_after - outlook.position
    return round_up(max(missing, part.terms.least_order, part.unit_step), part.terms.pack_size)


def _refuse_bad_figures(part: PartOutlook) -> None:
    terms, use = part.terms, part.past_use
    quantities = {
        "quantity on the shelf": [lot.quantity for lot in part.shelf],
        "planned need": [need.quantity for need in part.planned],
        "quantity on order": [delivery.quantity for delivery in part.deliveries],
        "least order": [terms.least_order],
        "least on hand": [part.least_on_hand],
    }
    for name, values in quantities.items():
        for value in values:
            if not (value.is_finite() and value >= 0):
                raise ValueError(f"{name} {value} is below 0 or no number")
    for name, value in {"pack size": terms.pack_size, "unit step": part.unit_step}.items():
        if not (value.is_finite() and value > 0):
            raise ValueError(f"{name} {value} must be above 0")
    for name, figure in {
        "lead time": terms.lead_time_days,
        "lead-time standard deviation": terms.lead_time_sd_days,
        "review interval": part.review_interval_days,
        "cover": part.cover_days,
    }.items():
        if not (math.isfinite(figure) and figure >= 0):
            raise ValueError(f"{name} {figure} days is outside 0 to infinity")
    if not 0 <= part.wanted_cycle_service <= MOST_CYCLE_SERVICE:
        raise ValueError(f"wanted cycle service {part.wanted_cycle_service} is outside 0 to {MOST_CYCLE_SERVICE}")
    if any(q <= 0 for q in use.issues):
        raise ValueError("every past issue must be above 0: book a return as a return, not as an issue")
    if use.issues and use.observed_days <= 0:
        raise ValueError(f"{len(use.issues)} past issues in {use.observed_days} observed days: give the days looked at")


# --- what is said --------------------------------------------------------------------------------
