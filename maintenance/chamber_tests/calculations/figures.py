"""What the two tests share that a chamber runs on itself, for what no eye can see behind cladding.

*Tightness* (`chamber_tightness`) is the decay of a tracer's concentration (the method of ASTM E741), with water vapour
as the tracer: in an empty, warm, sprayed chamber with its flaps shut the vapour above that of the outer air falls as
exp(-n t). *Heat loss* (`chamber_heat_loss`) is the power that holds an empty chamber warm over its excess of
temperature, or the rate at which it cools times its heat capacity.

A figure comes with 95 % bounds, made of the scatter of the readings, whose noise hangs together, and of what the
sensors may be off, one after the other (law of propagation, GUM). Where the readings cannot carry a figure there is a
refusal with its reason. Limits without a source are ours.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.chamber_tests.calculations.fit import Fit
from maintenance.watches.calculations.student_t import t_quantile
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame

Numbers = NDArray[np.float64]
Mask = NDArray[np.bool_]

BLOCK_S: Final = 300
HOUR_S: Final = 3600.0
CONFIDENCE: Final = 0.95
NORMAL: Final = 1.96
"""Standard normal deviate that leaves 2.5 % on either side."""

SETTLE_S: Final = 900
"""So long after the last spray the air is not yet even, and drops still dry."""
MOST_MISSING: Final = 0.1
LONGEST_GAP_S: Final = 1200
MOST_DISAGREEMENT_K: Final = 2.5
MOST_PAUSE_SHARE: Final = 0.15
MOST_SHUT_PCT: Final = 2.0
LEAST_TIMBER_PCT: Final = 6.0
"""Electrodes that hang in the air show less."""
WIDEST: Final = 0.5
"""Bounds further from the figure than this share of it tell too little."""


class Fans(StrEnum):
    """Whether the fans ran in the test."""

    ON = "on"
    OFF = "off"


class Why(StrEnum):
    """Why readings cannot carry a figure."""

    NO_TEMPERATURE = "no_temperature"
    NO_HUMIDITY = "no_humidity"
    NO_OUTSIDE = "no_outside"
    NO_POWER = "no_power"
    TIMBER = "timber"
    DOOR = "door"
    FLAPS = "flaps"
    SPRAY = "spray"
    FANS = "fans"
    HEATING = "heating"
    GAPS = "gaps"
    SENSORS = "sensors"
    TOO_SHORT = "too_short"
    TOO_DRY = "too_dry"
    TOO_MOIST = "too_moist"
    TOO_COOL = "too_cool"
    NOT_STEADY = "not_steady"
    NO_PLAIN_DECAY = "no_plain_decay"
    TOO_WIDE = "too_wide"


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why there is no figure, with the numbers that a sentence about it names."""

    why: Why
    facts: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Figure:
    """What was found: value and 95 % bounds (air changes an hour, or W/K), and what it rests on.

    ``used_from_s`` to ``used_until_s`` is the part of the hours that carried it. ``unchecked`` names what no channel
    told: whether the door, the flaps, the spray, the fans were as the test wants them.
    """

    value: float
    low: float
    high: float
    used_from_s: int
    used_until_s: int
    details: Mapping[str, float]
    unchecked: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """How far sensors may be off.

    Each has a tolerance: thermometers that of class B of IEC 60751, 0.30 K + 0.005 |t|, those of humidity and of the
    heat meter as given here. A wick adds its own: crust, warm water and slow air lose a share of the depression, and
    its constant is not quite the table's (3 %, our own choice). What they are truly off is taken as spread normally
    with the tolerance at two standard deviations and nothing beyond; ``sd_share`` is the standard deviation of that
    as a share of the tolerance.
    """

    sd_share: float = 0.44
    humidity_tolerance_points: float = 3.0
    wick_tolerance_pct: float = 3.0
    power_tolerance_pct: float = 3.0
    unknown_outside_humidity: float = 0.78
    unknown_outside_points: float = 15.0

    def thermometer_k(self, temp_c: Numbers) -> Numbers:
        """Standard deviation in K."""
        return np.asarray(self.sd_share * (0.30 + 0.005 * np.abs(temp_c)))

    def wick_k(self, depression_k: Numbers) -> Numbers:
        """Standard deviation in K by which a wick, its water and the air's speed shift a wet bulb."""
        return np.asarray(self.sd_share * self.wick_tolerance_pct / 100 * np.maximum(depression_k, 0))

    @property
    def humidity_points(self) -> float:
        """Standard deviation in points of relative humidity."""
        return self.sd_share * self.humidity_tolerance_points

    @property
    def power_share(self) -> float:
        """Standard deviation as a share of the power."""
        return self.sd_share * self.power_tolerance_pct / 100


class RefusedError(Exception):
    """Leads out of an evaluation that cannot go on."""

    def __init__(self, why: Why, **facts: float) -> None:
        super().__init__(why)
        self.refusal = Refusal(why, facts)


@dataclass(frozen=True, slots=True)
class Blocks:
    """Means of a frame over five minutes each; ``worst`` holds the largest value in each block."""

    start_s: int
    mean: Mapping[str, Numbers]
    worst: Mapping[str, Numbers]
    phase: NDArray[np.int8]
    pressure_pa: float = STANDARD_PRESSURE_PA

    def __len__(self) -> int:
        return len(self.phase)

    @property
    def hours(self) -> Numbers:
        """Hours since the first block."""
        return np.arange(len(self)) * BLOCK_S / HOUR_S

    def keys(self, quantity: str) -> list[str]:
        """Channels of a quantity."""
        return [key for key in self.mean if key.split(":")[0] == quantity]

    def cut(self, first: int, end: int) -> "Blocks":
        """Return a part."""
        return Blocks(
            self.start_s + first * BLOCK_S,
            {key: values[first:end] for key, values in self.mean.items()},
            {key: values[first:end] for key, values in self.worst.items()},
            self.phase[first:end],
            self.pressure_pa,
        )


def blocks_of(frame: Frame) -> Blocks:
    """Take the means. Raises ValueError where the frame's step does not divide a block."""
    size = max(BLOCK_S // frame.step_s, 1)
    if frame.step_s > BLOCK_S or BLOCK_S % frame.step_s:
        raise ValueError(f"a step of {frame.step_s} s does not divide {BLOCK_S} s")
    count = len(frame) // size
    mean, worst = {}, {}
    for key, values in frame.values.items():
        parts = values[: count * size].reshape(count, size)
        # What the quantity cannot be is no reading; NaN is outside as well.
        quantity = QUANTITIES[key.partition(":")[0]]
        known = (parts >= quantity.low) & (parts <= quantity.high)
        is_enough = known.sum(axis=1) * 2 >= size
        total, number = np.where(known, parts, 0).sum(axis=1), np.maximum(known.sum(axis=1), 1)
        mean[key] = np.where(is_enough, total / number, np.nan)
        worst[key] = np.where(known, np.abs(parts), -np.inf).max(axis=1, initial=-np.inf)
    return Blocks(frame.start_s, mean, worst, frame.phase[: count * size : size], frame.pressure_pa)


def after_stirring(blocks: Blocks, fans: Fans) -> Blocks:
    """Cut off what lies before the last spray, or before the fans stood, and the time in which the air becomes even."""
    stirred = [(key, MOST_SHUT_PCT, Why.SPRAY) for key in blocks.keys("spray_valve")]
    if fans == Fans.OFF:
        stirred += [(key, 0.0, Why.FANS) for key in blocks.keys("fan_direction")]
    for key, most, why in stirred:
        still = np.flatnonzero(blocks.worst[key] > most)
        if len(still):
            first = int(still[-1]) + 1 + SETTLE_S // BLOCK_S
            if first >= len(blocks) - 1:
                raise RefusedError(why, minutes=len(still) * BLOCK_S / 60)
            blocks = blocks.cut(first, len(blocks))
    return blocks


def refuse_disturbed(blocks: Blocks, fans: Fans) -> None:
    """Refuse timber inside, an open door, flaps that are not shut, and fans that did what they should not."""
    if np.any(blocks.phase != PHASE_CODES["between"]):
        raise RefusedError(Why.TIMBER)
    for key in blocks.keys("wood_moisture"):
        if np.mean(blocks.worst[key] > LEAST_TIMBER_PCT) > 0.5:
            raise RefusedError(Why.TIMBER, moisture_pct=float(np.nanmedian(blocks.mean[key])))
    for quantity, most, why in (
        ("door_open", 0.0, Why.DOOR),
        ("flap_position", MOST_SHUT_PCT, Why.FLAPS),
    ):
        for key in blocks.keys(quantity):
            if np.any(blocks.worst[key] > most):
                minutes = float((blocks.worst[key] > most).sum()) * BLOCK_S / 60
                raise RefusedError(why, minutes=minutes, worst=float(np.nanmax(blocks.worst[key])))
    for key in blocks.keys("fan_direction"):
        known = ~np.isnan(blocks.mean[key])
        runs = np.abs(blocks.mean[key][known]) > 0.5
        moves = blocks.worst[key][known] > 0
        if fans == Fans.OFF and np.any(moves):
            raise RefusedError(Why.FANS, minutes=float(moves.sum()) * BLOCK_S / 60)
        if fans == Fans.ON and known.any() and np.mean(~runs) > MOST_PAUSE_SHARE:
            raise RefusedError(Why.FANS, minutes=float((~runs).sum()) * BLOCK_S / 60)


def unchecked(blocks: Blocks) -> tuple[str, ...]:
    """Name what no channel told."""
    wanted = {"door_open": "door", "flap_position": "flaps", "spray_valve": "spray", "fan_direction": "fans"}
    return tuple(name for quantity, name in wanted.items() if not blocks.keys(quantity))


def place_of(key: str) -> str:
    """Return the place of a channel's key."""
    return key.partition(":")[2]


def refuse_disagreement(blocks: Blocks, keys: Sequence[str]) -> None:
    """Refuse thermometers of one kind that stand too far apart."""
    for key in keys[1:]:
        apart = np.abs(blocks.mean[key] - blocks.mean[keys[0]])
        if np.any(~np.isnan(apart)) and np.nanmedian(apart) > MOST_DISAGREEMENT_K:
            raise RefusedError(Why.SENSORS, apart_k=float(np.nanmedian(apart)))


def filled(blocks: Blocks, keys: Collection[str]) -> Blocks:
    """Bridge single blocks without readings of some channels; refuse where more is missing."""
    mean = dict(blocks.mean)
    for key in keys:
        missing = np.isnan(mean[key])
        begin, end = longest_true(missing)
        if len(missing) < 2 or missing.mean() > MOST_MISSING or (end - begin) * BLOCK_S > LONGEST_GAP_S:
            raise RefusedError(Why.GAPS, minutes=float(missing.sum()) * BLOCK_S / 60)
        place = np.arange(len(missing))
        mean[key] = np.interp(place, place[~missing], mean[key][~missing])
    return Blocks(blocks.start_s, mean, blocks.worst, blocks.phase, blocks.pressure_pa)


def longest_true(mask: Mask) -> tuple[int, int]:
    """Return begin and end of the longest stretch that is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    if not len(edges):
        return 0, 0
    begins, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - begins))
    return int(begins[longest]), int(ends[longest])


def smoothed(values: Numbers, blocks: int = 12) -> Numbers:
    """Running mean over an hour; at the ends over what there is."""
    if len(values) < 3:
        return values
    half = blocks // 2
    total = np.concatenate(([0.0], np.cumsum(values)))
    place = np.arange(len(values))
    reach = np.minimum(np.minimum(place, len(values) - 1 - place), half)
    return np.asarray((total[place + reach + 1] - total[place - reach]) / (2 * reach + 1))


def bounds(found: float, line: Fit, place: int, shifts: Sequence[float]) -> tuple[float, float]:
    """Join the scatter of the readings with what each sensor's standard deviation shifts the figure by (GUM, 5.1)."""
    half = float(
        np.hypot(t_quantile(0.5 + CONFIDENCE / 2, line.degrees) * line.sd(place), NORMAL * np.hypot.reduce(shifts))
    )
    return found - half, found + half
