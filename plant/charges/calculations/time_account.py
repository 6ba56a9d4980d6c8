"""The time account: able to dry, slowed, planned down, unplanned down, held up from outside, and no timber.

Time is counted in whole seconds and shares of capacity in thousandths, so that equivalent time (IEEE 762: time
times the share lost) comes in whole milliseconds and every sum is exact.

Concurrent records share one order of priority in each of two views (an order must be stated: IEC 61400-26-1; this
one is ours):

- calendar view: unplanned down, planned down, held up from outside, slowed, no timber, able to dry. Lack of timber
  never hides a stop.
- required view: no timber, unplanned down, planned down, held up from outside, slowed, able to dry. What stood still
  while there was nothing to dry cost nothing; time without timber is no required time (IEC 60050-192-02-08).

A cause outside the kiln never hides that the kiln itself could not dry. Within slowed time the unplanned share claims
first, then the planned share what it adds, and what came from outside the rest.
"""

from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from datetime import datetime
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from plant.basics.periods import Period, to_epoch_s
from plant.charges.calculations.charge_phases import RUNNING_PHASES, Phase, PhaseKind, PhaseRow
from plant.charges.calculations.downtime import WHOLE, DeratingRule, Downtime, DowntimeKind, DowntimeRow

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Split:
    """A period's seconds in six categories that never overlap and add up to the period.

    ``slowed_s`` is time on the clock; ``slowed_planned_ms``, ``slowed_unplanned_ms`` and ``slowed_external_ms`` are
    the equivalent milliseconds lost in it. ``external_s`` is full standstill from a cause outside the kiln.
    """

    able_s: int = 0
    slowed_s: int = 0
    planned_s: int = 0
    unplanned_s: int = 0
    no_timber_s: int = 0
    slowed_planned_ms: int = 0
    slowed_unplanned_ms: int = 0
    external_s: int = 0
    slowed_external_ms: int = 0

    @property
    def total_s(self) -> int:
        """All seconds of the period."""
        return self.able_s + self.slowed_s + self.planned_s + self.unplanned_s + self.no_timber_s + self.external_s

    @property
    def required_s(self) -> int:
        """Seconds in which there was something to dry and nothing outside the kiln held it up."""
        return self.total_s - self.no_timber_s - self.external_s

    @property
    def down_s(self) -> int:
        """Seconds of full stop, planned or not."""
        return self.planned_s + self.unplanned_s

    @property
    def slowed_ms(self) -> int:
        """Equivalent milliseconds that the kiln itself lost while slowed."""
        return self.slowed_planned_ms + self.slowed_unplanned_ms

    @property
    def outside_ms(self) -> int:
        """Equivalent milliseconds lost to causes outside the kiln, standing or slowed."""
        return self.external_s * WHOLE + self.slowed_external_ms

    @property
    def equivalent_down_ms(self) -> int:
        """Equivalent milliseconds that the kiln itself lost by stops and slowing together."""
        return self.down_s * WHOLE + self.slowed_ms

    @property
    def equivalent_able_ms(self) -> int:
        """Equivalent milliseconds able to dry: those without any loss and what was left while slowed."""
        return (self.able_s + self.slowed_s) * WHOLE - self.slowed_ms - self.slowed_external_ms

    def __add__(self, other: "Split") -> "Split":
        return Split(*(mine + theirs for mine, theirs in zip(astuple(self), astuple(other), strict=True)))


@dataclass(frozen=True, slots=True)
class TimeAccount:
    """The account of one kiln (or, added up, of several) over one period, in both views.

    ``operating_s`` is time in a running phase of a charge without a full stop. ``is_so_far`` tells that the period
    was not over when the account was drawn: open records run to that instant only.
    """

    calendar: Split
    required: Split
    operating_s: int = 0
    is_so_far: bool = False

    @property
    def required_s(self) -> int:
        """Required time in seconds: the period less the time without timber or held up from outside the kiln."""
        return self.required.required_s

    def __add__(self, other: "TimeAccount") -> "TimeAccount":
        return TimeAccount(
            self.calendar + other.calendar,
            self.required + other.required,
            self.operating_s + other.operating_s,
            self.is_so_far or other.is_so_far,
        )


EMPTY_ACCOUNT = TimeAccount(Split(), Split())


def equivalent_hours(milliseconds: int) -> Fraction:
    """Give equivalent milliseconds as exact hours."""
    return Fraction(milliseconds, 3_600_000)


_SPLIT_WIDTH = 9
_OPERATING = 2 * _SPLIT_WIDTH


@dataclass(frozen=True, eq=False)
class AccountGrid:
    """Accounts of many kilns over touching periods.

    ``figures`` has shape (kilns, periods, 19): the nine figures of ``Split`` in the calendar view, the same in the
    required view, and the operating seconds. ``edges_s`` has shape (periods + 1,).
    """

    kiln_ids: tuple[int, ...]
    edges_s: Ints
    drawn_s: int
    figures: Ints

    def account(self, kiln_id: int, period: int) -> TimeAccount:
        """Give the account of one kiln in the period with this index.

        Raises
        ------
        ValueError
            If the kiln is not in the grid.
        """
        return self._account(self.figures[self.kiln_ids.index(kiln_id), period], int(self.edges_s[period + 1]))

    def of_kiln(self, kiln_id: int) -> TimeAccount:
        """Give the account of one kiln over all periods; raises ValueError for a kiln that is not in the grid."""
        return self._account(self.figures[self.kiln_ids.index(kiln_id)].sum(axis=0), int(self.edges_s[-1]))

    def _account(self, row: Ints, end_s: int) -> TimeAccount:
        values = row.tolist()
        return TimeAccount(
            Split(*values[:_SPLIT_WIDTH]),
            Split(*values[_SPLIT_WIDTH:_OPERATING]),
            values[_OPERATING],
            self.drawn_s < end_s,
        )


def account(
    downtime: Iterable[Downtime],
    period: Period,
    drawn_at: datetime,
    phases: Iterable[Phase] = (),
    rule: DeratingRule = DeratingRule.ADDITIVE,
) -> TimeAccount:
    """Draw up the account of one kiln over one period.

    Parameters
    ----------
    downtime : Iterable[Downtime]
        Records of one kiln, in any order; they may overlap, cross the period, or be open.
    period : Period
    drawn_at : datetime
        Instant of the report: open records and phases run to it.
    phases : Iterable[Phase]
        Phases of the kiln's charges as they happened; they give the operating time.
    rule : DeratingRule
        How deratings at the same time go together.

    Raises
    ------
    ValueError
        If the records are of more than one kiln, or the drawing instant has no time zone.
    """
    rows = [record.row() for record in downtime]
    kiln_ids = {row[0] for row in rows} or {0}
    if len(kiln_ids) > 1:
        raise ValueError(f"downtime of several kilns was given: {sorted(kiln_ids)}; ask for one at a time")
    if period.end_s == period.start_s:
        return EMPTY_ACCOUNT
    (kiln_id,) = kiln_ids
    phase_rows = [
        (kiln_id, to_epoch_s(p.start_at), None if p.end_at is None else to_epoch_s(p.end_at), p.kind) for p in phases
    ]
    edges_s = (period.start_s, period.end_s)
    return account_grid(rows, edges_s, to_epoch_s(drawn_at), phase_rows, (kiln_id,), rule).account(kiln_id, 0)


def account_grid(
    downtime_rows: Iterable[DowntimeRow],
    edges_s: Sequence[int],
    drawn_s: int,
    phase_rows: Iterable[PhaseRow] = (),
    kiln_ids: Iterable[int] | None = None,
    rule: DeratingRule = DeratingRule.ADDITIVE,
) -> AccountGrid:
    """Draw up the accounts of many kilns over touching periods in one sweep.

    Parameters
    ----------
    downtime_rows : Iterable[DowntimeRow]
        (kiln id, start s, end s or None, kind, share lost in thousandths), any order. The share of a no-timber row
        is not read: there was timber or there was none.
    edges_s : Sequence[int]
        Start of each period and the end of the last, in epoch seconds, rising.
    drawn_s : int
        Instant of the report in epoch seconds: open rows run to it.
    phase_rows : Iterable[PhaseRow]
        (kiln id, start s, end s or None, phase kind), as they happened, any order.
    kiln_ids : Iterable[int] or None
        Kilns of the grid; None for those that occur in the rows.
    rule : DeratingRule
        How deratings at the same time go together.

    Returns
    -------
    AccountGrid

    Raises
    ------
    ValueError
        If the edges do not rise, a row ends before it starts, has an unknown kind, a share outside 0 to 1000, or
        belongs to a kiln outside the grid.

    Notes
    -----
    All starts and ends of all kilns are laid on one axis, kiln after kiln, and sorted once. Running sums give what
    is active in each elementary stretch; running sums of its seconds, read at the period edges, give the figures.
    O(n log n) in the number of rows; whole numbers throughout.
    """
    edges = np.asarray(edges_s, dtype=np.int64)
    if edges.size < 2 or not (np.diff(edges) > 0).all():
        raise ValueError("period edges must be at least two and rise")
    records = _downtime_spans(downtime_rows, drawn_s)
    running = _running_spans(phase_rows, drawn_s)
    ids = np.unique(np.concatenate([records.kiln, running.kiln])) if kiln_ids is None else np.unique(list(kiln_ids))
    axis = _Axis(ids.astype(np.int64), edges)
    records, running = axis.placed(records), axis.placed(running)
    figures = _sweep(axis, records, running, rule)
    return AccountGrid(tuple(ids.tolist()), edges, drawn_s, figures)


@dataclass(frozen=True, eq=False)
class _Spans:
    """Columns of rows, all of shape (rows,); ``code`` is the index of the kind among ``DowntimeKind``."""

    kiln: Ints
    start: Ints
    end: Ints
    code: Ints
    share: Ints

    def only(self, chosen: Bools) -> "_Spans":
        return _Spans(*(column[chosen] for column in (self.kiln, self.start, self.end, self.code, self.share)))


_CODES = {kind.value: code for code, kind in enumerate(DowntimeKind)}
_PLANNED, _UNPLANNED, _NO_TIMBER, _EXTERNAL = (_CODES[kind.value] for kind in DowntimeKind)


def _column(values: Iterable[int]) -> Ints:
    return np.array(values, dtype=np.int64)


def _ends(values: Iterable[int | None], starts: Ints, drawn_s: int) -> Ints:
    """Close open rows at the report's instant, or at their start if they start after it."""
    known = list(values)
    ends = np.array([drawn_s if end is None else end for end in known], dtype=np.int64)
    for row in np.flatnonzero(ends < starts):
        if known[row] is not None:
            raise ValueError(f"a row starts at {starts[row]} s and ends before that, at {known[row]} s")
    return np.maximum(ends, starts)


def _downtime_spans(rows: Iterable[DowntimeRow], drawn_s: int) -> _Spans:
    columns = tuple(zip(*rows, strict=True)) or ((), (), (), (), ())
    kiln, start, end, kind, share = columns
    starts, shares = _column(start), _column(share)
    try:
        codes = _column([_CODES[value] for value in kind])
    except KeyError as error:
        raise ValueError(f"kind of downtime {error} is not one of {', '.join(_CODES)}") from error
    wrong = (shares < 0) | (shares > WHOLE)
    if wrong.any():
        raise ValueError(f"share of capacity lost {shares[wrong][0]} is outside 0 to 1000 thousandths")
    return _Spans(_column(kiln), starts, _ends(end, starts, drawn_s), codes, shares)


def _running_spans(rows: Iterable[PhaseRow], drawn_s: int) -> _Spans:
    columns = tuple(zip(*rows, strict=True)) or ((), (), (), ())
    kiln, start, end, kind = columns
    starts = _column(start)
    unknown = set(kind) - _PHASE_VALUES
    if unknown:
        raise ValueError(f"phase {min(unknown)!r} is not one of {', '.join(PhaseKind)}")
    is_running = np.fromiter((value in _RUNNING_VALUES for value in kind), dtype=np.bool_, count=len(kind))
    empty = np.zeros(len(kind), dtype=np.int64)
    return _Spans(_column(kiln), starts, _ends(end, starts, drawn_s), empty, empty).only(is_running)


_PHASE_VALUES = {kind.value for kind in PhaseKind}
_RUNNING_VALUES = {kind.value for kind in RUNNING_PHASES}


@dataclass(frozen=True, eq=False)
class _Axis:
    """One line of time on which the kilns lie one behind the other."""

    kiln_ids: Ints
    edges: Ints

    @property
    def stride(self) -> int:
        """Length of one kiln's stretch, in seconds."""
        return int(self.edges[-1] - self.edges[0])

    def placed(self, spans: _Spans) -> _Spans:
        """Clip spans to the grid's whole time and move them to their kiln's stretch; drop what is empty."""
        if spans.kiln.size == 0:
            return spans
        index = np.searchsorted(self.kiln_ids, spans.kiln)
        is_known = index < self.kiln_ids.size
        is_known[is_known] = self.kiln_ids[index[is_known]] == spans.kiln[is_known]
        if not is_known.all():
            raise ValueError(f"kiln {spans.kiln[~is_known][0]} is not among the kilns of the grid")
        start = np.maximum(spans.start, self.edges[0])
        end = np.minimum(spans.end, self.edges[-1])
        shift = index * self.stride - self.edges[0]
        moved = _Spans(spans.kiln, start + shift, end + shift, spans.code, spans.share)
        return moved.only(end > start)

    def marks(self) -> Ints:
        """Place every period edge of every kiln; shape (kilns, periods + 1)."""
        kilns = np.arange(self.kiln_ids.size, dtype=np.int64)[:, np.newaxis]
        marks: Ints = kilns * self.stride + (self.edges - self.edges[0])
        return marks


class _Line:
    """The sorted starts, ends and edges, and running sums along them."""

    def __init__(self, spans: Sequence[_Spans], marks: Ints) -> None:
        points = np.concatenate([part for s in spans for part in (s.start, s.end)] + [marks.ravel()])
        self.order = np.argsort(points)
        self.sorted_points = points[self.order]
        self.seconds = np.diff(self.sorted_points, append=self.sorted_points[-1:])
        self.cuts = np.searchsorted(self.sorted_points, marks)
        self.size = points.size

    def running(self, weights: Ints, offset: int) -> Ints:
        """Sum the weights of the spans active after each point; ``offset`` is where their starts lie."""
        changes = np.zeros(self.size, dtype=np.int64)
        changes[offset : offset + weights.size] = weights
        changes[offset + weights.size : offset + 2 * weights.size] = -weights
        sums: Ints = np.cumsum(changes[self.order])
        return sums

    def per_cell(self, values: Ints) -> Ints:
        """Sum a value per second over each cell; shape (kilns, periods)."""
        sums = np.zeros(self.size + 1, dtype=np.int64)
        np.cumsum(values * self.seconds, out=sums[1:])
        at_cuts: Ints = sums[self.cuts]
        return np.diff(at_cuts, axis=1)


def _sweep(axis: _Axis, records: _Spans, running: _Spans, rule: DeratingRule) -> Ints:
    line = _Line([records, running], axis.marks())
    active = _Active.along(line, records, rule)
    is_running = line.running(np.ones_like(running.start), 2 * records.start.size) > 0
    operating = is_running & ~active.is_standing()
    lengths = np.broadcast_to(np.diff(axis.edges), (axis.kiln_ids.size, axis.edges.size - 1))
    columns: list[Ints] = []
    for view in (active.calendar_view(), active.required_view()):
        *seconds, external_s = (line.per_cell(flag.astype(np.int64)) for flag in view)
        slowed = view[0]
        lost_unplanned, lost_planned, lost_external = (
            line.per_cell(lost * slowed) for lost in (active.lost_unplanned, active.lost_planned, active.lost_external)
        )
        able_s = lengths - np.sum(seconds, axis=0) - external_s
        columns += [able_s, *seconds, lost_planned, lost_unplanned, external_s, lost_external]
    columns.append(line.per_cell(operating.astype(np.int64)))
    return np.stack(columns, axis=-1)


_View = tuple[Bools, Bools, Bools, Bools, Bools]
"""Flags along the line: slowed, planned down, unplanned down, no timber, held up from outside. At most one is set at a
point."""


@dataclass(frozen=True, eq=False)
class _Active:
    """What is active after each point of the line; stops as flags, deratings in thousandths of capacity."""

    unplanned: Bools
    planned: Bools
    no_timber: Bools
    external: Bools
    lost_unplanned: Ints
    lost_planned: Ints
    lost_external: Ints

    @classmethod
    def along(cls, line: _Line, records: _Spans, rule: DeratingRule) -> "_Active":
        is_stop = records.share == WHOLE
        is_unplanned, is_planned = records.code == _UNPLANNED, records.code == _PLANNED
        is_external = records.code == _EXTERNAL
        # Each step holds the one before, so that what a kind adds on top is their difference.
        slowing = (is_unplanned, is_unplanned | is_planned, is_unplanned | is_planned | is_external)
        lost = [_lost_together(line, records.share * (~is_stop & some), rule) for some in slowing]
        flags = (is_stop & is_unplanned, is_stop & is_planned, records.code == _NO_TIMBER, is_stop & is_external)
        unplanned, planned, no_timber, external = (line.running(flag.astype(np.int64), 0) > 0 for flag in flags)
        return cls(unplanned, planned, no_timber, external, lost[0], lost[1] - lost[0], lost[2] - lost[1])

    def is_standing(self) -> Bools:
        standing: Bools = self.unplanned | self.planned | self.external
        return standing

    def calendar_view(self) -> _View:
        planned = self.planned & ~self.unplanned
        external = self.external & ~self.planned & ~self.unplanned
        slowed = self._is_slowed()
        no_timber = self.no_timber & ~slowed & ~self.is_standing()
        return slowed, planned, self.unplanned, no_timber, external

    def required_view(self) -> _View:
        timber = ~self.no_timber
        slowed, planned, unplanned, _, external = self.calendar_view()
        return slowed & timber, planned & timber, unplanned & timber, self.no_timber, external & timber

    def _is_slowed(self) -> Bools:
        slowed: Bools = (self.lost_unplanned + self.lost_planned + self.lost_external > 0) & ~self.is_standing()
        return slowed


def _lost_together(line: _Line, shares: Ints, rule: DeratingRule) -> Ints:
    """Put concurrent deratings together, in thousandths of capacity, never more than the whole."""
    if rule is DeratingRule.ADDITIVE:
        return np.minimum(line.running(shares, 0), WHOLE)
    # The largest active share is built up level by level: each level adds its height wherever a share reaches it.
    largest = np.zeros(line.size, dtype=np.int64)
    below = 0
    for level in np.unique(shares[shares > 0]).tolist():
        largest += (level - below) * (line.running((shares >= level).astype(np.int64), 0) > 0)
        below = level
    return largest
