"""The phases of a charge from a row of the charges file."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from maintenance.loading.columns import Column, Moment, Number
from maintenance.loading.faults import CellFault
from plant.models import Phase

KINDS = tuple(Phase.Kind.values)
# Hours are given to the minute or so: what is left of a charge by rounding is no phase of its own.
ROUNDING = timedelta(minutes=6)

PHASE_COLUMNS: tuple[Column, ...] = (
    *(
        Number(f"{kind}_h", f"hours of {kind.replace('_', ' ')}", example, least="0", most="5000", decimals=4)
        for kind, example in zip(KINDS, ("2.5", "9", "", "8", "5", "2"), strict=True)
    ),
    *(Moment(f"{kind}_at", f"when {kind.replace('_', ' ')} began (in place of hours)", "") for kind in KINDS[1:]),
    *(
        Moment(f"planned_{kind}_at", f"when {kind.replace('_', ' ')} was to begin; empty: in proportion", "")
        for kind in KINDS[1:]
    ),
)

Laid = tuple[str, datetime, datetime]


def lay_phases(values: dict[str, Any]) -> list[Laid]:
    """Return (kind, begin, end) of the phases that a row tells of, without gaps from begin to end.

    Raises
    ------
    CellFault
        where hours and instants are mixed, hours exceed the charge, or instants are out of order.
    """
    hours = {kind: values[f"{kind}_h"] for kind in KINDS if values[f"{kind}_h"] is not None}
    starts = {kind: values[f"{kind}_at"] for kind in KINDS[1:] if values[f"{kind}_at"] is not None}
    if hours and starts:
        column = f"{next(iter(hours))}_h"
        raise CellFault("the phases are given as hours and as instants", "Keep one of the two ways.", column)
    if starts:
        return _by_instants(values["begin_at"], values["end_at"], starts)
    return _by_hours(values["begin_at"], values["end_at"], hours)


def _by_hours(begin_at: datetime, end_at: datetime, hours: dict[str, Decimal]) -> list[Laid]:
    lengths = {kind: timedelta(minutes=round(float(hours[kind]) * 60)) for kind in KINDS if kind in hours}
    rest = (end_at - begin_at) - sum(lengths.values(), timedelta())
    if rest < -ROUNDING or (rest > ROUNDING and "drying" in lengths):
        total, lasts_h = sum(hours.values(), Decimal(0)), (end_at - begin_at) / timedelta(hours=1)
        raise CellFault(
            f"the phases last {total.normalize():f} h together, the charge {lasts_h:.1f} h",
            "Correct the hours or the times; leave drying_h empty to let it take the rest.",
            "drying_h" if "drying" in lengths else f"{next(iter(lengths))}_h",
        )
    # What rounding left over goes to drying, the longest phase.
    lengths["drying"] = max(lengths.get("drying", timedelta()) + rest, timedelta())
    laid, at = [], begin_at
    for kind in KINDS:
        if lengths.get(kind):
            until = min(at + lengths[kind], end_at)
            if until > at:
                laid.append((kind, at, until))
            at = until
    return laid


def _by_instants(begin_at: datetime, end_at: datetime, starts: dict[str, datetime]) -> list[Laid]:
    marks = [("loading", begin_at), *starts.items()]
    laid = []
    for (kind, start_at), (_, until) in zip(marks, [*marks[1:], ("", end_at)], strict=True):
        if until < start_at:
            raise CellFault(
                f"{kind.replace('_', ' ')} would end before it starts",
                "Phases follow one another, between begin and end of the charge: correct the instants.",
                "begin_at" if kind == "loading" else f"{kind}_at",
            )
        if until > start_at:
            laid.append((kind, start_at, until))
    return laid


def planned_phases(values: dict[str, Any]) -> list[tuple[str, datetime, datetime, datetime, datetime]]:
    """Return (kind, planned begin, planned end, begin, end).

    Where the row does not say when each phase was to begin, the plan has the same shares of its own span.
    """
    if any(values[f"planned_{kind}_at"] for kind in KINDS[1:]):
        return _as_planned(values)
    begin_at: datetime = values["begin_at"]
    planned_at: datetime = values["planned_begin_at"]
    factor: float = (values["planned_end_at"] - planned_at) / (values["end_at"] - begin_at)

    def planned(instant: datetime) -> datetime:
        return planned_at + timedelta(seconds=round((instant - begin_at).total_seconds() * factor))

    return [(kind, planned(start), planned(end), start, end) for kind, start, end in values["phases"]]


def _as_planned(values: dict[str, Any]) -> list[tuple[str, datetime, datetime, datetime, datetime]]:
    """Lay the plan by the instants at which its phases were to begin; one without an instant begins with the charge."""
    planned_at, planned_end_at = values["planned_begin_at"], values["planned_end_at"]
    starts = [values.get(f"planned_{kind}_at") or planned_at for kind, *_ in values["phases"]]
    ends = [*starts[1:], planned_end_at]
    return [
        (kind, planned_start, planned_end, start, end)
        for (kind, start, end), planned_start, planned_end in zip(values["phases"], starts, ends, strict=True)
    ]


def refuse_disorder(values: dict[str, Any]) -> None:
    """Refuse planned instants that are out of order. Raises CellFault."""
    before = values["planned_begin_at"]
    for kind in KINDS[1:]:
        at = values[f"planned_{kind}_at"]
        if at is None:
            continue
        if not before <= at <= values["planned_end_at"]:
            raise CellFault(
                f"{kind.replace('_', ' ')} would be planned before what comes first, or after the charge",
                "Phases follow one another, between planned begin and end of the charge: correct the instants.",
                f"planned_{kind}_at",
            )
        before = at
