"""The law of use that nobody planned: how often is learnt and not known, issues have sizes, deliveries vary.

How often
    Issues come by a Poisson law whose rate follows a gamma law: the prior, sharpened by what was seen. Use over a
    time is then negative binomial; with a long record it is nearly Poisson. (Gelman and others, Bayesian Data
    Analysis, 3rd ed., section 2.6, from memory.)

How many at a time
    The sizes seen, and as if two more had been drawn from a geometric law of the same mean: the largest issue of
    a few is not the largest there can be. Of more than twice the largest nothing is supposed: who takes couplings by
    twos does not take seven. Our own choice.

Undershoot
    An issue of several pieces jumps over the reorder point; by how much is part of what the point must cover. With
    the position raised to the same gap above the point each time, the undershoot is the overshoot of a renewal
    process over that gap, computed step by step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

#: As if so many sizes more had been seen, of a geometric law.
SUPPOSED_SIZES = 2.0
#: Of so many times the largest size seen nothing more is supposed.
MOST_SUPPOSED = 2
#: A size that is rarer than this is not followed.
RARE = 1e-6
#: Standard deviations that the lattice holds above the mean; beyond it chances are not followed.
LATTICE_SDS = 14
#: An issue is followed in no more cells than this.
CELLS_A_SIZE = 40
#: The gap is followed over so many mean sizes; beyond, the undershoot no longer depends on it.
LONG_GAP = 60

Law = NDArray[np.float64]


@dataclass(frozen=True)
class Prior:
    """What is supposed of a part before its own record speaks: as if so many issues had been seen in so many days."""

    issues: float
    days: float

    def after(self, count: int, observed_days: float) -> tuple[float, float]:
        """Return the issues and days that prior and record hold together.

        A record busier than the prior speaks for itself: the prior's days are then no more than its issues take at
        the part's own rate, so that long quiet days which nobody saw do not thin out what was seen.
        """
        days = min(self.days, self.issues * observed_days / count) if count else self.days
        return self.issues + count, days + observed_days


@dataclass(frozen=True)
class Stretch:
    """A time that may have to be lasted, its chance, and the planned need in it."""

    days: float
    chance: float
    planned: Decimal


def size_law(issues: Sequence[Decimal], step: Decimal) -> Law:
    """Give the chances of issues of 0, 1, 2 … steps, adding up to 1; a single piece where none was seen."""
    cells = [max(1, math.ceil(round(float(size / step), 6))) for size in issues] or [1]
    mean, most = sum(cells) / len(cells), max(cells)
    # Without a piece more than one seen there is nothing to spread.
    going_on = 1 - 1 / mean
    rarest = most if going_on == 0 else max(most, 1 + math.ceil(math.log(RARE) / math.log(going_on)))
    longest = min(rarest, MOST_SUPPOSED * most)
    seen = np.bincount(cells, minlength=longest + 1).astype(float)
    supposed = np.zeros(longest + 1)
    supposed[1:] = (1 - going_on) * going_on ** np.arange(longest)
    law = seen + SUPPOSED_SIZES * supposed / supposed.sum()
    return np.asarray(law / law.sum())


def undershoot_law(sizes: Law, gap: int) -> Law:
    """Give the chances that the position lies 0, 1, 2 … steps below the reorder point when an order is due.

    Parameters
    ----------
    sizes : Law
        chances of the size of an issue, steps
    gap : int
        steps by which an order raises the position above the reorder point, 1 or more

    Notes
    -----
    Order is due at the point or below it. The chance that the position ever stands ``j`` steps below its top is
    ``m(j) = sum m(j - i) sizes(i)`` with ``m(0) = 1``; what jumps from above the point to ``u`` below it adds up
    over all ``j`` below the gap.
    """
    mean = float(np.arange(len(sizes)) @ sizes)
    gap = max(1, min(gap, math.ceil(LONG_GAP * mean)))
    stood = np.zeros(gap)
    stood[0] = 1.0
    for below in range(1, gap):
        reach = min(below, len(sizes) - 1)
        stood[below] = stood[below - reach : below] @ sizes[reach:0:-1]
    law = np.zeros(len(sizes))
    for under in range(len(sizes) - 1):
        first = max(0, gap + under - len(sizes) + 1)
        law[under] = stood[first:] @ sizes[gap + under - np.arange(first, gap)]
    return law


def least_enough(
    issues: Sequence[Decimal],
    observed_days: float,
    prior: Prior,
    stretches: Sequence[Stretch],
    gap: Decimal,
    step: Decimal,
    wanted: float,
) -> Decimal:
    """Give the least reorder point, in whole steps, from which planned need, random use and undershoot are served.

    Parameters
    ----------
    issues : Sequence[Decimal]
        sizes of past issues that no plan foresaw
    observed_days : float
        days over which they were seen
    prior : Prior
        what is supposed beside them
    stretches : Sequence[Stretch]
        the times that may have to be lasted; their chances add up to 1
    gap : Decimal
        by how much an order raises the position above the reorder point
    step : Decimal
        the least amount in which the part is counted
    wanted : float
        wanted cycle service, dimensionless, below 1

    Raises
    ------
    ValueError
        when the prior holds no days or no issues
    """
    if not (prior.days > 0 and prior.issues > 0):
        raise ValueError(f"a prior of {prior.issues} issues in {prior.days} days tells nothing")
    mean_size = sum(issues, Decimal(0)) / len(issues) if issues else step
    cell = step * max(1, math.ceil(mean_size / step / CELLS_A_SIZE))
    sizes = size_law(issues, cell)
    places = np.arange(len(sizes))
    shape, days = prior.after(len(issues), observed_days)
    longest = max(stretch.days for stretch in stretches)
    events = shape * longest / days
    mean, square = float(places @ sizes), float(places**2 @ sizes)
    deviation = math.sqrt(events * square + events * longest / days * mean**2)
    planned = [math.ceil(stretch.planned / cell) for stretch in stretches]
    reach = max(planned) + events * mean + LATTICE_SDS * deviation + 2 * len(sizes)
    width = 1 << math.ceil(math.log2(reach + 2))
    waves = np.fft.rfft(sizes, width)
    turn = np.exp(-2j * np.pi * np.arange(len(waves)) / width)
    total = np.zeros(len(waves), dtype=complex)
    for stretch, need in zip(stretches, planned, strict=True):
        share = stretch.days / (days + stretch.days)
        total += stretch.chance * turn**need * ((1 - share) / (1 - share * waves)) ** shape
    if issues and longest > 0:
        total *= np.fft.rfft(undershoot_law(sizes, math.ceil(gap / cell)), width)
    chances = np.cumsum(np.fft.irfft(total, width))
    enough = int(np.argmax(chances >= wanted - 1e-9))
    return enough * cell


#: What is supposed of a part of which neither its own record nor one like it tells: once in two years, weakly held.
SUPPOSED = Prior(issues=0.5, days=365.0)


def pooled_prior(issues: int, part_days: float) -> Prior:
    """Give what parts alike tell of one of them: their mean rate, held as weakly as half an issue seen.

    Parameters
    ----------
    issues : int
        unplanned issues of all parts alike
    part_days : float
        days over which they were seen, added up over the parts
    """
    rate = (SUPPOSED.issues + issues) / (SUPPOSED.days + part_days)
    return Prior(SUPPOSED.issues, SUPPOSED.issues / rate)
