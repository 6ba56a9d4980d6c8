"""The hours in which the yard loads and unloads kilns, by weekday."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

Span = tuple[time, time]
MIDNIGHT = time(0)


@dataclass(frozen=True, slots=True)
class YardHours:
    """For each weekday, Monday first, from when to when the yard works; empty where it works at any hour.

    An end at midnight is the end of the day.

    Raises
    ------
    ValueError
        If it is not empty and does not name seven days, if a day ends before it begins, or if no day has hours.
    """

    zone: ZoneInfo
    week: tuple[Span | None, ...] = ()

    def __post_init__(self) -> None:
        if self.week and len(self.week) != 7:
            raise ValueError(f"{len(self.week)} days were given for a week")
        if self.week and not any(self.week):
            raise ValueError("a yard that works on no day loads no kiln")
        for span in self.week:
            if span and span[1] != MIDNIGHT and span[1] <= span[0]:
                raise ValueError(f"a day from {span[0]:%H:%M} to {span[1]:%H:%M} ends before it begins")

    @classmethod
    def from_json(cls, kept: Sequence[Sequence[str] | None], zone: ZoneInfo) -> "YardHours":
        """Return the hours that a mill keeps."""
        days = [(time.fromisoformat(day[0]), time.fromisoformat(day[1])) if day else None for day in kept]
        return cls(zone, tuple(days))

    def works_at(self, at: datetime) -> bool:
        """Say whether the yard works at an instant."""
        return self.next_at(at) == at

    def next_at(self, at: datetime) -> datetime:
        """Return the first instant from one on at which the yard works."""
        if not self.week:
            return at
        first_on = at.astimezone(self.zone).date()
        for ahead in range(9):
            span = self._span(first_on + timedelta(days=ahead))
            if span and max(at, span[0]) < span[1]:
                return max(at, span[0])
        raise ValueError(f"no hour of the yard was found after {at}")

    def _span(self, on: date) -> tuple[datetime, datetime] | None:
        day = self.week[on.weekday()]
        if day is None:
            return None
        from_time, to_time = day
        to_on = on + timedelta(days=1) if to_time == MIDNIGHT else on
        return self._instant(on, from_time), self._instant(to_on, to_time)

    def _instant(self, on: date, at: time) -> datetime:
        # Compared as instants: two times of one zone are compared by their clocks.
        return datetime.combine(on, at, self.zone).astimezone(UTC)
