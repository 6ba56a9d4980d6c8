"""Student's t distribution for whole degrees of freedom."""

import math
from functools import lru_cache
from typing import Final

MOST_T: Final = 1e6


def t_probability(t: float, degrees: int) -> float:
    """Compute the probability that Student's t is at most ``t``.

    Raises
    ------
    ValueError
        If there is less than 1 degree of freedom, or ``t`` is no number.

    Notes
    -----
    Finite series of Abramowitz and Stegun (1964), 26.7.3 and 26.7.4.

    Examples
    --------
    >>> round(t_probability(2.776, 4), 3)
    0.975
    """
    if degrees < 1 or math.isnan(t):
        raise ValueError(f"no probability of t = {t:g} with {degrees} degrees of freedom")
    angle = math.atan(abs(t) / math.sqrt(degrees))
    cosine, sine = math.cos(angle), math.sin(angle)
    term = cosine if degrees % 2 else 1.0
    total = 0.0
    # Odd: cos + 2/3 cos^3 + ...; even: 1 + 1/2 cos^2 + 3/8 cos^4 + ...
    for power in range(1 if degrees % 2 else 0, degrees - 1, 2):
        total += term
        term *= cosine**2 * (power + 1) / (power + 2)
    within = 2 / math.pi * (angle + sine * total) if degrees % 2 else sine * total
    return 0.5 + math.copysign(within / 2, t)


@lru_cache(maxsize=1024)
def t_quantile(probability: float, degrees: int) -> float:
    """Find the value that Student's t does not exceed with a probability.

    Raises
    ------
    ValueError
        If the probability is outside 0.0001 to 0.9999, or there is less than 1 degree of freedom.

    Examples
    --------
    >>> round(t_quantile(0.975, 4), 3)
    2.776
    """
    if not 1e-4 <= probability <= 1 - 1e-4:
        raise ValueError(f"probability {probability:g} is outside 0.0001 to 0.9999")
    low, high = -MOST_T, MOST_T
    while high - low > 1e-10 * max(1.0, abs(low)):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if t_probability(middle, degrees) < probability else (low, middle)
    return (low + high) / 2
