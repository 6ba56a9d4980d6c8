"""Prices of waiting whose loss is heat: air, steam and water that leave, pipes and walls that give it off."""

from dataclasses import dataclass
from typing import ClassVar

from maintenance.losses.waiting_loss import Assumptions, Bound, HotChamber, Loss, assumed, lost_heat_kw
from plant.physics import heat_loss, leaks
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, dew_point_c

PA_PER_BAR = 100_000.0
WATER_KG_PER_L = 0.97
"""Of water at about 80 °C."""


@dataclass(frozen=True)
class LeakingChamber(HotChamber):
    """A chamber that loses air where it should be tight.

    ``vented_anyway_pct`` is the share of that air which the flaps would have let out in any case: while timber gives
    off water, the control shuts the flaps a little further and nothing is lost. ``longer_drying_pct`` is how much
    longer a charge takes because the timber at the leak lags; no published figure for it is known, so that it is 0
    until the mill knows better.
    """

    vented_anyway_pct: float = assumed(60, 0, 100, "%", decimals=0, costs_least=100)
    longer_drying_pct: float = assumed(0, 0, 200, "%", decimals=1, costs_least=0)

    def air_loss(self, flow_m3_s: float, bound: Bound, kiln_m3_per_day: float, pressure_pa: float) -> Loss:
        """Return the loss of a flow of chamber air, and of the time for which a charge waits for the lagging timber."""
        inside, outside = self.inside(pressure_pa), self.outside(pressure_pa)
        lost = leaks.air_loss(inside, outside, flow_m3_s)
        heat_kw = lost_heat_kw(lost.heat_w)
        figures = {
            "flow_m3_h": flow_m3_s * 3600,
            "heat_kw": heat_kw,
            "sensible_kw": lost.sensible_w / 1000,
            "water_kg_h": lost.water_kg_h,
            **self.air_figures(pressure_pa),
        }
        counted_h = self.hot_h_per_day * (1 - self.vented_anyway_pct / 100)
        undried = kiln_m3_per_day * (1 - 1 / (1 + self.longer_drying_pct / 100))
        return Loss(heat_kw * counted_h, undried, bound, {**figures, "counted_h": counted_h})


@dataclass(frozen=True)
class DoorGap(LeakingChamber):
    """An upright gap at a door: torn, hard or flat seal, bent leaf, a fastener that does not pull home."""

    HAS_LEAST: ClassVar[bool] = True
    SOURCE: ClassVar[str] = "ASHRAE Fundamentals (2009) ch. 16 eq. (38); ASHRAE Fundamentals (2017) ch. 1"

    gap_mm: float = assumed(5, 0.1, 200, "mm")
    gap_height_m: float = assumed(2, 0.05, 15, "m", decimals=2)
    discharge: float = assumed(leaks.GAP_DISCHARGE, 0.1, 1, decimals=2, costs_least=leaks.GAP_DISCHARGE)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Stack-driven flow through the gap's upper half, times the enthalpy it takes along: a lower bound."""
        flow = leaks.gap_flow_m3_s(self.dry_bulb_c, self.outside_c, self.gap_mm, self.gap_height_m, self.discharge)
        return self.air_loss(flow, Bound.LOWER, kiln_m3_per_day, pressure_pa)


@dataclass(frozen=True)
class Threshold(LeakingChamber):
    """A level gap at the foot of a door: a threshold that is broken, dirty or pressed flat."""

    HAS_LEAST: ClassVar[bool] = True
    SOURCE: ClassVar[str] = "ASHRAE Fundamentals (2009) ch. 16 eq. (38); ASHRAE Fundamentals (2017) ch. 1"

    gap_mm: float = assumed(5, 0.1, 200, "mm")
    gap_length_m: float = assumed(1, 0.05, 15, "m", decimals=2)
    height_to_neutral_m: float = assumed(2, 0.1, 10, "m", decimals=2)
    discharge: float = assumed(leaks.GAP_DISCHARGE, 0.1, 1, decimals=2, costs_least=leaks.GAP_DISCHARGE)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Cold air comes in at the foot and as much chamber air leaves further up: a lower bound."""
        area = self.gap_mm / 1000 * self.gap_length_m
        flow = leaks.stack_flow_m3_s(self.dry_bulb_c, self.outside_c, area, self.height_to_neutral_m, self.discharge)
        return self.air_loss(flow, Bound.LOWER, kiln_m3_per_day, pressure_pa)


@dataclass(frozen=True)
class OpenFlap(LeakingChamber):
    """A flap that is stuck open or does not shut tight."""

    SOURCE: ClassVar[str] = "Q = CD A sqrt(2 dp/rho) (textbook, from memory); pressure at a flap: common practice"

    open_area_cm2: float = assumed(500, 1, 50_000, "cm²", decimals=0)
    pressure_pa: float = assumed(10, 0, 500, "Pa")
    discharge: float = assumed(0.6, 0.1, 1, decimals=2)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Flow under the pressure that the fans hold at the flap: as good as that pressure is known."""
        inside, area = self.inside(pressure_pa), self.open_area_cm2 / 10_000
        flow = leaks.pressed_flow_m3_s(inside, area, self.pressure_pa, self.discharge)
        return self.air_loss(flow, Bound.ESTIMATE, kiln_m3_per_day, pressure_pa)


@dataclass(frozen=True)
class OpenDoor(HotChamber):
    """A door that stands open, or has to be opened, while the chamber is hot."""

    SOURCE: ClassVar[str] = "Gosney and Olama, as in the EnergyPlus Engineering Reference (made for cold rooms)"

    minutes_per_day: float = assumed(10, 0, 1440, "min", decimals=0)
    door_width_m: float = assumed(3, 0.2, 40, "m", decimals=2)
    door_height_m: float = assumed(4, 0.5, 15, "m", decimals=2)
    flow_factor: float = assumed(0.8, 0, 1, decimals=2)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Exchange through the whole door for the minutes it is open."""
        inside, outside = self.inside(pressure_pa), self.outside(pressure_pa)
        area = self.door_width_m * self.door_height_m
        flow = leaks.door_exchange_kg_s(inside, outside, area, self.door_height_m, self.flow_factor)
        heat_kw = lost_heat_kw(flow * (inside.enthalpy_j_kg - outside.enthalpy_j_kg))
        figures = {"air_kg_s": flow, "heat_kw": heat_kw, **self.air_figures(pressure_pa)}
        return Loss(heat_kw * self.minutes_per_day / 60, 0.0, Bound.ESTIMATE, figures)


@dataclass(frozen=True)
class BarePipe(Assumptions):
    """A heating line without its insulation, in still air outside the chamber."""

    HAS_LEAST: ClassVar[bool] = True
    SOURCE: ClassVar[str] = "Churchill and Chu (1975), within 6 % of the 1955 Guide ch. 28 Table 1; ISO 12241 form"

    length_m: float = assumed(1, 0.05, 1000, "m", decimals=2)
    outer_diameter_mm: float = assumed(60.3, 5, 1000, "mm")
    pipe_c: float = assumed(90, -20, 300, "°C")
    ambient_c: float = assumed(15, -45, 50, "°C")
    emissivity: float = assumed(heat_loss.BARE_STEEL_EMISSIVITY, 0.02, 1, decimals=2, costs_least=0.1)
    insulation_mm: float = assumed(40, 5, 300, "mm", decimals=0)
    conductivity_w_mk: float = assumed(0.04, 0.01, 1, "W/mK", decimals=3)
    hot_h_per_day: float = assumed(24, 0, 24, "h", costs_least=0)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """What the bare pipe gives off more than the insulated one: a lower bound, for wind takes more."""
        around = (self.outer_diameter_mm, self.pipe_c, self.ambient_c)
        bare = float(heat_loss.bare_pipe_loss_w_m(*around, self.emissivity, pressure_pa))
        wrapped = float(heat_loss.insulated_pipe_loss_w_m(*around, self.insulation_mm, self.conductivity_w_mk))
        # Thin insulation on a thin pipe can give off more than bare pipe does: then nothing is to be had.
        saved_kw = lost_heat_kw((bare - wrapped) * self.length_m)
        figures = {"bare_w_m": bare, "insulated_w_m": wrapped, "heat_kw": saved_kw}
        return Loss(saved_kw * self.hot_h_per_day, 0.0, Bound.LOWER, figures)


@dataclass(frozen=True)
class SteamLeak(Assumptions):
    """A trap that passes live steam, a steam valve that leaks by, a hole in a steam line."""

    SOURCE: ClassVar[str] = "Napier; US DOE Steam Tip Sheet 1 (its table implies a discharge coefficient of 0.729)"

    hole_mm: float = assumed(3, 0.2, 50, "mm")
    steam_bar: float = assumed(6, 0.1, 14, "bar")
    behind_bar: float = assumed(0, 0, 14, "bar")
    discharge: float = assumed(leaks.DOE_DISCHARGE, 0.1, 1, decimals=3)
    feed_water_c: float = assumed(80, 0, 150, "°C")
    leak_h_per_day: float = assumed(24, 0, 24, "h")

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Choked flow through the hole, times the heat from feed water to steam: an upper bound at a wet trap."""
        before = pressure_pa + self.steam_bar * PA_PER_BAR
        behind = pressure_pa + self.behind_bar * PA_PER_BAR
        steam_kg_h = leaks.steam_flow_kg_h(self.hole_mm, before, self.discharge, behind)
        heat_j_kg = leaks.steam_enthalpy_j_kg(before) - leaks.WATER_HEAT_CAPACITY_J_KG_K * self.feed_water_c
        heat_kw = steam_kg_h * heat_j_kg / 3.6e6
        figures = {"steam_kg_h": steam_kg_h, "heat_kj_kg": heat_j_kg / 1000, "heat_kw": heat_kw}
        return Loss(heat_kw * self.leak_h_per_day, 0.0, Bound.UPPER, figures)


@dataclass(frozen=True)
class WaterLeak(Assumptions):
    """A hot-water valve that leaks by when shut, a coil or flange that loses hot water."""

    SOURCE: ClassVar[str] = "heat = flow x 4.19 kJ/kg K x fall of temperature"

    leak_l_min: float = assumed(1, 0.01, 500, "l/min", decimals=2)
    water_c: float = assumed(90, 10, 200, "°C")
    replaced_c: float = assumed(70, 0, 200, "°C")
    leak_h_per_day: float = assumed(10, 0, 24, "h")

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Flow times the fall from the hot water to what comes back, or to the make-up water."""
        if self.replaced_c > self.water_c:
            raise ValueError(
                f"water that comes back {self.replaced_c:g} °C is above the hot water of {self.water_c:g} °C"
            )
        water_kg_s = self.leak_l_min * WATER_KG_PER_L / 60
        heat_kw = water_kg_s * leaks.WATER_HEAT_CAPACITY_J_KG_K * (self.water_c - self.replaced_c) / 1000
        figures = {"water_kg_h": water_kg_s * 3600, "heat_kw": heat_kw}
        return Loss(heat_kw * self.leak_h_per_day, 0.0, Bound.ESTIMATE, figures)


@dataclass(frozen=True)
class PoorWall(HotChamber):
    """Wet or missing insulation, or a thermal bridge."""

    SOURCE: ClassVar[str] = "q = U (Ti - To); surface resistances of ISO 6946 (from memory)"

    area_m2: float = assumed(4, 0.01, 2000, "m²", decimals=2)
    u_now_w_m2k: float = assumed(1.0, 0.05, 7, "W/m²K", decimals=2)
    u_sound_w_m2k: float = assumed(0.3, 0.05, 7, "W/m²K", decimals=2)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """What the poor piece of wall lets through more than a sound one."""
        if self.u_sound_w_m2k > self.u_now_w_m2k:
            raise ValueError(f"U value of a sound wall {self.u_sound_w_m2k:g} W/m²K is above that of the poor one")
        around = (self.dry_bulb_c, self.outside_c)
        more_w_m2 = float(
            heat_loss.heat_flux_w_m2(self.u_now_w_m2k, *around) - heat_loss.heat_flux_w_m2(self.u_sound_w_m2k, *around)
        )
        heat_kw = lost_heat_kw(more_w_m2 * self.area_m2)
        inner, dew = (
            float(heat_loss.inner_surface_c(self.u_now_w_m2k, *around)),
            float(dew_point_c(self.inside(pressure_pa).ratio, pressure_pa)),
        )
        figures = {
            "more_w_m2": more_w_m2,
            "heat_kw": heat_kw,
            "inner_surface_c": inner,
            "dew_point_c": dew,
            "is_wet": float(inner < dew),
            "outer_surface_c": float(heat_loss.outer_surface_c(self.u_now_w_m2k, *around, is_still_air=True)),
            "sound_outer_surface_c": float(heat_loss.outer_surface_c(self.u_sound_w_m2k, *around, is_still_air=True)),
        }
        return Loss(heat_kw * self.hot_h_per_day, 0.0, Bound.ESTIMATE, figures)
