"""What is known of a kiln's charges at an instant: what was told has happened, and the clock ends no charge.

A kiln goes from one phase to the next by itself. That its doors were opened, or that its timber is out, is so once
somebody told it, or once the record has the next charge in the kiln.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from math import hypot

from plant.charges.calculations.charge_phases import Charge, PhaseKind, PhaseTimes
from plant.charges.calculations.downtime import Downtime

SOONEST = timedelta(minutes=15)
"""What is due and was not told is expected so far ahead at the earliest; the length is ours."""


class Told(StrEnum):
    """How far a charge is by what was told or recorded of it."""

    PLANNED = "planned"
    BEGUN = "begun"
    OPENED = "opened"
    OUT = "out"


@dataclass(frozen=True, slots=True)
class KnownSpan:
    """One phase: when it was planned, and the best that is known of it."""

    kind: PhaseKind
    planned: tuple[datetime, datetime]
    best_known: tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class ChargeRecord:
    """A charge as it is kept, its phases in working order.

    ``is_start_told`` where a person told that it began; ``end_told_at`` is when somebody last told its expected end.

    Raises
    ------
    ValueError
        If it has no phase.
    """

    charge_id: int
    kiln_id: int
    told: Told
    spans: tuple[KnownSpan, ...]
    end_sd_h: float = 0.0
    is_start_told: bool = False
    end_told_at: datetime | None = None

    def __post_init__(self) -> None:
        if not self.spans:
            raise ValueError(f"charge {self.charge_id} has no phase")

    @property
    def begin_at(self) -> datetime:
        """Start of its first phase."""
        return self.spans[0].best_known[0]

    @property
    def end_at(self) -> datetime:
        """End of its last phase."""
        return self.spans[-1].best_known[1]

    @property
    def opens_at(self) -> datetime:
        """When its doors are expected to be opened: the end of the last phase before unloading."""
        shut = [span.best_known[1] for span in self.spans if span.kind is not PhaseKind.UNLOADING]
        return shut[-1] if shut else self.begin_at

    def is_in_kiln(self, now: datetime) -> bool:
        """Say whether its being in the kiln, or having been, is more than the clock's word for its loading."""
        if self.told is Told.PLANNED or self.begin_at > now:
            return False
        shut_at = next((s.best_known[0] for s in self.spans if s.kind is not PhaseKind.LOADING), self.begin_at)
        return self.is_start_told or self.told is not Told.BEGUN or shut_at <= now


@dataclass(frozen=True, slots=True)
class Due:
    """What should have happened to the charge in a kiln by now, and since when; nobody told it."""

    charge_id: int
    what: Told
    since_at: datetime


def charges_as_known(records: Iterable[ChargeRecord], now: datetime, *, by_programme: bool = False) -> list[Charge]:
    """Say what happened to the charges of one kiln, and what is expected of them.

    Parameters
    ----------
    records : Iterable[ChargeRecord]
        Of one kiln, in any order.
    now : datetime
    by_programme : bool
        Whether the mill lets the clock end its charges: then every phase is over at its end.

    Returns
    -------
    list[Charge]
        By begin.

    Notes
    -----
    The last phase before unloading goes on until the opening is told, unloading until the charge is told to be out. A
    charge behind one that is still in the kiln has not begun, whatever the clock says, unless it was told or should
    be heating up by now: then the one before is out.
    """
    found = [(one, one.told) for one in _by_begin(records)] if by_programme else settled(records, now)
    return [
        Charge(one.charge_id, one.kiln_id, tuple(_phases(one.spans, told, now, by_programme)), one.end_sd_h)
        for one, told in found
    ]


def settled(records: Iterable[ChargeRecord], now: datetime) -> list[tuple[ChargeRecord, Told]]:
    """Say how far each charge of one kiln is, given the others: by begin."""
    ordered = _by_begin(records)
    last_in = max((n for n, one in enumerate(ordered) if one.is_in_kiln(now)), default=-1)
    found = []
    is_taken = False
    for number, one in enumerate(ordered):
        told = one.told
        if told in (Told.BEGUN, Told.OPENED) and number < last_in:
            told = Told.OUT
        elif told is Told.BEGUN and is_taken:
            told = Told.PLANNED
        is_taken = is_taken or (told in (Told.BEGUN, Told.OPENED) and one.begin_at <= now)
        found.append((one, told))
    return found


def due(records: Iterable[ChargeRecord], now: datetime) -> Due | None:
    """Say what of the charge in the kiln should have been told by now; None where nothing is due."""
    for one, told in settled(records, now):
        if told in (Told.BEGUN, Told.OPENED) and one.begin_at <= now:
            if one.end_at <= now:
                return Due(one.charge_id, Told.OUT, one.end_at)
            if told is Told.BEGUN and one.opens_at <= now:
                return Due(one.charge_id, Told.OPENED, one.opens_at)
    return None


def held_up(record: ChargeRecord, stops: Iterable[Downtime], now: datetime) -> ChargeRecord:
    """Return a charge as it is expected now that its kiln stood, or stands.

    Only a stop counts of which it was said that nobody knows the end of the charge, and nobody told it since: all that
    was still to come when the kiln stopped comes later by as long as it stands.
    """
    for stop in sorted(stops, key=lambda one: one.start_at):
        until_at = stop.until_at or now
        if until_at > stop.start_at and _holds_up(stop, record):
            spans = tuple(_later(span, stop.start_at, until_at - stop.start_at) for span in record.spans)
            record = replace(record, spans=spans, end_sd_h=hypot(record.end_sd_h, stop.end_sd_h))
    return record


def _holds_up(stop: Downtime, record: ChargeRecord) -> bool:
    since_at, told_at = stop.charge_end_unknown_at, record.end_told_at
    is_unknown = since_at is not None and (told_at is None or told_at <= since_at)
    is_inside = record.told is Told.BEGUN and record.begin_at <= stop.start_at < record.end_at
    return stop.is_stop and is_unknown and is_inside


def _later(span: KnownSpan, from_at: datetime, by: timedelta) -> KnownSpan:
    begin_at, end_at = span.best_known
    begin_at = begin_at + by if begin_at >= from_at else begin_at
    return replace(span, best_known=(begin_at, end_at + by if end_at > from_at else end_at))


def _by_begin(records: Iterable[ChargeRecord]) -> list[ChargeRecord]:
    return sorted(records, key=lambda one: (one.begin_at, one.charge_id))


def _phases(spans: Sequence[KnownSpan], told: Told, now: datetime, by_programme: bool) -> Iterator[PhaseTimes]:
    is_begun = told is not Told.PLANNED
    goes_on = told in (Told.BEGUN, Told.OPENED) and not by_programme
    last_shut = max((n for n, one in enumerate(spans) if one.kind is not PhaseKind.UNLOADING), default=-1)
    for number, one in enumerate(spans):
        is_unloading = one.kind is PhaseKind.UNLOADING
        if goes_on and is_unloading and told is Told.BEGUN:
            yield PhaseTimes.from_best_known(one.kind, one.planned, one.best_known, now, is_begun=False)
            continue
        times = PhaseTimes.from_best_known(one.kind, one.planned, one.best_known, now, is_begun=is_begun)
        holds = is_unloading or (number == last_shut and told is Told.BEGUN)
        if goes_on and holds and times.actual_end_at is not None:
            times = replace(times, actual_end_at=None, predicted_end_at=now + SOONEST)
        yield times
