"""Heat that leaves through walls and from pipes: W, W/m and the surface temperatures that go with it.

Temperatures in °C, lengths in m or mm as named. Numbers or arrays.
"""

import numpy as np
from numpy.typing import ArrayLike

from plant.physics.arrays import Numbers, within
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA
from plant.physics.saturation import ZERO_C_K

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374419e-8
"""CODATA 2018, exact."""
GRAVITY_M_S2 = 9.80665
"""Standard gravity."""

INNER_SURFACE_RESISTANCE_M2K_W = 0.13
OUTER_SURFACE_RESISTANCE_M2K_W = 0.04
STILL_AIR_RESISTANCE_M2K_W = 0.13
"""ISO 6946, horizontal heat flow; from memory. The outer one holds in wind; in still air the inner one holds outside
too."""

BARE_STEEL_EMISSIVITY = 0.8
"""Oxidised steel; with it the published table of bare pipes is met within 6 %."""


def bare_pipe_loss_w_m(
    outer_diameter_mm: ArrayLike,
    pipe_c: ArrayLike,
    ambient_c: ArrayLike,
    emissivity: ArrayLike = BARE_STEEL_EMISSIVITY,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> Numbers:
    """Compute the heat that a metre of bare horizontal pipe gives off in still air.

    Parameters
    ----------
    outer_diameter_mm : array_like
        In mm, 5 to 1 000.
    pipe_c, ambient_c : array_like
        Surface of the pipe (that of its fluid, near enough) and the air and walls around, -40 to 350 °C; the pipe not
        colder than the air.
    emissivity : array_like
        Fraction 0 to 1.
    pressure_pa : float
        Air pressure in Pa: thinner air takes less heat along.

    Returns
    -------
    ndarray
        W for each metre.

    Raises
    ------
    ValueError
        If a value is outside its range, or the pipe is colder than the air.

    Notes
    -----
    Natural convection by Churchill and Chu (1975), Nu = (0.60 + 0.387 Ra^(1/6) / (1 + (0.559/Pr)^(9/16))^(8/27))^2 at
    the film temperature, and radiation to surroundings at the air's temperature. Against 75 published points (1955
    Guide, ch. 28 Table 1) -5.4 to +3.0 %; against the US DOE's Steam Tip Sheet 2 3.5 to 17 % above, more for large
    pipes. Wind or a fan nearby makes the loss several times larger.

    Examples
    --------
    >>> round(float(bare_pipe_loss_w_m(60.3, 90, 20)), -1)
    180.0
    """
    diameter = within("pipe diameter", outer_diameter_mm, 5, 1000, "mm") / 1000
    pipe = within("pipe temperature", pipe_c, -40, 350, "°C")
    air = within("air temperature", ambient_c, -40, 350, "°C")
    share = within("emissivity", emissivity, 0, 1, "")
    if np.any(pipe < air):
        raise ValueError(f"pipe temperature {pipe} °C is outside the air's {air} °C to 350")
    hot_k, cold_k = pipe + ZERO_C_K, air + ZERO_C_K
    radiated = share * STEFAN_BOLTZMANN_W_M2_K4 * (hot_k**4 - cold_k**4)
    convected = _natural_convection_w_m2k(diameter, hot_k, cold_k, pressure_pa) * (pipe - air)
    return np.asarray(np.pi * diameter * (convected + radiated))


def _natural_convection_w_m2k(diameter_m: Numbers, hot_k: Numbers, cold_k: Numbers, pressure_pa: float) -> Numbers:
    film = (hot_k + cold_k) / 2
    # Sutherland's law with the constants of White, Viscous Fluid Flow; specific heat of air 1 007 J/kg K.
    viscosity = 1.716e-5 * (film / 273.15) ** 1.5 * (273.15 + 110.4) / (film + 110.4)
    conductivity = 0.0241 * (film / 273.15) ** 1.5 * (273.15 + 194.0) / (film + 194.0)
    density = pressure_pa / (287.042 * film)
    prandtl = viscosity * 1007.0 / conductivity
    spread = density**2 * GRAVITY_M_S2 * (hot_k - cold_k) * diameter_m**3 / (film * viscosity**2)
    nusselt = (0.60 + 0.387 * (spread * prandtl) ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    return np.asarray(nusselt * conductivity / diameter_m)


def insulated_pipe_loss_w_m(
    outer_diameter_mm: ArrayLike,
    pipe_c: ArrayLike,
    ambient_c: ArrayLike,
    insulation_mm: ArrayLike,
    conductivity_w_mk: ArrayLike = 0.04,
    surface_coefficient_w_m2k: ArrayLike = 10.0,
) -> Numbers:
    """Compute the heat that a metre of insulated pipe gives off, in W/m.

    Parameters
    ----------
    outer_diameter_mm, pipe_c, ambient_c : array_like
        As in ``bare_pipe_loss_w_m``.
    insulation_mm : array_like
        Thickness of the insulation in mm, 1 to 500.
    conductivity_w_mk : array_like
        Of the insulation, 0.01 to 2 W/mK; dry mineral wool 0.04, wet several times as much.
    surface_coefficient_w_m2k : array_like
        From the outer surface to the air, 2 to 100 W/m2K; 10 indoors.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Cylinder: q = (Tp - Ta) / (ln(r2/r1)/(2 pi k) + 1/(2 pi r2 h)), the form of the US Mechanical
    Insulation Design Guide.
    """
    inner = within("pipe diameter", outer_diameter_mm, 5, 1000, "mm") / 2000
    outer = inner + within("insulation", insulation_mm, 1, 500, "mm") / 1000
    conductivity = within("conductivity", conductivity_w_mk, 0.01, 2, "W/mK")
    surface = within("surface coefficient", surface_coefficient_w_m2k, 2, 100, "W/m2K")
    fall = within("pipe temperature", pipe_c, -40, 350, "°C") - within("air temperature", ambient_c, -40, 350, "°C")
    resistance = np.log(outer / inner) / (2 * np.pi * conductivity) + 1 / (2 * np.pi * outer * surface)
    return np.asarray(fall / resistance)


def heat_flux_w_m2(u_w_m2k: ArrayLike, inside_c: ArrayLike, outside_c: ArrayLike) -> Numbers:
    """Compute the heat through a square metre of wall: q = U (Ti - To).

    Raises
    ------
    ValueError
        If U is outside 0 to 7 W/m2K (bare metal reaches 6) or a temperature outside -60 to 200 °C.
    """
    fall = within("inside temperature", inside_c, -60, 200, "°C") - within(
        "outside temperature", outside_c, -60, 200, "°C"
    )
    return np.asarray(within("U value", u_w_m2k, 0, 7, "W/m2K") * fall)


def inner_surface_c(u_w_m2k: ArrayLike, inside_c: ArrayLike, outside_c: ArrayLike) -> Numbers:
    """Compute the temperature of a wall's inner surface: below the chamber's dew point it is wet.

    Raises
    ------
    ValueError
        As ``heat_flux_w_m2``.

    Notes
    -----
    T = Ti - U (Ti - To) Rsi, Rsi 0.13 m2K/W (ISO 6946). Behind a thermal bridge the true surface may be colder still.

    Examples
    --------
    >>> round(float(inner_surface_c(1.0, 60, 5)), 2)
    52.85
    """
    fall = heat_flux_w_m2(u_w_m2k, inside_c, outside_c) * INNER_SURFACE_RESISTANCE_M2K_W
    return np.asarray(np.asarray(inside_c, np.float64) - fall)


def outer_surface_c(
    u_w_m2k: ArrayLike, inside_c: ArrayLike, outside_c: ArrayLike, *, is_still_air: bool = False
) -> Numbers:
    """Compute the temperature of a wall's outer surface: what a hand on it feels.

    Parameters
    ----------
    u_w_m2k : array_like
        U value with the outer resistance of 0.04 m2K/W (wind).
    inside_c, outside_c : array_like
        In °C.
    is_still_air : bool
        In still air the outer resistance is 0.13 m2K/W, and U falls accordingly.

    Raises
    ------
    ValueError
        As ``heat_flux_w_m2``.

    Notes
    -----
    T = To + U (Ti - To) Rse. A sound panel is 1 to 2 K warmer than still air, a damp one 4 K, a damaged one 6 K: a hand
    finds only the gross ones.

    Examples
    --------
    >>> round(float(outer_surface_c(0.25, 60, 5)), 2), round(float(outer_surface_c(0.25, 60, 5, is_still_air=True)), 2)
    (5.55, 6.75)
    """
    flux = heat_flux_w_m2(u_w_m2k, inside_c, outside_c)
    outside = np.asarray(outside_c, np.float64)
    if not is_still_air:
        return np.asarray(outside + flux * OUTER_SURFACE_RESISTANCE_M2K_W)
    more = STILL_AIR_RESISTANCE_M2K_W - OUTER_SURFACE_RESISTANCE_M2K_W
    still_flux = flux / (1 + np.asarray(u_w_m2k, np.float64) * more)
    return np.asarray(outside + still_flux * STILL_AIR_RESISTANCE_M2K_W)
