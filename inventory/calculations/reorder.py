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
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from statistics import NormalDist

from plant.basics.poisson import poisson_cdf, poisson_pmf, poisson_quantile, poisson_sf
from plant.basics.sentences import Sentence, Sentences

#: Wanted cycle service by what the kiln does without the part: it stops, it slows, or it can wait. Common
#: practice; the mill's own choice.
CYCLE_SERVICE = {"stops": 0.99, "slows": 0.95, "waits": 0.90}
#: More certainty than this no record of past use can promise.
MOST_CYCLE_SERVICE = 0.9999
#: So many issues tell what is usually used, however young the record is. Our own choice.
FEWEST_ISSUES = 5
#: The words "expected besides: a to b" name the middle four fifths of what may be used.
EXPECTED_FROM, EXPECTED_TO = 0.1, 0.9
#: The normal law of the lead time is followed this many standard deviations to each side.
SPREAD_SDS = 4
#: Chances of counts beyond this are not followed one by one.
FORGOTTEN_TAIL = 1e-12
#: Guards a floor against the last digit of a decimal division; far below any quantity issued.
ROUNDING = 1e-9
ZERO = Decimal(0)


@dataclass(frozen=True)
class ShelfLot:
    """Stock of one lot; usable up to and including `expires_on`."""

    quantity: Decimal
    expires_on: date | None = None


@dataclass(frozen=True)
class PlannedNeed:
    """What an open work order still wants, reserved or not; a day in the past is wanted now."""

    quantity: Decimal
    due_on: date
    ref: str = ""


@dataclass(frozen=True)
class ExpectedDelivery:
    """What is still to come of an order line."""

    quantity: Decimal
    due_on: date
    ref: str = ""


@dataclass(frozen=True)
class PastUse:
    """Issues that no plan foresaw, one quantity for each, over the days that were looked at.

    With few issues a record younger than ``least_days`` cannot tell what is usual: they are spread over these days.
    """

    issues: tuple[Decimal, ...] = ()
    observed_days: int = 0
    least_days: int = 0

    @property
    def is_too_few(self) -> bool:
        """Whether the record is too young, and holds too little, to tell what is usually used."""
        return self.observed_days < self.least_days and len(self.issues) < FEWEST_ISSUES

    @property
    def batch(self) -> Decimal:
        """Units a random issue takes: sum of squares over sum.

        With equal issues it is their size; with unequal ones it keeps the variance of the use right,
        which the plain mean would understate (compound Poisson, two moments matched).
        """
        total = sum(self.issues, ZERO)
        return sum((q * q for q in self.issues), ZERO) / total if total else ZERO

    @property
    def batches_per_day(self) -> float:
        """Random issues of `batch` units a day; times `batch` it is the mean use a day."""
        if not self.issues:
            return 0.0
        days = self.least_days if self.is_too_few else self.observed_days
        return float(sum(self.issues, ZERO) / self.batch) / days


@dataclass(frozen=True)
class SupplyTerms:
    """What the supplier needs and asks for; quantities in the part's unit."""

    lead_time_days: float | Decimal
    lead_time_sd_days: float | Decimal = 0
    pack_size: Decimal = Decimal(1)
    least_order: Decimal = ZERO


@dataclass(frozen=True)
class PartOutlook:
    """All that the advice for one part is computed from; quantities in the part's unit."""

    today_on: date
    terms: SupplyTerms
    shelf: tuple[ShelfLot, ...] = ()
    planned: tuple[PlannedNeed, ...] = ()
    deliveries: tuple[ExpectedDelivery, ...] = ()
    past_use: PastUse = PastUse()
    wanted_cycle_service: float = CYCLE_SERVICE["slows"]
    review_interval_days: int = 0
    cover_days: int = 30
    least_on_hand: Decimal = ZERO
    unit_step: Decimal = Decimal(1)
    stops_the_kiln: bool = False


@dataclass(frozen=True)
class LateDelivery:
    """A delivery whose day has passed."""

    ref: str
    quantity: Decimal
    late_days: int


@dataclass(frozen=True)
class ReorderAdvice:
    """What to do about one part today, and why; quantities in the part's unit.

    `run_out_chance` is the chance that the shelf runs short before an order placed today arrives.
    """

    order_now: bool
    quantity: Decimal
    reorder_point: Decimal
    position: Decimal
    usable_on_hand: Decimal
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
    outlook = _Outlook(part)
    point = outlook.reorder_point
    order_now = outlook.position < point or (outlook.has_random_need and outlook.position == outlook.quantile)
    quantity = _order_quantity(outlook) if order_now else ZERO
    return ReorderAdvice(
        order_now=order_now,
        quantity=quantity,
        reorder_point=point,
        position=outlook.position,
        usable_on_hand=outlook.usable,
        expired=outlook.expired,
        will_expire_unused=outlook.will_expire_unused,
        on_order=outlook.on_order,
        planned_in_interval=outlook.planned_within(outlook.interval_days),
        run_out_chance=outlook.run_out_chance,
        late=outlook.late,
        reason=_reason(outlook, order_now=order_now),
    )


def spread_lead_time(mean_days: float, sd_days: float) -> tuple[tuple[float, float], ...]:
    """Spread a lead time over whole days.

    Parameters
    ----------
    mean_days : float
        mean lead time, days, zero or more
    sd_days : float
        standard deviation, days, zero or more

    Returns
    -------
    tuple[tuple[float, float], ...]
        (days, chance) pairs, days rising, chances adding up to 1; one pair, not rounded, without spread
    """
    if sd_days == 0:
        return ((float(mean_days), 1.0),)
    law = NormalDist(float(mean_days), float(sd_days))
    first = max(0, math.floor(law.mean - SPREAD_SDS * law.stdev))
    last = max(first, math.ceil(law.mean + SPREAD_SDS * law.stdev))
    upper = [law.cdf(day + 0.5) for day in range(first, last)] + [1.0]
    lower = [0.0, *upper[:-1]]
    return tuple((float(first + i), above - below) for i, (above, below) in enumerate(zip(upper, lower, strict=True)))


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


class _Outlook:
    """The figures behind one advice, each computed once from the same inputs."""

    def __init__(self, part: PartOutlook) -> None:
        self.part = part
        self.batch = part.past_use.batch
        self.rate = part.past_use.batches_per_day
        self.arrivals = spread_lead_time(float(part.terms.lead_time_days), float(part.terms.lead_time_sd_days))

    @cached_property
    def interval_days(self) -> float:
        """The protected interval at the mean lead time, days."""
        return float(self.part.terms.lead_time_days) + self.part.review_interval_days

    @cached_property
    def has_random_need(self) -> bool:
        """Whether anything may be used at random before a further order would arrive."""
        return self.rate * (self.arrivals[-1][0] + self.part.review_interval_days) > 0

    @cached_property
    def expired(self) -> Decimal:
        return sum((lot.quantity for lot in self.part.shelf if self._is_expired(lot)), ZERO)

    @cached_property
    def usable(self) -> Decimal:
        return sum((lot.quantity for lot in self.part.shelf), ZERO) - self.expired

    @cached_property
    def will_expire_unused(self) -> Decimal:
        """What expires within the protected interval before the expected need reaches it, first expired first used."""
        wasted = expiring = ZERO
        fit = [lot for lot in self.part.shelf if not self._is_expired(lot)]
        for expires_on, quantity in sorted((lot.expires_on, lot.quantity) for lot in fit if lot.expires_on):
            days = (expires_on - self.part.today_on).days
            if days > self.interval_days:
                break
            expiring += quantity
            random_use = _round_down(self.batch * Decimal(self.rate * days), self.part.unit_step)
            wasted = max(wasted, expiring - self.planned_within(days) - random_use)
        return wasted

    @cached_property
    def on_order(self) -> Decimal:
        return sum((delivery.quantity for delivery in self.part.deliveries), ZERO)

    @cached_property
    def position(self) -> Decimal:
        return self.usable - self.will_expire_unused + self.on_order

    @cached_property
    def late(self) -> tuple[LateDelivery, ...]:
        late = [d for d in self.part.deliveries if d.due_on < self.part.today_on]
        late.sort(key=lambda d: (d.due_on, d.ref))
        return tuple(LateDelivery(d.ref, d.quantity, (self.part.today_on - d.due_on).days) for d in late)

    def planned_within(self, days: float) -> Decimal:
        """Planned need up to and including the day that lies so many days ahead."""
        last_on = self.part.today_on + timedelta(days=math.ceil(days))
        return sum((need.quantity for need in self.part.planned if need.due_on <= last_on), ZERO)

    @cached_property
    def _needs(self) -> list[tuple[float, Decimal, float]]:
        """(chance of this arrival, planned need, mean of random batches) for each possible arrival."""
        review = self.part.review_interval_days
        return [(w, self.planned_within(d + review), self.rate * (d + review)) for d, w in self.arrivals]

    def chance_enough(self, quantity: Decimal) -> float:
        """Chance that the need over the protected interval is no more than this quantity."""
        return sum(w * poisson_cdf(self.batches_in(quantity - planned), mean) for w, planned, mean in self._needs)

    def batches_in(self, quantity: Decimal) -> int:
        """Random issues that so much stock can serve; below zero none, not even the planned need, is served."""
        if quantity < 0:
            return -1
        # without random use any number will do: the mean is zero and so is what a batch takes
        return math.floor(float(quantity / self.batch) + ROUNDING) if self.batch else 0

    @cached_property
    def quantile(self) -> Decimal:
        """The least quantity that is enough with the wanted cycle service."""
        wanted = self.part.wanted_cycle_service
        return _least_multiple(self.part.unit_step, lambda quantity: self.chance_enough(quantity) >= wanted)

    @cached_property
    def reorder_point(self) -> Decimal:
        return max(self.quantile, self.part.least_on_hand)

    @cached_property
    def mean_need(self) -> Decimal:
        """Need to be expected over the protected interval, mean over the arrivals."""
        planned = sum((Decimal(w) * planned for w, planned, _ in self._needs), ZERO)
        random = self.batch * Decimal(sum(w * mean for w, _, mean in self._needs))
        return round(planned + random, 6)

    @cached_property
    def expected_besides(self) -> tuple[Decimal, Decimal]:
        mean, step = self.rate * self.interval_days, self.part.unit_step
        low, high = (poisson_quantile(p, mean) for p in (EXPECTED_FROM, EXPECTED_TO))
        return _round_up(low * self.batch, step), _round_up(high * self.batch, step)

    @cached_property
    def run_out_chance(self) -> float:
        """Chance that at some time before an order placed today arrives more is wanted than there is.

        Followed from delivery to delivery: between them need only grows and stock does not, so it is
        enough to look just before each delivery and at the end. A delivery serves the days after its
        own. A late delivery is not counted on: nobody knows when it comes.
        """
        due = sorted((d.due_on, d.quantity) for d in self.part.deliveries if d.due_on >= self.part.today_on)
        return 1.0 - min(1.0, sum(w * self._chance_lasting(days, due) for days, w in self.arrivals))

    def _chance_lasting(self, days: float, due: Sequence[tuple[date, Decimal]]) -> float:
        stock, passed_days = self.usable - self.will_expire_unused, 0.0
        used = [1.0]  # used[n]: chance that n batches were used and the stock has lasted so far
        for due_on, quantity in due:
            due_days = float((due_on - self.part.today_on).days)
            if due_days >= days:
                break
            capacity = self.batches_in(stock - self.planned_within(due_days))
            used = _after(used, self.rate * (due_days - passed_days), capacity)
            stock, passed_days = stock + quantity, due_days
        capacity = self.batches_in(stock - self.planned_within(days))
        mean = self.rate * (days - passed_days)
        return sum(chance * poisson_cdf(capacity - n, mean) for n, chance in enumerate(used))

    def _is_expired(self, lot: ShelfLot) -> bool:
        return lot.expires_on is not None and lot.expires_on < self.part.today_on


def _after(used: list[float], mean: float, capacity: int) -> list[float]:
    """Carry the chances of batches used over a stretch, keeping those that the capacity serves."""
    if capacity < 0:
        return []
    most = min(capacity, len(used) - 1 + _most_events(mean))
    more = [poisson_pmf(k, mean) for k in range(most + 1)]
    return [sum(used[n - k] * more[k] for k in range(max(0, n - len(used) + 1), n + 1)) for n in range(most + 1)]


def _most_events(mean: float) -> int:
    """A count that is not exceeded but for a chance too small to matter."""
    most = math.ceil(mean)
    while poisson_sf(most, mean) > FORGOTTEN_TAIL:
        most += max(1, math.ceil(math.sqrt(mean)))
    return most


def _least_multiple(step: Decimal, is_enough: Callable[[Decimal], bool]) -> Decimal:
    """Find the least multiple of the step, zero or more, that is enough; more is always enough too."""
    low, high = -1, 0
    while not is_enough(high * step):
        low, high = high, 2 * high + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle * step) else (middle, high)
    return high * step


def _order_quantity(outlook: _Outlook) -> Decimal:
    """Up to the reorder point and what the cover uses, in whole packs and not below the least order."""
    part = outlook.part
    end_days = outlook.interval_days
    planned_after = outlook.planned_within(end_days + part.cover_days) - outlook.planned_within(end_days)
    random_after = _round_up(outlook.batch * Decimal(outlook.rate * part.cover_days), part.unit_step)
    missing = outlook.reorder_point + planned_after + random_after - outlook.position
    return _round_up(max(missing, part.terms.least_order, part.unit_step), part.terms.pack_size)


def _round_up(quantity: Decimal, step: Decimal) -> Decimal:
    # rounding first keeps 3.0000000001, a leftover of division, from becoming 4
    return math.ceil(round(quantity / step, 6)) * step


def _round_down(quantity: Decimal, step: Decimal) -> Decimal:
    return math.floor(round(quantity / step, 6)) * step


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


def _reason(outlook: _Outlook, *, order_now: bool) -> Sentences:
    """Say where the advice comes from, the most important first."""
    part = outlook.part
    told = [*_say_none_there(outlook), _say_planned(outlook), _say_random(outlook), *_say_chance(outlook)]
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


def _say_none_there(outlook: _Outlook) -> Sentences:
    """Say what it means that nothing lies there of a part without which the kiln stops, whatever its past use."""
    if not outlook.part.stops_the_kiln or outlook.usable > 0:
        return ()
    days = math.ceil(outlook.part.terms.lead_time_days)
    if not days:
        return (Sentence.of("reorder.none_there"),)
    return (Sentence.of("reorder.none_there_for_days", days=_days(days)),)


def _say_planned(outlook: _Outlook) -> Sentence:
    days = _days(math.ceil(outlook.part.terms.lead_time_days))
    review_days = outlook.part.review_interval_days
    planned = outlook.planned_within(outlook.interval_days)
    if review_days:
        return Sentence.of("reorder.planned_with_review", review=_days(review_days), days=days, quantity=planned)
    return Sentence.of("reorder.planned", days=days, quantity=planned)


def _say_random(outlook: _Outlook) -> Sentence:
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


def _say_chance(outlook: _Outlook) -> Sentences:
    chance, usable = outlook.run_out_chance, outlook.usable
    if chance >= 1:
        return (Sentence.of("reorder.will_run_out", usable=usable),)
    if not outlook.has_random_need and chance < ROUNDING:
        return ()
    if not 0.01 <= chance <= 0.99:
        return (Sentence.of("reorder.seldom" if chance < 0.5 else "reorder.nearly_surely", usable=usable),)
    return (Sentence.of("reorder.chance", usable=usable, chance_pct=round(100 * chance)),)


def _say_point(outlook: _Outlook) -> Sentence:
    """Say what is there or comes, beside the point at which it is ordered: small chances alone explain no order."""
    return Sentence.of(
        "reorder.point_with_orders" if outlook.on_order else "reorder.point",
        point=outlook.reorder_point,
        position=outlook.position,
    )


def _say_deliveries(outlook: _Outlook) -> list[Sentence]:
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
