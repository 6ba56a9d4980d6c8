"""From the clock on the wall to instants: zones, fixed distances from UTC, and the hour that comes twice in autumn."""

import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from plant.readings.files.calculations.instants import Seconds

DAY_S: Final = 86400
FIXED: Final = re.compile(r"([+-])(\d{2}):(\d{2})")
# Dates beyond this are refused anyway; zones are asked about no further.
FIRST_S, LAST_S = 0, 7_258_118_400


@dataclass(frozen=True, slots=True)
class Instants:
    """Seconds since 1970 (UTC), (n,); places whose local time does not exist, and whose instant cannot be told."""

    at_s: Seconds
    missing: Seconds
    doubtful: Seconds


def is_zone(zone: str) -> bool:
    """Say whether this is a zone that can be worked with: an area and a city, UTC, or a distance such as +01:00."""
    if FIXED.fullmatch(zone):
        return True
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        return False
    return True


def to_instants(local_s: Seconds, zone: str, series: Seconds | None = None, doubled_hour: str = "order") -> Instants:
    """Turn local seconds into instants.

    Parameters
    ----------
    local_s : NDArray[int64]
        Local seconds since 1970 in the order of the file, (n,).
    zone : str
        As `is_zone` allows.
    series : NDArray[int64], optional
        Number of the channel of each time, (n,); the order of the file counts within a channel. None: all are one.
    doubled_hour : str
        One of `form.DOUBLED_HOUR`: which of two instants is meant where the clock was put back.

    Notes
    -----
    While the clock is put back, local times come twice. The order of the lines tells which is meant: the times run
    through the hour, stand back, and run through it again. Where the lines stand back nowhere, the neighbours decide: a
    time that follows its neighbour at the usual distance. Where that leaves both or none, the place is doubtful.
    """
    nothing = np.empty(0, np.int64)
    fixed = FIXED.fullmatch(zone)
    if fixed or zone == "UTC" or not len(local_s):
        ahead_s = 0
        if fixed:
            ahead_s = (int(fixed[2]) * 3600 + int(fixed[3]) * 60) * (-1 if fixed[1] == "-" else 1)
        return Instants(local_s - ahead_s, nothing, nothing)
    changes_s, ahead = _changes(ZoneInfo(zone), int(local_s.min()), int(local_s.max()))
    earlier = np.searchsorted(changes_s + np.maximum(ahead[:-1], ahead[1:]), local_s, side="right")
    later = np.searchsorted(changes_s + np.minimum(ahead[:-1], ahead[1:]), local_s, side="right")
    first_ahead, second_ahead = ahead[earlier], ahead[later]
    missing = np.flatnonzero(second_ahead > first_ahead)
    doubled = np.flatnonzero(second_ahead < first_ahead)
    at_s = local_s - first_ahead
    if not len(doubled):
        return Instants(at_s, missing, nothing)
    is_second, doubtful = _told_apart(local_s, doubled, earlier, first_ahead - second_ahead, series, doubled_hour)
    at_s[is_second] = local_s[is_second] - second_ahead[is_second]
    return Instants(at_s, missing, doubtful)


def _changes(zone: ZoneInfo, low_s: int, high_s: int) -> tuple[Seconds, Seconds]:
    """Return when the zone's distance from UTC changes around a span, (k,), and the distances, (k + 1,)."""
    days = range(max(low_s, FIRST_S) // DAY_S * DAY_S - 2 * DAY_S, min(high_s, LAST_S) + 3 * DAY_S, DAY_S)
    ahead = [_ahead_s(zone, day) for day in days]
    changes, distances = [], [ahead[0] if ahead else 0]
    for number in range(1, len(ahead)):
        if ahead[number] != ahead[number - 1]:
            day = days[number - 1]
            before = ahead[number - 1]
            seconds = range(day, day + DAY_S)
            changes.append(day + bisect_left(seconds, True, key=lambda at: _ahead_s(zone, at) != before))
            distances.append(ahead[number])
    return np.array(changes, np.int64), np.array(distances, np.int64)


def _ahead_s(zone: ZoneInfo, at_s: int) -> int:
    distance = datetime.fromtimestamp(at_s, UTC).astimezone(zone).utcoffset() or timedelta()
    return int(distance.total_seconds())


def _told_apart(
    local_s: Seconds, doubled: Seconds, change: Seconds, shift_s: Seconds, series: Seconds | None, doubled_hour: str
) -> tuple[Seconds, Seconds]:
    """Return the places among the doubled ones that are the later instant, and those that cannot be told."""
    if doubled_hour != "order":
        return (doubled if doubled_hour == "second" else doubled[:0]), doubled[:0]
    second: list[Seconds] = []
    doubtful: list[Seconds] = []
    for places in _series(len(local_s), series, doubled):
        order = places if len(places) < 2 or local_s[places[0]] <= local_s[places[-1]] else places[::-1]
        is_doubled = np.isin(order, doubled)
        for number in np.unique(change[order[is_doubled]]):
            here = np.flatnonzero(is_doubled & (change[order] == number))
            from_here = _second_pass(local_s[order], here, int(shift_s[order[here[0]]]))
            if from_here is None:
                doubtful.append(order[here])
            else:
                second.append(order[here[from_here:]])
    empty = np.empty(0, np.int64)
    return np.concatenate([*second, empty]), np.sort(np.concatenate([*doubtful, empty]))


def _series(count: int, series: Seconds | None, doubled: Seconds) -> Sequence[Seconds]:
    """Return the places of each channel that has doubled times, in the order of the file."""
    if series is None:
        return [np.arange(count, dtype=np.int64)]
    return [np.flatnonzero(series == number) for number in np.unique(series[doubled])]


def _second_pass(times_s: Seconds, here: Seconds, shift_s: int) -> int | None:
    """Return from which doubled time on the later instant is meant (their number: never); None: cannot be told."""
    back = np.flatnonzero(np.diff(times_s[here]) <= 0)
    if len(back) == 1:
        return int(back[0]) + 1
    if len(back) > 1:
        return None
    steps = np.diff(times_s)
    usual_s = float(np.median(steps[steps > 0])) if (steps > 0).any() else None
    if usual_s is None or 2 * usual_s >= shift_s:
        return None
    first, last = int(here[0]), int(here[-1])
    before_s = int(times_s[first] - times_s[first - 1]) if first else None
    after_s = int(times_s[last + 1] - times_s[last]) if last + 1 < len(times_s) else None
    as_first = _follows(before_s, usual_s) and _follows(after_s, usual_s, shift_s)
    as_second = _follows(before_s, usual_s, shift_s) and _follows(after_s, usual_s)
    if as_first == as_second:
        return None
    return len(here) if as_first else 0


def _follows(distance_s: int | None, usual_s: float, shift_s: int = 0) -> bool:
    """Say whether a neighbour is no further than usual; nobody there is no contradiction."""
    return distance_s is None or distance_s + shift_s <= 2 * usual_s


def say_local(local_s: int) -> str:
    """Return local seconds as day and time."""
    if not -62_135_596_800 <= local_s < 253_402_300_800:
        return str(local_s)
    return (datetime(1970, 1, 1) + timedelta(seconds=local_s)).strftime("%Y-%m-%d %H:%M:%S")  # noqa: DTZ001
