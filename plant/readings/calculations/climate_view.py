"""A frame of a chamber's readings with what several derived figures share, worked out once.

The spans and thresholds (how long the air must have gone one way, when a valve counts as shut) are our own choice.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.readings.calculations.climate_frame import PHASE_CODES, Frame, Values

Mask: TypeAlias = NDArray[np.bool_]

SETTLE_MINUTES: Final = 15
"""So long after the fans started or turned, the air is not compared."""
SMOOTH_MINUTES: Final = 10
"""Mean over so long where noise would drown a small difference."""
OPEN_PCT, SHUT_PCT = 95.0, 2.0
"""From here on a valve or flap counts as fully open, up to here as shut."""
HEAT_SHUT_PCT: Final = 0.5
"""Of a heating valve already little lets much heat through."""
RISE_MINUTES: Final = 30
"""Over so long a temperature is followed to tell how fast it rises."""
BOTH_WAYS_MINUTES, BOTH_WAYS_LEAST_MINUTES = 12 * 60, 90
"""The span for a mean over both directions of the air, and what is needed of each."""
COLD_K, STEADY_K = 3.0, 2.5
"""Further from the set point a kiln is not warm enough; changing more in half an hour it is not steady."""
LEAST_RUNNING_A: Final = 0.5
IN_USE: Final = ("heating_up", "drying", "conditioning", "cooling")
DRYING: Final = ("drying",)


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for one kiln: each fan's current at full speed in A, as (air enters left, enters right)."""

    fan_current_a: Mapping[str, tuple[float, float]] = field(default_factory=dict)


class View:
    """A frame with what several signals share, worked out once."""

    def __init__(self, frame: Frame, usual: Usual | None = None) -> None:
        self.frame = frame
        self.usual = usual or Usual()
        self._keys = tuple(frame.values)
        self._kept: dict[object, Values | Mask | NDArray[np.int32]] = {}

    def __len__(self) -> int:
        """Return the number of moments."""
        return len(self.frame)

    def steps(self, minutes: float) -> int:
        """Return how many steps of the grid last so long, at least 1."""
        return max(1, round(minutes * 60 / self.frame.step_s))

    def places(self, quantity: str) -> tuple[str, ...]:
        """Return the places at which the quantity is measured; one is empty where it has no place."""
        return _places_among(quantity, self._keys)

    def at(self, quantity: str, place: str) -> Values:
        """Return a channel; NaN throughout where the kiln does not have it."""
        found = self.frame.values.get(f"{quantity}:{place}" if place else quantity)
        return self.unknown if found is None else found

    @property
    def unknown(self) -> Values:
        """Return NaN for every moment."""
        return self.keep("unknown", lambda: np.full(len(self), np.nan))

    def keep(self, name: object, work: Callable[[], Values]) -> Values:
        """Return what was worked out under the name, working it out the first time."""
        if name not in self._kept:
            self._kept[name] = work()
        return self._kept[name]  # type: ignore[return-value]

    def keep_mask(self, name: object, work: Callable[[], Mask]) -> Mask:
        """As `keep`, for yes and no."""
        if name not in self._kept:
            self._kept[name] = work()
        return self._kept[name]  # type: ignore[return-value]

    def mean(self, quantity: str) -> Values:
        """Return the mean over the places that have a value."""
        return self.keep(
            ("mean", quantity), lambda: mean_of([self.at(quantity, place) for place in self.places(quantity)], self)
        )

    @property
    def entering(self) -> Values:
        """Return the dry bulb where the air enters the stack, by which kilns are led; else the mean."""

        def work() -> Values:
            mean = self.mean("air_temperature")
            if not {"left", "right"} <= set(self.places("air_temperature")):
                return mean
            left, right = self.at("air_temperature", "left"), self.at("air_temperature", "right")
            found = np.where(self.turned > 0, left, np.where(self.turned < 0, right, mean))
            return np.where(np.isfinite(found), found, mean)

        return self.keep("entering", work)

    @property
    def dry_above_set(self) -> Values:
        """Return the entering dry bulb less its set point."""
        return self.keep("dry above set", lambda: self.entering - self.mean("set_air_temperature"))

    def dry_beside(self, place: str) -> Values:
        """Return the dry bulb that belongs to a wet bulb or a plate: at its place, else the mean."""
        beside = self.places("air_temperature")
        return self.at("air_temperature", place) if place in beside else self.mean("air_temperature")

    def wet_beside(self, place: str) -> Values:
        """Return the wet bulb that belongs to a plate: at its place, else the mean."""
        return self.at("wet_bulb", place) if place in self.places("wet_bulb") else self.mean("wet_bulb")

    def minutes_true(self, name: object, mask: Callable[[], Mask]) -> NDArray[np.int32]:
        """Return for how many steps in a row, this moment included, a condition has held."""

        def counted() -> NDArray[np.int32]:
            index = np.arange(len(self), dtype=np.int32)
            broken = np.where(mask(), np.int32(-1), index)
            return index - np.maximum.accumulate(broken)

        key = ("true", name)
        if key not in self._kept:
            self._kept[key] = counted()
        return self._kept[key]  # type: ignore[return-value]

    def held(self, name: object, mask: Callable[[], Mask], minutes: float) -> Mask:
        """Return where a condition has held for so long."""
        return self.keep_mask(("held", name, minutes), lambda: true_for(mask(), self.steps(minutes) + 1))

    def ago(self, values: Values, minutes: float) -> Values:
        """Return what the values were so long before; NaN before the first."""
        count = self.steps(minutes)
        earlier = np.full(len(values), np.nan)
        earlier[count:] = values[:-count]
        return earlier

    def smooth(self, values: Values, minutes: float, least_share: float = 0.5) -> Values:
        """Return the mean of the known values of the last minutes; NaN where fewer than that share are known."""
        count = self.steps(minutes)
        known = np.isfinite(values)
        if not known.any():
            return np.full(len(values), np.nan)
        return mean_of_last(values, known, count, max(1.0, least_share * count))

    def smooth_at(self, quantity: str, place: str, minutes: float) -> Values:
        """Return a channel smoothed over some minutes."""
        return self.keep(("smooth", quantity, place, minutes), lambda: self.smooth(self.at(quantity, place), minutes))

    @property
    def turned(self) -> Values:
        """Return the direction of the air, +1 or -1; NaN where it stands or is not known; 1 if it has no channel."""
        if "fan_direction" not in self.frame.values:
            return self.keep("turned", lambda: np.where(self.is_running, 1.0, np.nan))
        return self.keep("turned", lambda: known_direction(self.frame.values["fan_direction"]))

    @property
    def is_running(self) -> Mask:
        """Return where the fans run, as far as their direction, current or speed tells; else where the kiln runs."""
        return self.keep_mask("running", self._running)

    def _running(self) -> Mask:
        direction = self.frame.values.get("fan_direction")
        if direction is not None:
            return np.abs(direction) >= 0.5
        for quantity, least in (("fan_current", LEAST_RUNNING_A), ("fan_speed", 1.0)):
            if self.places(quantity):
                return self.mean(quantity) >= least
        return self.in_phases(IN_USE)

    @property
    def is_settled(self) -> Mask:
        """Return where the air has gone the same way for a while."""

        def settled() -> Mask:
            return self.steps_same_way > self.steps(SETTLE_MINUTES)

        return self.keep_mask("settled", settled)

    def is_way(self, way: float) -> Mask:
        """Return where the air has gone that way, +1 or -1, for a while."""
        return self.keep_mask(("way", way), lambda: self.is_settled & (self.turned == way))

    @property
    def steps_same_way(self) -> NDArray[np.int32]:
        """Return for how many steps in a row the fans have run the same way, this moment included."""

        def same_way() -> Mask:
            turned = self.turned
            same = np.isfinite(turned)
            same[1:] &= turned[1:] == turned[:-1]
            return same

        return self.minutes_true("same way", same_way)

    def both_ways(self, values: Values, phases: tuple[str, ...]) -> Values:
        """Return the mean over half a day of the means of both directions of the air.

        What the load does to the air has the one sign with one direction and the other with the other: it cancels, an
        error of a sensor stays. Only moments in the phases count, so that a heating up does not lie in the one half.
        """
        count, least = self.steps(BOTH_WAYS_MINUTES), self.steps(BOTH_WAYS_LEAST_MINUTES)
        usable = np.isfinite(values) & self.in_phases(phases)
        first, second = (mean_of_last(values, usable & self.is_way(way), count, least) for way in (1.0, -1.0))
        first += second
        first /= 2
        return gated(first, usable & self.is_settled)

    def in_phases(self, phases: tuple[str, ...]) -> Mask:
        """Return where the kiln is in one of the phases."""
        return self.keep_mask(("phases", phases), lambda: is_in_phases(self.frame.phase, phases))

    def smooth_mean(self, quantity: str) -> Values:
        """Return the mean over the places, smoothed over some minutes."""
        return self.keep(("smooth", quantity), lambda: self.smooth(self.mean(quantity), SMOOTH_MINUTES))

    def is_open(self, quantity: str) -> Callable[[], Mask]:
        """Say where a valve or the flaps are fully open."""
        return lambda: self.mean(quantity) >= OPEN_PCT

    def is_shut(self, quantity: str) -> Callable[[], Mask]:
        """Say where a valve or the flaps are shut; everywhere if the kiln has no such channel."""
        if not self.places(quantity):
            return lambda: np.ones(len(self), dtype=np.bool_)
        return lambda: self.mean(quantity) <= (HEAT_SHUT_PCT if quantity == "heating_valve" else SHUT_PCT)

    @property
    def is_warm_enough(self) -> Mask:
        """Return where the temperature is about its set point; everywhere if none is known.

        In a kiln that is far too cold or too hot the humidity tells nothing of flaps and spray.
        """

        def work() -> Mask:
            if not self.places("set_air_temperature"):
                return np.ones(len(self), dtype=np.bool_)
            return np.abs(self.dry_above_set) <= COLD_K

        return self.keep_mask("warm enough", work)

    @property
    def is_steady(self) -> Mask:
        """Return where the temperature has stood for a while: cold timber in warming air takes water from it."""

        return self.keep_mask("steady", lambda: np.abs(self.rise_k) <= STEADY_K)

    @property
    def rise_k(self) -> Values:
        """Return by how much the temperature has risen in the last half hour, in K."""

        def work() -> Values:
            dry = self.smooth_mean("air_temperature")
            return dry - self.ago(dry, RISE_MINUTES)

        return self.keep("rise", work)


def places_of_quantity(quantity: str, keys: Collection[str]) -> tuple[str, ...]:
    """Return the places at which a quantity is measured, in order; one is empty where it has no place."""
    stem = f"{quantity}:"
    found = [key.removeprefix(stem) for key in keys if key.startswith(stem)]
    return tuple(sorted(found + [""] * (quantity in keys)))


@lru_cache(maxsize=4096)
def _places_among(quantity: str, keys: tuple[str, ...]) -> tuple[str, ...]:
    """As `places_of_quantity`; the views of one kiln ask it again and again."""
    return places_of_quantity(quantity, keys)


def mean_of(channels: list[Values], view: View) -> Values:
    """Return the mean of those that are known at each moment, shape (n,)."""
    if not channels:
        return view.unknown
    if len(channels) == 1:
        return channels[0]
    mean = channels[0] + channels[1]
    for values in channels[2:]:
        mean += values
    mean /= len(channels)
    # Where one is not known, those are counted that are.
    lacking = np.flatnonzero(~np.isfinite(mean))
    if len(lacking):
        total, number = np.zeros(len(lacking)), np.zeros(len(lacking))
        for values in channels:
            known = np.isfinite(values[lacking])
            total += np.where(known, values[lacking], 0.0)
            number += known
        mean[lacking] = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    return mean


def lowest(view: View, quantity: str) -> Values:
    lowest = view.unknown
    for place in view.places(quantity):
        lowest = np.fmin(lowest, view.at(quantity, place))
    return lowest


def mean_of_last(values: Values, known: Mask, count: int, least: float) -> Values:
    """Return the mean of the known ones of the last ``count`` values; NaN where fewer than ``least`` are known."""
    total = np.cumsum(np.where(known, values, 0.0))
    total[count:] -= total[:-count].copy()
    number = np.cumsum(known, dtype=np.int32)
    number[count:] -= number[:-count].copy()
    number_or_nan = number.astype(np.float64)
    number_or_nan[number < least] = np.nan
    total /= number_or_nan
    return total


def true_for(mask: Mask, count: int) -> Mask:
    """Return where a condition holds for at least ``count`` moments in a row, this one included."""
    held, done = mask.copy(), 1
    while done < count:
        # What holds for so long here and that much earlier holds for both together.
        more = min(done, count - done)
        held[more:] &= held[:-more]
        held[:more] = False
        done += more
    return held


def is_in_phases(phase: NDArray[np.int8], phases: Collection[str]) -> Mask:
    """Return where the kiln is in one of the phases (names of `PHASE_CODES`)."""
    found = np.zeros(len(phase), dtype=np.bool_)
    for name in phases:
        found |= phase == PHASE_CODES[name]
    return found


def known_direction(values: Values) -> Values:
    return np.where(np.abs(values) >= 0.5, np.sign(values), np.nan)


def gated(values: Values, gate: Mask) -> Values:
    return np.where(gate, values, np.nan)
