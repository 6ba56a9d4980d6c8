"""What becomes of a charge's times when somebody tells what happened to it, or when it is expected."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from plant.charges.calculations.charge_phases import PhaseKind


def up_to_minute(at: datetime) -> datetime:
    """Return the first whole minute from an instant on: nobody plans to the second."""
    minute = at.replace(second=0, microsecond=0)
    return minute if minute == at else minute + timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Span:
    """One phase of a charge with the best that is known of its begin and end."""

    kind: PhaseKind
    begin_at: datetime
    end_at: datetime


@dataclass(frozen=True, slots=True)
class ChargeTimes:
    """A charge's begin and end with its phases in working order; it may have none.

    Raises
    ------
    ValueError
        If it, or one of its phases, ends before it begins.
    """

    begin_at: datetime
    end_at: datetime
    spans: tuple[Span, ...] = ()

    def __post_init__(self) -> None:
        if self.end_at <= self.begin_at or any(span.end_at < span.begin_at for span in self.spans):
            raise ValueError(
                f"a charge from {self.begin_at} to {self.end_at} ends, or one of its phases, before it begins"
            )

    @property
    def heating_at(self) -> datetime:
        """When its doors are closed and it is started."""
        return next((span.begin_at for span in self.spans if span.kind != PhaseKind.LOADING), self.begin_at)

    def later(self, by: timedelta) -> "ChargeTimes":
        """Return it moved as a whole."""
        spans = tuple(replace(span, begin_at=span.begin_at + by, end_at=span.end_at + by) for span in self.spans)
        return ChargeTimes(self.begin_at + by, self.end_at + by, spans)


def started(times: ChargeTimes, at: datetime, free_at: datetime | None) -> ChargeTimes:
    """Return the times of a charge that was loaded and started at an instant.

    Parameters
    ----------
    times : ChargeTimes
        As they were expected.
    at : datetime
        When its doors were closed and it was started.
    free_at : datetime or None
        When the charge before was out; loading began no sooner.

    Notes
    -----
    Every phase keeps its expected length. Nobody tells when loading began: it is taken to have lasted as long as was
    expected, but not from before the kiln was free.
    """
    moved = times.later(at - times.heating_at)
    if free_at is None or moved.begin_at >= free_at:
        return moved
    spans = tuple(
        replace(span, begin_at=max(span.begin_at, free_at), end_at=max(span.end_at, free_at)) for span in moved.spans
    )
    return ChargeTimes(free_at, moved.end_at, spans)


def opened(times: ChargeTimes, at: datetime) -> ChargeTimes:
    """Return the times of a charge whose kiln was opened at an instant: all that ran is over, unloading begins.

    Unloading keeps its expected length. A charge of which no unloading is known is expected to come out as foreseen,
    or at once where that has gone by.
    """
    ran = tuple(_until(span, at) for span in times.spans if span.kind != PhaseKind.UNLOADING)
    if ran and times.heating_at < at:
        ran = (*ran[:-1], replace(ran[-1], end_at=at))
    unloading = next((span for span in times.spans if span.kind == PhaseKind.UNLOADING), None)
    if unloading is None:
        return ChargeTimes(times.begin_at, max(times.end_at, at + timedelta(minutes=1)), ran)
    end_at = at + max(unloading.end_at - unloading.begin_at, timedelta(minutes=1))
    return ChargeTimes(times.begin_at, end_at, (*ran, Span(PhaseKind.UNLOADING, at, end_at)))


def unloaded(times: ChargeTimes, at: datetime) -> ChargeTimes:
    """Return the times of a charge that was out at an instant: nothing of it lasts longer, its last phase till then."""
    spans = tuple(_until(span, at) for span in times.spans)
    if spans:
        spans = (*spans[:-1], replace(spans[-1], end_at=at))
    return ChargeTimes(times.begin_at, at, spans)


def expected_at(times: ChargeTimes, end_at: datetime, now: datetime) -> ChargeTimes:
    """Return the times of a charge under way that is now expected out at another instant.

    The phase under way becomes longer or shorter, what comes behind it keeps its length. Where too little time is left
    for that, the phases behind share it in proportion.

    Raises
    ------
    ValueError
        If the end is not after ``now``.
    """
    if end_at <= now:
        raise ValueError(f"{end_at} is not after {now}: nobody expects what has gone by")
    # What has its end behind it is over; of a charge that is overdue, the last phase is under way still.
    last = times.spans[-1:] if times.spans and times.spans[-1].end_at <= now else ()
    over = tuple(span for span in times.spans if span.end_at <= now and span not in last)
    ahead = last or tuple(span for span in times.spans if span.end_at > now)
    if not ahead:
        return ChargeTimes(times.begin_at, end_at, over)
    first, behind = ahead[0], ahead[1:]
    from_at = max(now, first.begin_at)
    lengths = [span.end_at - span.begin_at for span in behind]
    length, room = sum(lengths, timedelta(0)), end_at - from_at
    share = min(1.0, room / length) if length else 1.0
    # Whole minutes where they lie in the phase, the last of them on the instant itself.
    ends = [end_at - sum(lengths[number:], timedelta(0)) * share for number in range(len(lengths))]
    marks = [*(max(mark.replace(second=0, microsecond=0), first.begin_at) for mark in ends), end_at]
    spans = [replace(first, end_at=marks[0])]
    spans += [Span(span.kind, begin, end) for span, (begin, end) in zip(behind, pairwise(marks), strict=True)]
    return ChargeTimes(times.begin_at, end_at, (*over, *spans))


def interrupted(times: ChargeTimes, at: datetime | None, longer: timedelta) -> ChargeTimes:
    """Return the times of a charge that stands still for a while from an instant on, or after its last phase if None.

    What lies behind the instant comes later by as much; what is under way then takes longer.
    """

    def put_off(moment: datetime) -> datetime:
        return moment + longer if at is not None and moment > at else moment

    spans = tuple(replace(span, begin_at=put_off(span.begin_at), end_at=put_off(span.end_at)) for span in times.spans)
    return ChargeTimes(times.begin_at, times.end_at + longer, spans)


def stood(times: ChargeTimes, from_at: datetime, until_at: datetime) -> ChargeTimes:
    """Return the times of a charge whose kiln stood: what was still to come then comes later by as long."""
    by = until_at - from_at

    def later(at: datetime, *, is_begin: bool) -> datetime:
        return at + by if at > from_at or (is_begin and at == from_at) else at

    spans = tuple(
        replace(span, begin_at=later(span.begin_at, is_begin=True), end_at=later(span.end_at, is_begin=False))
        for span in times.spans
    )
    return ChargeTimes(times.begin_at, later(times.end_at, is_begin=False), spans)


def _until(span: Span, at: datetime) -> Span:
    return replace(span, begin_at=min(span.begin_at, at), end_at=min(span.end_at, at))
