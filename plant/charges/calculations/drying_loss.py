"""What downtime cost in cubic metres of timber that would have been dried.

A kiln's rate is what it dried of a product per able hour of its own completed charges, the wait before each charge
included. With little history the rate leans on the kiln's rate over all products, and that one on the plan.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from itertools import pairwise

from plant.basics.periods import Period, from_epoch_s, to_epoch_s
from plant.charges.calculations.downtime import WHOLE, DeratingRule, Downtime
from plant.charges.calculations.time_account import TimeAccount, account, equivalent_hours

PRIOR_CHARGES = 3
"""How many charges of history the broader rate counts for, where a narrower one leans on it. Common practice of
credibility weighting; the number is ours."""

THOUSANDTH_M3 = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class Product:
    """What was dried: species and thickness, which set the drying time."""

    species: str
    thickness_mm: int


@dataclass(frozen=True, slots=True)
class CompletedCharge:
    """A charge that is out of the kiln.

    ``able_h`` is its share of the kiln's time, from the end of unloading before it to the end of its own, less
    stops, equivalent hours of slowing and time without timber (see ``charge_from_records``).

    Raises
    ------
    ValueError
        If the volume is negative or the hours are not above 0.
    """

    product: Product
    volume_m3: Decimal
    able_h: Fraction

    def __post_init__(self) -> None:
        if self.volume_m3 < 0:
            raise ValueError(f"dried volume {self.volume_m3} m3 is negative")
        if not self.able_h > 0:
            raise ValueError(f"able hours {self.able_h} are not above 0")


def charge_from_records(
    product: Product,
    volume_m3: Decimal,
    kiln_free_at: datetime,
    unloaded_at: datetime,
    downtime: Iterable[Downtime],
    rule: DeratingRule = DeratingRule.ADDITIVE,
) -> CompletedCharge | None:
    """Work out a completed charge's able hours from the kiln's downtime records.

    Parameters
    ----------
    product : Product
    volume_m3 : Decimal
        Timber dried, m3.
    kiln_free_at : datetime
        End of unloading of the charge before; for a kiln's first charge its own start of loading.
    unloaded_at : datetime
        End of its own unloading.
    downtime : Iterable[Downtime]
        Records of the kiln.
    rule : DeratingRule

    Returns
    -------
    CompletedCharge or None
        None if the records leave no able time: no rate can be taken from such a charge.

    Raises
    ------
    ValueError
        If it is unloaded before the kiln was free, or the volume is negative.
    """
    split = account(downtime, Period(kiln_free_at, unloaded_at), unloaded_at, rule=rule).required
    if split.equivalent_able_ms == 0:
        return None
    return CompletedCharge(product, volume_m3, equivalent_hours(split.equivalent_able_ms))


@dataclass(frozen=True, slots=True)
class PlannedCharge:
    """What a kiln is built and planned for: usable volume and planned length of a charge, loading to unloading.

    Raises
    ------
    ValueError
        If either is not above 0.
    """

    usable_m3: Decimal
    duration_h: Decimal

    def __post_init__(self) -> None:
        if not (self.usable_m3 > 0 and self.duration_h > 0):
            raise ValueError(f"usable volume {self.usable_m3} m3 or planned {self.duration_h} h is not above 0")


@dataclass(frozen=True, slots=True)
class DryingRate:
    """What a kiln dries of a product in an able hour, and how much history stands behind it.

    ``own_weight`` is the share of the figure that comes from the product's own charges, ``kiln_weight`` that from
    the kiln's charges of all products, 0 to 1; the rest comes from the plan.
    """

    m3_per_h: Fraction
    product_charges: int
    kiln_charges: int
    own_weight: Fraction
    kiln_weight: Fraction


def drying_rate(product: Product | None, charges: Sequence[CompletedCharge], plan: PlannedCharge) -> DryingRate:
    """Estimate what one kiln dries of a product per able hour.

    Parameters
    ----------
    product : Product or None
        None if it is not known what would have been dried: then the kiln's rate over all products.
    charges : Sequence[CompletedCharge]
        Of this kiln, all products; how far back is the caller's choice.
    plan : PlannedCharge

    Notes
    -----
    With n charges of volume V and hours H, and a broader rate r, the rate is w V/H + (1 - w) r, w = n / (n + 3).
    The kiln's rate leans on usable_m3 / duration_h in this way, and the product's rate on the kiln's.
    """
    planned = Fraction(plan.usable_m3) / Fraction(plan.duration_h)
    whole_weight, whole = _leaning(charges, planned)
    own = [charge for charge in charges if charge.product == product]
    own_weight, rate = _leaning(own, whole)
    return DryingRate(rate, len(own), len(charges), own_weight, (1 - own_weight) * whole_weight)


def _leaning(charges: Sequence[CompletedCharge], broader: Fraction) -> tuple[Fraction, Fraction]:
    """Give the weight of the charges' own rate, and the weighted rate in m3 per hour."""
    if not charges:
        return Fraction(0), broader
    weight = Fraction(len(charges), len(charges) + PRIOR_CHARGES)
    rate = _exact_sum([Fraction(c.volume_m3) for c in charges]) / _exact_sum([c.able_h for c in charges])
    return weight, weight * rate + (1 - weight) * broader


def _exact_sum(values: Sequence[Fraction]) -> Fraction:
    """Add up fractions over one denominator: to reduce each sum on the way costs most of the time."""
    common = math.lcm(*(value.denominator for value in values))
    return Fraction(sum(value.numerator * (common // value.denominator) for value in values), common)


@dataclass(frozen=True, slots=True)
class Bridge:
    """From what a kiln could have dried in a period to what it dried, in m3 to the thousandth.

    ``could_dry - no_timber - outside - planned - stopped - slowed - under_way - pace = dried`` exactly. ``under_way``
    is what charges across the ends of the period dried in it but did not bring out (below 0: brought out but had dried
    before), see ``ChargeAcross``. ``pace`` is what is left over: above 0 the kiln dried less in its able hours than its
    record says, below 0 more. Without a count of what was dried both are 0, and ``dried`` is what should have come out
    of the able hours.
    """

    could_dry_m3: Decimal = Decimal("0.000")
    no_timber_m3: Decimal = Decimal("0.000")
    outside_m3: Decimal = Decimal("0.000")
    planned_m3: Decimal = Decimal("0.000")
    stopped_m3: Decimal = Decimal("0.000")
    slowed_m3: Decimal = Decimal("0.000")
    under_way_m3: Decimal = Decimal("0.000")
    pace_m3: Decimal = Decimal("0.000")
    dried_m3: Decimal = Decimal("0.000")

    @property
    def lost_to_downtime_m3(self) -> Decimal:
        """What planned and unplanned downtime and slowing cost; neither lack of timber nor what came from outside."""
        return self.planned_m3 + self.stopped_m3 + self.slowed_m3

    def __add__(self, other: "Bridge") -> "Bridge":
        return Bridge(*(getattr(self, field.name) + getattr(other, field.name) for field in fields(self)))


@dataclass(frozen=True, slots=True)
class ChargeAcross:
    """A charge whose time in the kiln, the wait before it included, lies across an end of the period.

    Able milliseconds of the kiln before, within and after the period; ``is_out`` where it came out within it.

    Raises
    ------
    ValueError
        If a time is negative, or it came out within the period and yet has time after it.
    """

    volume_m3: Decimal
    before_ms: int
    within_ms: int
    after_ms: int
    is_out: bool

    def __post_init__(self) -> None:
        if min(self.before_ms, self.within_ms, self.after_ms) < 0:
            raise ValueError(f"able time {self.before_ms}, {self.within_ms} or {self.after_ms} ms is negative")
        if self.is_out and self.after_ms:
            raise ValueError(f"a charge that is out has {self.after_ms} ms after the period")

    @property
    def under_way_m3(self) -> Fraction:
        """What it dried in the period without coming out in it, or, below 0, came out but had dried before.

        Drying is shared out by able time, as the rate of a kiln is; without able time none can be told and it is 0.
        """
        whole_ms = self.before_ms + self.within_ms + self.after_ms
        if not whole_ms:
            return Fraction(0)
        return Fraction(self.volume_m3) * Fraction(-self.before_ms if self.is_out else self.within_ms, whole_ms)


def bridge(
    parts: Iterable[tuple[TimeAccount, DryingRate]],
    dried_m3: Decimal | None = None,
    across: Iterable[ChargeAcross] = (),
) -> Bridge:
    """Turn time accounts into cubic metres, step by step from could dry to dried.

    Parameters
    ----------
    parts : Iterable[tuple[TimeAccount, DryingRate]]
        Accounts of touching stretches of one kiln, each with the rate of what it would have dried in it.
    dried_m3 : Decimal or None
        What came out in these stretches; None if it is not counted.
    across : Iterable[ChargeAcross]
        Charges across the two ends of the stretches taken together; read only where ``dried_m3`` is given.

    Raises
    ------
    ValueError
        If the dried volume is negative or finer than a thousandth.

    Notes
    -----
    The required view is used: what stood still while there was no timber lost none. Sums are exact fractions; each
    running remainder is rounded to the thousandth and the losses are the steps between them, so that they add up.
    """
    # Times at the same rate are whole milliseconds and added up as such.
    at_rate_ms: dict[Fraction, list[int]] = {}
    for time_account, rate in parts:
        split = time_account.required
        lost_ms = (
            split.no_timber_s * WHOLE,
            split.outside_ms,
            split.planned_s * WHOLE,
            split.unplanned_s * WHOLE,
            split.slowed_ms,
        )
        sums_ms = at_rate_ms.setdefault(rate.m3_per_h, [0] * 6)
        for index, milliseconds in enumerate((split.total_s * WHOLE, *lost_ms)):
            sums_ms[index] += milliseconds
    steps = [
        sum((equivalent_hours(sums_ms[index]) * rate for rate, sums_ms in at_rate_ms.items()), Fraction(0))
        for index in range(6)
    ]
    if dried_m3 is not None:
        steps.append(sum((charge.under_way_m3 for charge in across), Fraction(0)))
    left = steps[0]
    levels = [_thousandths(left)]
    for lost in steps[1:]:
        left -= lost
        levels.append(_thousandths(left))
    if dried_m3 is None:
        levels.append(levels[-1])
    dried = levels[-1] if dried_m3 is None else _counted(dried_m3)
    steps_m3 = (above - below for above, below in pairwise([*levels, dried]))
    no_timber, outside, planned, stopped, slowed, under_way, pace = steps_m3
    return Bridge(levels[0], no_timber, outside, planned, stopped, slowed, under_way, pace, dried)


def _thousandths(value: Fraction) -> Decimal:
    return round(value * 1000) * THOUSANDTH_M3


def _counted(dried_m3: Decimal) -> Decimal:
    if dried_m3 < 0:
        raise ValueError(f"dried volume {dried_m3} m3 is negative")
    counted = dried_m3.quantize(THOUSANDTH_M3, rounding=ROUND_HALF_EVEN)
    if counted != dried_m3:
        raise ValueError(f"dried volume {dried_m3} m3 is finer than a thousandth")
    return counted


@dataclass(frozen=True, slots=True)
class ProductStretch:
    """Time in which a kiln dried, or waited to dry, one product; None after its last charge."""

    period: Period
    product: Product | None


def product_stretches(period: Period, unloadings: Iterable[tuple[datetime, Product]]) -> list[ProductStretch]:
    """Split a period by what the kiln dried or would have dried.

    Parameters
    ----------
    period : Period
    unloadings : Iterable[tuple[datetime, Product]]
        End of unloading and product of each charge that reaches into the period, and of the next one after it.

    Returns
    -------
    list[ProductStretch]
        Touching, oldest first, together the whole period. The wait before a charge belongs to it.
    """
    stretches: list[ProductStretch] = []
    start_s, end_s = period.start_s, period.end_s
    ends: list[tuple[int, Product | None]] = sorted(
        ((to_epoch_s(unloaded_at), product) for unloaded_at, product in unloadings), key=lambda end: end[0]
    )
    for unloaded_s, product in [*ends, (end_s, None)]:
        cut_s = min(unloaded_s, end_s)
        if cut_s > start_s:
            stretches.append(ProductStretch(Period(from_epoch_s(start_s), from_epoch_s(cut_s)), product))
            start_s = cut_s
    return stretches
