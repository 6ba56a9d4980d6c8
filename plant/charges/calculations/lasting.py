"""How long a stop that goes on may last: as somebody said, else as such stops on record did."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median, pstdev

from plant.charges.calculations.known import SOONEST

ENOUGH = 3
"""So many stops make a usual length; the number is ours, as is the next."""
NOBODY_KNOWS = timedelta(days=1)
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Lasting:
    """When a stop is expected to end, and why.

    ``count`` of such stops lasted longer than this one has by now; 0 where somebody said until when (``is_told``), or
    too few are on record. ``is_late`` where what was said has gone by.
    """

    end_at: datetime
    sd_h: float = 0.0
    count: int = 0
    is_told: bool = False
    is_late: bool = False


def lasting(
    start_at: datetime, now: datetime, told_at: datetime | None, lengths: Sequence[Sequence[timedelta]]
) -> Lasting:
    """Say until when a stop that goes on may last.

    Parameters
    ----------
    start_at, now : datetime
    told_at : datetime or None
        Until when somebody said that it may last.
    lengths : Sequence[Sequence[timedelta]]
        How long others lasted: first those most like it, each group within the next.

    Notes
    -----
    It ends a quarter of an hour from now at the earliest: that it is over, somebody tells. Of others only those count
    that lasted longer than this one has already.
    """
    if told_at is not None:
        return Lasting(max(told_at, now + SOONEST), is_told=True, is_late=told_at <= now)
    for group in lengths:
        longer = [length for length in group if start_at + length > now]
        if len(longer) >= ENOUGH:
            hours = [length / HOUR for length in longer]
            return Lasting(max(start_at + median(hours) * HOUR, now + SOONEST), pstdev(hours), len(hours))
    return Lasting(max(now, start_at) + NOBODY_KNOWS)
