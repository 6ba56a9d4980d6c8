"""Ten invented years of a storeroom: parts of six patterns, and rules that order for them knowing only the past."""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from statistics import NormalDist
from typing import Final

import numpy as np

from inventory.calculations.lots import HOLDING_SHARE_A_YEAR, ORDER_COST, YEAR_DAYS, economic_lot
from inventory.calculations.outlooks import (
    CYCLE_SERVICE,
    ExpectedDelivery,
    PartOutlook,
    PastUse,
    PlannedNeed,
    ShelfLot,
    SupplyTerms,
)
from inventory.calculations.random_use import SUPPOSED, Prior, pooled_prior
from inventory.calculations.reorder import reorder_advice
from inventory.calculations.season import busier_ahead

PATTERNS: Final = ("steady", "intermittent", "several", "planned", "new", "seasonal")
START: Final = date(2016, 1, 1)
DAYS, WARM_UP_DAYS, LOOK_BACK_DAYS = 3650, 365, 731
#: A part of the pattern "new" is followed over its first years only, without warm-up.
NEW_DAYS: Final = 1095
#: Reorder points are worked out anew after so many days at the latest.
FRESH_DAYS: Final = 30
#: So far ahead what recurs is known.
KNOWN_AHEAD_DAYS: Final = 180


@dataclass(frozen=True)
class Kept:
    """A part with its true use, which no rule sees before its day."""

    pattern: str
    wanted: float
    price: float
    lead_days: float
    lead_sd_days: float
    pack: int
    issues: tuple[tuple[int, int, bool], ...]  # day, quantity, planned
    prior: Prior
    days: int


@dataclass
class Outcome:
    """What a rule brought for one part after the warm-up; money in the mill's currency."""

    cycles: int = 0
    whole_cycles: int = 0
    wanted: int = 0
    served: int = 0
    holding: float = 0.0
    ordering: float = 0.0
    shortage: float = 0.0

    @property
    def cost(self) -> float:
        """Return all that was paid."""
        return self.holding + self.ordering + self.shortage


@dataclass
class Known:
    """What a rule knows of a part on a day."""

    part: Kept
    day: int = 0
    on_hand: int = 0
    owed: int = 0
    coming: list[tuple[int, int]] = field(default_factory=list)
    past: deque[tuple[int, int, bool]] = field(default_factory=deque)

    @property
    def position(self) -> int:
        """Return what lies there and is on order less what is owed."""
        return self.on_hand - self.owed + sum(quantity for _, quantity in self.coming)

    @property
    def seen_days(self) -> int:
        """Return over how many days the past was looked at."""
        return min(LOOK_BACK_DAYS, self.day + 1)


Rule = Callable[[Known], tuple[float, int]]


def draw_parts(seed: int, of_each: int) -> list[Kept]:
    """Draw so many parts of each pattern."""
    rng = np.random.default_rng(seed)
    return [_draw(rng, pattern, number) for pattern in PATTERNS for number in range(of_each)]


def _draw(rng: np.random.Generator, pattern: str, number: int) -> Kept:
    days = NEW_DAYS if pattern == "new" else DAYS
    rate = {
        "steady": rng.uniform(0.08, 0.4),
        "intermittent": 1 / rng.uniform(20, 90),
        "several": 1 / rng.uniform(12, 50),
        "planned": 1 / rng.uniform(100, 300),
        "new": 1 / rng.uniform(20, 90),
        "seasonal": rng.uniform(0.05, 0.3),
    }[pattern]
    swing = rng.uniform(0.4, 0.8) if pattern == "seasonal" else 0.0
    rates = rate * (1 + swing * np.sin(2 * np.pi * (np.arange(days) / YEAR_DAYS + rng.uniform())))
    mean_size = rng.uniform(2, 5) if pattern == "several" else 1.0
    issues = [
        (day, int(size), False)
        for day, events in enumerate(rng.poisson(rates))
        for size in rng.geometric(1 / mean_size, events)
    ]
    if pattern == "planned":
        every, size = int(rng.integers(60, 200)), int(rng.integers(1, 9))
        issues += [(day, size, True) for day in range(int(rng.integers(1, every)), days, every)]
    lead_days = float(rng.integers(4, 43))
    prior = SUPPOSED
    if pattern == "new":
        # Four parts of its kind, seen for two years; its own rate strays from theirs.
        kind_rate = rate * float(np.exp(rng.normal(0, 0.4)))
        prior = pooled_prior(int(rng.poisson(kind_rate * 4 * LOOK_BACK_DAYS)), 4.0 * LOOK_BACK_DAYS)
    return Kept(
        pattern,
        list(CYCLE_SERVICE.values())[number % 3],
        float(np.exp(rng.uniform(math.log(3), math.log(300)))),
        lead_days,
        round(lead_days * float(rng.choice([0, 0.1, 0.25])), 1),
        int(rng.choice([1, 1, 5])),
        tuple(sorted(issues)),
        prior,
        days,
    )


def ours(known: Known) -> tuple[float, int]:
    """Order as the advice does."""
    part = known.part
    today_on = START + timedelta(days=known.day)
    unplanned = tuple(Decimal(quantity) for _, quantity, is_planned in known.past if not is_planned)
    use_a_day = float(sum(unplanned)) / known.seen_days
    days_ago = [known.day - day for day, _, is_planned in known.past if not is_planned]
    season = busier_ahead(days_ago, known.seen_days, part.lead_days)
    first = bisect_left(part.issues, (known.day + 1, 0, False))
    planned = [PlannedNeed(Decimal(known.owed), today_on)]
    for day, quantity, is_planned in part.issues[first:]:
        if day > known.day + KNOWN_AHEAD_DAYS:
            break
        if is_planned:
            planned.append(PlannedNeed(Decimal(quantity), START + timedelta(days=day)))
    advice = reorder_advice(
        PartOutlook(
            today_on=today_on,
            terms=SupplyTerms(part.lead_days, part.lead_sd_days, Decimal(part.pack)),
            shelf=(ShelfLot(Decimal(known.on_hand)),),
            planned=tuple(planned),
            # Whenever it comes, it counts on the position; what is late is no question of the rule.
            deliveries=tuple(ExpectedDelivery(Decimal(quantity), today_on) for _, quantity in known.coming),
            past_use=PastUse(unplanned, known.seen_days, 90, part.prior, season),
            wanted_cycle_service=part.wanted,
            economic_lot=economic_lot(use_a_day, Decimal(part.price), known.seen_days),
        )
    )
    return float(advice.reorder_point) - known.owed, int(advice.quantity)


def normal_law(known: Known) -> tuple[float, int]:
    """Order at mean use in the lead time and as many deviations as the normal law wants."""
    part = known.part
    total = sum(quantity for _, quantity, _ in known.past)
    mean = total / known.seen_days
    a_day: dict[int, int] = {}
    for day, quantity, _ in known.past:
        a_day[day] = a_day.get(day, 0) + quantity
    variance = sum(q * q for q in a_day.values()) / known.seen_days - mean**2
    deviation = math.sqrt(max(0.0, part.lead_days * variance + (mean * part.lead_sd_days) ** 2))
    point = mean * part.lead_days + NormalDist().inv_cdf(part.wanted) * deviation
    return point, _up_to(known, point)


def half_as_much_again(known: Known) -> tuple[float, int]:
    """Order at 1.5 times what is used in a lead time."""
    point = 1.5 * sum(quantity for _, quantity, _ in known.past) / known.seen_days * known.part.lead_days
    return point, _up_to(known, point)


def most_ever(known: Known) -> tuple[float, int]:
    """Order at the most that was ever used in a lead time."""
    window: deque[tuple[int, int]] = deque()
    total = most = 0
    for day, quantity, _ in known.past:
        window.append((day, quantity))
        total += quantity
        while window[0][0] <= day - known.part.lead_days:
            total -= window.popleft()[1]
        most = max(most, total)
    return most, _up_to(known, most)


def _up_to(known: Known, point: float) -> int:
    """Order the same economic lot as ours above the point, in whole packs."""
    if known.position > point:
        return 0
    use_a_day = sum(quantity for _, quantity, _ in known.past) / known.seen_days
    lot = economic_lot(use_a_day, Decimal(known.part.price), known.seen_days)
    missing = point + max(1, int(lot)) - known.position
    return math.ceil(missing / known.part.pack) * known.part.pack


RULES: Final[dict[str, Rule]] = {
    "ours": ours,
    "normal law": normal_law,
    "1.5 times use": half_as_much_again,
    "most ever": most_ever,
}


def live(part: Kept, rule: Rule, seed: int) -> Outcome:
    """Let a rule order for a part through all its days, morning by morning; lead times are the same for every rule.

    A piece short costs what makes the wanted cycle service the cheapest one: holding times lot over yearly use times
    the chance of running short (Silver, Pyke and Thomas, from memory).
    """
    rng = np.random.default_rng(seed)
    known, out = Known(part), Outcome()
    yearly = sum(quantity for _, quantity, _ in part.issues) / part.days * YEAR_DAYS
    holding = part.price * HOLDING_SHARE_A_YEAR
    lot = max(1, int(economic_lot(yearly / YEAR_DAYS, Decimal(part.price), part.days)))
    short_costs = holding * lot / (max(yearly, 0.1) * (1 - part.wanted))
    # A new part is judged from its first delivery on: before it no rule could serve.
    begins = math.ceil(part.lead_days + 4 * part.lead_sd_days) if part.pattern == "new" else WARM_UP_DAYS
    point, worked_out, next_issue = 0.0, -FRESH_DAYS, 0
    spread = 4 * part.lead_sd_days
    looked_on = {
        due - ahead
        for due, _, is_planned in part.issues
        if is_planned
        for ahead in range(max(0, math.floor(part.lead_days - spread)), math.ceil(part.lead_days + spread) + 2)
    }
    for known.day in range(part.days):
        day, counts, short = known.day, known.day >= begins, 0
        while known.coming and known.coming[0][0] <= day:
            # A cycle is whole where the shelf owes nothing when its delivery comes.
            if counts:
                out.cycles += 1
                out.whole_cycles += known.owed == 0
            known.on_hand += known.coming.pop(0)[1]
            paid = min(known.owed, known.on_hand)
            known.owed, known.on_hand = known.owed - paid, known.on_hand - paid
        changed = False
        while next_issue < len(part.issues) and part.issues[next_issue][0] == day:
            quantity = part.issues[next_issue][1]
            served = min(quantity, known.on_hand)
            known.on_hand -= served
            known.owed += quantity - served
            known.past.append(part.issues[next_issue])
            next_issue, changed, short = next_issue + 1, True, short + quantity - served
            if counts:
                out.wanted += quantity
                out.served += served
        while known.past and known.past[0][0] <= day - LOOK_BACK_DAYS:
            known.past.popleft()
        near = changed and known.position <= 1.3 * point + 2
        if near or day in looked_on or day - worked_out >= FRESH_DAYS:
            worked_out = day
            point, quantity = rule(known)
            if quantity > 0:
                arrives = day + max(1, round(rng.normal(part.lead_days, part.lead_sd_days)))
                insort(known.coming, (arrives, quantity))
                out.ordering += float(ORDER_COST) * counts
        if counts:
            out.holding += known.on_hand * holding / YEAR_DAYS
            out.shortage += short * short_costs
    return out
