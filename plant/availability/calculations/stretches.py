"""A kiln's time as touching stretches: in each, what the kiln was and which records that is due to.

The time account tells how much; this tells when and why, for the picture of a year and for what each cause cost. Both
use the required view of the time account (see there), so that the sums over the stretches are the account's figures.
"""

from bisect import insort
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from plant.charges.calculations.downtime import WHOLE, DowntimeKind

RecordRow = tuple[int, int, int | None, str, int]
"""(key of the record, start s, end s or None while open, kind, share of capacity lost in thousandths)."""


class Being(StrEnum):
    """What a kiln was in a stretch; the six of the time account."""

    ABLE = "able"
    SLOWED = "slowed"
    PLANNED = "planned"
    UNPLANNED = "unplanned"
    NO_TIMBER = "no_timber"
    EXTERNAL = "external"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A half-open stretch in UTC epoch seconds that lies within one cell of the edges.

    ``due_to`` holds (key of the record, share of capacity lost in thousandths): unplanned before planned before
    external, each in order of start, together never more than the whole. A full stop, and time without timber, is due
    to the record that began first.
    """

    start_s: int
    end_s: int
    cell: int
    being: Being
    due_to: tuple[tuple[int, int], ...] = ()

    @property
    def seconds(self) -> int:
        """Length in seconds."""
        return self.end_s - self.start_s


def stretches(records: Iterable[RecordRow], edges_s: Sequence[int], drawn_s: int) -> list[Stretch]:
    """Split one kiln's time at every change and every edge.

    Parameters
    ----------
    records : Iterable[RecordRow]
        Of one kiln, in any order; they may overlap, cross the edges, or be open.
    edges_s : Sequence[int]
        Start of each cell and the end of the last, in epoch seconds, rising.
    drawn_s : int
        Instant of the report in epoch seconds: open records run to it.

    Returns
    -------
    list[Stretch]
        Oldest first, touching, together the time from the first edge to the last. Deratings at the same time add up.

    Raises
    ------
    ValueError
        If the edges do not rise, or a record has an unknown kind.
    """
    if len(edges_s) < 2 or any(later <= earlier for earlier, later in pairwise(edges_s)):
        raise ValueError("edges must be at least two and rise")
    changes = _changes(records, edges_s, drawn_s)
    active = _Active()
    found: list[Stretch] = []
    cell = -1
    starts = set(edges_s[:-1])
    for at_s, until_s in pairwise(sorted(changes.keys() | set(edges_s))):
        for is_start, row in changes.get(at_s, ()):
            active.change(row, is_start=is_start)
        cell += at_s in starts
        found.append(Stretch(at_s, until_s, cell, *active.now()))
    return found


def joined(found: Iterable[Stretch]) -> Iterator[Stretch]:
    """Join touching stretches that are alike, across the edges; the joined one keeps the first one's cell."""
    waiting: Stretch | None = None
    for stretch in found:
        if waiting is not None and (waiting.being, waiting.due_to) == (stretch.being, stretch.due_to):
            waiting = Stretch(waiting.start_s, stretch.end_s, waiting.cell, waiting.being, waiting.due_to)
            continue
        if waiting is not None:
            yield waiting
        waiting = stretch
    if waiting is not None:
        yield waiting


_Row = tuple[int, int, str, int]
"""(start s, key, kind, share): sorts by start."""


def _changes(records: Iterable[RecordRow], edges_s: Sequence[int], drawn_s: int) -> dict[int, list[tuple[bool, _Row]]]:
    """List what begins and ends at each instant within the edges."""
    changes: dict[int, list[tuple[bool, _Row]]] = {}
    for key, start_s, end_s, kind, share in records:
        begin_s = max(start_s, edges_s[0])
        finish_s = min(drawn_s if end_s is None else end_s, edges_s[-1])
        if finish_s > begin_s:
            row = (start_s, key, DowntimeKind(kind).value, share)
            changes.setdefault(begin_s, []).append((True, row))
            changes.setdefault(finish_s, []).append((False, row))
    return changes


class _Active:
    """The records that hold at an instant, by what they do, each list in order of start."""

    def __init__(self) -> None:
        self.no_timber: list[_Row] = []
        self.stops: dict[str, list[_Row]] = {kind: [] for kind in _STOP_ORDER}
        self.slowing: dict[str, list[_Row]] = {kind: [] for kind in _STOP_ORDER}

    def change(self, row: _Row, *, is_start: bool) -> None:
        """Let a record begin or end."""
        _, _, kind, share = row
        if kind == DowntimeKind.NO_TIMBER:
            rows = self.no_timber
        else:
            rows = (self.stops if share == WHOLE else self.slowing)[kind]
        if is_start:
            insort(rows, row)
        else:
            rows.remove(row)

    def now(self) -> tuple[Being, tuple[tuple[int, int], ...]]:
        """Say what the kiln is, and due to which records."""
        if self.no_timber:
            return Being.NO_TIMBER, ((self.no_timber[0][1], WHOLE),)
        for kind in _STOP_ORDER:
            if self.stops[kind]:
                return Being(kind), ((self.stops[kind][0][1], WHOLE),)
        shares = tuple(self._shares())
        return (Being.SLOWED, shares) if shares else (Being.ABLE, ())

    def _shares(self) -> Iterator[tuple[int, int]]:
        left = WHOLE
        for kind in _STOP_ORDER:
            for _, key, _, share in self.slowing[kind]:
                taken = min(share, left)
                left -= taken
                if taken:
                    yield key, taken


_STOP_ORDER = (DowntimeKind.UNPLANNED.value, DowntimeKind.PLANNED.value, DowntimeKind.EXTERNAL.value)
