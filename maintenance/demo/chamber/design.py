"""What the simulated chamber is built of, what it dries, and the stages through which it is led.

Sizes are those of an insulated chamber for sawn softwood; where nothing else is said they are ours (common practice).
"""

from dataclasses import dataclass, field, replace
from enum import IntEnum
from typing import Final

import numpy as np

from plant.physics.arrays import within
from plant.physics.drying_capacity import time_constant_h

NO_LIMIT: Final = float("nan")


class Heating(IntEnum):
    """How a stage heats."""

    OFF = 0
    CONTROLLED = 1
    CONSTANT_POWER = 2


class Drive(IntEnum):
    """How a stage drives the spray or the flaps."""

    SHUT = 0
    CONTROLLED = 1
    OPEN = 2


@dataclass(frozen=True, slots=True)
class ChamberDesign:
    """The chamber: ``volume_m3`` is that of its air, ``timber_m3`` its load.

    ``leak_air_changes_per_h`` holds with the fans on at 40 K above outside; without fans `still_leak_share` of it,
    with the root of the temperature difference. ``u_w_m2k`` runs from the chamber's air to the outer air. Heat
    capacities: the steel is all that follows the chamber's air at once (inner skin, fans, coils), the wall what lies
    behind it.

    Raises
    ------
    ValueError
        If a size is outside its range.
    """

    leak_air_changes_per_h: float = 0.3
    u_w_m2k: float = 0.45
    skin_area_m2: float = 350.0
    volume_m3: float = 300.0
    timber_m3: float = 80.0
    heater_kw: float = 320.0
    supply_c: float = 95.0
    steel_heat_capacity_mj_k: float = 3.0
    wall_heat_capacity_mj_k: float = 5.0
    air_flow_m3_s: float = 40.0
    flap_air_changes_per_h: float = 25.0
    spray_kg_h: float = 300.0
    spray_is_steam: bool = False
    motor_ampere: float = 14.0
    reversal_h: float = 3.0
    reversal_pause_s: float = 240.0
    still_leak_share: float = 0.6

    def __post_init__(self) -> None:
        within("leak", self.leak_air_changes_per_h, 0, 20, "air changes/h")
        within("U value", self.u_w_m2k, 0.05, 5, "W/m2K")
        within("skin area", self.skin_area_m2, 10, 5000, "m2")
        within("volume", self.volume_m3, 10, 5000, "m3")
        within("timber", self.timber_m3, 0, 2000, "m3")
        within("heater", self.heater_kw, 1, 20_000, "kW")
        within("supply temperature", self.supply_c, 65, 350, "°C")
        within("heat capacity of the steel", self.steel_heat_capacity_mj_k, 0.2, 500, "MJ/K")
        within("heat capacity of the wall", self.wall_heat_capacity_mj_k, 0.2, 500, "MJ/K")
        within("air flow", self.air_flow_m3_s, 1, 500, "m3/s")
        within("reversal", self.reversal_h, 0.5, 24, "h")

    @property
    def loss_w_k(self) -> float:
        """Heat through the skin for each K, without the leak."""
        return self.u_w_m2k * self.skin_area_m2


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a schedule: it holds while the timber is moister than ``above_mc_pct``."""

    above_mc_pct: float
    air_c: float
    depression_k: float


@dataclass(frozen=True, slots=True)
class Species:
    """Timber of one species and how it is dried; ``slowness`` multiplies the published drying time of red oak.

    Densities, moisture contents and schedules are of our own making, of a size common in practice.
    """

    name: str
    basic_density_kg_m3: float
    start_mc_pct: tuple[float, float]
    end_mc_pct: float
    thickness_mm: tuple[float, ...]
    slowness: float
    steps: tuple[Step, ...]
    conditioning: tuple[float, float]
    """Dry bulb and wet bulb in °C."""

    def __post_init__(self) -> None:
        edges = [step.above_mc_pct for step in self.steps]
        if not edges or edges != sorted(edges, reverse=True) or edges[-1] != 0:
            raise ValueError(f"moisture contents of the schedule of {self.name} do not fall to 0: {edges}")


SPRUCE: Final = Species(
    "spruce",
    380,
    (55, 85),
    16,
    (22, 27, 38, 50),
    0.22,
    (Step(40, 60, 5), Step(28, 64, 8), Step(20, 68, 11), Step(0, 70, 15)),
    (70, 65),
)
PINE: Final = Species(
    "pine",
    420,
    (65, 100),
    16,
    (25, 32, 50),
    0.24,
    (Step(45, 60, 4), Step(30, 63, 7), Step(20, 67, 10), Step(0, 70, 14)),
    (70, 65),
)


@dataclass(frozen=True, slots=True)
class Timber:
    """What is loaded: oven-dry mass, drying time constant at 60 °C, and the moisture content it comes with."""

    dry_kg: float
    surface_m2: float
    time_constant_60_h: float
    start_mc_pct: float

    @classmethod
    def of(cls, species: Species, volume_m3: float, thickness_mm: float, start_mc_pct: float) -> "Timber":
        """Take it from a species. Raises ValueError for a thickness outside 10 to 150 mm."""
        return cls(
            dry_kg=volume_m3 * species.basic_density_kg_m3,
            surface_m2=2 * volume_m3 / (thickness_mm / 1000),
            time_constant_60_h=float(time_constant_h(thickness_mm, 60)) * species.slowness,
            start_mc_pct=start_mc_pct,
        )


@dataclass(frozen=True, slots=True)
class Stage:
    """One stretch in which a chamber is driven in one way; it ends at ``most_h``, or sooner by what ``until`` names.

    ``until_timber_c``: the timber is that warm and the air at its set point; ``until_mc_pct``: the timber is that
    dry; ``until_air_c``: the air is that cool. ``timber`` is loaded at the stage's begin, ``takes_out`` empties the
    chamber at its end. ``charge`` counts the charges from 0; -1 belongs to none.
    """

    phase: str
    most_h: float
    set_air_c: float = NO_LIMIT
    set_wet_c: float = NO_LIMIT
    heating: Heating = Heating.OFF
    power_kw: float = 0.0
    spray: Drive = Drive.SHUT
    flaps: Drive = Drive.SHUT
    fans: bool = False
    door: bool = False
    until_timber_c: float = NO_LIMIT
    until_mc_pct: float = NO_LIMIT
    until_air_c: float = NO_LIMIT
    timber: Timber | None = None
    takes_out: bool = False
    charge: int = -1


@dataclass(frozen=True, slots=True)
class ChargePlan:
    """A charge as it is put in."""

    species: str
    thickness_mm: float
    volume_m3: float
    start_mc_pct: float
    end_mc_pct: float


@dataclass(frozen=True, slots=True)
class Chamber:
    """One kiln to simulate.

    ``stages`` leads it through a programme of one's own (`chamber_tests`); without one it dries charge after charge
    of ``species``, drawn by ``seed``. Chambers with the same ``weather_seed`` stand under the same sky.
    """

    design: ChamberDesign = field(default_factory=ChamberDesign)
    seed: int = 0
    weather_seed: int = 0
    species: tuple[Species, ...] = (SPRUCE, SPRUCE, PINE)
    stages: tuple[Stage, ...] = ()


def controlled(phase: str, hours: float, air_c: float, wet_c: float) -> Stage:
    """Make a stage in which the controller holds both set points, fans on."""
    return Stage(phase, hours, air_c, wet_c, Heating.CONTROLLED, 0.0, Drive.CONTROLLED, Drive.CONTROLLED, fans=True)


def charge_stages(chamber: Chamber, hours: float) -> tuple[list[Stage], list[ChargePlan]]:
    """Draw the charges that fill some hours, and the stages of each: from the doors' opening to the next gap.

    The draw depends on the chamber's seed alone, so that a longer run begins as a shorter one.
    """
    rng = np.random.default_rng([chamber.seed, 0])
    stages: list[Stage] = [Stage("between", float(rng.uniform(0.3, 20)), door=False)]
    plans: list[ChargePlan] = []
    # No charge takes less than this: the list is always long enough.
    while len(plans) < hours / 24 + 2:
        species = chamber.species[int(rng.integers(len(chamber.species)))]
        plan = ChargePlan(
            species=species.name,
            thickness_mm=float(rng.choice(species.thickness_mm)),
            volume_m3=float(chamber.design.timber_m3 * rng.uniform(0.85, 1.0)),
            start_mc_pct=float(rng.uniform(*species.start_mc_pct)),
            end_mc_pct=species.end_mc_pct,
        )
        stages += _stages_of(species, plan, len(plans), rng)
        plans.append(plan)
    return stages, plans


def _stages_of(species: Species, plan: ChargePlan, charge: int, rng: np.random.Generator) -> list[Stage]:
    timber = Timber.of(species, plan.volume_m3, plan.thickness_mm, plan.start_mc_pct)
    first = species.steps[0]
    wet_c = first.air_c - first.depression_k
    loading_h, unloading_h, gap_h, look_h = rng.uniform((1.0, 0.8, 0.5, 0.15), (2.5, 2.0, 8.0, 0.4))
    conditioning_h, is_looked_into, look_at = float(rng.uniform(5, 8)), rng.random() < 0.25, int(rng.integers(2))
    stages = [
        Stage("loading", loading_h, door=True, timber=timber, charge=charge),
        replace(controlled("heating_up", 24, first.air_c, wet_c), until_timber_c=wet_c - 1.5, charge=charge),
    ]
    for number, step in enumerate(species.steps):
        until = max(step.above_mc_pct, plan.end_mc_pct)
        air_c, wet_c = step.air_c, step.air_c - step.depression_k
        stages.append(replace(controlled("drying", 1200, air_c, wet_c), until_mc_pct=until, charge=charge))
        if is_looked_into and number == look_at:
            # Somebody looks in through the door: fans off, for a few minutes.
            stages.append(Stage("drying", float(look_h), air_c, wet_c, door=True, charge=charge))
    air_c, wet_c = species.conditioning
    return [
        *stages,
        replace(controlled("conditioning", conditioning_h, air_c, wet_c), charge=charge),
        Stage("cooling", 10, 30, flaps=Drive.OPEN, fans=True, until_air_c=38, charge=charge),
        Stage("unloading", float(unloading_h), door=True, charge=charge, takes_out=True),
        Stage("between", float(gap_h), door=bool(rng.random() < 0.5)),
    ]
