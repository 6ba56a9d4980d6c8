"""Phases of a kiln charge: loading to unloading, as they happened, are predicted, or are planned."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from itertools import zip_longest

from plant.basics.periods import to_epoch_s

PhaseRow = tuple[int, int, int | None, str]
"""(kiln id, start s, end s or None while under way, phase kind), UTC epoch seconds."""


class PhaseKind(StrEnum):
    """What a kiln does with a charge, in the order in which it does it."""

    LOADING = "loading"
    HEATING_UP = "heating_up"
    DRYING = "drying"
    CONDITIONING = "conditioning"
    COOLING = "cooling"
    UNLOADING = "unloading"


RUNNING_PHASES = frozenset({PhaseKind.HEATING_UP, PhaseKind.DRYING, PhaseKind.CONDITIONING, PhaseKind.COOLING})
"""Phases in which the doors are closed and the fans turn."""


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of one charge; without an end it is under way and nobody knows when it will end.

    Raises
    ------
    ValueError
        If an instant has no time zone, or the end lies before the start.
    """

    charge_id: int
    kind: PhaseKind
    start_at: datetime
    end_at: datetime | None
    is_over: bool = True
    """Whether the end has happened; False for an end that is predicted or planned."""

    def __post_init__(self) -> None:
        start_s = to_epoch_s(self.start_at)
        if self.end_at is not None and to_epoch_s(self.end_at) < start_s:
            raise ValueError(
                f"{self.kind} of charge {self.charge_id} ends at {self.end_at.isoformat()}, "
                f"before its start {self.start_at.isoformat()}"
            )


@dataclass(frozen=True, slots=True)
class PhaseTimes:
    """What is known of one phase: planned, last predicted, actual. None where there is nothing.

    A phase needs a planned or predicted start and end, or an actual start.
    """

    kind: PhaseKind
    planned_start_at: datetime | None = None
    planned_end_at: datetime | None = None
    predicted_start_at: datetime | None = None
    predicted_end_at: datetime | None = None
    actual_start_at: datetime | None = None
    actual_end_at: datetime | None = None

    @classmethod
    def from_best_known(
        cls,
        kind: PhaseKind,
        planned: tuple[datetime, datetime],
        best_known: tuple[datetime, datetime],
        now: datetime,
        *,
        is_begun: bool,
    ) -> "PhaseTimes":
        """Sort out what has happened where only the plan and the best known start and end are kept.

        Parameters
        ----------
        kind : PhaseKind
        planned, best_known : tuple[datetime, datetime]
            Start and end.
        now : datetime
        is_begun : bool
            Whether the charge has begun; if not, the best known times are predictions even when they have gone by.
        """
        start_at, end_at = best_known
        has_started, has_ended = is_begun and start_at <= now, is_begun and end_at <= now
        return cls(
            kind,
            *planned,
            *best_known,
            actual_start_at=start_at if has_started else None,
            actual_end_at=end_at if has_ended else None,
        )

    @property
    def expected_start_at(self) -> datetime | None:
        """The start that happened, else the predicted one, else the planned one."""
        return self.actual_start_at or self.predicted_start_at or self.planned_start_at

    @property
    def expected_duration(self) -> timedelta | None:
        """Predicted length, else planned length; None where neither is known."""
        for start_at, end_at in (
            (self.predicted_start_at, self.predicted_end_at),
            (self.planned_start_at, self.planned_end_at),
        ):
            if start_at is not None and end_at is not None:
                return end_at - start_at
        return None


@dataclass(frozen=True, slots=True)
class Charge:
    """A charge of one kiln with its phases in working order.

    ``end_sd_h`` is the standard deviation of its predicted end in hours; 0 when the end is certain.

    Raises
    ------
    ValueError
        If it has no phase, or the standard deviation is negative.
    """

    charge_id: int
    kiln_id: int
    phases: tuple[PhaseTimes, ...]
    end_sd_h: float = 0.0

    def __post_init__(self) -> None:
        if not self.phases:
            raise ValueError(f"charge {self.charge_id} has no phase")
        if not self.end_sd_h >= 0:
            raise ValueError(f"end of charge {self.charge_id} has a standard deviation of {self.end_sd_h} h, below 0")

    @property
    def is_begun(self) -> bool:
        """Whether any of its phases has begun."""
        return any(phase.actual_start_at is not None for phase in self.phases)

    @property
    def is_over(self) -> bool:
        """Whether its last phase has ended."""
        return self.phases[-1].actual_end_at is not None


@dataclass(frozen=True, slots=True)
class ChargeForecast:
    """A charge with one start and one end for each phase, as expected now.

    ``is_held_up`` tells that it is to start later than planned because the kiln is still taken or the planned
    instant has gone by.
    """

    charge: Charge
    phases: tuple[Phase, ...]
    is_held_up: bool

    @property
    def start_at(self) -> datetime:
        """Start of its first phase."""
        return self.phases[0].start_at

    @property
    def end_at(self) -> datetime | None:
        """End of its last phase; None if nobody knows."""
        return self.phases[-1].end_at

    @property
    def end_sd_h(self) -> float:
        """Standard deviation of its end in hours; 0 once it has happened."""
        return 0.0 if self.charge.is_over else self.charge.end_sd_h


def forecast_charges(charges: Sequence[Charge], now: datetime) -> list[ChargeForecast]:
    """Work out when the phases of one kiln's charges happened or are to be expected.

    Parameters
    ----------
    charges : Sequence[Charge]
        Of one kiln, in any order.
    now : datetime

    Returns
    -------
    list[ChargeForecast]
        By expected start. A charge behind one whose end nobody knows is left out: nothing can be said of it.

    Raises
    ------
    ValueError
        If the charges are of more than one kiln, or a phase that has not begun lacks times.

    Notes
    -----
    What happened stays as it is. What has not begun cannot start before now, nor before the phase or charge before
    it ends, and keeps its expected length; what is under way cannot end before now. So a charge that runs over pushes
    the rest of the programme along.
    """
    if len({charge.kiln_id for charge in charges}) > 1:
        raise ValueError("charges of several kilns were given; ask for one kiln at a time")
    forecasts: list[ChargeForecast] = []
    free_at: datetime | None = None
    for charge in sorted(charges, key=_programme_order):
        forecast = _forecast(charge, now, free_at)
        forecasts.append(forecast)
        if forecast.end_at is None:
            break
        free_at = forecast.end_at if free_at is None else max(free_at, forecast.end_at)
    return sorted(forecasts, key=lambda forecast: forecast.start_at)


def _programme_order(charge: Charge) -> tuple[bool, datetime]:
    """Charges that have begun come first, however late: they hold the kiln."""
    return not charge.is_begun, _first_start(charge)


def _first_start(charge: Charge) -> datetime:
    start_at = charge.phases[0].expected_start_at
    if start_at is None:
        raise ValueError(f"{charge.phases[0].kind} of charge {charge.charge_id} has no start")
    return start_at


def _forecast(charge: Charge, now: datetime, free_at: datetime | None) -> ChargeForecast:
    earliest_at = max(now, free_at) if free_at is not None else now
    is_held_up = not charge.is_begun and _first_start(charge) < earliest_at
    return ChargeForecast(charge, tuple(_phases(charge, now, earliest_at)), is_held_up)


def _phases(charge: Charge, now: datetime, earliest_at: datetime) -> Iterator[Phase]:
    begun = [(i, times, times.actual_start_at) for i, times in enumerate(charge.phases) if times.actual_start_at]
    for (_, times, start_at), following in zip_longest(begun, begun[1:]):
        next_start_at = following[2] if following else None
        is_over = times.actual_end_at is not None or next_start_at is not None
        end_at = times.actual_end_at or next_start_at or _end_under_way(times, start_at, now)
        yield Phase(charge.charge_id, times.kind, start_at, end_at, is_over)
        if end_at is None:
            return
        earliest_at = max(now, end_at)
    # A phase that was passed over, while a later one has begun, will not come any more.
    for times in charge.phases[begun[-1][0] + 1 if begun else 0 :]:
        start_at, length = times.expected_start_at, times.expected_duration
        if start_at is None or length is None:
            raise ValueError(f"{times.kind} of charge {charge.charge_id} has neither begun nor a planned start and end")
        start_at = max(start_at, earliest_at)
        earliest_at = start_at + length
        yield Phase(charge.charge_id, times.kind, start_at, earliest_at, is_over=False)


def _end_under_way(times: PhaseTimes, start_at: datetime, now: datetime) -> datetime | None:
    """Give a predicted end as it stands; a merely planned one moves with the start that happened."""
    if times.predicted_end_at is not None:
        return max(times.predicted_end_at, now)
    length = times.expected_duration
    if length is not None:
        return max(start_at + length, now)
    return None if times.planned_end_at is None else max(times.planned_end_at, now)
