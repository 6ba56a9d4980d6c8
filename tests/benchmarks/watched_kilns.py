"""Simulated kilns with faults at known times, what the shipped watches make of their readings, and how right that is.

A firing is right if a fault that bears on its component is there, at its place; a work order that is not right is
false, also one that suspects the wrong component while there is a fault. Delays count the hours in which the kiln was
in a phase that the watch looks at: nobody can see a wick dry out in a kiln that stands open.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np

from maintenance.demo.chamber.design import PINE, SPRUCE, Chamber, ChamberDesign
from maintenance.demo.chamber.faults import Fault, FaultKind
from maintenance.demo.chamber.model import simulate
from maintenance.demo.chamber.states import ChamberRun
from maintenance.watches.calculations.drift_charts import Drift, follow
from maintenance.watches.calculations.rows import WatchSpec, for_kiln, parse_watches
from maintenance.watches.calculations.rules import allowed_in
from maintenance.watches.calculations.trends import Trend, crossing
from plant.charges.calculations.charge_phases import RUNNING_PHASES
from plant.readings.calculations.charge_figures import ChargeFigures, charge_figures
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame
from plant.readings.calculations.reading_marks import Track, mark
from tests.maintenance.watches.watch_past import fired_over

CATALOGUE: Final = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "watches.csv"
BEGIN_S: Final = 1_756_684_800
DAY_S: Final = 86_400
EVERY_S: Final = 300
LENGTH_DAYS: Final = 10
EVERY_DAYS: Final = 20
GRACE_S: Final = 2 * DAY_S
"""A fault that was mended may still be in a mean over half a day, or in the figures of its charge."""

# Which components it is right to suspect, by the kind of fault.
SUSPECTS: Final[dict[FaultKind, frozenset[str]]] = {
    FaultKind.WICK_DRY: frozenset({"psychrometer"}),
    FaultKind.WICK_SCALED: frozenset({"psychrometer"}),
    FaultKind.PLATE_DRIFT: frozenset({"emc-plate"}),
    FaultKind.THERMOMETER_OFFSET: frozenset({"thermometer"}),
    FaultKind.SPRAY_BLOCKED: frozenset({"spray-line"}),
    FaultKind.FLAP_STUCK_OPEN: frozenset({"exhaust-flap"}),
    FaultKind.FLAP_STUCK_SHUT: frozenset({"exhaust-flap"}),
    FaultKind.FLAP_LEAKS: frozenset({"exhaust-flap"}),
    FaultKind.HEATING_VALVE_LEAKS: frozenset({"heating-valve"}),
    FaultKind.HEATING_VALVE_STUCK: frozenset({"heating-valve"}),
    FaultKind.COIL_FOULED: frozenset({"heating-coil"}),
    FaultKind.FAN_STOPPED: frozenset({"fan-motor"}),
    FaultKind.FAN_WEAK: frozenset({"fan-motor"}),
    FaultKind.REVERSAL_MISSING: frozenset({"fan-reversal"}),
    FaultKind.ELECTRODE_OPEN: frozenset({"electrode-cable", "wood-electrode"}),
    FaultKind.ELECTRODE_JUMP: frozenset({"electrode-cable", "wood-electrode"}),
    FaultKind.NO_DATA: frozenset({"control-room"}),
}
SLOW: Final = (FaultKind.WICK_SCALED, FaultKind.PLATE_DRIFT, FaultKind.COIL_FOULED)
SUDDEN: Final = tuple(kind for kind in SUSPECTS if kind not in SLOW)
PLACES: Final = {
    FaultKind.WICK_DRY: ("left", "right"),
    FaultKind.WICK_SCALED: ("left", "right"),
    FaultKind.THERMOMETER_OFFSET: ("left", "right"),
    FaultKind.FAN_STOPPED: ("1", "2"),
    FaultKind.FAN_WEAK: ("1", "2"),
    FaultKind.ELECTRODE_OPEN: ("1", "2"),
    FaultKind.ELECTRODE_JUMP: ("1", "2"),
}
MOST: Final = {FaultKind.SPRAY_BLOCKED: 1.0}
WHOLE: Final = frozenset({FaultKind.WICK_DRY, FaultKind.FAN_STOPPED})
"""What is there wholly or not at all; the other faults are drawn from 0.85 to 1.2 of their usual size."""


Figures: TypeAlias = tuple[int, int, ChargeFigures]
"""Begin and end of a charge in seconds since 1970, and its figures."""


@dataclass(frozen=True)
class Raised:
    """That a watch fired."""

    spec: WatchSpec
    at_s: int

    @property
    def stem(self) -> str:
        """Return the code of the watch as it ships, without the place."""
        return self.spec.code.removesuffix(f"-{self.spec.place}") if self.spec.place else self.spec.code


@dataclass
class Watched:
    """One kiln: its run, its faults, what fired and what became a work order."""

    run: ChamberRun
    faults: list[Fault]
    raised: list[Raised] = field(default_factory=list)
    orders: list[Raised] = field(default_factory=list)


def shipped() -> tuple[WatchSpec, ...]:
    """Read the watches that ship."""
    with CATALOGUE.open(newline="", encoding="utf-8") as file:
        return parse_watches(csv.DictReader(file))


def kilns_with_faults(seed: int, kilns: int, days: int, size_share: float = 1.0) -> list[Watched]:
    """Simulate kilns of different build; a quarter of them has one slow fault, the others a sudden one now and then.

    ``size_share`` makes all faults smaller, to see what the watches still hear.
    """
    rng = np.random.default_rng(seed)
    chambers = [
        Chamber(_design(rng), seed=seed + kiln, weather_seed=seed + kiln % 7, species=(SPRUCE, SPRUCE, PINE))
        for kiln in range(kilns)
    ]
    faults = list(_faults(rng, kilns, days, size_share))
    runs = simulate(chambers, BEGIN_S, days * 24, faults, emit_s=EVERY_S)
    for run in runs:
        _trouble(np.random.default_rng([seed, run.kiln]), run, days)
    return [Watched(run, [fault for fault in faults if fault.kiln == run.kiln]) for run in runs]


def _design(rng: np.random.Generator) -> ChamberDesign:
    return ChamberDesign(
        leak_air_changes_per_h=float(rng.uniform(0.15, 0.45)),
        u_w_m2k=float(rng.uniform(0.35, 0.6)),
        timber_m3=float(rng.uniform(65, 90)),
        heater_kw=float(rng.uniform(400, 550)),
        spray_kg_h=float(rng.uniform(250, 400)),
        motor_ampere=float(rng.uniform(8, 20)),
        reversal_h=float(rng.uniform(2, 4)),
        reversal_pause_s=float(rng.uniform(120, 360)),
    )


def _faults(rng: np.random.Generator, kilns: int, days: int, size_share: float) -> Iterator[Fault]:
    deck: list[FaultKind] = []
    for kiln in range(kilns):
        if kiln % 4 == 3:
            kind = SLOW[kiln // 4 % len(SLOW)]
            begin = float(rng.uniform(0.45, 0.55)) * days
            yield _fault(rng, kind, kiln, (begin, days + 1), size_share)
            continue
        for first in np.arange(6, days - LENGTH_DAYS - 3, EVERY_DAYS):
            if not deck:
                deck = [SUDDEN[i] for i in rng.permutation(len(SUDDEN))]
            begin = float(first + rng.uniform(0, 3))
            yield _fault(rng, deck.pop(), kiln, (begin, begin + LENGTH_DAYS), size_share)


def _fault(
    rng: np.random.Generator, kind: FaultKind, kiln: int, span_days: tuple[float, float], size_share: float
) -> Fault:
    place = str(rng.choice(PLACES[kind])) if kind in PLACES else ""
    begin_s, end_s = (BEGIN_S + int(day * DAY_S) for day in span_days)
    usual = Fault(kind, kiln, begin_s, end_s, place=place)
    varied = usual.full_size * size_share * float(rng.uniform(0.85, 1.2))
    return replace(usual, size=None if kind in WHOLE else min(varied, MOST.get(kind, np.inf)))


def _trouble(rng: np.random.Generator, run: ChamberRun, days: int) -> None:
    """Put in what happens to readings everywhere: a gap of all channels each week, spikes of single ones."""
    count = len(run.phase)
    week = 7 * DAY_S // run.step_s
    for first in range(0, count - week, week):
        begin, length = first + int(rng.integers(week // 2)), int(rng.integers(1, 50 * 60 // run.step_s))
        for value in run.values.values():
            value[begin : begin + length] = np.nan
    for key in ("air_temperature:left", "air_temperature:right", "wet_bulb:left", "wet_bulb:right", "emc:1"):
        for at in rng.integers(0, count, days // 14):
            run.values[key][at] = rng.choice([0.0, 850.0, run.values[key][at] + rng.choice([-40, 40])])


def trusted(run: ChamberRun) -> Frame:
    """Return the readings as rules see them: without those that are marked."""
    running = np.isin(run.phase, [PHASE_CODES[phase] for phase in RUNNING_PHASES])
    edges = np.flatnonzero(np.diff(running.astype(np.int8), prepend=0, append=0))
    spans = [
        (run.start_s + run.step_s * int(first), run.start_s + run.step_s * int(last))
        for first, last in zip(edges[::2], edges[1::2], strict=True)
    ]
    known = {key: np.flatnonzero(np.isfinite(value)) for key, value in run.values.items()}
    tracks = {}
    for key, value in run.values.items():
        quantity, _colon, place = key.partition(":")
        tracks[key] = Track(quantity, place, run.step_s, run.moments_s[known[key]], value[known[key]])
    values = {key: value.copy() for key, value in run.values.items()}
    for key, marks in mark(tracks, spans).items():
        values[key][known[key][marks != 0]] = np.nan
    return Frame(run.start_s, run.step_s, values, run.phase)


def watch(kiln: Watched, specs: Sequence[WatchSpec]) -> None:
    """Let the watches look at a whole run, and decide what becomes a work order."""
    frame = trusted(kiln.run)
    own = for_kiln(specs, frame.values)
    by_code = {spec.code: spec for spec in own}
    raised: list[Raised] = []
    spoiled: list[tuple[int, int]] = []
    for code, firings in fired_over(own, frame).items():
        raised += [Raised(by_code[code], firing.begin_s) for firing in firings]
        if by_code[code].severity == "work_order":
            end_s = int(frame.moments_s[-1])
            spoiled += [(firing.since_s, firing.end_s or end_s) for firing in firings]
    codes = {spec.signal for spec in own if spec.is_per_charge}
    figures: list[Figures] = []
    for first, last in spans_of_charges(kiln.run):
        begin_s, end_s = (frame.start_s + frame.step_s * index for index in (first, last))
        figures.append((begin_s, end_s, charge_figures(part_of(frame, first, last), codes)))
    for spec in own:
        if spec.is_per_charge:
            raised += on_figures(spec, figures, spoiled)
    kiln.raised = sorted(raised, key=lambda one: (one.at_s, one.spec.code))
    kiln.orders = list(_orders(kiln))


def spans_of_charges(run: ChamberRun) -> list[tuple[int, int]]:
    """Return the first moment of each charge that is over, and the one behind its last."""
    spans = [(charge.phases[0].begin_s, charge.phases[-1]) for charge in run.charges]
    return [
        ((begin_s - run.start_s) // run.step_s, (last.end_s - run.start_s) // run.step_s)
        for begin_s, last in spans
        if last.kind == "unloading" and last.end_s is not None
    ]


def part_of(frame: Frame, first: int, last: int) -> Frame:
    """Cut a stretch out of a frame."""
    values = {key: value[first:last] for key, value in frame.values.items()}
    return Frame(frame.start_s + first * frame.step_s, frame.step_s, values, frame.phase[first:last])


def on_figures(spec: WatchSpec, figures: Sequence[Figures], spoiled: Sequence[tuple[int, int]]) -> Iterator[Raised]:
    """Follow a figure over the charges in which no other watch saw a fault."""
    good = [
        (end_s, one.values[spec.signal])
        for begin_s, end_s, one in figures
        if spec.signal in one.values and not any(first < end_s and last > begin_s for first, last in spoiled)
    ]
    values = [value for _end_s, value in good]
    if isinstance(spec.rule, Drift):
        points, _state = follow(spec.rule, values, {})
        yield from (Raised(spec, end_s) for (end_s, _value), point in zip(good, points, strict=True) if point.began)
    if isinstance(spec.rule, Trend):
        days = [end_s / DAY_S for end_s, _value in good]
        said = [crossing(spec.rule, days[:number], values[:number]) is not None for number in range(1, len(values) + 1)]
        yield from (
            Raised(spec, good[number][0]) for number in range(len(said)) if said[number] and not any(said[:number][-1:])
        )


def _second_rule(spec: WatchSpec, at_s: int, raised: Iterable[tuple[WatchSpec, int]]) -> WatchSpec | None:
    """Find another watch that suspects the same component at no other place within the days of either of both."""
    for other, other_s in raised:
        within_s = DAY_S * max(spec.agrees_within_days, other.agrees_within_days)
        if (
            other.code != spec.code
            and other.component_kind == spec.component_kind
            and (not spec.place or not other.place or spec.place == other.place)
            and abs(at_s - other_s) <= within_s
        ):
            return other
    return None


def _orders(kiln: Watched) -> Iterator[Raised]:
    """Make work orders: one for each component at a time, of a hint only where a second rule agrees."""
    open_until: dict[tuple[str, str], int] = {}
    for number, one in enumerate(kiln.raised):
        # What was mended since then says nothing any more.
        earlier = [(other.spec, other.at_s) for other in kiln.raised[:number] if not _is_mended(kiln, other, one.at_s)]
        if one.spec.severity == "notice" and _second_rule(one.spec, one.at_s, earlier) is None:
            continue
        key = (one.spec.component_kind, one.spec.place)
        if one.at_s < open_until.get(key, 0):
            continue
        ends = [fault.end_s for fault in kiln.faults if is_right(one, fault)]
        open_until[key] = max(ends, default=one.at_s + LENGTH_DAYS * DAY_S)
        yield one


def _is_mended(kiln: Watched, raised: Raised, at_s: int) -> bool:
    return any(is_right(raised, fault) and fault.end_s + GRACE_S < at_s for fault in kiln.faults)


def is_right(raised: Raised, fault: Fault) -> bool:
    """Say whether a firing is due to a fault."""
    is_there = fault.begin_s <= raised.at_s <= fault.end_s + GRACE_S
    is_suspect = raised.spec.component_kind in SUSPECTS[fault.kind]
    is_place = not fault.place or not raised.spec.place or fault.place == raised.spec.place
    return is_there and is_suspect and is_place


def first_due_to(fault: Fault, raised: Sequence[Raised]) -> Raised | None:
    """Return the first that is due to a fault and came before it was mended; of figures, with the end of its charge."""
    return next((one for one in raised if is_right(one, fault) and _is_in_time(one, fault)), None)


def _is_in_time(raised: Raised, fault: Fault) -> bool:
    return raised.at_s < fault.end_s or raised.spec.is_per_charge


def delay_h(kiln: Watched, fault: Fault, raised: Raised) -> float:
    """Return the hours from a fault to a firing in which the kiln was in a phase of the watch.

    Of a dry wick those with the air entering on its side: where the air leaves behind a moist load any wet bulb reads
    nearly the dry bulb, and the kiln is led by the other one.
    """
    run = kiln.run
    moments = (run.moments_s >= fault.begin_s) & (run.moments_s < raised.at_s)
    moments &= allowed_in(run.phase, raised.spec.phases)
    if fault.kind == FaultKind.WICK_DRY:
        moments &= run.values["fan_direction"] == {"left": 1, "right": -1}[fault.place]
    return float(moments.sum() * run.step_s / 3600)
