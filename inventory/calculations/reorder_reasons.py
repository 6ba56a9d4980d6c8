"""Why a part is ordered, or not yet: in sentences."""

from __future__ import annotations

import math
from decimal import Decimal

from inventory.calculations.outlooks import (
    FEWEST_ISSUES,
    ROUNDING,
    Outlook,
)
from plant.basics.sentences import Sentence, Sentences


def reason_of(outlook: Outlook, *, order_now: bool) -> Sentences:
    """Say where the advice comes from, the most important first."""
    part = outlook.part
    told = [
        *_say_none_there(outlook),
        _say_planned(outlook),
        _say_random(outlook),
        *_say_prior(outlook),
        *_say_chance(outlook),
    ]
    if order_now:
        told.append(_say_point(outlook))
    told += _say_deliveries(outlook)
    if part.terms.lead_time_sd_days:
        spread = _days(round(Decimal(str(part.terms.lead_time_sd_days)), 1))
        told.append(Sentence.of("reorder.deliveries_vary", spread=spread))
    if outlook.expired:
        told.append(Sentence.of("reorder.expired", quantity=outlook.expired))
    if outlook.will_expire_unused:
        told.append(Sentence.of("reorder.will_expire_unused", quantity=outlook.will_expire_unused))
    if part.least_on_hand > outlook.quantile:
        told.append(Sentence.of("reorder.least_on_hand", quantity=part.least_on_hand))
    if outlook.reorder_point < outlook.mean_need:
        told.append(Sentence.of("reorder.no_safety_stock"))
    return tuple(told)


def _say_none_there(outlook: Outlook) -> Sentences:
    """Say what it means that nothing lies there of a part without which the kiln stops, whatever its past use."""
    if not outlook.part.stops_the_kiln or outlook.usable > 0:
        return ()
    days = math.ceil(outlook.part.terms.lead_time_days)
    if not days:
        return (Sentence.of("reorder.none_there"),)
    return (Sentence.of("reorder.none_there_for_days", days=_days(days)),)


def _say_planned(outlook: Outlook) -> Sentence:
    days = _days(math.ceil(outlook.part.terms.lead_time_days))
    review_days = outlook.part.review_interval_days
    planned = outlook.planned_within(outlook.interval_days)
    if review_days:
        return Sentence.of("reorder.planned_with_review", review=_days(review_days), days=days, quantity=planned)
    return Sentence.of("reorder.planned", days=days, quantity=planned)


def _say_random(outlook: Outlook) -> Sentence:
    use = outlook.part.past_use
    if not use.observed_days:
        return Sentence.of("reorder.no_record")
    days = _days(use.observed_days)
    if not use.issues:
        return Sentence.of("reorder.too_few_days_unused" if use.is_too_few else "reorder.unused", days=days)
    issues = Sentence.of("reorder.issues", count=len(use.issues))
    if use.is_too_few:
        return Sentence.of("reorder.too_few_days", issues=issues, days=days)
    low, high = outlook.expected_besides
    if low == high:
        return Sentence.of("reorder.expected", quantity=high, issues=issues, days=days)
    return Sentence.of("reorder.expected_between", low=low, high=high, issues=issues, days=days)


def _say_prior(outlook: Outlook) -> Sentences:
    """Show what is supposed beside a record that is too short, and what the time of year does."""
    use = outlook.part.past_use
    told = []
    if use.prior and len(use.issues) < FEWEST_ISSUES:
        every_days = math.ceil(use.prior.days / use.prior.issues)
        told.append(Sentence.of("reorder.supposed", days=_days(every_days)))
    if round(use.busier_ahead, 1) != 1:
        told.append(Sentence.of("reorder.season", times=round(Decimal(use.busier_ahead), 1)))
    return tuple(told)


def _say_chance(outlook: Outlook) -> Sentences:
    chance, usable = outlook.run_out_chance, outlook.usable
    if chance >= 1:
        return (Sentence.of("reorder.will_run_out", usable=usable),)
    if not outlook.has_random_need and chance < ROUNDING:
        return ()
    if not 0.01 <= chance <= 0.99:
        return (Sentence.of("reorder.seldom" if chance < 0.5 else "reorder.nearly_surely", usable=usable),)
    return (Sentence.of("reorder.chance", usable=usable, chance_pct=round(100 * chance)),)


def _say_point(outlook: Outlook) -> Sentence:
    """Say what is there or comes, beside the point at which it is ordered: small chances alone explain no order."""
    return Sentence.of(
        "reorder.point_with_orders" if outlook.on_order else "reorder.point",
        point=outlook.reorder_point,
        position=outlook.position,
    )


def _say_deliveries(outlook: Outlook) -> list[Sentence]:
    told = [
        Sentence.of("reorder.late_order", order=late.ref, quantity=late.quantity, days=_days(late.late_days))
        if late.ref
        else Sentence.of("reorder.late", quantity=late.quantity, days=_days(late.late_days))
        for late in outlook.late
    ]
    coming = sorted((d.due_on, d.ref, d.quantity) for d in outlook.part.deliveries if d.due_on >= outlook.part.today_on)
    for due_on, ref, quantity in coming:
        if ref:
            told.append(Sentence.of("reorder.coming_order", order=ref, quantity=quantity, due_on=due_on))
        else:
            told.append(Sentence.of("reorder.coming", quantity=quantity, due_on=due_on))
    return told


def _days(days: int | Decimal) -> Sentence:
    if days == int(days):
        return Sentence.of("reorder.days", count=int(days))
    return Sentence.of("reorder.days_and_parts", days=days)
