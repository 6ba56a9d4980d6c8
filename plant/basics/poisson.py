"""The Poisson law for small and large means, exact to rounding, without any table or approximation.

Counts of random events (a valve that fails, a wick that tears) over a span of days follow it when
the events come one by one and independently of each other.
"""

import math
from statistics import NormalDist

#: From this count on, the series for the error of Stirling's formula beats lgamma (error below 1e-15).
SERIES_FROM_COUNT = 50
#: A further term smaller than this share of the sum no longer changes it.
NEGLIGIBLE = 1e-18
#: A mean is found when a step changes it by no more than this share.
SAME_MEAN = 1e-12
MOST_STEPS = 200


def poisson_pmf(count: int, mean: float) -> float:
    """Compute the chance of exactly this many events.

    Parameters
    ----------
    count : int
        number of events, dimensionless; below zero the chance is 0
    mean : float
        expected number of events, dimensionless, zero or more

    Returns
    -------
    float
        chance, dimensionless, 0 to 1

    Raises
    ------
    ValueError
        when the mean is negative or not finite

    Notes
    -----
    Large counts go through the deviance n ln(n/m) + m - n, which keeps its digits where
    n ln m - m - ln n! would lose nine of them at a mean of a million, and which cannot overflow.
    """
    if not (mean >= 0 and math.isfinite(mean)):
        raise ValueError(f"mean {mean} is outside 0 to infinity")
    if count < 0:
        return 0.0
    if mean == 0:
        return 1.0 if count == 0 else 0.0
    if count < SERIES_FROM_COUNT:
        return math.exp(count * math.log(mean) - mean - math.lgamma(count + 1))
    deviance = count * math.log(count / mean) + mean - count
    stirling_error = 1 / (12 * count) - 1 / (360 * count**3) + 1 / (1260 * count**5)
    return math.exp(-deviance - stirling_error) / math.sqrt(2 * math.pi * count)


def poisson_cdf(count: int, mean: float) -> float:
    """Compute the chance of at most this many events.

    Parameters
    ----------
    count : int
        number of events, dimensionless; below zero the chance is 0
    mean : float
        expected number of events, dimensionless, zero or more

    Returns
    -------
    float
        chance, dimensionless, 0 to 1

    Raises
    ------
    ValueError
        when the mean is negative or not finite

    Notes
    -----
    The shorter tail is summed outwards from its largest term, so the terms only shrink.
    """
    if count < mean:
        return _sum_downwards(count, mean)
    return 1.0 - _sum_upwards(count + 1, mean)


def poisson_sf(count: int, mean: float) -> float:
    """Compute the chance of more than this many events; small tails keep their digits.

    Parameters and errors are those of `poisson_cdf`, of which this is the complement.
    """
    if count < mean:
        return 1.0 - _sum_downwards(count, mean)
    return _sum_upwards(count + 1, mean)


def poisson_quantile(probability: float, mean: float) -> int:
    """Find the least count that is not exceeded with at least the wanted probability.

    Parameters
    ----------
    probability : float
        dimensionless, 0 or more and below 1
    mean : float
        expected number of events, dimensionless, zero or more

    Returns
    -------
    int
        the least n with P(X <= n) >= probability, dimensionless

    Raises
    ------
    ValueError
        when the probability is outside 0 to 1 (1 itself has no finite answer) or the mean is negative
    """
    if not 0 <= probability < 1:
        raise ValueError(f"probability {probability} is outside 0 to below 1")
    low, high = -1, max(1, math.ceil(mean))
    while poisson_cdf(high, mean) < probability:
        low, high = high, high + max(1, math.ceil(math.sqrt(mean)))
    while high - low > 1:
        middle = (low + high) // 2
        if poisson_cdf(middle, mean) >= probability:
            high = middle
        else:
            low = middle
    return high


def poisson_mean(count: int, probability: float) -> float:
    """Find the mean at which at most this many events have the wanted probability.

    Parameters
    ----------
    count : int
        number of events, dimensionless, zero or more
    probability : float
        dimensionless, above 0 and below 1

    Returns
    -------
    float
        mean number of events, dimensionless; half the chi-square quantile at 1 - probability with 2 count + 2
        degrees of freedom

    Raises
    ------
    ValueError
        when the count is negative or the probability is outside 0 to 1

    Notes
    -----
    Newton's steps from the Wilson-Hilferty approximation of the chi-square quantile; a step that leaves the
    bracket found so far is replaced by halving it. P(X <= n) falls by P(X = n) as the mean grows.
    """
    if count < 0:
        raise ValueError(f"count {count} is negative")
    if not 0 < probability < 1:
        raise ValueError(f"probability {probability} is outside 0 to 1")
    shape = count + 1
    spread = NormalDist().inv_cdf(1 - probability) / (3 * math.sqrt(shape))
    mean = shape * max(1 - 1 / (9 * shape) + spread, 0.01) ** 3
    low, high = 0.0, math.inf
    for _ in range(MOST_STEPS):
        excess = poisson_cdf(count, mean) - probability
        low, high = (mean, high) if excess > 0 else (low, mean)
        slope = poisson_pmf(count, mean)
        step = excess / slope if slope else math.inf
        if abs(step) <= SAME_MEAN * mean:
            return mean + step
        nearer = mean + step
        if not low < nearer < high:
            nearer = 2 * mean if high == math.inf else (low + high) / 2
        mean = nearer
    raise ArithmeticError(f"no mean found between {low} and {high}")


def _sum_downwards(count: int, mean: float) -> float:
    """P(X <= count) for a count below the mean."""
    term = total = poisson_pmf(count, mean)
    while count > 0 and term > total * NEGLIGIBLE:
        term *= count / mean
        total += term
        count -= 1
    return total


def _sum_upwards(count: int, mean: float) -> float:
    """P(X >= count) for a count above the mean."""
    term = total = poisson_pmf(count, mean)
    while term > total * NEGLIGIBLE:
        count += 1
        term *= mean / count
        total += term
    return total
