"""What is known of a part before it is asked whether to order it, and how its stock will go until an order is there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from statistics import NormalDist

from inventory.calculations.random_use import Prior, Stretch, least_enough
from plant.basics.poisson import poisson_cdf, poisson_pmf, poisson_quantile, poisson_sf

#: Wanted cycle service by what the kiln does without the part: it stops, it slows, or it can wait. Common
#: practice; the mill's own choice.
CYCLE_SERVICE = {"stops": 0.99, "slows": 0.95, "waits": 0.90}
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
    With a ``prior`` the rate is learnt: what is supposed counts as seen, and sizes and undershoot are in the reorder
    point. Without one the rate is taken as known and every issue as of one size. ``busier_ahead`` multiplies the rate
    by what the time of year makes of the days ahead.
    """

    issues: tuple[Decimal, ...] = ()
    observed_days: int = 0
    least_days: int = 0
    prior: Prior | None = None
    busier_ahead: float = 1.0

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
        if not total:
            return Decimal(1) if self.prior else ZERO
        return sum((q * q for q in self.issues), ZERO) / total

    @property
    def batches_per_day(self) -> float:
        """Random issues of `batch` units a day; times `batch` it is the mean use a day."""
        if self.prior:
            mean_size = float(sum(self.issues, ZERO) / len(self.issues) / self.batch) if self.issues else 1.0
            seen, days = self.prior.after(len(self.issues), self.observed_days)
            return seen * mean_size / days
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
    economic_lot: Decimal = ZERO


@dataclass(frozen=True)
class LateDelivery:
    """A delivery whose day has passed."""

    ref: str
    quantity: Decimal
    late_days: int


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


class Outlook:
    """The figures behind one advice, each computed once from the same inputs."""

    def __init__(self, part: PartOutlook) -> None:
        self.part = part
        self.batch = part.past_use.batch
        self.rate = part.past_use.batches_per_day * part.past_use.busier_ahead
        self.arrivals = spread_lead_time(float(part.terms.lead_time_days), float(part.terms.lead_time_sd_days))

    @cached_property
    def interval_days(self) -> float:
        """The protected interval at the mean lead time, days."""
        return float(self.part.terms.lead_time_days) + self.part.review_interval_days

    @cached_property
    def has_random_need(self) -> bool:
        """Whether anything may be used at random before a further order would arrive; what was never used has none."""
        return (
            bool(self.part.past_use.issues) and self.rate * (self.arrivals[-1][0] + self.part.review_interval_days) > 0
        )

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
            random_use = round_down(self.batch * Decimal(self.rate * days), self.part.unit_step)
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
        wanted, use = self.part.wanted_cycle_service, self.part.past_use
        if use.prior:
            review = self.part.review_interval_days
            stretches = [
                Stretch((d + review) * use.busier_ahead, w, self.planned_within(d + review)) for d, w in self.arrivals
            ]
            gap, step = self.random_after, self.part.unit_step
            return least_enough(use.issues, use.observed_days, use.prior, stretches, gap, step, wanted)
        return least_multiple(self.part.unit_step, lambda quantity: self.chance_enough(quantity) >= wanted)

    @cached_property
    def random_after(self) -> Decimal:
        """What an order brings above the reorder point for use that nobody planned."""
        covered = round_up(self.batch * Decimal(self.rate * self.part.cover_days), self.part.unit_step)
        return max(covered, self.part.economic_lot) if self.has_random_need else ZERO

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
        return round_up(low * self.batch, step), round_up(high * self.batch, step)

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


def least_multiple(step: Decimal, is_enough: Callable[[Decimal], bool]) -> Decimal:
    """Find the least multiple of the step, zero or more, that is enough; more is always enough too."""
    low, high = -1, 0
    while not is_enough(high * step):
        low, high = high, 2 * high + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle * step) else (middle, high)
    return high * step


def round_up(quantity: Decimal, step: Decimal) -> Decimal:
    # rounding first keeps 3.0000000001, a leftover of division, from becoming 4
    return math.ceil(round(quantity / step, 6)) * step


def round_down(quantity: Decimal, step: Decimal) -> Decimal:
    return math.floor(round(quantity / step, 6)) * step
