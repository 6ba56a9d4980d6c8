"""Thinning for the screen: of each column of pixels the lowest and the highest reading stay, so that no spike is lost.

Where readings lie further apart than ``gap_s`` the line is broken: nobody knows what was in between.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Instants = NDArray[np.int64]
Values = NDArray[np.float64]

COLUMNS: Final = 600


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time on the screen, in seconds since 1970, and its columns."""

    from_s: int
    until_s: int
    columns: int = COLUMNS

    def __post_init__(self) -> None:
        """Refuse a span without length."""
        if self.until_s <= self.from_s or self.columns < 1:
            raise ValueError(f"from {self.from_s} to {self.until_s} in {self.columns} columns there is nothing to show")

    @property
    def length_s(self) -> int:
        """Return the seconds that it lasts."""
        return self.until_s - self.from_s

    def share(self, at_s: float) -> float:
        """Return where an instant stands, as a share of 1; outside it is cut off."""
        return min(max((at_s - self.from_s) / self.length_s, 0.0), 1.0)

    def columns_of(self, at_s: Instants) -> Instants:
        """Return the column of each instant, -1 or ``columns`` for what is outside."""
        column = (at_s - self.from_s) * self.columns // self.length_s
        return np.clip(column, -1, self.columns)


@dataclass(frozen=True, slots=True)
class Thinned:
    """Readings by column; all arrays have the shape (n,), in order of time.

    ``at_s`` is the middle of the readings of the column; ``begins`` is true where the line begins anew after a gap;
    ``is_rising`` says whether the column's last reading is above its first.
    """

    at_s: Values
    column: Instants
    low: Values
    high: Values
    begins: NDArray[np.bool_]
    is_rising: NDArray[np.bool_]

    def __len__(self) -> int:
        """Return the number of columns that hold readings; one with a gap inside counts twice."""
        return len(self.at_s)


def thin(at_s: Instants, value: Values, span: Span, gap_s: float) -> Thinned:
    """Keep the extremes of each column.

    Parameters
    ----------
    at_s : Instants
        shape (m,), seconds since 1970, ascending
    value : Values
        shape (m,), finite
    span : Span
        what is shown; one reading beyond either edge keeps its line running to the edge
    gap_s : float
        readings further apart than this are not joined

    Returns
    -------
    Thinned
    """
    at_s, value = _inside(at_s, value, span)
    if not len(at_s):
        nothing = np.empty(0)
        return Thinned(nothing, np.empty(0, np.int64), nothing, nothing, np.empty(0, bool), np.empty(0, bool))
    column = span.columns_of(at_s)
    is_gap = np.diff(at_s) > gap_s
    starts = np.flatnonzero(np.concatenate(([True], is_gap | (np.diff(column) != 0))))
    ends = np.append(starts[1:], len(at_s)) - 1
    begins = np.concatenate(([True], is_gap))[starts]
    return Thinned(
        at_s=(at_s[starts] + at_s[ends]) / 2,
        column=column[starts],
        low=np.minimum.reduceat(value, starts),
        high=np.maximum.reduceat(value, starts),
        begins=begins,
        is_rising=value[ends] >= value[starts],
    )


def _inside(at_s: Instants, value: Values, span: Span) -> tuple[Instants, Values]:
    first = max(int(np.searchsorted(at_s, span.from_s)) - 1, 0)
    last = int(np.searchsorted(at_s, span.until_s, side="right")) + 1
    return at_s[first:last], value[first:last]


def by_column(thinned: Thinned, span: Span) -> tuple[Values, Values]:
    """Spread thinned readings over all columns of a span: the lowest and the highest of each, NaN where there is none.

    A line that runs over a column without a reading of its own keeps the last before it.
    """
    low, high = np.full(span.columns, np.nan), np.full(span.columns, np.nan)
    inside = (thinned.column >= 0) & (thinned.column < span.columns)
    column = thinned.column[inside]
    # A column with a gap in it has two entries: fmin and fmax join them.
    np.fmin.at(low, column, thinned.low[inside])
    np.fmax.at(high, column, thinned.high[inside])
    _carry(low, high, thinned, span)
    return low, high


def _carry(low: Values, high: Values, thinned: Thinned, span: Span) -> None:
    before, after = thinned.column[:-1], thinned.column[1:]
    joined = ~thinned.begins[1:] & (after - before > 1)
    last_low = thinned.low[:-1]
    last_high = thinned.high[:-1]
    for at in np.flatnonzero(joined):
        first, last = max(before[at] + 1, 0), min(after[at], span.columns)
        low[first:last], high[first:last] = last_low[at], last_high[at]


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch in which a reading kept one value."""

    from_s: int
    until_s: int
    value: float


def runs(at_s: Instants, value: Values, span: Span, gap_s: float, known_until_s: int) -> list[Run]:
    """Join readings of the same value: for what is told when it changes, or only ever has a few values.

    A value holds until the next reading, but no longer than ``gap_s`` and not beyond ``known_until_s``.
    """
    at_s, value = _inside(at_s, value, span)
    if not len(at_s):
        return []
    is_gap = np.diff(at_s) > gap_s
    starts = np.flatnonzero(np.concatenate(([True], is_gap | (np.diff(value) != 0))))
    holds_s = np.minimum(at_s + int(gap_s), np.append(at_s[1:], max(known_until_s, int(at_s[-1]))))
    ends_s = holds_s[np.append(starts[1:], len(at_s)) - 1]
    return [Run(int(at_s[start]), int(end_s), float(value[start])) for start, end_s in zip(starts, ends_s, strict=True)]


def runs_by_column(found: list[Run], span: Span) -> tuple[Values, Values]:
    """Spread runs over all columns of a span: the lowest and the highest value of each, NaN where there is none."""
    low, high = np.full(span.columns, np.nan), np.full(span.columns, np.nan)
    for run in found:
        first, last = span.columns_of(np.array([run.from_s, run.until_s - 1]))
        columns = slice(max(int(first), 0), int(last) + 1)
        low[columns] = np.fmin(low[columns], run.value)
        high[columns] = np.fmax(high[columns], run.value)
    return low, high
