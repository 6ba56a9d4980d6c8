"""What a fan moves, presses and draws at another speed, and what is left when some of several fans stand.

Ratios are pure numbers: the new value over the old one.
"""

import numpy as np
from numpy.typing import ArrayLike

from plant.physics.arrays import Numbers, within

MOST_SPEED_RATIO = 2.0
"""Faster than twice its speed no fan is driven: a slip of unit."""

TRANSFER_EXPONENT = 0.8
"""Turbulent heat and mass transfer grows with the 0.8th power of the air speed (textbook correlation of flow between
flat plates, from memory). Resistance inside the wood makes the real effect smaller: this is its upper end."""


def flow_ratio(speed_ratio: ArrayLike) -> Numbers:
    """Compute the flow at another speed: in proportion to the speed.

    Raises
    ------
    ValueError
        If a speed ratio is outside 0 to 2.

    Notes
    -----
    Affinity laws, same fan, same air, same resistance. +10 % speed gives about +10 % flow, +21 % pressure and +33 %
    power (published); 0.8 of the speed draws 0.512 of the power (published).
    """
    return within("speed ratio", speed_ratio, 0, MOST_SPEED_RATIO, "")


def power_ratio(speed_ratio: ArrayLike) -> Numbers:
    """Compute the power at another speed: with its third power. Raises as ``flow_ratio``.

    Examples
    --------
    >>> round(float(power_ratio(0.8)), 3)
    0.512
    """
    return np.asarray(within("speed ratio", speed_ratio, 0, MOST_SPEED_RATIO, "") ** 3)


def bank_flow_ratio(fans: int, affected: int, speed_ratio: float) -> float:
    """Compute the flow of a row of equal fans of which some stand or run slow.

    Parameters
    ----------
    fans : int
        Fans in the row, 1 to 200.
    affected : int
        How many of them are affected, 0 to ``fans``.
    speed_ratio : float
        Their speed over the right one, 0 (standing) to 2.

    Returns
    -------
    float
        Flow over the right flow.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Each fan gives its share. Air that runs back through a standing fan is not counted, so the true flow is lower.

    Examples
    --------
    >>> bank_flow_ratio(4, 1, 0)
    0.75
    """
    count = float(within("fans", fans, 1, 200, ""))
    share = float(within("affected fans", affected, 0, count, "")) / count
    return 1 - share + share * float(flow_ratio(speed_ratio))
