"""Moist air: what a dry bulb and a wet bulb tell about it.

Temperatures in °C, pressures in Pa, relative humidity as a fraction 0 to 1, humidity ratio in kg of water for each kg
of dry air, enthalpy in J for each kg of dry air. All functions take numbers or arrays and broadcast them.

Where formula and psychrometer tables part
------------------------------------------
Two rules lead from a pair of bulbs to the humidity. The thermodynamic wet bulb (``humidity_ratio_from_wet_bulb``,
ASHRAE) is a property of the air. A real wick follows the psychrometer equation (``vapour_pressure_from_psychrometer``,
Ferrel), on which drying tables and weather tables rest. Over 20 to 100 °C and 1 to 30 K depression the first gives the
higher relative humidity: by 0.07 points at 1 K, by 0.3 to 0.6 at 5 K, by up to 0.95 at 15 K (30 °C), on average by 0.6
to 0.7 over published tables (1.8 points, rounding included, where a weather table goes to very dry air); in equilibrium
moisture content by at most about 0.2 points. A test against a drying table with the thermodynamic formula needs 1 point
of relative humidity of tolerance.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plant.physics.arrays import Numbers, first_where, within
from plant.physics.saturation import (
    COLDEST_C,
    HOTTEST_C,
    MOST_STEPS,
    TOLERANCE_K,
    ZERO_C_K,
    saturation_pressure_pa,
    saturation_temperature_c,
)

STANDARD_PRESSURE_PA = 101_325.0
"""Standard atmosphere (ISO 2533)."""

DRY_AIR_GAS_CONSTANT_J_KG_K = 287.042
"""ASHRAE Fundamentals (2017) ch. 1, eq. (1)."""
WATER_TO_AIR_MASS_RATIO = 0.621945
"""Ratio of the molar masses of water and dry air: ASHRAE Fundamentals (2017) ch. 1, eq. (20)."""

LEAST_PRESSURE_PA, MOST_PRESSURE_PA = 50_000.0, 120_000.0
"""Air pressure from about 5 600 m above the sea to below it; outside it is a slip of unit."""

MOST_HUMIDITY_RATIO = 1e9
"""Towards the boiling point the dry air vanishes and the ratio grows beyond all bounds."""


# Ferrel's psychrometer equation in inHg and °F: e = ew - 0.000367 P (t - tw) (1 + (tw - 32)/1571), turned into °C.
_FERREL_PER_K = 0.000367 * 1.8
_FERREL_PER_WET_BULB_K = 1.8 / 1571


def _air_pressure(pressure_pa: ArrayLike) -> Numbers:
    return within("air pressure", pressure_pa, LEAST_PRESSURE_PA, MOST_PRESSURE_PA, "Pa")


def humidity_ratio(vapour_pressure_pa: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Numbers:
    """Compute the humidity ratio [W] from the vapour's pressure.

    Parameters
    ----------
    vapour_pressure_pa : array_like
        In Pa, 0 to below the air pressure.
    pressure_pa : array_like
        Air pressure in Pa, 50 000 to 120 000.

    Returns
    -------
    ndarray
        kg of water for each kg of dry air.

    Raises
    ------
    ValueError
        If a pressure is outside its range, or the vapour alone reaches the air pressure: then no dry air is left.

    Notes
    -----
    ASHRAE Fundamentals (2017) ch. 1, eq. (20): W = 0.621945 pw / (p - pw).
    """
    vapour = within("vapour pressure", vapour_pressure_pa, 0, MOST_PRESSURE_PA, "Pa")
    pressure = _air_pressure(pressure_pa)
    is_all_vapour = vapour >= pressure
    if np.any(is_all_vapour):
        bad_vapour, bad_pressure = first_where(np.asarray(is_all_vapour), vapour, pressure)
        raise ValueError(
            f"vapour pressure {bad_vapour:g} Pa is outside 0 to below the air pressure of {bad_pressure:g} Pa"
        )
    return np.asarray(WATER_TO_AIR_MASS_RATIO * vapour / (pressure - vapour))


def vapour_pressure_pa(ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Numbers:
    """Compute the vapour's pressure in Pa from the humidity ratio: ``humidity_ratio`` the other way round.

    Raises
    ------
    ValueError
        If a ratio is negative, or an air pressure is outside 50 000 to 120 000 Pa.
    """
    water = within("humidity ratio", ratio, 0, MOST_HUMIDITY_RATIO, "kg/kg")
    return np.asarray(_air_pressure(pressure_pa) * water / (WATER_TO_AIR_MASS_RATIO + water))


def humidity_ratio_from_wet_bulb(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the humidity ratio [W] from dry bulb and thermodynamic wet bulb.

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c : array_like
        In °C, -100 to 200; the wet bulb not above the dry bulb and below the boiling point at the air pressure.
    pressure_pa : array_like
        Air pressure in Pa, 50 000 to 120 000.

    Returns
    -------
    ndarray
        kg of water for each kg of dry air.

    Raises
    ------
    ValueError
        If a value is outside its range, or no air has such a pair: the wet bulb above the dry bulb, or so far below
        it that less than no vapour would be left (30 °C with 9 °C, for example). Nothing is clamped.

    Notes
    -----
    ASHRAE Fundamentals (2017) ch. 1, eq. (33), wet bulb at or above 0 °C, and (35), wick of ice.
    """
    dry, wet, ratio = _ratio_of_pair(dry_bulb_c, wet_bulb_c, pressure_pa)
    _refuse_too_dry(ratio < 0, dry, wet)
    return ratio


def _ratio_of_pair(dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike) -> tuple[Numbers, ...]:
    dry, wet = _ordered_pair(dry_bulb_c, wet_bulb_c)
    at_wet = humidity_ratio(_below_boiling(wet, pressure_pa), pressure_pa)
    over_water = ((2501 - 2.326 * wet) * at_wet - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)
    over_ice = ((2830 - 0.24 * wet) * at_wet - 1.006 * (dry - wet)) / (2830 + 1.86 * dry - 2.1 * wet)
    return dry, wet, np.where(wet >= 0, over_water, over_ice)


def _ordered_pair(dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike) -> tuple[Numbers, Numbers]:
    dry = within("dry bulb", dry_bulb_c, COLDEST_C, HOTTEST_C, "°C")
    wet = within("wet bulb", wet_bulb_c, COLDEST_C, HOTTEST_C, "°C")
    is_above = wet > dry
    if np.any(is_above):
        bad_wet, bad_dry = first_where(np.asarray(is_above), wet, dry)
        raise ValueError(f"wet bulb {bad_wet:g} °C is outside {COLDEST_C:g} to the dry bulb of {bad_dry:g} °C")
    return dry, wet


def _below_boiling(wet_bulb_c: Numbers, pressure_pa: ArrayLike) -> Numbers:
    """Return the saturation pressure at the wet bulb, refusing one at which water would boil."""
    pressure, saturated = _air_pressure(pressure_pa), saturation_pressure_pa(wet_bulb_c)
    boils = saturated >= pressure
    if np.any(boils):
        bad_wet, bad_pressure = first_where(np.asarray(boils), wet_bulb_c, pressure)
        boils_c = float(saturation_temperature_c(bad_pressure))
        allowed = f"{COLDEST_C:g} to below the boiling point {boils_c:.2f} °C"
        raise ValueError(f"wet bulb {bad_wet:g} °C is outside {allowed}")
    return saturated


def _refuse_too_dry(is_too_dry: NDArray[np.bool_], dry: Numbers, wet: Numbers) -> None:
    if np.any(is_too_dry):
        bad_dry, bad_wet = first_where(np.asarray(is_too_dry), dry, wet)
        raise ValueError(
            f"wet bulb {bad_wet:g} °C is outside what any air of {bad_dry:g} °C has: even dry air keeps it warmer"
        )


def is_possible_pair(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> NDArray[np.bool_]:
    """Say for each pair of bulbs whether any air has it; for readings, which are marked and not refused.

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c : array_like
        In °C; anything, NaN included.
    pressure_pa : array_like
        Air pressure in Pa, 50 000 to 120 000.

    Returns
    -------
    ndarray of bool
        False where ``humidity_ratio_from_wet_bulb`` would refuse the pair.
    """
    dry, wet, pressure = np.broadcast_arrays(
        np.asarray(dry_bulb_c, np.float64), np.asarray(wet_bulb_c, np.float64), _air_pressure(pressure_pa)
    )
    known = (dry >= COLDEST_C) & (dry <= HOTTEST_C) & (wet >= COLDEST_C) & (wet <= dry)
    known &= saturation_pressure_pa(np.where(known, wet, 0.0)) < pressure
    ratio = _ratio_of_pair(np.where(known, dry, 0.0), np.where(known, wet, 0.0), pressure)[2]
    return np.asarray(known & (ratio >= 0))


def relative_humidity(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the relative humidity from dry bulb and thermodynamic wet bulb.

    Returns
    -------
    ndarray
        Fraction, 0 to 1.

    Raises
    ------
    ValueError
        As ``humidity_ratio_from_wet_bulb``.

    Notes
    -----
    ASHRAE Fundamentals (2017) ch. 1, eq. (22): pw / pws(t). On average 0.6 to 0.7 points above what a psychrometer
    table gives, at most about 0.95 points in a kiln (head of this module).

    Examples
    --------
    >>> round(float(relative_humidity(60, 55)), 3)
    0.775
    """
    vapour = vapour_pressure_pa(humidity_ratio_from_wet_bulb(dry_bulb_c, wet_bulb_c, pressure_pa), pressure_pa)
    return np.asarray(vapour / saturation_pressure_pa(dry_bulb_c))


def vapour_pressure_from_psychrometer(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the vapour's pressure in Pa from a ventilated psychrometer's two readings.

    Raises
    ------
    ValueError
        As ``humidity_ratio_from_wet_bulb``, and for a wet bulb below 0 °C: a frozen wick follows other constants.

    Notes
    -----
    Ferrel: e = ew - 0.000367 P (t - tw)(1 + (tw - 32)/1571), °F and inHg, here in °C and Pa. The constants are from
    memory and proved on 8 895 cells of published tables (97 to 99 % within 0.6 points of relative humidity).
    """
    dry, wet = _ordered_pair(dry_bulb_c, wet_bulb_c)
    within("wet bulb", wet, 0, HOTTEST_C, "°C")
    saturated, pressure = _below_boiling(wet, pressure_pa), np.asarray(pressure_pa, np.float64)
    vapour = saturated - _FERREL_PER_K * pressure * (dry - wet) * (1 + _FERREL_PER_WET_BULB_K * wet)
    _refuse_too_dry(vapour < 0, dry, wet)
    return np.asarray(vapour)


def relative_humidity_by_psychrometer(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the relative humidity (fraction 0 to 1) as drying tables do: with the psychrometer equation.

    Raises
    ------
    ValueError
        As ``vapour_pressure_from_psychrometer``.

    Notes
    -----
    Below ``relative_humidity`` of the same pair by 0.07 points at 1 K depression and up to 0.95 points at 15 K.

    Examples
    --------
    >>> round(float(relative_humidity_by_psychrometer(60, 55)), 3)
    0.772
    """
    vapour = vapour_pressure_from_psychrometer(dry_bulb_c, wet_bulb_c, pressure_pa)
    return np.asarray(vapour / saturation_pressure_pa(dry_bulb_c))


def relative_humidity_of_readings(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_pa: float = STANDARD_PRESSURE_PA
) -> Numbers:
    """Compute the relative humidity (fraction 0 to 1) of readings, as ``relative_humidity_by_psychrometer``.

    Parameters
    ----------
    dry_bulb_c, wet_bulb_c : array_like
        In °C; anything, NaN included.
    pressure_pa : float
        Air pressure in Pa, 50 000 to 120 000.

    Returns
    -------
    ndarray
        NaN where the other function would refuse the pair; nothing is clamped.
    """
    dry, wet = np.broadcast_arrays(np.asarray(dry_bulb_c, np.float64), np.asarray(wet_bulb_c, np.float64))
    known = np.asarray((wet >= 0) & (wet <= dry) & (dry <= HOTTEST_C))
    if not known.all():
        # Something that is no reading stands where there is none; it falls out at the end.
        dry, wet = np.where(known, dry, 50.0), np.where(known, wet, 50.0)
    saturated, pressure = saturation_pressure_pa(wet), float(_air_pressure(pressure_pa))
    vapour = np.asarray(dry - wet)
    vapour *= -_FERREL_PER_K * pressure
    vapour *= 1 + _FERREL_PER_WET_BULB_K * wet
    vapour += saturated
    known &= saturated < pressure
    known &= vapour >= 0
    vapour /= saturation_pressure_pa(dry)
    if not known.all():
        vapour[~known] = np.nan
    return vapour


def dew_point_c(ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Numbers:
    """Compute the dew point in °C (below 0.01 °C the frost point) from the humidity ratio.

    Raises
    ------
    ValueError
        If a ratio is negative or so small that the dew point lies below -100 °C.

    Examples
    --------
    >>> round(float(dew_point_c(humidity_ratio_from_wet_bulb(60, 55))), 2)
    54.6
    """
    return saturation_temperature_c(vapour_pressure_pa(ratio, pressure_pa))


def enthalpy_j_kg(dry_bulb_c: ArrayLike, ratio: ArrayLike) -> Numbers:
    """Compute the enthalpy of moist air in J for each kg of dry air, counted from 0 °C and liquid water.

    Raises
    ------
    ValueError
        If a temperature is outside -100 to 200 °C or a ratio negative.

    Notes
    -----
    ASHRAE Fundamentals (2017) ch. 1, eq. (30): h = 1.006 t + W (2501 + 1.86 t) kJ/kg.

    Examples
    --------
    >>> round(float(enthalpy_j_kg(60, 0.11199)) / 1000, 1)
    352.9
    """
    temp = within("temperature", dry_bulb_c, COLDEST_C, HOTTEST_C, "°C")
    water = within("humidity ratio", ratio, 0, MOST_HUMIDITY_RATIO, "kg/kg")
    return np.asarray(1000 * (1.006 * temp + water * (2501 + 1.86 * temp)))


def density_kg_m3(dry_bulb_c: ArrayLike, ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Numbers:
    """Compute the density of moist air, its vapour included, in kg/m3.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    ASHRAE Fundamentals (2017) ch. 1, eq. (9) and (26): both parts as ideal gases.

    Examples
    --------
    >>> round(float(density_kg_m3(60, 0.11199)), 3)
    0.998
    """
    temp = within("temperature", dry_bulb_c, COLDEST_C, HOTTEST_C, "°C")
    water = within("humidity ratio", ratio, 0, MOST_HUMIDITY_RATIO, "kg/kg")
    dry_air = (_air_pressure(pressure_pa) - vapour_pressure_pa(water, pressure_pa)) / (
        DRY_AIR_GAS_CONSTANT_J_KG_K * (temp + ZERO_C_K)
    )
    return np.asarray(dry_air * (1 + water))


def wet_bulb_c(dry_bulb_c: ArrayLike, humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Numbers:
    """Find the thermodynamic wet bulb of air from its relative humidity.

    Parameters
    ----------
    dry_bulb_c : array_like
        In °C, -100 to 200.
    humidity : array_like
        Relative humidity as a fraction, above 0.0001 to 1. Above the boiling point only as much as leaves dry air.
    pressure_pa : array_like
        Air pressure in Pa, 50 000 to 120 000.

    Returns
    -------
    ndarray
        In °C.

    Raises
    ------
    ValueError
        If a value is outside its range, or the vapour alone would reach the air pressure.
    RuntimeError
        If the iteration does not converge (a fault of this program).

    Notes
    -----
    Halving of the span between dew point and dry bulb, to 1e-7 K: the humidity ratio rises with the wet bulb.

    Examples
    --------
    >>> round(float(wet_bulb_c(60, 0.7753)), 2)
    55.0
    """
    share = within("relative humidity", humidity, 1e-4, 1, "")
    dry = within("dry bulb", dry_bulb_c, COLDEST_C, HOTTEST_C, "°C")
    pressure = _air_pressure(pressure_pa)
    vapour = share * saturation_pressure_pa(dry)
    wanted = humidity_ratio(vapour, pressure)
    # Of air below -60 °C or drier than dew forms in it, the span begins at the end of the formula.
    low = saturation_temperature_c(np.maximum(vapour, float(saturation_pressure_pa(COLDEST_C))))
    # At the boiling point itself no dry air is left: stop a hair below it.
    boiling = saturation_temperature_c(pressure) - 1e-6
    low, high = np.broadcast_arrays(np.minimum(low, boiling), np.minimum(dry, boiling))
    for _step in range(MOST_STEPS):
        middle = (low + high) / 2
        is_too_moist = _ratio_of_pair(np.maximum(dry, middle), middle, pressure)[2] > wanted
        high, low = np.where(is_too_moist, middle, high), np.where(is_too_moist, low, middle)
        if np.all(high - low <= TOLERANCE_K):
            return np.asarray((low + high) / 2)
    raise RuntimeError(f"wet bulb did not converge in {MOST_STEPS} steps")
