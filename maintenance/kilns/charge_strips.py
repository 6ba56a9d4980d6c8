"""The charges about now as a small picture: one strip each on a common axis, with the phases in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from plant.charges.calculations.known import ChargeRecord
from plant.clock import start_of_day
from plant.models import Charge, Phase

BEFORE = 2
AFTER = 3
WEEK = timedelta(days=7)
MOST_TICKS = 6
LEAST_WIDTH = 0.5
"""Loading takes hours where drying takes weeks: a piece never gets narrower than this share of 100."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A phase in the strip, in shares of 100; ``kind`` is empty where a charge's phases are not on record."""

    left: float
    width: float
    kind: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One charge of the picture; ``held_up`` where nobody knows its end since its kiln stood."""

    charge: Charge
    is_inside: bool
    pieces: tuple[Piece, ...]
    held_up: ChargeRecord | None = None

    @property
    def end_at(self) -> datetime:
        """Its end by the record, else the one that is expected."""
        return _end(self.charge, self.held_up)

    @property
    def expected_phases(self) -> list[tuple[str, datetime]]:
        """Return (phase, begin) as expected; empty where the record holds."""
        spans = self.held_up.spans if self.held_up and self.charge.phases.all() else ()
        return [(str(Phase.Kind(span.kind).label), span.best_known[0]) for span in spans]


@dataclass(frozen=True, slots=True)
class Tick:
    """A Monday on the axis."""

    left: float
    at: datetime


@dataclass(frozen=True, slots=True)
class Picture:
    """The charges about now, the axis they share, and the charges left out of the picture."""

    strips: tuple[Strip, ...]
    ticks: tuple[Tick, ...]
    now_left: float
    others: tuple[Charge, ...]


@dataclass(frozen=True, slots=True)
class _Axis:
    start_at: datetime
    length: timedelta

    def at(self, moment: datetime) -> float:
        return round(min(max((moment - self.start_at) / self.length, 0), 1) * 100, 2)


def draw(
    charges: Sequence[Charge],
    inside: Charge | None,
    now: datetime,
    zone: ZoneInfo,
    held_up: Mapping[int, ChargeRecord],
) -> Picture | None:
    """Draw two charges before now, the one inside and the next three; None without any charge.

    ``charges`` come by begin with their phases loaded; ``held_up`` has those that are later since their kiln stood.
    """
    inside_pk = inside.pk if inside else None
    past = [charge for charge in charges if charge.end_at <= now and charge.pk != inside_pk]
    held = [charge for charge in charges if charge.pk == inside_pk]
    ahead = [charge for charge in charges if charge.end_at > now and charge.pk != inside_pk]
    shown = [*past[-BEFORE:], *held, *ahead[:AFTER]]
    if not shown:
        return None
    start_at = min(now, *(charge.begin_at for charge in shown))
    axis = _Axis(start_at, max(now, *(_end(one, held_up.get(one.pk)) for one in shown)) - start_at)
    return Picture(
        strips=tuple(_strip(one, held_up.get(one.pk), axis, is_inside=one.pk == inside_pk) for one in shown),
        ticks=_ticks(axis, zone),
        now_left=axis.at(now),
        others=(*past[:-BEFORE], *ahead[AFTER:]),
    )


def _end(charge: Charge, held_up: ChargeRecord | None) -> datetime:
    return held_up.end_at if held_up else charge.end_at


def _strip(charge: Charge, held_up: ChargeRecord | None, axis: _Axis, *, is_inside: bool) -> Strip:
    phases = [(phase.begin_at, phase.end_at, str(phase.kind)) for phase in charge.phases.all()]
    if held_up and phases:
        phases = [(*span.best_known, str(span.kind)) for span in held_up.spans]
    pieces = tuple(
        Piece(axis.at(begin_at), round(max(axis.at(end_at) - axis.at(begin_at), LEAST_WIDTH), 2), kind)
        for begin_at, end_at, kind in phases or [(charge.begin_at, _end(charge, held_up), "")]
        if end_at > begin_at
    )
    return Strip(charge, is_inside, pieces, held_up)


def _ticks(axis: _Axis, zone: ZoneInfo) -> tuple[Tick, ...]:
    """Return Mondays, every second or third one where all would crowd."""
    step = WEEK * (axis.length // (WEEK * MOST_TICKS) + 1)
    first_on = axis.start_at.astimezone(zone).date()
    day = first_on + timedelta(days=7 - first_on.weekday())
    ticks = []
    while (at := start_of_day(day, zone)) < axis.start_at + axis.length:
        ticks.append(Tick(axis.at(at), at))
        day += step
    return tuple(ticks)
