"""The climate of the demo's kilns: each charge of the programme in a simulated chamber, all of them side by side.

A chamber is led through the phases as they stand on record, stops included, and what the demo's story tells as broken
is broken in it. Charges of many weeks run at once, each under the sky of its own days: that takes seconds.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.demo.chamber.design import Chamber, ChamberDesign, Drive, Stage, Timber, controlled
from maintenance.demo.chamber.faults import Fault, FaultKind
from maintenance.demo.chamber.model import simulate
from maintenance.demo.chamber.states import ChamberRun
from maintenance.demo.chamber.weather import DAY_S, HOUR_S, MovedSky
from plant.basics.periods import to_epoch_s
from plant.models import Charge, Downtime, Kiln, Phase
from plant.physics.drying_capacity import rate_ratio_at
from plant.physics.emc import emc_pct
from plant.physics.psychrometrics import relative_humidity

Numbers = NDArray[np.float64]
Steps = Sequence[tuple[float, float, float]]
EVERY_S: Final = 300
STEP_S: Final = 100
# The chamber is watched on for so long when it stands empty; then its controller is switched off.
EMPTY_H: Final = 4.0
FANS_COOL_H: Final = 6.0
# Oven-dry mass of a green cubic metre, kg. Of a usual size for the timber; ours.
DENSITY_KG_M3: Final = {"spruce": 380.0, "pine": 420.0, "larch": 480.0, "birch": 510.0, "oak": 570.0, "ash": 560.0}
# Steps of the schedule: share of the drying time, air in °C, depression in K. Ours, as mild as such timber is dried.
SOFTWOOD: Final = ((0.35, 60.0, 5.0), (0.30, 64.0, 8.0), (0.20, 67.0, 11.0), (0.15, 70.0, 15.0))
HARDWOOD: Final = ((0.40, 48.0, 3.0), (0.30, 53.0, 5.0), (0.15, 58.0, 9.0), (0.15, 62.0, 14.0))
HARD: Final = frozenset({"birch", "oak", "ash"})
# Steam heats while it moistens: hardwood is conditioned no warmer than it was dried.
SOFT_CONDITIONING, HARD_CONDITIONING = (70.0, 65.0), (66.0, 55.0)
# Boards of 25 mm give off their water fast: the demo's coils are larger than usual.
HEATER_SHARE: Final = 1.6
# The surface is moister than the air alone would have it: what dries it holds back. Found by trying.
SURFACE_ABOVE_EMC_PCT: Final = 3.0

# What the demo tells as broken: kiln, what, where, days before now until days before now (0: it still is), size.
STORY: Final = (
    ("K1", FaultKind.WICK_SCALED, "right", 48.0, 0.0, 0.18),
    ("K1", FaultKind.DOOR_LEAK, "", 8.0, 0.0, 1.0),
    ("K2", FaultKind.HEATING_VALVE_LEAKS, "", 24.0, 0.0, None),
    ("K2", FaultKind.WICK_DRY, "left", 5.3, 4.7, None),
    ("K3", FaultKind.FAN_WEAK, "1", 8.0, 0.0, None),
    ("K5", FaultKind.ELECTRODE_OPEN, "1", 11.0, 9.6, None),
    ("K8", FaultKind.SPRAY_BLOCKED, "", 13.5, 0.0, 0.35),
)


@dataclass(frozen=True, slots=True)
class Course:
    """A charge to simulate: of which kiln, from when until when, and through which stages; times in seconds."""

    kiln: Kiln
    begin_s: int
    end_s: int
    stages: tuple[Stage, ...]
    seed: int


@dataclass(frozen=True, slots=True)
class Told:
    """What the sensors of a kiln told during a charge, at moments in seconds since 1970."""

    kiln: Kiln
    at_s: NDArray[np.int64]
    run: ChamberRun


def tell(kilns: Sequence[tuple[Kiln, datetime]], now: datetime) -> list[Told]:
    """Return what the sensors told of each kiln since an instant, charge by charge."""
    courses = [course for kiln, since in kilns for course in _courses(kiln, since, now)]
    if not courses:
        return []
    begin_s = courses[0].begin_s
    hours = max(course.end_s - course.begin_s for course in courses) / HOUR_S
    sky = MovedSky(begin_s, [course.begin_s for course in courses], int(hours) + 2)
    chambers = [Chamber(_design(one.kiln), one.seed, stages=one.stages) for one in courses]
    faults = list(_faults(courses, begin_s, to_epoch_s(now)))
    runs = simulate(chambers, begin_s, hours, faults, emit_s=EVERY_S, step_s=STEP_S, weather=sky)
    told = []
    for course, run in zip(courses, runs, strict=True):
        at_s = course.begin_s + EVERY_S * np.arange(len(run.phase), dtype=np.int64)
        told.append(Told(course.kiln, at_s[at_s < course.end_s], run))
    return told


def _design(kiln: Kiln) -> ChamberDesign:
    """Build a chamber of the kiln's size; surfaces grow with the power 2/3 of the volume."""
    usual = ChamberDesign()
    size = float(kiln.usable_m3) / usual.timber_m3
    is_steam = kiln.humidifying == Kiln.Humidifying.STEAM_SPRAY
    hot = {
        Kiln.HeatingMedium.STEAM: 150.0,
        Kiln.HeatingMedium.THERMAL_OIL: 220.0,
        Kiln.HeatingMedium.DIRECT_FIRED: 250.0,
    }
    return replace(
        usual,
        timber_m3=usual.timber_m3 * size,
        volume_m3=usual.volume_m3 * size,
        heater_kw=HEATER_SHARE * usual.heater_kw * size,
        air_flow_m3_s=usual.air_flow_m3_s * size,
        spray_kg_h=usual.spray_kg_h * size,
        skin_area_m2=usual.skin_area_m2 * size ** (2 / 3),
        steel_heat_capacity_mj_k=usual.steel_heat_capacity_mj_k * size ** (2 / 3),
        wall_heat_capacity_mj_k=usual.wall_heat_capacity_mj_k * size ** (2 / 3),
        spray_is_steam=is_steam,
        supply_c=hot.get(Kiln.HeatingMedium(kiln.heating_medium), usual.supply_c),
    )


def _faults(courses: Sequence[Course], begin_s: int, now_s: int) -> Iterator[Fault]:
    """Move the story's faults to where each charge is simulated; what grows goes on growing from charge to charge."""
    for place, course in enumerate(courses):
        for tag, kind, side, since_days, until_days, size in STORY:
            if tag == course.kiln.tag:
                moved_s = begin_s - course.begin_s
                end_s = now_s + DAY_S if not until_days else now_s - int(until_days * DAY_S)
                first_s = now_s - int(since_days * DAY_S)
                yield Fault(kind, place, first_s + moved_s, end_s + moved_s, size, side)


def _courses(kiln: Kiln, since: datetime, now: datetime) -> list[Course]:
    """Lay the courses of a kiln's charges that were begun."""
    charges = list(
        Charge.objects.filter(kiln=kiln, end_at__gt=since, begin_at__lt=now)
        .exclude(basis=Charge.Basis.PLANNED)
        .prefetch_related("phases")
        .order_by("begin_at")
    )
    stops = list(
        Downtime.objects.filter(kiln=kiln, kind=Downtime.Kind.UNPLANNED, share_lost=1).reaching_into(since, now)
    )
    ends = [*(charge.begin_at for charge in charges[1:]), now]
    return [
        Course(
            kiln,
            to_epoch_s(charge.begin_at),
            to_epoch_s(min(until, now, charge.end_at + timedelta(hours=EMPTY_H))),
            tuple(_stages(charge, stops, now)),
            # Sensors stay in their places: each kiln has its own all the time.
            seed=int(kiln.tag.strip("K") or 0),
        )
        for charge, until in zip(charges, ends, strict=True)
    ]


def _stages(charge: Charge, stops: Sequence[Downtime], now: datetime) -> Iterator[Stage]:
    """Lead a chamber through a charge's phases, with the kiln standing still where a stop is on record."""
    for phase in charge.phases.all():
        for stage, begin_at, end_at in _driven(charge, phase, stops):
            yield from _cut(stage, begin_at, end_at, stops, now)
    yield Stage("between", 10_000, door=False)


def _driven(charge: Charge, phase: Phase, stops: Sequence[Downtime]) -> Iterator[tuple[Stage, datetime, datetime]]:
    """Say how a phase is driven, stretch by stretch."""
    begin_at, end_at = phase.begin_at, phase.end_at
    steps = HARDWOOD if charge.species in HARD else SOFTWOOD
    _share, air_c, depression_k = steps[0]
    match phase.kind:
        case Phase.Kind.LOADING:
            yield Stage("loading", 0, door=True, timber=_timber(charge, stops, steps)), begin_at, end_at
        case Phase.Kind.HEATING_UP:
            yield controlled("heating_up", 0, air_c, air_c - depression_k), begin_at, end_at
        case Phase.Kind.DRYING:
            for share, air_c, depression_k in steps:
                until = min(begin_at + share * (phase.end_at - phase.begin_at), end_at)
                yield controlled("drying", 0, air_c, air_c - depression_k), begin_at, until
                begin_at = until
        case Phase.Kind.CONDITIONING:
            wanted = HARD_CONDITIONING if charge.species in HARD else SOFT_CONDITIONING
            yield controlled("conditioning", 0, *wanted), begin_at, end_at
        case Phase.Kind.COOLING:
            cooled_at = min(begin_at + timedelta(hours=FANS_COOL_H), end_at)
            yield Stage("cooling", 0, 30, flaps=Drive.OPEN, fans=True), begin_at, cooled_at
            yield Stage("cooling", 0, flaps=Drive.OPEN), cooled_at, end_at
        case _:
            yield Stage("unloading", 0, door=True, takes_out=True), begin_at, end_at


def _cut(
    stage: Stage, begin_at: datetime, end_at: datetime, stops: Sequence[Downtime], now: datetime
) -> Iterator[Stage]:
    """Give a stage its length, and put a kiln that stands still, fans and heating off, where it stood."""
    halts = [
        (max(stop.start_at, begin_at), min(stop.end_at or now, end_at))
        for stop in stops
        if stage.fans and stop.start_at < end_at and (stop.end_at or now) > begin_at
    ]
    cuts = sorted({begin_at, end_at, *(at for halt in halts for at in halt)})
    for from_at, until_at in pairwise(cuts):
        hours = (until_at - from_at) / timedelta(hours=1)
        if any(first <= from_at < last for first, last in halts):
            yield Stage(stage.phase, hours)
        else:
            yield replace(stage, most_h=hours)


def _halted(phase: Phase, stops: Sequence[Downtime]) -> timedelta:
    """Return for how long the kiln stood still in a phase, as far as it is known."""
    spans = ((max(one.start_at, phase.begin_at), min(one.end_at, phase.end_at)) for one in stops if one.end_at)
    return sum((max(end - start, timedelta()) for start, end in spans), timedelta())


def _timber(charge: Charge, stops: Sequence[Downtime], steps: Steps) -> Timber:
    """Return timber that is as dry as wanted when the drying ends."""
    drying = next(phase for phase in charge.phases.all() if phase.kind == Phase.Kind.DRYING)
    start, end = float(charge.initial_mc_pct or 60), float(charge.final_mc_pct or 14)
    volume_m3 = float(charge.volume_m3)
    hours = (drying.end_at - drying.begin_at - _halted(drying, stops)) / timedelta(hours=1)
    constant_h = _time_constant_h(max(hours, 1.0), start, end, steps)
    mass_kg = volume_m3 * DENSITY_KG_M3.get(charge.species, 450.0)
    return Timber(mass_kg, 2 * volume_m3 / (charge.thickness_mm / 1000), constant_h, start)


def _time_constant_h(hours: float, start_pct: float, end_pct: float, steps: Steps) -> float:
    """Find the time constant at 60 °C with which wood dries in so many hours, each step towards its own climate."""
    spells = [
        (
            float(emc_pct(air_c, relative_humidity(air_c, air_c - depression_k))) + SURFACE_ABOVE_EMC_PCT,
            float(rate_ratio_at(air_c, 60.0)),
            share,
        )
        for share, air_c, depression_k in steps
    ]

    def dried(constant_h: float) -> float:
        moisture = start_pct
        for surface, rate_at_60, share in spells:
            moisture = surface + (moisture - surface) * np.exp(-(rate_at_60 / constant_h) * share * hours)
        return float(moisture)

    low, high = 0.5, 2000.0
    for _ in range(40):
        middle = (low * high) ** 0.5
        low, high = (middle, high) if dried(middle) < end_pct else (low, middle)
    return float((low * high) ** 0.5)
