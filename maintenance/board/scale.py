"""How far the board reaches and how it turns instants into places on it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from plant import clock

#: Days that the board may show at once: from three days to three months.
ZOOMS = (3, 7, 14, 28, 56, 91)
USUAL_DAYS = 28
#: Up to so many days each job is a block of its own; beyond, jobs stand together.
NEAR_DAYS = 14
#: Up to so many days the head names each day, and crew hours are told day by day; beyond, week by week.
DAYWISE_DAYS = 28
#: Width of the pictures in units of their own.
UNITS = 10_000


@dataclass(frozen=True)
class Scale:
    """Turns instants into per cent of the board, or into units of its pictures."""

    first_on: date
    days: int
    zone: ZoneInfo
    from_at: datetime
    to_at: datetime

    @property
    def is_near(self) -> bool:
        """Say whether each job is a block of its own."""
        return self.days <= NEAR_DAYS

    @property
    def is_daywise(self) -> bool:
        """Say whether the head names each day."""
        return self.days <= DAYWISE_DAYS

    @property
    def last_on(self) -> date:
        """Return the last day shown."""
        return self.first_on + timedelta(days=self.days - 1)

    @property
    def minutes(self) -> int:
        """Return the elapsed minutes from the left edge to the right one."""
        return int((self.to_at - self.from_at) // timedelta(minutes=1))

    def edges(self) -> list[datetime]:
        """Return the instants at which local days begin, and the one at which the last ends."""
        return [clock.start_of_day(self.first_on + timedelta(days=n), self.zone) for n in range(self.days + 1)]

    def share(self, at: datetime) -> float:
        """Return how far an instant lies from the left edge, from 0 to 1; what lies outside is at an edge."""
        clipped = min(max(at, self.from_at), self.to_at)
        return (clipped - self.from_at).total_seconds() / (self.to_at - self.from_at).total_seconds()

    def left(self, at: datetime) -> str:
        """Return an instant in per cent of the board."""
        return f"{100 * self.share(at):.2f}"

    def width(self, start_at: datetime, end_at: datetime) -> str:
        """Return a span in per cent of the board."""
        return f"{100 * max(self.share(end_at) - self.share(start_at), 0):.2f}"

    def unit(self, at: datetime) -> int:
        """Return an instant in units of the pictures."""
        return round(UNITS * self.share(at))

    def shows(self, start_at: datetime, end_at: datetime) -> bool:
        """Say whether a span reaches into the board."""
        return start_at < self.to_at and end_at > self.from_at

    def boxes(self, spans: Iterable[tuple[datetime, datetime]], height: int = 10) -> str:
        """Draw spans as boxes of one SVG path; those outside the board are left out."""
        parts = []
        for start_at, end_at in spans:
            if self.shows(start_at, end_at):
                left = self.unit(start_at)
                parts.append(f"M{left} 0h{max(self.unit(end_at) - left, 1)}v{height}H{left}z")
        return "".join(parts)


def scale_of(first_on: date, days: int, zone: ZoneInfo) -> Scale:
    """Return the scale of so many local days."""
    from_at = clock.start_of_day(first_on, zone)
    return Scale(first_on, days, zone, from_at, clock.start_of_day(first_on + timedelta(days=days), zone))
