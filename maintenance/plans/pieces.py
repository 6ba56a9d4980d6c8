"""A charge in pieces: what of it is done between the times at which its kiln stands."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from plant.charges.calculations.charge_phases import ChargeForecast, PhaseKind

Span = tuple[datetime, datetime]


@dataclass
class Piece:
    """A part of a charge without a break, with the minutes of each phase; ``goes_on`` where it is not the first."""

    charge_id: int
    start_at: datetime
    end_at: datetime
    goes_on: bool
    minutes: dict[str, int] = field(default_factory=lambda: defaultdict(int))


def pieces_of(cast: ChargeForecast, stops: Sequence[Span], unknown_end_at: datetime) -> list[Piece]:
    """Cut a charge at the stops of its kiln, and where one of its phases waits for the next.

    Parameters
    ----------
    cast : ChargeForecast
        the charge as it is expected
    stops : sequence of instants
        from when to when its kiln stands
    unknown_end_at : datetime
        when a phase under way ends of which nobody knows

    Returns
    -------
    list of Piece
        the first begins when the charge does, the last ends when it does; both may be without any minute
    """
    charge_id, start_at = cast.charge.charge_id, cast.start_at
    found = [Piece(charge_id, start_at, start_at, goes_on=False)]
    end_at = start_at
    for phase in cast.phases:
        end_at = phase.end_at or max(unknown_end_at, phase.start_at)
        for from_at, to_at in _without((phase.start_at, end_at), stops):
            if from_at > found[-1].end_at:
                found.append(Piece(charge_id, from_at, from_at, goes_on=True))
            found[-1].minutes[phase.kind] += _minutes(from_at, to_at)
            found[-1].end_at = to_at
    if end_at > found[-1].end_at:
        found.append(Piece(charge_id, end_at, end_at, goes_on=True))
    return found


def lengths(piece: Piece) -> dict[str, int]:
    """Return the minutes of each phase, as `placing.problem.Charge` names them."""
    return {f"{kind}_min": piece.minutes[kind] for kind in PhaseKind}


def _without(span: Span, stops: Iterable[Span]) -> Iterator[Span]:
    from_at, to_at = span
    for stop_from_at, stop_to_at in sorted(stops):
        if stop_from_at < to_at and stop_to_at > from_at:
            if stop_from_at > from_at:
                yield from_at, stop_from_at
            from_at = stop_to_at
    if from_at < to_at:
        yield from_at, to_at


def _minutes(from_at: datetime, to_at: datetime) -> int:
    return int(to_at.timestamp() // 60 - from_at.timestamp() // 60)
