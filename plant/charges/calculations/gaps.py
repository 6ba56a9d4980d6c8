"""Where in a kiln's programme nothing stands, and where two charges want the kiln at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Held:
    """A charge with its kiln's time on record; ``is_begun`` and ``is_out`` say what has happened of it."""

    key: int
    begin_at: datetime
    end_at: datetime
    is_begun: bool
    is_out: bool


@dataclass(frozen=True, slots=True)
class Gap:
    """Time in which nothing is planned; ``end_at`` is None behind the last charge."""

    begin_at: datetime
    end_at: datetime | None


@dataclass(frozen=True, slots=True)
class Overlap:
    """Time for which two charges want the kiln, the one that holds it first."""

    first: int
    second: int
    begin_at: datetime
    end_at: datetime


def gaps_and_overlaps(held: Sequence[Held], now: datetime) -> tuple[list[Gap], list[Overlap]]:
    """Find from now on what is free and what is wanted twice.

    Parameters
    ----------
    held : Sequence[Held]
        Of one kiln, in any order.
    now : datetime

    Notes
    -----
    What should be out and is not holds the kiln until now at least; what should have begun and has not cannot begin
    before now, and keeps its length.
    """
    gaps: list[Gap] = []
    overlaps: list[Overlap] = []
    free_at = now
    holder: int | None = None
    for one in sorted(held, key=lambda one: (not one.is_begun, one.begin_at)):
        if one.is_out and one.end_at <= now:
            continue
        begin_at, end_at = one.begin_at, max(one.end_at, now)
        if not one.is_begun and begin_at < now:
            begin_at, end_at = now, now + (one.end_at - one.begin_at)
        if holder is not None and one.begin_at < free_at:
            overlaps.append(Overlap(holder, one.key, one.begin_at, free_at))
        elif begin_at > free_at:
            gaps.append(Gap(free_at, begin_at))
        if end_at > free_at or holder is None:
            free_at, holder = max(free_at, end_at), one.key
    gaps.append(Gap(free_at, None))
    return gaps, overlaps
