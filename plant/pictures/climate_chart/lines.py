"""What a climate chart draws a line from: a channel's readings, or what two of them tell together."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from plant.physics.emc import COLDEST_C, HOTTEST_C, emc_pct, humidity_for_emc
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, relative_humidity_of_readings
from plant.physics.quantities import channel_key
from plant.pictures.climate_chart.thinning import Instants, Values
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE, gap_s

HELD_ON_CHANGE_S: Final = 24 * 3600
"""So long what a controller tells only when it changes counts as still so: as frames of readings take it."""

Measure = str
"""How humidity is shown: ``emc``, ``rh`` or ``depression``."""


class Series(Protocol):
    """Readings of a channel, in order of time; a mark other than 0 says why rules leave a reading out."""

    @property
    def at_s(self) -> Instants:
        """Seconds since 1970."""

    @property
    def value(self) -> Values:
        """In the unit of the quantity."""

    @property
    def marks(self) -> NDArray[np.int16]:
        """Reasons as bits."""


@dataclass(frozen=True, slots=True)
class Source:
    """A line before it is drawn.

    ``quantity`` and ``place`` say what it measures; ``worked_out_from`` is empty for readings, else the quantity of
    the sensor from which it was worked out. Marked readings are kept apart. Of days in short ``value`` is the mean,
    and ``low`` and ``high`` are its extremes; else these are None.
    """

    quantity: str
    place: str
    worked_out_from: str
    at_s: Instants
    value: Values
    gap_s: float
    marked_at_s: Instants
    marked_value: Values
    marks: NDArray[np.int16]
    low: Values | None = None
    high: Values | None = None

    @property
    def key(self) -> str:
        """Return a key that is unique on the chart."""
        name = channel_key(self.quantity, self.place)
        return f"{name} from {self.worked_out_from}" if self.worked_out_from else name


def source_of(quantity: str, place: str, every_s: int, series: Series) -> Source:
    """Part a channel's readings into those that count and those that are marked."""
    good = series.marks == 0
    gap = HELD_ON_CHANGE_S if quantity in TOLD_ON_CHANGE else gap_s(every_s)
    if good.all():
        none = np.empty(0, np.int64)
        return Source(quantity, place, "", series.at_s, series.value, gap, none, np.empty(0), np.empty(0, np.int16))
    bad = ~good
    return Source(
        quantity,
        place,
        "",
        series.at_s[good],
        series.value[good],
        gap,
        series.at_s[bad],
        series.value[bad],
        series.marks[bad],
    )


def humidity_sources(
    sources: Iterable[Source], measure: Measure, pressure_pa: float = STANDARD_PRESSURE_PA
) -> list[Source]:
    """Work out what psychrometers, plates and humidity sensors say in the measure that is asked for.

    What stands in that measure already is passed on as it is. A wet bulb or plate goes with the air temperature of its
    own place, else with the mean of all. From days in short nothing is worked out: their means are of no one moment.
    """
    known = _Known(sources)
    found = [one for quantity in _AS_IT_IS[measure] for one in known.of(quantity)]
    if any(one.low is not None for one in known.all):
        return found
    for sensor, wanted, temperature in _PAIRS[measure]:
        for one in known.of(sensor):
            pair = known.temperature_for(one, temperature)
            if pair is not None:
                found.append(_worked_out(one, wanted, measure, pair, pressure_pa))
    return [one for one in found if len(one.at_s) or not one.worked_out_from]


_AS_IT_IS: Final[Mapping[Measure, tuple[str, ...]]] = {
    "emc": ("emc", "set_emc"),
    "rh": ("relative_humidity", "set_relative_humidity"),
    "depression": (),
}
# Sensor, what is worked out from it, and the temperature it goes with.
_PAIRS: Final[Mapping[Measure, tuple[tuple[str, str, str], ...]]] = {
    "emc": (
        ("wet_bulb", "emc", "air_temperature"),
        ("relative_humidity", "emc", "air_temperature"),
        ("set_wet_bulb", "set_emc", "set_air_temperature"),
        ("set_relative_humidity", "set_emc", "set_air_temperature"),
    ),
    "rh": (
        ("wet_bulb", "relative_humidity", "air_temperature"),
        ("emc", "relative_humidity", "air_temperature"),
        ("set_wet_bulb", "set_relative_humidity", "set_air_temperature"),
        ("set_emc", "set_relative_humidity", "set_air_temperature"),
    ),
    "depression": (
        ("wet_bulb", "wet_bulb", "air_temperature"),
        ("set_wet_bulb", "set_wet_bulb", "set_air_temperature"),
    ),
}


class _Known:
    def __init__(self, sources: Iterable[Source]) -> None:
        self.all = list(sources)
        self.by_quantity: dict[str, list[Source]] = {}
        for one in self.all:
            self.by_quantity.setdefault(one.quantity, []).append(one)

    def of(self, quantity: str) -> list[Source]:
        return self.by_quantity.get(quantity, [])

    def temperature_for(self, sensor: Source, quantity: str) -> Values | None:
        """Return the temperature at the sensor's instants, NaN where none is fresh; None without any thermometer."""
        thermometers = self.of(quantity)
        beside = [one for one in thermometers if one.place == sensor.place] or thermometers
        if not beside:
            return None
        held = np.stack([_held(one, sensor.at_s) for one in beside])
        known = np.isfinite(held)
        count = known.sum(axis=0)
        return np.where(count > 0, np.where(known, held, 0).sum(axis=0) / np.maximum(count, 1), np.nan)


def _held(one: Source, at_s: Instants) -> Values:
    """Return the last reading at or before each instant, NaN where it is too old."""
    if not len(one.at_s):
        return np.full(len(at_s), np.nan)
    last = np.searchsorted(one.at_s, at_s, side="right") - 1
    age = at_s - one.at_s[np.maximum(last, 0)]
    return np.where((last >= 0) & (age <= one.gap_s), one.value[np.maximum(last, 0)], np.nan)


def _worked_out(sensor: Source, quantity: str, measure: Measure, temperature: Values, pressure_pa: float) -> Source:
    value = _COMPUTE[sensor.quantity.removeprefix("set_"), measure](temperature, sensor.value, pressure_pa)
    known = np.isfinite(value)
    none = np.empty(0, np.int64)
    return Source(
        quantity,
        sensor.place,
        sensor.quantity,
        sensor.at_s[known],
        value[known],
        sensor.gap_s,
        none,
        np.empty(0),
        np.empty(0, np.int16),
    )


def _emc_from_wet_bulb(dry: Values, wet: Values, pressure_pa: float) -> Values:
    return _emc_from_share(dry, relative_humidity_of_readings(dry, wet, pressure_pa))


def _emc_from_share(dry: Values, share: Values) -> Values:
    known = (dry >= COLDEST_C) & (dry <= HOTTEST_C) & (share >= 0) & (share <= 1)
    value = np.full(len(dry), np.nan)
    value[known] = emc_pct(dry[known], share[known])
    return value


def _share_from_emc(dry: Values, emc: Values) -> Values:
    known = (dry >= COLDEST_C) & (dry <= HOTTEST_C) & (emc >= 0)
    known[known] = emc[known] <= emc_pct(dry[known], 1.0)
    value = np.full(len(dry), np.nan)
    if known.any():
        value[known] = humidity_for_emc(dry[known], emc[known]) * 100
    return value


_COMPUTE: Final[Mapping[tuple[str, str], Callable[[Values, Values, float], Values]]] = {
    ("wet_bulb", "emc"): _emc_from_wet_bulb,
    ("relative_humidity", "emc"): lambda dry, humidity, _pressure_pa: _emc_from_share(dry, humidity / 100),
    ("wet_bulb", "rh"): lambda dry, wet, pressure_pa: relative_humidity_of_readings(dry, wet, pressure_pa) * 100,
    ("emc", "rh"): lambda dry, emc, _pressure_pa: _share_from_emc(dry, emc),
    ("wet_bulb", "depression"): lambda dry, wet, _pressure_pa: dry - wet,
}
