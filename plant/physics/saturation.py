"""Saturated water vapour over water and ice: pressure by temperature, and back."""

import numpy as np
from numpy.typing import ArrayLike

from plant.physics.arrays import Numbers, within

ZERO_C_K = 273.15
TRIPLE_POINT_C = 0.01
COLDEST_C, HOTTEST_C = -100.0, 200.0
"""Range of the saturation formulas: ASHRAE Fundamentals (2017) ch. 1, eq. (5) and (6)."""
TOLERANCE_K = 1e-7
"""Iterations stop when the temperature is known so well."""
MOST_STEPS = 100
# ASHRAE Fundamentals (2017) ch. 1, eq. (5), over ice, and (6), over water: coefficients of 1/T, 1, T, T^2, ..., ln T.
_ICE = (-5.6745359e3, 6.3925247, -9.6778430e-3, 6.2215701e-7, 2.0747825e-9, -9.4840240e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def saturation_pressure_pa(temp_c: ArrayLike) -> Numbers:
    """Compute the pressure of saturated water vapour, over ice below the triple point and over water above.

    Parameters
    ----------
    temp_c : array_like
        Temperature in °C, -100 to 200.

    Returns
    -------
    ndarray
        Pressure in Pa.

    Raises
    ------
    ValueError
        If a temperature lies outside the range.

    Notes
    -----
    ASHRAE Fundamentals (2017) ch. 1, eq. (5) and (6) (Hyland and Wexler). Within 0.018 % of IAPWS-IF97 from 0.01 to
    100 °C.

    Examples
    --------
    >>> round(float(saturation_pressure_pa(60)))
    19944
    """
    temp = within("temperature", temp_c, COLDEST_C, HOTTEST_C, "°C")
    is_water = temp >= TRIPLE_POINT_C
    over_water = _ln_pressure(temp, _WATER)
    return np.exp(over_water if is_water.all() else np.where(is_water, over_water, _ln_pressure(temp, _ICE)))


def _ln_pressure(temp_c: Numbers, coefficients: tuple[float, ...]) -> Numbers:
    kelvin = np.asarray(temp_c + ZERO_C_K)
    c1, c2, c3, c4, c5, c6, c7 = coefficients
    # In place: over long arrays it is the fetching of new memory that takes the time.
    powers = np.full_like(kelvin, c5) if c6 == 0 else np.asarray(kelvin * c6 + c5)
    for coefficient in (c4, c3):
        powers *= kelvin
        powers += coefficient
    powers *= kelvin
    found = np.asarray(c1 / kelvin)
    found += c2
    found += powers
    np.log(kelvin, out=kelvin)
    kelvin *= c7
    found += kelvin
    return found


def _ln_pressure_slope(temp_c: Numbers, coefficients: tuple[float, ...]) -> Numbers:
    kelvin = temp_c + ZERO_C_K
    c1, _c2, c3, c4, c5, c6, c7 = coefficients
    powers = c3 + kelvin * (2 * c4 + kelvin * (3 * c5 + kelvin * 4 * c6))
    return np.asarray(-c1 / kelvin**2 + powers + c7 / kelvin)


def saturation_temperature_c(vapour_pressure_pa: ArrayLike) -> Numbers:
    """Compute the temperature at which vapour of a pressure is saturated: the dew point, or steam's boiling point.

    Parameters
    ----------
    vapour_pressure_pa : array_like
        Pressure of the water vapour in Pa, 0.0015 to 1 554 000.

    Returns
    -------
    ndarray
        Temperature in °C, -100 to 200; below 0.01 °C the frost point.

    Raises
    ------
    ValueError
        If a pressure lies outside the range.
    RuntimeError
        If the iteration does not converge (a fault of this program).

    Notes
    -----
    Newton's method on the logarithm of ``saturation_pressure_pa``, to 1e-7 K.

    Examples
    --------
    >>> round(float(saturation_temperature_c(19943.8)), 3)
    60.0
    """
    least, most = float(saturation_pressure_pa(COLDEST_C)), float(saturation_pressure_pa(HOTTEST_C))
    # The last digit of the range's own ends must not fall out of it.
    pressure = within("vapour pressure", vapour_pressure_pa, least * (1 - 1e-12), most * (1 + 1e-12), "Pa")
    is_water = pressure >= float(saturation_pressure_pa(TRIPLE_POINT_C))
    return np.where(is_water, _solve_ln(pressure, _WATER, 50.0), _solve_ln(pressure, _ICE, -20.0))


def _solve_ln(pressure_pa: Numbers, coefficients: tuple[float, ...], start_c: float) -> Numbers:
    wanted = np.log(pressure_pa)
    temp: Numbers = np.full_like(wanted, start_c)
    for _step in range(MOST_STEPS):
        # The curve is nearly straight over 1/T: a step in 1/T cannot overshoot as one in T can.
        kelvin = temp + ZERO_C_K
        slope = _ln_pressure_slope(temp, coefficients) * kelvin**2
        inverse = 1 / kelvin - (wanted - _ln_pressure(temp, coefficients)) / slope
        # The branch that is not wanted may run away: it is thrown away afterwards.
        new = 1 / np.clip(inverse, 1e-3, 1e-1) - ZERO_C_K
        if np.all(np.abs(new - temp) <= TOLERANCE_K):
            return np.asarray(new)
        temp = new
    raise RuntimeError(f"saturation temperature did not converge in {MOST_STEPS} steps")
