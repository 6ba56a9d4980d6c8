"""Drift and trend over the figures of a kiln's charges, as firings with a begin and an end."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from maintenance.watches.calculations.drift_charts import Drift, follow, restarted
from maintenance.watches.calculations.trends import Crossing, Trend, crossing

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Seen:
    """What a watch saw, from when to when (seconds since 1970; no end: it goes on).

    ``since_s`` is where it began to show, ``begin_s`` where it was sure enough to be said. ``worst`` is in the unit of
    what the rule compares. Of figures of charges: over how many charges, and of a trend the day on which it will cross
    the limit, with bounds (seconds since 1970, None where there is none).
    """

    since_s: int
    begin_s: int
    end_s: int | None
    worst: float
    charges: int | None = None
    crosses_s: int | None = None
    earliest_s: int | None = None
    latest_s: int | None = None


def seen_in_charges(
    rule: Drift | Trend, ends_s: Sequence[int], values: Sequence[float], resets_s: Sequence[int] = ()
) -> tuple[Seen, ...]:
    """Apply a rule to a figure of successive charges.

    Parameters
    ----------
    rule : Drift or Trend
    ends_s : Sequence[int]
        When each charge had run, ascending, seconds since 1970.
    values : Sequence[float]
        Its figure; charges without it are left out by the caller.
    resets_s : Sequence[int]
        Instants at which the cause was mended, ascending: what came before counts as usual, but is not held against
        what comes after. A trend begins anew.

    Returns
    -------
    tuple[Seen, ...]
        In order; one that was mended ends with the mending.
    """
    if isinstance(rule, Trend):
        return _trend(rule, ends_s, values, resets_s)
    return _drift(rule, ends_s, values, resets_s)


def _drift(rule: Drift, ends_s: Sequence[int], values: Sequence[float], resets_s: Sequence[int]) -> tuple[Seen, ...]:
    seen: list[Seen] = []
    state: dict[str, float | int | bool] = {}
    for first, end, reset_s in _between_resets(ends_s, resets_s):
        points, state = follow(rule, values[first:end], state)
        for place, point in enumerate(points, first):
            if point.began:
                since_s = ends_s[max(place - point.charges + 1, 0)]
                seen.append(Seen(since_s, ends_s[place], None, point.shift, point.charges))
            elif seen and seen[-1].end_s is None:
                if not point.is_drifting:
                    seen[-1] = replace(seen[-1], end_s=ends_s[place])
                elif abs(point.shift) >= abs(seen[-1].worst):
                    seen[-1] = replace(seen[-1], worst=point.shift, charges=point.charges)
        if reset_s is not None:
            seen = _ended(seen, reset_s)
            state = restarted(state) if state else {}
    return tuple(seen)


def _trend(rule: Trend, ends_s: Sequence[int], values: Sequence[float], resets_s: Sequence[int]) -> tuple[Seen, ...]:
    seen: list[Seen] = []
    for first, end, reset_s in _between_resets(ends_s, resets_s):
        for last in range(first, end):
            begin = max(first, last + 1 - rule.charges)
            days = [(at_s - ends_s[begin]) / DAY_S for at_s in ends_s[begin : last + 1]]
            found = crossing(rule, days, values[begin : last + 1])
            is_open = bool(seen) and seen[-1].end_s is None
            if found and is_open:
                seen[-1] = _crossed(seen[-1], found, ends_s[begin])
            elif found:
                seen.append(_crossed(Seen(ends_s[begin], ends_s[last], None, found.now), found, ends_s[begin]))
            elif is_open:
                seen[-1] = replace(seen[-1], end_s=ends_s[last])
        if reset_s is not None:
            seen = _ended(seen, reset_s)
    return tuple(seen)


def _crossed(seen: Seen, found: Crossing, day_0_s: int) -> Seen:
    crosses_s, earliest_s, latest_s = (
        day_0_s + int(day * DAY_S) if math.isfinite(day) and abs(day) < 36_500 else None
        for day in (found.day, found.earliest_day, found.latest_day)
    )
    return replace(
        seen,
        worst=found.now,
        charges=found.charges,
        crosses_s=crosses_s,
        earliest_s=earliest_s,
        latest_s=latest_s,
    )


def _ended(seen: list[Seen], at_s: int) -> list[Seen]:
    if seen and seen[-1].end_s is None:
        return [*seen[:-1], replace(seen[-1], end_s=max(at_s, seen[-1].begin_s))]
    return seen


def _between_resets(ends_s: Sequence[int], resets_s: Sequence[int]) -> list[tuple[int, int, int | None]]:
    """Return (first, end, reset) of the stretches of charges between resets; the last has no reset behind it."""
    stretches: list[tuple[int, int, int | None]] = []
    first = 0
    for reset_s in resets_s:
        end = first + sum(1 for at_s in ends_s[first:] if at_s <= reset_s)
        stretches.append((first, end, reset_s))
        first = end
    return [*stretches, (first, len(ends_s), None)]
