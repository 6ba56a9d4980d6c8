"""What a simulated chamber is at a moment, and what a run of it leaves: air, timber, fabric, books."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.demo.chamber.design import ChargePlan, Stage
from plant.readings.calculations.climate_frame import Frame

Numbers = NDArray[np.float64]
# The enthalpy of moist air as `psychrometrics.enthalpy_j_kg` has it.
DRY_AIR_J_KG_K, VAPOUR_J_KG_K, VAPOUR_AT_0_J_KG = 1006.0, 1860.0, 2.501e6
LIQUID_J_KG_K: Final = 4186.0
DRY_WOOD_J_KG_K: Final = 1360.0
"""Between 20 and 70 °C; Wood Handbook (FPL-GTR-190) ch. 4 gives 0.103 + 0.00387 T kJ/kgK (T in K), from memory."""
SHELL_SHARE: Final = 0.12
"""Share of the timber that is at the surface. Ours."""


@dataclass(frozen=True, slots=True)
class PhaseSpan:
    """A phase of a charge; without an end it goes on beyond the run."""

    kind: str
    begin_s: int
    end_s: int | None


@dataclass(frozen=True, slots=True)
class ChargeRun:
    """A charge as it went."""

    plan: ChargePlan
    phases: tuple[PhaseSpan, ...]


@dataclass(frozen=True, slots=True)
class ChamberRun:
    """What one chamber did.

    ``values`` holds the readings by channel, ``truth`` what no sensor shows, both of shape (n,): air changes an hour,
    moisture of the wood (%), temperature and humidity ratio of the air, flow of the fans (share), evaporation (kg/h).
    ``balance`` holds sums over the run by which water (kg) and heat (J) can be checked.
    """

    kiln: int
    start_s: int
    step_s: int
    values: dict[str, Numbers]
    phase: NDArray[np.int8]
    charges: tuple[ChargeRun, ...]
    truth: dict[str, Numbers]
    balance: dict[str, float]

    @property
    def moments_s(self) -> NDArray[np.int64]:
        """Seconds since 1970 of each reading."""
        return self.start_s + self.step_s * np.arange(len(self.phase), dtype=np.int64)

    def frame(self) -> Frame:
        """Return the readings as watches look at them."""
        return Frame(self.start_s, self.step_s, self.values, self.phase)


@dataclass
class AirNow:
    """The chamber's air: masses in kg, temperature in °C."""

    dry_kg: Numbers
    vapour_kg: Numbers
    temp_c: Numbers

    @property
    def enthalpy_j(self) -> Numbers:
        return self.dry_kg * DRY_AIR_J_KG_K * self.temp_c + self.vapour_kg * vapour_j_kg(self.temp_c)


@dataclass
class TimberNow:
    """What is loaded; no mass where nothing is. Moisture as a fraction of the oven-dry mass."""

    dry_kg: Numbers
    surface_m2: Numbers
    time_constant_60_h: Numbers
    shell: Numbers
    core: Numbers
    temp_c: Numbers

    @property
    def moisture(self) -> Numbers:
        return SHELL_SHARE * self.shell + (1 - SHELL_SHARE) * self.core

    @property
    def heat_capacity_j_k(self) -> Numbers:
        return self.dry_kg * (DRY_WOOD_J_KG_K + LIQUID_J_KG_K * self.moisture)


@dataclass
class FabricNow:
    """Steel with its film of water, and the wall behind it."""

    steel_c: Numbers
    film_kg: Numbers
    wall_c: Numbers


@dataclass
class Books:
    """Sums over a run, one for each chamber: what came in and what went out."""

    water_in_kg: Numbers
    water_out_kg: Numbers
    heat_in_j: Numbers
    heat_out_j: Numbers
    coil_j: Numbers = field(init=False)

    def __post_init__(self) -> None:
        self.coil_j = np.zeros_like(self.heat_in_j)


def vapour_j_kg(temp_c: Numbers) -> Numbers:
    """Enthalpy of vapour in J/kg."""
    return np.asarray(VAPOUR_AT_0_J_KG + VAPOUR_J_KG_K * temp_c)


def charges_of(
    history: Sequence[tuple[int, int]], stages: Sequence[Stage], plans: Sequence[ChargePlan]
) -> tuple[ChargeRun, ...]:
    """Put the stages that were gone through together to the phases of charges."""
    spans: dict[int, list[PhaseSpan]] = {}
    for place, (index, begin_s) in enumerate(history):
        stage = stages[index]
        end_s = history[place + 1][1] if place + 1 < len(history) else None
        if stage.charge < 0:
            continue
        phases = spans.setdefault(stage.charge, [])
        if phases and phases[-1].kind == stage.phase:
            phases[-1] = PhaseSpan(stage.phase, phases[-1].begin_s, end_s)
        else:
            phases.append(PhaseSpan(stage.phase, begin_s, end_s))
    return tuple(ChargeRun(plans[number], tuple(phases)) for number, phases in sorted(spans.items()))
