"""Air that leaves a chamber through gaps and doors, steam and water that leave through holes.

Temperatures in °C, pressures in Pa absolute unless named otherwise, lengths in m, flows of air as m3/s of chamber air
or kg of dry air a second. The heat that leaving air takes along is its enthalpy less that of the air that comes in for
it: most of it is in the vapour, so that a count by temperatures alone finds a third to an eighth of it.
"""

from dataclasses import dataclass
from math import pi, sqrt

from plant.physics.arrays import within
from plant.physics.heat_loss import GRAVITY_M_S2
from plant.physics.psychrometrics import (
    STANDARD_PRESSURE_PA,
    density_kg_m3,
    enthalpy_j_kg,
    humidity_ratio,
    humidity_ratio_from_wet_bulb,
)
from plant.physics.saturation import ZERO_C_K, saturation_pressure_pa, saturation_temperature_c

GAP_DISCHARGE = 0.65
"""Discharge coefficient of a sharp-edged opening: usual value of textbooks, from memory."""

CHOKED_RATIO = 0.577
"""Pressure behind over pressure before, below which saturated steam leaves at the speed of sound (textbook)."""
NAPIER_DISCHARGE = 0.60
DOE_DISCHARGE = 0.729
"""Discharge coefficient that the US DOE's table of leaking traps (Steam Tip Sheet 1) implies in all its 23 cells."""

WATER_HEAT_CAPACITY_J_KG_K = 4190.0
"""Of liquid water between 20 and 100 °C, within 0.6 %."""

_STEAM_KJ_KG = (2506.59583, 1.65604773, 1.82078042e-3, -1.48266337e-5)

# Napier's rule W = 51.43 A P (lb/h, square inch, psia) with A the hole's area; 24.24 P D^2 holds the coefficient 0.60.
_NAPIER_KG_S_PER_M2_PA = 51.43 * 0.45359237 / 3600 / (0.0254**2) / 6894.757293


@dataclass(frozen=True, slots=True)
class Air:
    """Moist air at a dry bulb with a humidity ratio (kg of water for each kg of dry air)."""

    temp_c: float
    ratio: float
    pressure_pa: float = STANDARD_PRESSURE_PA

    @classmethod
    def by_wet_bulb(cls, dry_bulb_c: float, wet_bulb_c: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> "Air":
        """Take it from two bulbs. Raises ValueError for a pair that no air has."""
        ratio = humidity_ratio_from_wet_bulb(dry_bulb_c, wet_bulb_c, pressure_pa)
        return cls(dry_bulb_c, float(ratio), pressure_pa)

    @classmethod
    def by_humidity(cls, temp_c: float, humidity: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> "Air":
        """Take it from a relative humidity (fraction). Raises ValueError outside 0 to 1."""
        vapour = within("relative humidity", humidity, 0, 1, "") * saturation_pressure_pa(temp_c)
        return cls(temp_c, float(humidity_ratio(vapour, pressure_pa)), pressure_pa)

    @property
    def density_kg_m3(self) -> float:
        """Density with the vapour, kg/m3."""
        return float(density_kg_m3(self.temp_c, self.ratio, self.pressure_pa))

    @property
    def dry_density_kg_m3(self) -> float:
        """Dry air in a cubic metre, kg/m3."""
        return self.density_kg_m3 / (1 + self.ratio)

    @property
    def enthalpy_j_kg(self) -> float:
        """Enthalpy, J for each kg of dry air."""
        return float(enthalpy_j_kg(self.temp_c, self.ratio))


@dataclass(frozen=True, slots=True)
class AirLoss:
    """What an exchange of air costs: flow of dry air, heat, water, and the heat that temperatures alone would show."""

    dry_air_kg_s: float
    heat_w: float
    sensible_w: float
    water_kg_h: float


def air_loss(inside: Air, outside: Air, flow_m3_s: float) -> AirLoss:
    """Compute what leaves with a flow of chamber air when outside air comes in for it.

    Parameters
    ----------
    inside, outside : Air
    flow_m3_s : float
        Chamber air that leaves, 0 to 100 m3/s.

    Raises
    ------
    ValueError
        If the flow is outside its range.

    Notes
    -----
    Heat = flow of dry air x (h inside - h outside); the sensible part is 1 006 J/kg K x the fall of temperature.
    """
    dry_air = float(within("air flow", flow_m3_s, 0, 100, "m3/s")) * inside.dry_density_kg_m3
    return AirLoss(
        dry_air_kg_s=dry_air,
        heat_w=dry_air * (inside.enthalpy_j_kg - outside.enthalpy_j_kg),
        sensible_w=dry_air * 1006 * (inside.temp_c - outside.temp_c),
        water_kg_h=dry_air * (inside.ratio - outside.ratio) * 3600,
    )


def stack_flow_m3_s(
    inside_c: float, outside_c: float, area_m2: float, height_to_neutral_m: float, discharge: float = GAP_DISCHARGE
) -> float:
    """Compute the flow that a warm chamber's buoyancy drives through an opening above or below the neutral height.

    Parameters
    ----------
    inside_c, outside_c : float
        In °C, -60 to 200; the chamber not colder than outside.
    area_m2 : float
        Area that air leaves through (or comes in through), 0 to 50 m2.
    height_to_neutral_m : float
        Height between the opening's middle and the level of equal pressure, 0 to 20 m.
    discharge : float
        Discharge coefficient, 0.1 to 1.

    Returns
    -------
    float
        m3/s of chamber air.

    Raises
    ------
    ValueError
        If a value is outside its range, or the chamber is colder than outside.

    Notes
    -----
    ASHRAE Fundamentals (2009) ch. 16 eq. (38): Q = CD A sqrt(2 g dH (Ti - To)/Ti), T in K. It leaves out that moist air
    is lighter than dry air, and the pressure of running fans, which can be far larger: a lower bound on both counts.
    """
    inside = float(within("chamber temperature", inside_c, -60, 200, "°C"))
    outside = float(within("outside temperature", outside_c, -60, 200, "°C"))
    if inside < outside:
        raise ValueError(f"chamber temperature {inside:g} °C is outside the outer air's {outside:g} °C to 200")
    area = float(within("area", area_m2, 0, 50, "m2"))
    height = float(within("height", height_to_neutral_m, 0, 20, "m"))
    coefficient = float(within("discharge coefficient", discharge, 0.1, 1, ""))
    return coefficient * area * sqrt(2 * GRAVITY_M_S2 * height * (inside - outside) / (inside + ZERO_C_K))


def gap_flow_m3_s(
    inside_c: float, outside_c: float, gap_mm: float, height_m: float, discharge: float = GAP_DISCHARGE
) -> float:
    """Compute the flow through an upright gap, a door seam: out through its upper half, in through its lower.

    Raises
    ------
    ValueError
        If the gap is outside 0 to 500 mm or the height outside 0 to 20 m, and as ``stack_flow_m3_s``.

    Notes
    -----
    ``stack_flow_m3_s`` with the upper half's area and a quarter of the height. Lower bound.

    Examples
    --------
    >>> round(gap_flow_m3_s(60, 5, 10, 4), 4)
    0.0234
    """
    width = float(within("gap", gap_mm, 0, 500, "mm")) / 1000
    height = float(within("height of the gap", height_m, 0, 20, "m"))
    return stack_flow_m3_s(inside_c, outside_c, width * height / 2, height / 4, discharge)


def pressed_flow_m3_s(inside: Air, area_m2: float, pressure_difference_pa: float, discharge: float) -> float:
    """Compute the flow through an opening under a measured difference of pressure: Q = CD A sqrt(2 dp/rho), in m3/s.

    Raises
    ------
    ValueError
        If the area is outside 0 to 50 m2, the pressure outside 0 to 2 000 Pa, or the coefficient outside 0.1 to 1.
    """
    area = float(within("area", area_m2, 0, 50, "m2"))
    pressure = float(within("pressure difference", pressure_difference_pa, 0, 2000, "Pa"))
    coefficient = float(within("discharge coefficient", discharge, 0.1, 1, ""))
    return coefficient * area * sqrt(2 * pressure / inside.density_kg_m3)


def door_exchange_kg_s(inside: Air, outside: Air, area_m2: float, height_m: float, flow_factor: float = 0.8) -> float:
    """Compute the exchange of dry air through a wide open door of a chamber that is lighter inside, in kg/s.

    Parameters
    ----------
    inside, outside : Air
    area_m2 : float
        Door opening, 0 to 200 m2.
    height_m : float
        Its height, 0 to 20 m.
    flow_factor : float
        Share of the fully developed flow, 0 to 1; 0.8 as the source has it.

    Raises
    ------
    ValueError
        If a value is outside its range, or the chamber's air is heavier than that outside.

    Notes
    -----
    Gosney and Olama as the EnergyPlus Engineering Reference gives it, with the chamber in the place of the warm room:
    0.221 A rho_o sqrt((1 - rho_i/rho_o) g H) F, F = (2/(1 + (rho_o/rho_i)^(1/3)))^1.5. The rule is for cold rooms; a
    hot chamber is beyond its tests.
    """
    area = float(within("door area", area_m2, 0, 200, "m2"))
    height = float(within("door height", height_m, 0, 20, "m"))
    share = float(within("flow factor", flow_factor, 0, 1, ""))
    inner, outer = inside.density_kg_m3, outside.density_kg_m3
    if inner > outer:
        raise ValueError(f"density of the chamber air {inner:.3f} kg/m3 is above that outside, {outer:.3f} kg/m3")
    shape = (2 / (1 + (outer / inner) ** (1 / 3))) ** 1.5
    return float(0.221 * area * outer * sqrt((1 - inner / outer) * GRAVITY_M_S2 * height) * shape * share)


def steam_flow_kg_h(
    hole_mm: float, steam_pa: float, discharge: float = NAPIER_DISCHARGE, behind_pa: float | None = None
) -> float:
    """Compute the steam that leaves through a hole, by Napier's rule.

    Parameters
    ----------
    hole_mm : float
        Diameter in mm, 0 to 100.
    steam_pa : float
        Absolute pressure of the saturated steam before the hole in Pa, 100 000 to 4 000 000.
    discharge : float
        Discharge coefficient, 0.1 to 1: 0.60 as in Napier's worked example, 0.729 as in the DOE's table of traps.
    behind_pa : float, optional
        Absolute pressure behind the hole in Pa; if given, a flow that is not choked is refused.

    Returns
    -------
    float
        kg/h.

    Raises
    ------
    ValueError
        If a value is outside its range, or ``behind_pa`` is above 0.577 of the pressure before the hole.

    Notes
    -----
    W = 51.43 CD A P (lb/h, in2, psia); with CD 0.60 and a diameter 24.24 P D^2 (US DOE Steam Tip Sheet 1; worked
    example 16.78 lb/h at 5 psig and 3/16 in).

    Examples
    --------
    >>> round(steam_flow_kg_h(3.175, 790_800, DOE_DISCHARGE), 1)
    23.9
    """
    hole = float(within("hole", hole_mm, 0, 100, "mm")) / 1000
    pressure = float(within("steam pressure", steam_pa, 100_000, 4_000_000, "Pa absolute"))
    coefficient = float(within("discharge coefficient", discharge, 0.1, 1, ""))
    if behind_pa is not None and behind_pa > CHOKED_RATIO * pressure:
        raise ValueError(
            f"steam pressure {pressure:g} Pa absolute is outside {behind_pa / CHOKED_RATIO:.0f} to 4e+06: below it "
            f"the steam leaves slower than sound and Napier's rule does not hold"
        )
    return _NAPIER_KG_S_PER_M2_PA * coefficient * pi / 4 * hole**2 * pressure * 3600


def steam_enthalpy_j_kg(steam_pa: float) -> float:
    """Compute the enthalpy of saturated steam in J/kg, counted from water at 0 °C.

    Raises
    ------
    ValueError
        If the pressure is outside 100 000 to 1 554 000 Pa absolute (100 to 200 °C).

    Notes
    -----
    A cubic over the saturation temperature, fitted by us to IAPWS-95 between 100 and 200 °C; within 0.001 %.

    Examples
    --------
    >>> round(steam_enthalpy_j_kg(1_000_000) / 1000)
    2777
    """
    pressure = float(within("steam pressure", steam_pa, 100_000, 1_554_000, "Pa absolute"))
    temp = float(saturation_temperature_c(pressure))
    c0, c1, c2, c3 = _STEAM_KJ_KG
    return 1000 * (c0 + temp * (c1 + temp * (c2 + temp * c3)))
