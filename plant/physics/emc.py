"""Equilibrium moisture content (EMC) of wood: from the climate, to the climate, and from a psychrometer.

EMC in per cent of the oven-dry mass, temperatures in °C, relative humidity as a fraction 0 to 1. Numbers or arrays.
"""

import numpy as np
from numpy.typing import ArrayLike

from plant.physics.arrays import Numbers, first_where, within
from plant.physics.psychrometrics import (
    STANDARD_PRESSURE_PA,
    relative_humidity,
    relative_humidity_by_psychrometer,
)

COLDEST_C, HOTTEST_C = -2.0, 115.0
"""The published table runs from -1.1 °C (30 °F) up; it was compared to 93.3 °C (200 °F). Above, the equation is carried
on as it is printed, up to 115 °C. Beyond it breaks down: K1 falls below 0 above 129 °C, and in steam of one atmosphere
it falls to 1 % at 130 °C. High-temperature values were published (Simpson and Rosen, Equilibrium moisture content of
wood at high temperatures, 1981: 100 to 149 °C; only the abstract was read), but we hold no table of them."""

TOLERANCE = 1e-10
MOST_STEPS = 60

# USDA FPL-RN-0268 (1998), SI set, as printed in open code that cites it; GTR-190 (2010) eq. 4-5 gives the same, from
# memory. Each coefficient is c0 + c1 T + c2 T^2 with T in °C.
_W = (349.0, 1.29, 0.0135)
_K = (0.805, 0.000736, -0.00000273)
_K1 = (6.27, -0.00938, -0.000303)
_K2 = (1.91, 0.0407, -0.000293)


def _at(coefficients: tuple[float, float, float], temp_c: Numbers) -> Numbers:
    c0, c1, c2 = coefficients
    value = np.asarray(c1 * temp_c)
    value += c0
    value += c2 * temp_c**2
    return value


def emc_pct(temp_c: ArrayLike, humidity: ArrayLike) -> Numbers:
    """Compute the equilibrium moisture content of wood.

    Parameters
    ----------
    temp_c : array_like
        Dry bulb in °C, -2 to 115.
    humidity : array_like
        Relative humidity, fraction 0 to 1.

    Returns
    -------
    ndarray
        EMC in % of the oven-dry mass.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Hailwood and Horrobin with two hydrates [W, K, K1, K2], coefficients of USDA FPL-RN-0268 (1998), SI set:
    M = 1800/W (K h/(1 - K h) + (K1 K h + 2 K1 K2 K^2 h^2)/(1 + K1 K h + K1 K2 K^2 h^2)).
    Against all 342 points of the Wood Handbook (FPL-GTR-190, Table 4-2) at most 0.06 points off, on average 0.025: the
    table is this equation, rounded. Against older tables of measured wood at most 0.5 (35 to 180 °F, 20 to 80 % RH),
    mostly 0.2. Species differ by more than that; the equation knows none.

    Examples
    --------
    >>> round(float(emc_pct(60, 0.65)), 1)
    10.0
    """
    temp = within("temperature", temp_c, COLDEST_C, HOTTEST_C, "°C")
    share = within("relative humidity", humidity, 0, 1, "")
    mono, first, both = _at(_K, temp) * share, _at(_K1, temp), _at(_K2, temp)
    first = first * mono
    both = both * first * mono
    hydrated = (first + 2 * both) / (1 + first + both)
    return np.asarray(1800 / _at(_W, temp) * (mono / (1 - mono) + hydrated))


def humidity_for_emc(temp_c: ArrayLike, wanted_emc_pct: ArrayLike) -> Numbers:
    """Find the relative humidity at which wood comes to a wanted EMC: ``emc_pct`` the other way round.

    Parameters
    ----------
    temp_c : array_like
        Dry bulb in °C, -2 to 115.
    wanted_emc_pct : array_like
        EMC in %, 0 to what saturated air of that temperature gives (27 % at 20 °C, 21 % at 100 °C or so).

    Returns
    -------
    ndarray
        Relative humidity, fraction 0 to 1.

    Raises
    ------
    ValueError
        If a value is outside its range, or no humidity gives the EMC.
    RuntimeError
        If the iteration does not converge (a fault of this program).

    Notes
    -----
    Halving between 0 and 1, to 1e-10: EMC rises with humidity at every temperature.

    Examples
    --------
    >>> round(float(humidity_for_emc(60, 10.001)), 3)
    0.65
    """
    temp, wanted = np.broadcast_arrays(
        within("temperature", temp_c, COLDEST_C, HOTTEST_C, "°C"), within("EMC", wanted_emc_pct, 0, 40, "%")
    )
    most = emc_pct(temp, 1.0)
    is_too_much = wanted > most + 1e-9
    if is_too_much.any():
        bad, bad_temp, bad_most = first_where(is_too_much, wanted, temp, most)
        raise ValueError(f"EMC {bad:g} % is outside 0 to {bad_most:.1f}, the most that air of {bad_temp:g} °C gives")
    low, high = np.zeros_like(wanted), np.ones_like(wanted)
    for _step in range(MOST_STEPS):
        middle = (low + high) / 2
        is_high = emc_pct(temp, middle) > wanted
        high, low = np.where(is_high, middle, high), np.where(is_high, low, middle)
        if np.all(high - low <= TOLERANCE):
            return np.asarray((low + high) / 2)
    raise RuntimeError(f"humidity for an EMC did not converge in {MOST_STEPS} steps")


def emc_from_psychrometer_pct(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the EMC in % that a psychrometer with a real wick tells, as drying tables do.

    Raises
    ------
    ValueError
        If a value is outside its range, no air has the pair, or the wet bulb is below 0 °C.

    Notes
    -----
    Psychrometer equation, then ``emc_pct``. Below ``emc_from_wet_bulb_pct`` by 0.1 points as a rule, at most 0.2.

    Examples
    --------
    >>> round(float(emc_from_psychrometer_pct(60, 50)), 2)
    8.88
    """
    return emc_pct(dry_bulb_c, relative_humidity_by_psychrometer(dry_bulb_c, wet_bulb_c, pressure_pa))


def emc_from_wet_bulb_pct(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the EMC in % from dry bulb and thermodynamic wet bulb.

    Raises
    ------
    ValueError
        If a value is outside its range, or no air has the pair.
    """
    return emc_pct(dry_bulb_c, relative_humidity(dry_bulb_c, wet_bulb_c, pressure_pa))
