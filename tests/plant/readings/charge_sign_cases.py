"""Simulated charges with what misleads put in, and how well the signs in their climate tell what happened."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

import numpy as np

from maintenance.demo.chamber.design import PINE, SPRUCE, Chamber, ChamberDesign, Drive, Stage, Timber, controlled
from maintenance.demo.chamber.model import simulate
from maintenance.demo.chamber.states import ChamberRun
from maintenance.demo.chamber.weather import MovedSky
from plant.readings.calculations.charge_sign_frame import STEP_S, climate_of
from plant.readings.calculations.charge_signs import ChargeSign, SeenSign, charge_signs
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame

HOURS: Final = 92.0
KINDS: Final = (
    "as it should be",
    "warm day in an empty kiln",
    "frost guard in an empty kiln",
    "door opened in the middle",
    "gap in the data",
    "sensor stuck",
    "restart after a stop",
    "slow old kiln",
    "winter start with frozen timber",
)
# What a kiln has of channels; every one has dry and wet bulbs.
ALL = (
    "heating_valve",
    "heat_power",
    "fan_direction",
    "fan_current",
    "set_air",
    "set_wet",
    "door_open",
    "outside",
    "emc",
)
MAKE_UPS: Final[dict[str, tuple[str, ...]]] = {
    "all": ALL,
    "no door": tuple(key for key in ALL if key != "door_open"),
    "fans and set point": ("fan_current", "set_air", "outside"),
    "bulbs alone": (),
}
RIGHT_H: Final = 3.0
"""A sign so far from what truly happened is another one."""
MOST_H: Final = 12.0
SET_C: Final = 60.0


@dataclass(frozen=True)
class Case:
    """One kiln: what misleads, what it has of channels, its readings, and what truly happened (seconds)."""

    kind: str
    make_up: str
    frame: Frame
    truth: tuple[tuple[ChargeSign, int], ...]
    slack_s: int = 0

    @property
    def signs(self) -> list[SeenSign]:
        """What is recognised."""
        return charge_signs(climate_of(self.frame))


@dataclass(frozen=True)
class Judged:
    """Of one thing that happened: whether it was recognised, with which delay, and how far off its time is; hours."""

    case: Case
    sign: ChargeSign
    delay_h: float
    off_h: float

    @property
    def is_hit(self) -> bool:
        """Whether it was recognised."""
        return bool(np.isfinite(self.delay_h))


def judge(case: Case) -> tuple[list[Judged], list[SeenSign]]:
    """Say what of the truth was recognised, and which signs are of nothing that happened."""
    left, judged = case.signs, []
    for sign, at_s in case.truth:
        slack_h = RIGHT_H + case.slack_s / 3600
        near = [
            one
            for one in left
            if one.sign == sign and abs(one.at_s - at_s) / 3600 <= slack_h and one.seen_s - at_s <= MOST_H * 3600
        ]
        if near:
            first = near[0]
            left.remove(first)
            judged.append(Judged(case, sign, (first.seen_s - at_s) / 3600, abs(first.at_s - at_s) / 3600))
        else:
            judged.append(Judged(case, sign, np.inf, np.inf))
    return judged, left


def cases(seed: int, each: int) -> list[Case]:
    """Simulate each kind so many times; the make-ups take turns."""
    rng = np.random.default_rng(seed)
    plans = [_plan(rng, kind, number) for kind in KINDS for number in range(each)]
    begin_s = plans[0].begin_s
    sky = MovedSky(begin_s, [plan.begin_s for plan in plans], int(HOURS) + 2)
    chambers = [Chamber(plan.design, seed + n, stages=plan.stages) for n, plan in enumerate(plans)]
    runs = simulate(chambers, begin_s, HOURS, emit_s=STEP_S, step_s=100, weather=sky)
    found = []
    for plan, run in zip(plans, runs, strict=True):
        truth = tuple(_truth(run))
        values = {key: value.copy() for key, value in run.values.items() if _has(plan.make_up, key)}
        slack_s = _mislead(rng, plan, values, truth)
        moved = tuple((sign, plan.begin_s + at_s) for sign, at_s in truth)
        frame = Frame(plan.begin_s, STEP_S, values, np.zeros(len(run.phase), np.int8))
        found.append(Case(plan.kind, plan.make_up, frame, moved, slack_s))
    return found


@dataclass(frozen=True)
class _Plan:
    kind: str
    make_up: str
    begin_s: int
    design: ChamberDesign
    stages: tuple[Stage, ...]


def _has(make_up: str, key: str) -> bool:
    return key.startswith(("air_temperature", "wet_bulb", *MAKE_UPS[make_up]))


def _plan(rng: np.random.Generator, kind: str, number: int) -> _Plan:
    make_up = list(MAKE_UPS)[number % len(MAKE_UPS)]
    heater_kw = float(rng.uniform(300, 550))
    month = int(rng.integers(1, 13))
    match kind:
        case "slow old kiln":
            make_up, heater_kw = "bulbs alone", float(rng.uniform(110, 150))
        case "warm day in an empty kiln":
            month = int(rng.integers(5, 9))
        case "winter start with frozen timber" | "frost guard in an empty kiln":
            month = int(rng.choice([1, 2, 12]))
    design = ChamberDesign(
        leak_air_changes_per_h=float(rng.uniform(0.2, 0.5)),
        u_w_m2k=float(rng.uniform(0.35, 0.7)),
        heater_kw=heater_kw,
        reversal_h=float(rng.uniform(2, 4)),
    )
    day = datetime(2026, month, int(rng.integers(1, 25)), int(rng.integers(24)), tzinfo=UTC)
    return _Plan(kind, make_up, int(day.timestamp()), design, tuple(_stages(rng, kind)))


def _stages(rng: np.random.Generator, kind: str) -> Iterator[Stage]:
    if kind == "warm day in an empty kiln":
        yield Stage("between", 40)
        # Somebody tries the fans, and airs it.
        yield Stage("between", 1.0, fans=True)
        yield Stage("between", 6.0, door=True)
        yield Stage("between", 100)
        return
    if kind == "frost guard in an empty kiln":
        yield Stage("between", 20)
        yield controlled("between", 30, float(rng.uniform(6, 10)), 4)
        yield Stage("between", 10, door=True)
        yield controlled("between", 100, float(rng.uniform(6, 10)), 4)
        return
    timber = Timber.of(SPRUCE if rng.random() < 0.7 else PINE, 75, 38, float(rng.uniform(50, 90)))
    yield Stage("between", float(rng.uniform(5, 9)))
    yield Stage("loading", float(rng.uniform(1, 2.5)), door=True, timber=timber)
    if kind == "winter start with frozen timber":
        # The model knows no ice: while it thaws, the air is held where thawing timber holds it.
        thaw_c = float(rng.uniform(9, 13))
        yield controlled("heating_up", float(rng.uniform(3, 6)), thaw_c, thaw_c - 2)
    yield replace(controlled("heating_up", 22, SET_C, 55), until_timber_c=53.5)
    yield controlled("drying", float(rng.uniform(9, 12)), 60, 55)
    if kind == "door opened in the middle":
        yield Stage("drying", float(rng.uniform(0.2, 0.6)), 60, 55, door=True)
    if kind == "restart after a stop":
        yield Stage("drying", float(rng.uniform(3, 14)), 60, 55)
    yield controlled("drying", float(rng.uniform(6, 9)), 66, 56)
    if kind == "door opened in the middle":
        yield Stage("drying", float(rng.uniform(0.2, 0.6)), 66, 56, door=True)
    yield controlled("conditioning", 4, 70, 65)
    yield Stage("cooling", 10, 30, flaps=Drive.OPEN, fans=True, until_air_c=38)
    yield Stage("unloading", float(rng.uniform(1, 2)), door=True, takes_out=True)
    yield Stage("between", 100)


def _truth(run: ChamberRun) -> Iterator[tuple[ChargeSign, int]]:
    """Name what happened, in seconds from the begin: by the stages, and by the true air for the setting."""
    code = PHASE_CODES
    is_heating = np.isin(run.phase, [code["heating_up"], code["drying"]])
    is_held = (run.truth["air_temperature"] >= SET_C - 1.5) & is_heating
    half_h = 1800 // STEP_S
    for first in np.flatnonzero(run.phase == code["heating_up"])[:1]:
        yield ChargeSign.HEATING, int(first) * STEP_S
        held = np.lib.stride_tricks.sliding_window_view(is_held, half_h + 1).all(axis=1)
        for reached in np.flatnonzero(held)[:1]:
            yield ChargeSign.SETTING, int(reached) * STEP_S
    for phase, sign in (("cooling", ChargeSign.COOLING), ("unloading", ChargeSign.DOOR)):
        for first in np.flatnonzero(run.phase == code[phase])[:1]:
            yield sign, int(first) * STEP_S


def _mislead(
    rng: np.random.Generator, plan: _Plan, values: dict[str, np.ndarray], truth: Sequence[tuple[ChargeSign, int]]
) -> int:
    """Put in what misleads; return by how much the truth is uncertain for it, in seconds."""
    count = len(values["air_temperature:left"])
    hours = np.arange(count) * STEP_S / 3600
    match plan.kind:
        case "warm day in an empty kiln":
            # The sun on the roof, from eight to six, strongest at one.
            clock = (plan.begin_s / 3600 + hours) % 24
            sun_k = float(rng.uniform(6, 16)) * np.clip(np.sin(np.pi * (clock - 7) / 12), 0, None)
            for key in values:
                if key.startswith("air_temperature"):
                    values[key] = np.round(values[key] + sun_k, 1)
                if key.startswith("wet_bulb"):
                    values[key] = np.round(values[key] + 0.35 * sun_k, 1)
        case "gap in the data":
            # One somewhere, one over something that happened.
            _sign, at_s = truth[int(rng.integers(len(truth)))]
            length = int(rng.uniform(1, 4) * 3600)
            for first_s in (at_s - int(rng.uniform(0, length)), int(rng.uniform(0, count * STEP_S))):
                for value in values.values():
                    value[max(0, first_s // STEP_S) : (first_s + length) // STEP_S] = np.nan
            return length
        case "sensor stuck":
            key = f"air_temperature:{rng.choice(['left', 'right'])}"
            first = int(rng.uniform(0, 0.5) * count)
            values[key][first:] = values[key][first]
        case "winter start with frozen timber" if "set_air_temperature" in values:
            thawing = values["set_air_temperature"] < 20
            values["set_air_temperature"][thawing] = 60.0
    return 0
