"""Round ticks: of values by one, two or five, of time by the clock of the mill, right also when the clock changes."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from plant.clock import start_of_day

MINUTE, HOUR, DAY = 60, 3600, 86_400
STEPS_S: Final = (
    *(MINUTE * n for n in (1, 2, 5, 10, 15, 30)),
    *(HOUR * n for n in (1, 2, 3, 6, 12)),
    *(DAY * n for n in (1, 2, 7, 14)),
)
"""What stands between two ticks of a time axis; above, months."""

QUARTER = 15 * MINUTE
"""Every zone's offset from UTC is a multiple of this, for as long as there are kilns with sensors."""


@dataclass(frozen=True, slots=True)
class ValueAxis:
    """The span that a band shows and its ticks, in the unit that is shown."""

    low: float
    high: float
    ticks: tuple[float, ...]

    def share_down(self, value: float) -> float:
        """Return how far below the upper edge a value stands, as a share of 1; outside the span it is cut off."""
        return min(max((self.high - value) / (self.high - self.low), 0.0), 1.0)


def value_axis(low: float, high: float, *, most: int, least_span: float, is_from_zero: bool = False) -> ValueAxis:
    """Choose the span and at most ``most`` + 1 ticks for values from ``low`` to ``high``.

    ``least_span`` is the smallest span shown, so that noise does not look like a storm. ``is_from_zero`` is for what is
    never negative: its axis is not widened below 0.

    Raises
    ------
    ValueError
        If the values are not finite or not in order.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low <= high):
        raise ValueError(f"values from {low:g} to {high:g} span no axis")
    if high - low < least_span:
        middle = (low + high) / 2
        low, high = middle - least_span / 2, middle + least_span / 2
        if is_from_zero and low < 0:
            low, high = 0.0, least_span
    step = round_step((high - low) / most)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = tuple(round(n * step, 10) for n in range(first, last + 1))
    return ValueAxis(ticks[0], ticks[-1], ticks)


def round_step(least: float) -> float:
    """Return the smallest of 1, 2 and 5 times a power of ten that is not below ``least``."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= least * (1 - 1e-9))


@dataclass(frozen=True, slots=True)
class TimeTick:
    """A mark of a time axis; ``is_day`` where a local day begins there."""

    at_s: int
    at: datetime
    is_day: bool


def time_ticks(from_s: int, until_s: int, zone: ZoneInfo, *, most: int) -> list[TimeTick]:
    """Mark at most ``most`` round instants of the local clock from ``from_s`` to ``until_s``.

    An hour that comes twice, when summer time ends, has both its marks; one that does not exist has none.
    """
    fitting = [step for step in STEPS_S if (until_s - from_s) / step <= most]
    if not fitting:
        return list(_months(from_s, until_s, zone, most))
    step = fitting[0]
    found = _days(from_s, until_s, zone, step // DAY) if step >= DAY else _clock_times(from_s, until_s, zone, step)
    return list(found)


def _tick(at_s: int, zone: ZoneInfo) -> TimeTick:
    at = datetime.fromtimestamp(at_s, zone)
    return TimeTick(at_s, at, is_day=at.hour == 0 and at.minute == 0)


def _clock_times(from_s: int, until_s: int, zone: ZoneInfo, step: int) -> Iterator[TimeTick]:
    stride = min(step, QUARTER)
    for at_s in range(-(-from_s // stride) * stride, until_s + 1, stride):
        tick = _tick(at_s, zone)
        if (tick.at.hour * HOUR + tick.at.minute * MINUTE) % step == 0:
            yield tick


def _days(from_s: int, until_s: int, zone: ZoneInfo, every: int) -> Iterator[TimeTick]:
    day = datetime.fromtimestamp(from_s, zone).date()
    while (at_s := _begin_s(day, zone)) <= until_s:
        # Counted from a Monday, so that a tick stays where it is when one moves along.
        if at_s >= from_s and (day.toordinal() - 1) % every == 0:
            yield _tick(at_s, zone)
        day += timedelta(days=1)


def _months(from_s: int, until_s: int, zone: ZoneInfo, most: int) -> Iterator[TimeTick]:
    first = datetime.fromtimestamp(from_s, zone).date().replace(day=1)
    every = -(-(until_s - from_s) // (30 * DAY * most))
    count = first.year * 12 + first.month - 1
    while (at_s := _begin_s(date(count // 12, count % 12 + 1, 1), zone)) <= until_s:
        if at_s >= from_s and count % every == 0:
            yield _tick(at_s, zone)
        count += 1


def _begin_s(day: date, zone: ZoneInfo) -> int:
    return int(start_of_day(day, zone).astimezone(UTC).timestamp())
