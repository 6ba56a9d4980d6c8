"""What drives the simulated chamber: its programme, stage by stage, the controller of its climate, and the fans."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.demo.chamber.design import Drive, Heating, Stage
from maintenance.demo.chamber.faults import Effects, FaultKind
from maintenance.demo.chamber.sensors import Sensors
from maintenance.demo.chamber.tables import between
from plant.readings.calculations.climate_frame import PHASE_CODES

Numbers = NDArray[np.float64]
MOTORS: Final = ("1", "2")
HEATING_PCT_PER_K, HEATING_RESET_S = 3.0, 900.0
HUMIDITY_PCT_PER_K, HUMIDITY_RESET_S = 15.0, 1200.0
STROKE_S: Final = 180.0
"""A valve or flap needs so long from one end to the other."""
SET_K_PER_H: Final = 40.0
"""Set points climb no faster; falling they jump."""
AT_SET_K: Final = 1.0

# An enum looks its members up anew each time, and each step asks for them.
_REVERSAL_MISSING: Final = FaultKind.REVERSAL_MISSING
_FAN_STOPPED, _FAN_WEAK = FaultKind.FAN_STOPPED, FaultKind.FAN_WEAK
_CONTROLLED, _OPEN = float(Drive.CONTROLLED), float(Drive.OPEN)
_HEATING_CONTROLLED, _CONSTANT_POWER = float(Heating.CONTROLLED), float(Heating.CONSTANT_POWER)

_FIELDS: Final = (
    "most_s", "set_air", "set_wet", "heating", "power_w", "spray", "flaps", "fans", "door", "until_timber", "until_mc",
    "until_air", "takes_out", "phase",
)  # fmt: skip


def _row(stage: Stage) -> tuple[float, ...]:
    return (
        stage.most_h * 3600, stage.set_air_c, stage.set_wet_c, stage.heating, stage.power_kw * 1000, stage.spray,
        stage.flaps, stage.fans, stage.door, stage.until_timber_c, stage.until_mc_pct, stage.until_air_c,
        stage.takes_out, PHASE_CODES[stage.phase],
    )  # fmt: skip


class Stages:
    """Where each chamber stands in its programme; ``now`` holds the present stage's fields, shape (kilns,) each.

    Raises
    ------
    ValueError
        If a programme is empty.
    """

    def __init__(self, programmes: Sequence[Sequence[Stage]]) -> None:
        if not all(programmes):
            raise ValueError("a chamber has a programme without stages")
        self.programmes = programmes
        self._table = [np.array([_row(stage) for stage in stages]) for stages in programmes]
        self.index = np.zeros(len(programmes), dtype=np.intp)
        self.elapsed_s = np.zeros(len(programmes))
        self._now = np.column_stack([table[0] for table in self._table])
        self.now = dict(zip(_FIELDS, self._now, strict=True))
        self.history: list[list[tuple[int, int]]] = [[] for _ in programmes]

    @property
    def phase(self) -> NDArray[np.int8]:
        """Codes of the present phases."""
        return np.asarray(self.now["phase"], dtype=np.int8)

    def record(self, kilns: NDArray[np.intp], moment_s: int) -> None:
        """Note when stages began."""
        for kiln in kilns:
            self.history[kiln].append((int(self.index[kiln]), moment_s))

    def over(
        self, dt: float, timber_c: Numbers, moisture_pct: Numbers, air_c: Numbers, set_c: Numbers
    ) -> NDArray[np.intp]:
        """Let a step pass and name the chambers whose stage is over; the last stage of a programme never is."""
        now = self.now
        self.elapsed_s += dt
        # Comparisons with NaN are False: what a stage does not ask for never ends it.
        is_warm = (timber_c >= now["until_timber"]) & (air_c >= now["set_air"] - AT_SET_K) & (set_c >= now["set_air"])
        is_dry, is_cool = moisture_pct <= now["until_mc"], air_c <= now["until_air"]
        is_over = (self.elapsed_s >= now["most_s"]) | is_warm | is_dry | is_cool
        return np.array([k for k in np.flatnonzero(is_over) if self.index[k] + 1 < len(self._table[k])], dtype=np.intp)

    def advance(self, kilns: NDArray[np.intp]) -> None:
        """Put chambers into their next stages."""
        self.index[kilns] += 1
        self.elapsed_s[kilns] = 0
        for kiln in kilns:
            self._now[:, kiln] = self._table[kiln][self.index[kiln]]


def _error(missing: Numbers, is_on: NDArray[np.bool_]) -> Numbers:
    """Return what a controller works on: nothing where it is off or nothing is wanted (NaN)."""
    return np.where(is_on & ~np.isnan(missing), missing, 0.0)


class Controller:
    """Holds dry and wet bulb: heating by a valve, humidity by spray on one side of zero and flaps on the other.

    Both are PI controllers with a stop to their memory, as kiln controllers are. Public arrays have shape (kilns,).
    """

    def __init__(self, reversal_h: Numbers, pause_s: Numbers) -> None:
        kilns = len(reversal_h)
        self._reversal_s, self._pause_s = reversal_h * 3600, pause_s
        self.heating_pct, self.spray_pct, self.flap_pct, self.constant_w = (np.zeros(kilns) for _ in range(4))
        self.set_air_c, self.set_wet_c = np.full(kilns, np.nan), np.full(kilns, np.nan)
        self._heating_sum, self._humidity_sum = np.zeros(kilns), np.zeros(kilns)
        self._turned_s, self._rests_s = np.zeros(kilns), np.zeros(kilns)
        self._way = np.ones(kilns)
        self.direction, self.flow = np.zeros(kilns), np.zeros(kilns)
        self.motor = np.zeros((len(MOTORS), kilns))

    def enter(self, kilns: NDArray[np.intp], now: dict[str, Numbers]) -> None:
        """Forget what was summed up where heating begins anew."""
        is_off = kilns[now["heating"][kilns] == Heating.OFF]
        self._heating_sum[is_off] = 0
        self._humidity_sum[is_off] = 0

    def drive_fans(self, wanted: NDArray[np.bool_], effects: Effects, dt: float) -> None:
        """Turn the fans round when their time is up, after a pause; let those run that can."""
        runs = wanted & (self._rests_s <= 0)
        self._turned_s = np.where(runs, self._turned_s + dt, self._turned_s)
        turns = runs & (self._turned_s >= self._reversal_s)
        stays = effects.stands(_REVERSAL_MISSING)
        changes = turns & ~stays
        self._rests_s = np.where(changes, self._pause_s, np.maximum(self._rests_s - dt, 0))
        self._way = np.where(changes, -self._way, self._way)
        self._turned_s = np.where(turns, 0, self._turned_s)
        runs &= self._rests_s <= 0
        self.direction = np.where(runs, self._way, 0.0)
        self.motor = runs * (1 - np.maximum(effects.at_places(_FAN_STOPPED), effects.at_places(_FAN_WEAK)))
        self.flow = (self.motor[0] + self.motor[1]) / 2

    def drive_valves(self, now: dict[str, Numbers], sensors: Sensors, dt: float) -> None:
        """Work out what valves and flaps are told, from what the sensors on the entering side say."""
        air_c, wet_c = sensors.air_reading(self.direction), sensors.wet_reading(self.direction)
        self._follow_set_points(now, air_c, dt)
        is_controlled = now["heating"] == _HEATING_CONTROLLED
        heating = np.where(is_controlled, self._heating(air_c, is_controlled, dt), 0.0)
        spray_way, flap_way = now["spray"], now["flaps"]
        has_spray, has_flaps = spray_way == _CONTROLLED, flap_way == _CONTROLLED
        humidity = self._humidity(wet_c, has_spray | has_flaps, dt)
        spray = np.where(has_spray, np.maximum(humidity, 0), 100.0 * (spray_way == _OPEN))
        flap = np.where(has_flaps, np.maximum(-humidity, 0), 100.0 * (flap_way == _OPEN))
        most = 100 * dt / STROKE_S
        self.heating_pct = self.heating_pct + between(heating - self.heating_pct, -most, most)
        self.spray_pct = self.spray_pct + between(spray - self.spray_pct, -most, most)
        self.flap_pct = self.flap_pct + between(flap - self.flap_pct, -most, most)
        self.constant_w = np.where(now["heating"] == _CONSTANT_POWER, now["power_w"], 0.0)

    def _follow_set_points(self, now: dict[str, Numbers], air_c: Numbers, dt: float) -> None:
        """Let set points climb from where the air is, and fall at once; none where nothing is held."""
        climb = SET_K_PER_H * dt / 3600
        last = np.where(np.isnan(self.set_air_c), air_c, self.set_air_c)
        self.set_air_c = np.minimum(now["set_air"], np.maximum(last + climb, np.minimum(air_c, now["set_air"])))
        # While the air is still below, the wet bulb keeps the depression that is wanted in the end.
        depression = now["set_air"] - now["set_wet"]
        self.set_wet_c = np.where(np.isnan(depression), now["set_wet"], self.set_air_c - depression)

    def _heating(self, air_c: Numbers, is_on: NDArray[np.bool_], dt: float) -> Numbers:
        error = _error(self.set_air_c - air_c, is_on)
        at_once = HEATING_PCT_PER_K * error
        more = at_once * dt / HEATING_RESET_S
        wanted = at_once + self._heating_sum + more
        has_room = ((wanted < 100) | (error < 0)) & ((wanted > 0) | (error > 0))
        self._heating_sum = np.where(has_room, self._heating_sum + more, self._heating_sum)
        return between(at_once + self._heating_sum, 0, 100)

    def _humidity(self, wet_c: Numbers, is_on: NDArray[np.bool_], dt: float) -> Numbers:
        error = _error(self.set_wet_c - wet_c, is_on)
        at_once = HUMIDITY_PCT_PER_K * error
        wanted = at_once + self._humidity_sum
        has_room = ((wanted < 100) | (error < 0)) & ((wanted > -100) | (error > 0))
        more = at_once * dt / HUMIDITY_RESET_S
        self._humidity_sum = np.where(has_room, self._humidity_sum + more, self._humidity_sum)
        return between(at_once + self._humidity_sum, -100, 100)

    def facts(self) -> dict[str, Numbers]:
        """Return what can be read of valves and fans."""
        return {
            "heating_pct": self.heating_pct, "spray_pct": self.spray_pct, "flap_pct": self.flap_pct,
            "direction": self.direction, "motor_1": self.motor[0], "motor_2": self.motor[1],
        }  # fmt: skip
