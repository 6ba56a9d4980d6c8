"""Prices of waiting whose loss is timber: wrong humidity, too little air, a cold side."""

from dataclasses import dataclass
from typing import ClassVar

from maintenance.losses.waiting_loss import Assumptions, Bound, Loss, assumed
from plant.physics import fan_laws
from plant.physics.drying_capacity import rate_ratio_at
from plant.physics.emc import HOTTEST_C, emc_from_wet_bulb_pct
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, relative_humidity


@dataclass(frozen=True)
class WarmWetBulb(Assumptions):
    """A wet bulb that reads too warm: a dry, dirty or crusted wick, too little air or water.

    The control holds the reading, so that the chamber is drier than it shows, and the timber ends drier than wanted by
    ``followed_pct`` of the error in EMC. ``degraded_pct`` is the share of the timber that loses its margin by checks;
    no published figure for it is known, so that it is 0 until the mill's own grading tells.
    """

    SOURCE: ClassVar[str] = (
        "ASHRAE Fundamentals (2017) ch. 1; Hailwood-Horrobin (USDA FPL-RN-0268); heat for each kg of "
        "water: 0.655 kWh by IAPWS-IF97 at 60 °C, about 2 kg of steam in kilns (archived specialist answer)"
    )

    dry_bulb_c: float = assumed(60, 15, HOTTEST_C, "°C")
    wet_bulb_shown_c: float = assumed(50, 1, 99.9, "°C")
    reads_too_warm_k: float = assumed(1, 0, 20, "K")
    followed_pct: float = assumed(50, 0, 100, "%", decimals=0, costs_least=0)
    basic_density_kg_m3: float = assumed(400, 150, 1200, "kg/m³", decimals=0)
    heat_kwh_per_kg: float = assumed(1.3, 0.65, 4, "kWh/kg", decimals=2)
    degraded_pct: float = assumed(0, 0, 100, "%", costs_least=0)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Water that need not have been driven out, and the timber that checks."""
        true_c = self.wet_bulb_shown_c - self.reads_too_warm_k
        shown_rh, true_rh = (
            float(relative_humidity(self.dry_bulb_c, wet, pressure_pa)) * 100 for wet in (self.wet_bulb_shown_c, true_c)
        )
        shown_emc, true_emc = (
            float(emc_from_wet_bulb_pct(self.dry_bulb_c, wet, pressure_pa)) for wet in (self.wet_bulb_shown_c, true_c)
        )
        drier_pct = (shown_emc - true_emc) * self.followed_pct / 100
        water_kg = kiln_m3_per_day * self.basic_density_kg_m3 * drier_pct / 100
        figures = {
            "true_wet_bulb_c": true_c,
            "shown_rh_pct": shown_rh,
            "true_rh_pct": true_rh,
            "rh_error": shown_rh - true_rh,
            "shown_emc_pct": shown_emc,
            "true_emc_pct": true_emc,
            "emc_error": shown_emc - true_emc,
            "drier_pct": drier_pct,
            "water_kg": water_kg,
        }
        degraded = kiln_m3_per_day * self.degraded_pct / 100
        return Loss(water_kg * self.heat_kwh_per_kg, degraded, Bound.ESTIMATE, figures)


@dataclass(frozen=True)
class LessAir(Assumptions):
    """Fans that stand, run slow or turn the wrong way, and baffles that let the air past the stacks."""

    SOURCE: ClassVar[str] = (
        "affinity laws; air speed counts above fibre saturation only (Lamb 2002); exponent: 0.8 is the "
        "textbook's upper end, 0.5 our choice"
    )

    fans: float = assumed(4, 1, 200, decimals=0, step=1)
    affected_fans: float = assumed(1, 0, 200, decimals=0, step=1)
    speed_pct: float = assumed(0, 0, 100, "%", decimals=0)
    exponent: float = assumed(0.5, 0, fan_laws.TRANSFER_EXPONENT, decimals=2, costs_least=0)
    above_fibre_saturation_pct: float = assumed(50, 0, 100, "%", decimals=0)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """The drying time above fibre saturation grows as the flow's power falls; below it nothing is lost."""
        flow = fan_laws.bank_flow_ratio(int(self.fans), int(self.affected_fans), self.speed_pct / 100)
        rate, share = flow**self.exponent, self.above_fibre_saturation_pct / 100
        if rate > 0:
            time_factor = 1 - share + share / rate
            lost_share = 1 - 1 / time_factor
        else:
            # Without any air the wet timber never gets below fibre saturation.
            lost_share = 1.0 if share else 0.0
        figures = {
            "flow_pct": flow * 100,
            "rate_pct": rate * 100,
            "lost_pct": lost_share * 100,
            "fan_power_pct": float(fan_laws.power_ratio(self.speed_pct / 100)) * 100,
        }
        return Loss(0.0, kiln_m3_per_day * lost_share, Bound.ESTIMATE, figures)


@dataclass(frozen=True)
class ColdSide(Assumptions):
    """One side that is heated less: a coil that is blocked, waterlogged or airlocked, a valve that sticks.

    ``lagging_pct`` is the share of the time in which the cold side is cold: 100 where fans do not reverse, about 50
    where the sides take turns.
    """

    SOURCE: ClassVar[str] = (
        "temperature term of the red oak model that rests on Simpson and Tschernitz (1979), second hand"
    )

    dry_bulb_c: float = assumed(60, 25, 99, "°C")
    colder_by_k: float = assumed(4, 0, 40, "K")
    lagging_pct: float = assumed(50, 0, 100, "%", decimals=0)

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """The whole charge waits for the side that dries slowest: an upper bound."""
        slow = float(rate_ratio_at(self.dry_bulb_c - self.colder_by_k, self.dry_bulb_c))
        rate = 1 - (1 - slow) * self.lagging_pct / 100
        figures = {"cold_rate_pct": slow * 100, "rate_pct": rate * 100, "lost_pct": (1 - rate) * 100}
        return Loss(0.0, kiln_m3_per_day * (1 - rate), Bound.UPPER, figures)
