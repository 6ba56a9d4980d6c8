"""A charge that is planned: its phases one after the other, from a wanted start on."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.told import ChargeTimes, Span

NONE = timedelta(0)


def lay(
    begin_at: datetime,
    lengths: Mapping[PhaseKind, timedelta],
    fit: Callable[[datetime], datetime] | None = None,
) -> ChargeTimes:
    """Lay phases of given lengths one after the other.

    Parameters
    ----------
    begin_at : datetime
    lengths : Mapping[PhaseKind, timedelta]
        Phases without a length are left out.
    fit : callable or None
        Turns an instant into the first one from there on at which the charge may be unloaded; the phase before then
        takes longer.

    Raises
    ------
    ValueError
        If no phase has a length.
    """
    spans: list[Span] = []
    at = begin_at
    for kind in PhaseKind:
        length = lengths.get(kind, NONE)
        if length <= NONE:
            continue
        if kind == PhaseKind.UNLOADING and fit is not None and spans:
            at = fit(at)
            spans[-1] = Span(spans[-1].kind, spans[-1].begin_at, at)
        spans.append(Span(kind, at, at + length))
        at += length
    return ChargeTimes(begin_at, at, tuple(spans))


def stretched(lengths: Mapping[PhaseKind, timedelta], whole: timedelta) -> dict[PhaseKind, timedelta] | None:
    """Return phases that take a given time together: drying takes what the others leave; None if they leave none."""
    others: dict[PhaseKind, timedelta] = {kind: length for kind, length in lengths.items() if kind != PhaseKind.DRYING}
    drying = whole - sum(others.values(), NONE)
    return {**others, PhaseKind.DRYING: drying} if drying > NONE else None


def lengths_of(times: ChargeTimes) -> dict[PhaseKind, timedelta]:
    """Return the lengths of a charge's phases; one of which none is known dries all the time."""
    found = {span.kind: span.end_at - span.begin_at for span in times.spans}
    return found or {PhaseKind.DRYING: times.end_at - times.begin_at}
