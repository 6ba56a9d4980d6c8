"""Where work fits: openings between two charges, running windows, and windows in which a kiln may be locked out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from plant.basics.periods import to_epoch_s
from plant.charges.calculations.charge_phases import (
    RUNNING_PHASES,
    Charge,
    ChargeForecast,
    forecast_charges,
)
from plant.charges.calculations.downtime import Downtime

_Span = tuple[datetime, datetime | None]


@dataclass(frozen=True, slots=True)
class Opening:
    """Time in which a kiln is open and empty: from the end of unloading to the next loading.

    ``start_sd_h`` is the standard deviation of its start in hours, that of the end of the charge before. ``end_at``
    is None if no charge is planned after it. Ids are None where there is no charge on that side.
    """

    kiln_id: int
    before_charge_id: int | None
    after_charge_id: int | None
    start_at: datetime
    end_at: datetime | None
    is_now: bool
    start_sd_h: float = 0.0

    @property
    def is_unrecorded(self) -> bool:
        """Whether no charge is on record before it: what is in the kiln then is not known."""
        return self.before_charge_id is None


@dataclass(frozen=True, slots=True)
class RunningWindow:
    """Time in which a kiln runs with a charge, heating up to cooling, no stop in it; ``end_at`` None if unknown."""

    kiln_id: int
    charge_id: int
    start_at: datetime
    end_at: datetime | None
    is_now: bool
    end_sd_h: float = 0.0


@dataclass(frozen=True, slots=True)
class StillWindow:
    """Time in which locking a kiln out takes nothing from a charge, whether it is loaded or not."""

    kiln_id: int
    start_at: datetime
    end_at: datetime | None
    is_now: bool


@dataclass(frozen=True, slots=True)
class Windows:
    """All windows of one kiln from an instant on, each list by start."""

    openings: tuple[Opening, ...]
    running: tuple[RunningWindow, ...]
    still: tuple[StillWindow, ...]


def windows(
    kiln_id: int,
    charges: Sequence[Charge],
    now: datetime,
    from_at: datetime | None = None,
    downtime: Iterable[Downtime] = (),
) -> Windows:
    """Find the openings, running windows and still windows of one kiln.

    Parameters
    ----------
    kiln_id : int
    charges : Sequence[Charge]
        All that reach past ``from_at``, and the last one before it; any order.
    now : datetime
    from_at : datetime or None
        Windows that end before this are left out; now if None.
    downtime : Iterable[Downtime]
        Of the kiln; full stops add to the still windows.

    Returns
    -------
    Windows
        The last opening has no end, unless nobody knows when the last charge ends: then there is none after it.

    Raises
    ------
    ValueError
        If a charge or record is of another kiln, a phase lacks times, or an instant has no time zone.

    Notes
    -----
    Charges are forecast first (see ``forecast_charges``). Charges that follow each other without a gap, or overlap by
    a fault of the records, have no opening between them. A window that began before ``from_at`` keeps its start;
    without a charge before it, it starts at ``from_at``.
    """
    start_at = now if from_at is None else from_at
    to_epoch_s(now), to_epoch_s(start_at)
    if strangers := {charge.kiln_id for charge in charges} - {kiln_id}:
        raise ValueError(f"charges of kilns {sorted(strangers)} were given for kiln {kiln_id}")
    forecasts = forecast_charges(charges, now)
    openings = tuple(_openings(kiln_id, forecasts, now, start_at, is_complete=len(forecasts) == len(charges)))
    stops = [(d.start_at, d.until_at) for d in _stops_of(kiln_id, downtime)]
    running = tuple(_running(kiln_id, forecasts, stops, now, start_at))
    waits = [wait for forecast in forecasts for wait in _waits(forecast)]
    return Windows(openings, running, tuple(_still(kiln_id, openings, stops + waits, now, start_at)))


def _openings(
    kiln_id: int, forecasts: Sequence[ChargeForecast], now: datetime, from_at: datetime, *, is_complete: bool
) -> Iterable[Opening]:
    """Yield the gaps; a last opening without end only if no charge had to be left out of the forecast."""
    if not forecasts:
        yield Opening(kiln_id, None, None, from_at, None, from_at <= now)
        return
    first = forecasts[0]
    if first.start_at > from_at:
        yield Opening(
            kiln_id, None, first.charge.charge_id, from_at, first.start_at, _holds(from_at, first.start_at, now)
        )
    last = first
    for following in [*forecasts[1:], None]:
        gap_end_at = following.start_at if following else None
        if last.end_at is None:
            return
        is_gap = (gap_end_at is None and is_complete) or (gap_end_at is not None and gap_end_at > last.end_at)
        if is_gap and (gap_end_at is None or gap_end_at > from_at):
            yield Opening(
                kiln_id,
                last.charge.charge_id,
                following.charge.charge_id if following else None,
                last.end_at,
                gap_end_at,
                _holds(last.end_at, gap_end_at, now),
                last.end_sd_h,
            )
        if following and (following.end_at is None or following.end_at > last.end_at):
            last = following


def _running(
    kiln_id: int, forecasts: Sequence[ChargeForecast], stops: Sequence[_Span], now: datetime, from_at: datetime
) -> Iterable[RunningWindow]:
    for forecast in forecasts:
        phases = [phase for phase in forecast.phases if phase.kind in RUNNING_PHASES]
        joined = _joined([(phase.start_at, phase.end_at) for phase in phases])
        for start_at, end_at in [part for span in joined for part in _without(span, stops)]:
            if end_at is None or end_at > from_at:
                sd_h = forecast.end_sd_h if not phases[-1].is_over else 0.0
                is_now = _holds(start_at, end_at, now)
                yield RunningWindow(kiln_id, forecast.charge.charge_id, start_at, end_at, is_now, sd_h)


def _stops_of(kiln_id: int, downtime: Iterable[Downtime]) -> Iterable[Downtime]:
    for record in downtime:
        if record.kiln_id != kiln_id:
            raise ValueError(f"downtime of kiln {record.kiln_id} was given for kiln {kiln_id}")
        if record.is_stop:
            yield record


def _waits(forecast: ChargeForecast) -> Iterable[_Span]:
    """Yield the gaps between two phases of a charge, in which it stands in the kiln and waits."""
    for phase, following in pairwise(forecast.phases):
        if phase.end_at is not None and following.start_at > phase.end_at:
            yield phase.end_at, following.start_at


def _still(
    kiln_id: int,
    openings: Sequence[Opening],
    standing: Sequence[_Span],
    now: datetime,
    from_at: datetime,
) -> Iterable[StillWindow]:
    spans = [(opening.start_at, opening.end_at) for opening in openings] + list(standing)
    for start_at, end_at in _joined(spans):
        if end_at is None or end_at > from_at:
            yield StillWindow(kiln_id, start_at, end_at, _holds(start_at, end_at, now))


def _without(span: _Span, stops: Iterable[_Span]) -> Iterable[_Span]:
    """Yield what is left of a span where nothing stands: a kiln that stands does not run."""
    from_at, to_at = span
    for stop_from_at, stop_to_at in _joined(stops):
        if (to_at is None or stop_from_at < to_at) and (stop_to_at is None or stop_to_at > from_at):
            if stop_from_at > from_at:
                yield from_at, stop_from_at
            if stop_to_at is None:
                return
            from_at = stop_to_at
    if to_at is None or from_at < to_at:
        yield from_at, to_at


def _joined(spans: Iterable[_Span]) -> list[_Span]:
    """Join spans that touch or overlap."""
    joined: list[_Span] = []
    for start_at, end_at in sorted(spans, key=lambda span: span[0]):
        if joined and (joined[-1][1] is None or start_at <= joined[-1][1]):
            first_at, last_at = joined[-1]
            joined[-1] = first_at, None if last_at is None or end_at is None else max(last_at, end_at)
        else:
            joined.append((start_at, end_at))
    return joined


def _holds(start_at: datetime, end_at: datetime | None, now: datetime) -> bool:
    return start_at <= now and (end_at is None or now < end_at)
