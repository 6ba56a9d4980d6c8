"""Air pressure by the height above the sea."""

import numpy as np
from numpy.typing import ArrayLike

from plant.physics.arrays import Numbers, within
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA

LOWEST_M, HIGHEST_M = -430.0, 5_000.0
"""Height of a mill above the sea: from the lowest land to above the highest town. Our own choice."""


def pressure_at_pa(height_m: ArrayLike) -> Numbers:
    """Compute the usual air pressure at a height above the sea.

    Parameters
    ----------
    height_m : array_like
        Height in m, -430 to 5000.

    Returns
    -------
    ndarray
        Pressure in Pa. The weather moves it by some 2 % to both sides.

    Raises
    ------
    ValueError
        If a height lies outside the range.

    Notes
    -----
    Standard atmosphere (ISO 2533:1975; ICAO Doc 7488), troposphere: p = 101325 (1 - 0.0065 h/288.15)^5.25588, as
    ASHRAE Fundamentals (2017) ch. 1, eq. (3): 101.325 (1 - 2.25577e-5 Z)^5.2559 kPa. Geometric height is taken for the
    geopotential one, which at 5000 m differs by 4 m.

    Examples
    --------
    >>> round(float(pressure_at_pa(1000)))
    89875
    """
    height = within("height above the sea", height_m, LOWEST_M, HIGHEST_M, "m")
    return np.asarray(STANDARD_PRESSURE_PA * (1 - 0.0065 * height / 288.15) ** 5.25588)
