"""Instants as whole UTC seconds, and calendar periods of the mill's own time zone."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from itertools import pairwise
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


def to_epoch_s(at: datetime) -> int:
    """Give an aware instant as whole seconds since 1970-01-01 00:00 UTC; parts of a second are dropped.

    Raises
    ------
    ValueError
        If the instant has no time zone: an hour could then be meant twice or not at all.
    """
    if at.utcoffset() is None:
        raise ValueError(f"instant {at.isoformat()} has no time zone")
    return (at - _EPOCH) // timedelta(seconds=1)


def from_epoch_s(epoch_s: int) -> datetime:
    """Give the UTC instant that lies so many seconds after 1970-01-01 00:00 UTC."""
    return _EPOCH + timedelta(seconds=epoch_s)


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Period:
    """A half-open stretch of time: it holds its start and not its end.

    Raises
    ------
    ValueError
        If either instant has no time zone, or the end lies before the start.
    """

    start_at: datetime
    end_at: datetime
    label: str = ""

    def __post_init__(self) -> None:
        if self.end_s < self.start_s:
            raise ValueError(f"period ends at {self.end_at.isoformat()}, before its start {self.start_at.isoformat()}")

    @property
    def start_s(self) -> int:
        """Start in seconds since the epoch."""
        return to_epoch_s(self.start_at)

    @property
    def end_s(self) -> int:
        """End in seconds since the epoch."""
        return to_epoch_s(self.end_at)


class CalendarUnit(StrEnum):
    """Length of a calendar period; weeks begin on Monday (ISO 8601)."""

    DAY = "day"
    WEEK = "week"
    MONTH = "month"
    YEAR = "year"


def calendar_periods(unit: CalendarUnit, first_on: date, last_on: date, zone: str) -> list[Period]:
    """List the whole calendar periods of a time zone that hold the days from first to last.

    Parameters
    ----------
    unit : CalendarUnit
    first_on, last_on : date
        Local days, both included.
    zone : str
        IANA name, as in "Europe/Stockholm".

    Returns
    -------
    list[Period]
        Oldest first, each touching the next; UTC instants; labels such as "2026-03-29", "2026-W13", "2026-03", "2026".

    Raises
    ------
    ValueError
        If the zone is unknown, or the last day lies before the first.

    Notes
    -----
    A period begins at local midnight, so that a day has 23, 24 or 25 hours. Where midnight does not exist because
    clocks go forward then, the day begins at the change.
    """
    if last_on < first_on:
        raise ValueError(f"last day {last_on} lies before first day {first_on}")
    tz = _zone(zone)
    starts = list(_unit_starts(unit, first_on, last_on))
    return [
        Period(_midnight(start_on, tz), _midnight(end_on, tz), _label(unit, start_on))
        for start_on, end_on in pairwise(starts)
    ]


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"time zone {name!r} is unknown; give an IANA name such as Europe/Stockholm") from error


def _midnight(day_on: date, tz: ZoneInfo) -> datetime:
    return datetime.combine(day_on, time(), tzinfo=tz).astimezone(UTC)


def _unit_starts(unit: CalendarUnit, first_on: date, last_on: date) -> Iterator[date]:
    """Yield the first day of each period, and of the one after the last."""
    day_on = {
        CalendarUnit.DAY: first_on,
        CalendarUnit.WEEK: first_on - timedelta(days=first_on.weekday()),
        CalendarUnit.MONTH: first_on.replace(day=1),
        CalendarUnit.YEAR: first_on.replace(month=1, day=1),
    }[unit]
    while day_on <= last_on:
        yield day_on
        day_on = _next_start(unit, day_on)
    yield day_on


def _next_start(unit: CalendarUnit, start_on: date) -> date:
    match unit:
        case CalendarUnit.DAY:
            return start_on + timedelta(days=1)
        case CalendarUnit.WEEK:
            return start_on + timedelta(days=7)
        case CalendarUnit.MONTH:
            return (start_on + timedelta(days=31)).replace(day=1)
        case CalendarUnit.YEAR:
            return start_on.replace(year=start_on.year + 1)


def _label(unit: CalendarUnit, start_on: date) -> str:
    match unit:
        case CalendarUnit.DAY:
            return start_on.isoformat()
        case CalendarUnit.WEEK:
            year, week, _ = start_on.isocalendar()
            return f"{year}-W{week:02d}"
        case CalendarUnit.MONTH:
            return f"{start_on:%Y-%m}"
        case CalendarUnit.YEAR:
            return f"{start_on:%Y}"
