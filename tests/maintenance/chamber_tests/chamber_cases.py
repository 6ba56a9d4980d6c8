"""Simulated tests of chambers whose leak and heat loss are known, for the tests and the benchmark."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from maintenance.chamber_tests.calculations.figures import Fans, Figure, Refusal, SensorErrors
from maintenance.chamber_tests.calculations.heat_loss import heat_loss_by_cooling, heat_loss_by_power
from maintenance.chamber_tests.calculations.tightness import tightness
from maintenance.demo.chamber.design import Chamber, ChamberDesign
from maintenance.demo.chamber.model import STEEL_W_M2K, simulate
from maintenance.demo.chamber.states import ChamberRun
from plant.physics.psychrometrics import enthalpy_j_kg, humidity_ratio
from plant.physics.saturation import saturation_pressure_pa
from plant.readings.calculations.climate_frame import Frame
from tests.maintenance.chamber_tests.programmes import cooling_stages, steady_power_stages, tightness_stages

BEGIN_S = 1_761_955_200
WARM_H, SPRAY_H = 6.0, 0.75
CAPACITY_SHARE_SD = 0.04


@dataclass(frozen=True)
class Case:
    """A chamber, what it did, its true value over any part of the run, and the hours of its test."""

    design: ChamberDesign
    run: ChamberRun
    from_h: float
    until_h: float

    def frame(self, from_h: float | None = None, until_h: float | None = None) -> Frame:
        """Readings of the test's hours."""
        first, end = round((from_h or self.from_h) * 60), round((until_h or self.until_h) * 60)
        values = {key: value[first:end].copy() for key, value in self.run.values.items()}
        return Frame(self.run.start_s + first * 60, 60, values, self.run.phase[first:end].copy())

    def truth(self, name: str, figure: Figure) -> np.ndarray:
        """What no sensor shows, over the hours that a figure rests on."""
        first, end = ((at_s - self.run.start_s) // 60 for at_s in (figure.used_from_s, figure.used_until_s))
        return self.run.truth[name][first:end]

    def true_changes_per_h(self, figure: Figure) -> float:
        """Mean air changes an hour."""
        return float(self.truth("air_changes_per_h", figure).mean())

    def true_loss_w_k(self, figure: Figure) -> float:
        """Heat through skin and leak over the excess of temperature."""
        inside, outside = self.truth("air_temperature", figure), self.truth("outside_temperature", figure)
        ratio = self.truth("humidity_ratio", figure)
        share = self.truth("outside_humidity", figure) / 100
        outer = humidity_ratio(share * saturation_pressure_pa(outside))
        dry_kg = 101_325 * 0.621945 / (0.621945 + ratio) * self.design.volume_m3 / (287.042 * (inside + 273.15))
        carried = enthalpy_j_kg(inside, ratio) - enthalpy_j_kg(outside, outer)
        leaking = self.truth("air_changes_per_h", figure) / 3600 * dry_kg * carried
        return float(np.sum(self.design.loss_w_k * (inside - outside) + leaking) / np.sum(inside - outside))

    def slow_capacity_mj_k(self) -> float:
        """Heat capacity that goes with the slowest way in which the chamber cools: its W/K over that rate."""
        design = self.design
        steel_w_k = STEEL_W_M2K * design.skin_area_m2
        half_w_k = 2 / (1 / design.loss_w_k - 1 / steel_w_k)
        changes = self.run.truth["air_changes_per_h"][round(self.from_h * 60) : round(self.until_h * 60)].mean()
        air_j_k = design.volume_m3 * 1.06 * 1020
        leak_w_k = float(changes) / 3600 * air_j_k
        steel_j_k, wall_j_k = design.steel_heat_capacity_mj_k * 1e6, design.wall_heat_capacity_mj_k * 1e6
        rates = np.linalg.eigvals(
            [
                [-(steel_w_k + leak_w_k) / air_j_k, steel_w_k / air_j_k, 0],
                [steel_w_k / steel_j_k, -(steel_w_k + half_w_k) / steel_j_k, half_w_k / steel_j_k],
                [0, half_w_k / wall_j_k, -2 * half_w_k / wall_j_k],
            ]
        )
        return (design.loss_w_k + leak_w_k) / -float(rates.real.max()) / 1e6


def drawn_design(rng: np.random.Generator, tightest: float = 0.1) -> ChamberDesign:
    """Draw a chamber from a tight and well insulated one to a poor one."""
    return ChamberDesign(
        leak_air_changes_per_h=float(np.exp(rng.uniform(np.log(tightest), np.log(1.2)))),
        u_w_m2k=float(rng.uniform(0.3, 0.8)),
        volume_m3=float(rng.uniform(150, 450)),
        skin_area_m2=float(rng.uniform(200, 500)),
        reversal_h=float(rng.uniform(2, 4)),
        steel_heat_capacity_mj_k=float(rng.uniform(2, 6)),
        wall_heat_capacity_mj_k=float(rng.uniform(3, 8)),
    )


def tightness_cases(seed: int, count: int, fans: Fans) -> list[Case]:
    """Run tests of tightness."""
    rng = np.random.default_rng([seed, 1])
    is_on = fans == Fans.ON
    chambers, hours = [], []
    for number in range(count):
        design = drawn_design(rng, 0.1 if is_on else 0.25)
        decay_h = float(np.clip((1.5 if is_on else 3.0) / design.leak_air_changes_per_h, 3, 16))
        stages = tightness_stages(WARM_H, decay_h, is_on, SPRAY_H)
        chambers.append(Chamber(design, seed=seed + number, weather_seed=seed + number, stages=stages))
        hours.append(WARM_H + SPRAY_H + decay_h)
    return _cases(chambers, hours, WARM_H)


def power_cases(seed: int, count: int) -> list[Case]:
    """Run tests of heat loss by power."""
    rng = np.random.default_rng([seed, 2])
    chambers, hours = [], []
    for number in range(count):
        design, hold_h = drawn_design(rng), float(rng.uniform(15, 30))
        chambers.append(
            Chamber(design, seed=seed + number, weather_seed=seed + number, stages=steady_power_stages(5, hold_h))
        )
        hours.append(5 + hold_h)
    return _cases(chambers, hours, 0)


def cooling_cases(seed: int, count: int) -> list[Case]:
    """Run tests of heat loss by cooling."""
    rng = np.random.default_rng([seed, 3])
    chambers, hours = [], []
    for number in range(count):
        design, cool_h = drawn_design(rng), float(rng.uniform(7, 12))
        chambers.append(
            Chamber(design, seed=seed + number, weather_seed=seed + number, stages=cooling_stages(14, cool_h))
        )
        hours.append(14 + cool_h)
    return _cases(chambers, hours, 14)


@cache
def tight_case() -> Case:
    """One test of tightness with its fans on."""
    return tightness_cases(42, 1, Fans.ON)[0]


@cache
def warm_case() -> Case:
    """One chamber that is held warm."""
    return power_cases(42, 1)[0]


@cache
def cool_case() -> Case:
    """One chamber that cools."""
    return cooling_cases(42, 1)[0]


def _cases(chambers: Sequence[Chamber], until_h: Sequence[float], from_h: float) -> list[Case]:
    runs = simulate(chambers, BEGIN_S, max(until_h) + 0.5, emit_s=60)
    return [Case(one.design, run, from_h, end) for one, run, end in zip(chambers, runs, until_h, strict=True)]


@dataclass(frozen=True)
class Coverage:
    """How many figures held the truth within their bounds; the half widths' median is a share of the figure."""

    figures: int
    inside: int
    refused: int
    half_width: float

    @property
    def share(self) -> float:
        """Share of figures that held it."""
        return self.inside / self.figures


def _coverage(
    cases: Sequence[Case],
    judge: Callable[[Case], Figure | Refusal],
    truth: Callable[[Case, Figure], float],
) -> Coverage:
    inside, widths = 0, []
    for case in cases:
        figure = judge(case)
        if isinstance(figure, Refusal):
            continue
        inside += figure.low <= truth(case, figure) <= figure.high
        widths.append((figure.high - figure.low) / 2 / figure.value)
    return Coverage(len(widths), inside, len(cases) - len(widths), float(np.median(widths)))


def tightness_coverage(seed: int, count: int, fans: Fans) -> Coverage:
    """Judge tests of tightness."""
    cases, rng = tightness_cases(seed, count, fans), np.random.default_rng([seed, 5])
    return _coverage(cases, lambda case: tightness(with_wicks(case.frame(), rng), fans), Case.true_changes_per_h)


def with_wicks(frame: Frame, rng: np.random.Generator) -> Frame:
    """Let each wick lose or gain a share of its depression, within its tolerance: the simulated wicks are perfect."""
    sensors, values = SensorErrors(), dict(frame.values)
    for key in [key for key in values if key.startswith("wet_bulb")]:
        off = float(np.clip(rng.normal(0, 0.5), -1, 1)) * sensors.wick_tolerance_pct / 100
        dry = values[key.replace("wet_bulb", "air_temperature")]
        values[key] = values[key] + off * (dry - values[key])
    return replace(frame, values=values)


def power_coverage(seed: int, count: int) -> Coverage:
    """Judge tests of heat loss by power."""
    return _coverage(power_cases(seed, count), lambda case: heat_loss_by_power(case.frame()), Case.true_loss_w_k)


def cooling_coverage(seed: int, count: int) -> Coverage:
    """Judge tests of heat loss by cooling, with a heat capacity that is known within some per cent."""
    rng = np.random.default_rng([seed, 4])

    def judge(case: Case) -> Figure | Refusal:
        told = case.slow_capacity_mj_k() * (1 + CAPACITY_SHARE_SD * float(rng.standard_normal()))
        return heat_loss_by_cooling(case.frame(), told, CAPACITY_SHARE_SD)

    return _coverage(cooling_cases(seed, count), judge, Case.true_loss_w_k)
