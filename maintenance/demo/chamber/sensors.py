"""The simulated chamber's sensors: lag, offset, noise, and what a wick, a plate and an electrode show.

Each thermometer has an offset of its own within class B of IEC 60751: normal, with the tolerance at two standard
deviations and nothing beyond it. Other offsets and noises are ours.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.demo.chamber.design import Chamber
from maintenance.demo.chamber.faults import Effects, Fault, FaultKind
from maintenance.demo.chamber.tables import between, saturation_pa
from plant.physics.emc import emc_pct
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, WATER_TO_AIR_MASS_RATIO

Numbers = NDArray[np.float64]

CLASS_B_K, CLASS_B_PER_K = 0.30, 0.005
"""Tolerance of an industrial thermometer: 0.30 K + 0.005 |t| (IEC 60751, class B)."""
TOLERANCE_SDS: Final = 2.0
AIR_LAG_S, WICK_LAG_S, PLATE_LAG_S = 90.0, 150.0, 1500.0
# Ferrel's equation as `psychrometrics.vapour_pressure_from_psychrometer` has it.
_FERREL_PER_K, _FERREL_PER_WET_K = 0.000367 * 1.8, 1.8 / 1571
# Magnus' slope is good to a part in a hundred, enough for a step that is taken anew every minute.
_SLOPE_A, _SLOPE_B = 4217.0, 241.0
# An enum looks its members up anew each time, and each step asks for them.
_WICK_DRY, _WICK_SCALED = FaultKind.WICK_DRY, FaultKind.WICK_SCALED
_THERMOMETER_OFFSET: Final = FaultKind.THERMOMETER_OFFSET
METER_SD: Final = 0.015
"""Spread of heat meters, as a share. Ours; EN 1434 class 2 allows 2 to 5 %, from memory."""
HUMIDITY_SD_PCT: Final = 1.5
PLATE_SD_PCT: Final = 0.35
ELECTRODE_SD: Final = 0.04
CURRENT_SD: Final = 0.03
IDLE_SHARE: Final = 0.35

# What the simulation notes at each reading.
RAW: Final = (
    "air_left", "air_right", "wet_left", "wet_right", "plate", "heating_pct", "spray_pct", "flap_pct", "direction",
    "motor_1", "motor_2", "heat_w", "temp_out", "humidity_out", "door", "set_air", "set_wet", "moisture", "temp",
    "ratio", "changes", "flow", "evaporation", "density",
)  # fmt: skip


def class_b_k(temp_c: Numbers) -> Numbers:
    """Tolerance of a class B thermometer in K (IEC 60751)."""
    return np.asarray(CLASS_B_K + CLASS_B_PER_K * np.abs(temp_c))


def _within_two(rng: np.random.Generator, count: int) -> Numbers:
    """Draw normal deviates, anew where they lie beyond two standard deviations."""
    drawn = rng.standard_normal(count)
    while np.any(beyond := np.abs(drawn) > TOLERANCE_SDS):
        drawn[beyond] = rng.standard_normal(int(beyond.sum()))
    return drawn


class Sensors:
    """Bulbs on both sides, and a plate on the left, as they follow the air; arrays of shape (2, kilns).

    What the controller reads carries offsets and the faults of bulbs, but not the noise, which it filters.
    """

    def __init__(self, seeds: Sequence[int]) -> None:
        drawn = np.stack([_within_two(np.random.default_rng([seed, 1]), 4) for seed in seeds], axis=1)
        self._air_share, self._wet_share = drawn[:2] / TOLERANCE_SDS, drawn[2:] / TOLERANCE_SDS
        kilns = len(seeds)
        self._air_c, self._wick_c, self._wet_c = (np.zeros((2, kilns)) for _ in range(3))
        self._plate_pct = np.zeros(kilns)
        # The plate leads nothing: what it felt since it was read last is worked out when it is read.
        self._beside_plate: list[tuple[Numbers, Numbers, float]] = []
        self._air_read, self._wet_read = np.zeros((2, kilns)), np.zeros((2, kilns))

    def start(self, temp_c: Numbers, ratio: Numbers) -> None:
        """Let all sensors come to rest in one air."""
        self._air_c[:] = temp_c
        self._wick_c[:] = temp_c - 3
        for _ in range(8):
            self._settle_wicks(np.broadcast_to(temp_c, (2, len(temp_c))), np.broadcast_to(ratio, (2, len(ratio))))
        self._wet_c[:] = self._wick_c
        self._plate_pct[:] = _plate_pct(temp_c, ratio)
        self._air_read, self._wet_read = self._air_c.copy(), self._wet_c.copy()

    def _settle_wicks(self, air_c: Numbers, ratio: Numbers) -> None:
        """One step of Newton's method on the psychrometer equation, from where the wick was."""
        wick = self._wick_c
        vapour = STANDARD_PRESSURE_PA * ratio / (WATER_TO_AIR_MASS_RATIO + ratio)
        saturated = saturation_pa(wick)
        by_wick = _FERREL_PER_K * STANDARD_PRESSURE_PA * (1 + _FERREL_PER_WET_K * wick)
        excess = saturated - vapour - by_wick * (air_c - wick)
        slope = saturated * _SLOPE_A / (_SLOPE_B + wick) ** 2 + by_wick
        self._wick_c = np.minimum(wick - between(excess / slope, -8, 8), air_c)

    def follow(
        self,
        direction: Numbers,
        entering_c: Numbers,
        leaving_c: Numbers,
        entering_ratio: Numbers,
        leaving_ratio: Numbers,
        effects: Effects,
        dt: float,
    ) -> None:
        """Let a step pass: air enters on the left with direction +1, on the right with -1; at rest both sides mix."""
        share = np.empty((2, len(direction)))
        share[0] = (1 + direction) / 2
        share[1] = 1 - share[0]
        other = 1 - share
        air_c = share * entering_c + other * leaving_c
        ratio = share * entering_ratio + other * leaving_ratio
        self._settle_wicks(air_c, ratio)
        self._air_c += -math.expm1(-dt / AIR_LAG_S) * (air_c - self._air_c)
        self._wet_c += -math.expm1(-dt / WICK_LAG_S) * (self._wick_c - self._wet_c)
        self._beside_plate.append((air_c[0], ratio[0], -math.expm1(-dt / PLATE_LAG_S)))
        # A dry wick, or one under scale, shows too little of the depression.
        lost = np.maximum(effects.at_places(_WICK_DRY), effects.at_places(_WICK_SCALED))
        wet_c = self._wet_c + lost * (self._air_c - self._wet_c)
        self._wet_read = wet_c + self._wet_share * class_b_k(wet_c)
        off = effects.at_places(_THERMOMETER_OFFSET)
        self._air_read = self._air_c + self._air_share * class_b_k(self._air_c) + off

    def _settle_plate(self) -> None:
        if not self._beside_plate:
            return
        air_c, ratio = (np.stack([felt[which] for felt in self._beside_plate]) for which in (0, 1))
        for plate, (_air, _ratio, share) in zip(_plate_pct(air_c, ratio), self._beside_plate, strict=True):
            self._plate_pct += share * (plate - self._plate_pct)
        self._beside_plate.clear()

    def air_reading(self, direction: Numbers) -> Numbers:
        """Dry bulb on the side where the air enters; the left one while the fans stand."""
        return np.asarray(np.where(direction < 0, self._air_read[1], self._air_read[0]))

    def wet_reading(self, direction: Numbers) -> Numbers:
        """Wet bulb on the side where the air enters; the left one while the fans stand."""
        return np.asarray(np.where(direction < 0, self._wet_read[1], self._wet_read[0]))

    def facts(self) -> dict[str, Numbers]:
        """Return what the sensors show, without noise."""
        self._settle_plate()
        return {
            "air_left": self._air_read[0], "air_right": self._air_read[1], "wet_left": self._wet_read[0],
            "wet_right": self._wet_read[1], "plate": self._plate_pct,
        }  # fmt: skip


def _plate_pct(temp_c: Numbers, ratio: Numbers) -> Numbers:
    """Return the EMC that a plate comes to."""
    return emc_pct(between(temp_c, -2, 115), _humidity(temp_c, ratio))


def _humidity(temp_c: Numbers, ratio: Numbers) -> Numbers:
    vapour = STANDARD_PRESSURE_PA * ratio / (WATER_TO_AIR_MASS_RATIO + ratio)
    return between(vapour / saturation_pa(temp_c), 0, 1)


# Noise of a reading: white, and slow with a correlation time; in the quantity's unit, or as a share where marked.
_SLOW_S: Final = 900.0
_NOISE: Final[dict[str, tuple[str, float, float, int]]] = {
    # key: (what is read, white, slow, decimals shown)
    "air_temperature:left": ("air_left", 0.06, 0.08, 1),
    "air_temperature:right": ("air_right", 0.06, 0.08, 1),
    "wet_bulb:left": ("wet_left", 0.06, 0.08, 1),
    "wet_bulb:right": ("wet_right", 0.06, 0.08, 1),
    "emc:1": ("plate", 0.04, 0.06, 1),
    "wood_moisture:1": ("moisture", 0.01, 0.02, 1),
    "wood_moisture:2": ("moisture", 0.01, 0.02, 1),
    "fan_current:1": ("motor_1", 0.01, 0.005, 2),
    "fan_current:2": ("motor_2", 0.01, 0.005, 2),
    "heat_power": ("heat_w", 0.01, 0.0, 1),
    "outside_temperature": ("temp_out", 0.1, 0.15, 1),
    "outside_humidity": ("humidity_out", 0.4, 0.5, 1),
}
_PLAIN: Final = {
    "set_air_temperature": ("set_air", 1),
    "set_wet_bulb": ("set_wet", 1),
    "heating_valve": ("heating_pct", 1),
    "spray_valve": ("spray_pct", 1),
    "flap_position": ("flap_pct", 1),
    "fan_direction": ("direction", 0),
    "door_open": ("door", 0),
}
_SHARES: Final = ("wood_moisture", "fan_current", "heat_power")
LOST_SHARE: Final = 0.0005
"""Share of readings that never arrive."""


def read_channels(
    chambers: Sequence[Chamber], moments_s: NDArray[np.int64], raw: NDArray[np.float32], faults: Sequence[Fault]
) -> list[dict[str, Numbers]]:
    """Turn what the simulation noted, shape (n, RAW, kilns), into each kiln's readings by channel."""
    step_s = float(moments_s[1] - moments_s[0]) if len(moments_s) > 1 else 60.0
    noise = _noises([chamber.seed for chamber in chambers], len(moments_s), step_s)
    found = []
    for kiln, chamber in enumerate(chambers):
        column = raw[:, :, kiln].astype(np.float64)
        values = {key: np.round(column[:, RAW.index(row)], digits) for key, (row, digits) in _PLAIN.items()}
        for place, (key, (row, white, slow, digits)) in enumerate(_NOISE.items()):
            disturbed = white * noise[0, :, place, kiln] + slow * noise[1, :, place, kiln]
            value = _shown(key, column[:, RAW.index(row)], column[:, RAW.index("density")], chamber)
            by = np.abs(value) if key.startswith(_SHARES) else 1.0
            values[key] = np.round(value + by * disturbed, digits)
        np.clip(values["outside_humidity"], 0, 100, out=values["outside_humidity"])
        lost = np.random.default_rng([chamber.seed, 4]).random((len(moments_s), len(values))) < LOST_SHARE
        for place, value in enumerate(values.values()):
            value[lost[:, place]] = np.nan
        _disturb(values, moments_s, [fault for fault in faults if fault.kiln == kiln])
        found.append(values)
    return found


def _noises(seeds: Sequence[int], count: int, step_s: float) -> NDArray[np.float32]:
    """Draw white and slow noise of variance 1, shape (2, n, channels, kilns)."""
    drawn = np.stack(
        [np.random.default_rng([seed, 2]).standard_normal((count, 2, len(_NOISE)), dtype=np.float32) for seed in seeds],
        axis=-1,
    ).swapaxes(0, 1)
    keep = np.float32(np.exp(-step_s / _SLOW_S))
    follow = np.float32(np.sqrt(1 - keep**2))
    slow = drawn[1]
    for i in range(1, count):
        slow[i] = keep * slow[i - 1] + follow * slow[i]
    return np.asarray(drawn)


def _shown(key: str, value: Numbers, density: Numbers, chamber: Chamber) -> Numbers:
    """Return what a sensor shows for a state, with its own offset; bulbs carry theirs already."""
    rng = np.random.default_rng([chamber.seed, 5, list(_NOISE).index(key)])
    own = float(_within_two(rng, 1)[0])
    if key == "emc:1":
        return value + own * PLATE_SD_PCT
    if key == "outside_temperature":
        return value + own / TOLERANCE_SDS * class_b_k(value)
    if key == "outside_humidity":
        return value + own * HUMIDITY_SD_PCT
    if key == "heat_power":
        return value / 1000 * (1 + own * METER_SD)
    if key.startswith("wood_moisture"):
        # Electrodes show less and less of what lies above fibre saturation; without timber they hang in the air.
        compressed = np.where(value > 28, 28 + 0.75 * (value - 28), value)
        return np.asarray(np.maximum(compressed * (1 + own * ELECTRODE_SD), 4.0))
    if key.startswith("fan_current"):
        # A motor draws a third of its current without load; the load goes with its work and the air's density.
        load = np.where(value > 0, IDLE_SHARE + (1 - IDLE_SHARE) * value * density, 0)
        return np.asarray(chamber.design.motor_ampere * (1 + own * CURRENT_SD) * load)
    return value


def _disturb(values: dict[str, Numbers], moments_s: NDArray[np.int64], faults: Sequence[Fault]) -> None:
    """Put in what touches only what is read."""
    for fault in faults:
        size = fault.size_at(moments_s)
        is_there = ~np.isnan(size)
        if fault.kind == FaultKind.PLATE_DRIFT:
            values["emc:1"][is_there] += size[is_there]
        elif fault.kind == FaultKind.NO_DATA:
            for key in values:
                if key.startswith(fault.place):
                    values[key][is_there] = np.nan
        elif fault.kind in {FaultKind.ELECTRODE_OPEN, FaultKind.ELECTRODE_JUMP}:
            for place in fault.places:
                electrode = values[f"wood_moisture:{place}"]
                was = electrode[is_there] if fault.kind == FaultKind.ELECTRODE_JUMP else 0.0
                electrode[is_there] = np.maximum(was + size[is_there], 2.0)
