"""The charges of a kiln as the computations know them: what was told of them has happened."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from plant import models
from plant.charges.calculations import charge_phases
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.downtime import Downtime, DowntimeKind
from plant.charges.calculations.known import ChargeRecord, KnownSpan, Told, charges_as_known, held_up
from plant.charges.programme import Stand
from plant.charges.rows import phases_in_order
from plant.models import Charge


def record_of(charge: Charge, stops: Iterable[Downtime], now: datetime) -> ChargeRecord:
    """Return a charge of ``with_what_was_told()`` as the stops of its kiln leave it.

    One without phases counts as drying from begin to end.
    """
    opened_at: datetime | None = charge.opened_at  # type: ignore[attr-defined]
    end_told_at: datetime | None = charge.expected_told_at  # type: ignore[attr-defined]
    spans = _spans(charge, opened_at, charge.begin_at, charge.end_at)
    return held_up(_record(charge, _told(charge.basis, opened_at), spans, end_told_at), stops, now)


def record_by_people(charge: Charge, stops: Iterable[Downtime], now: datetime) -> ChargeRecord:
    """Return a charge as ``record_of`` does, by what people told alone: so it counts for whoever goes in.

    What only readings or another program say of it is left out, but for its having been started: that keeps people
    out.
    """
    kept: dict[str, Any] | None = charge.stood_by_people  # type: ignore[attr-defined]
    if kept is None:
        return record_of(charge, stops, now)
    opened_at: datetime | None = charge.opened_by_people_at  # type: ignore[attr-defined]
    end_told_at: datetime | None = charge.end_told_by_people_at  # type: ignore[attr-defined]
    stood = Stand.from_json(kept)
    times = {span.kind: (span.begin_at, span.end_at) for span in stood.times.spans}
    spans = tuple(
        replace(one, best_known=times.get(one.kind, one.best_known))
        for one in _spans(charge, opened_at, stood.times.begin_at, stood.times.end_at)
    )
    return held_up(_record(charge, _told(stood.basis, opened_at), spans, end_told_at), stops, now)


def _spans(charge: Charge, opened_at: datetime | None, begin_at: datetime, end_at: datetime) -> tuple[KnownSpan, ...]:
    planned = (charge.planned_begin_at, charge.planned_end_at)
    spans = [
        KnownSpan(PhaseKind(row.kind), (row.planned_begin_at, row.planned_end_at), (row.begin_at, row.end_at))
        for row in phases_in_order(charge)
    ] or [KnownSpan(PhaseKind.DRYING, planned, (begin_at, max(begin_at, min(opened_at or end_at, end_at))))]
    if opened_at is not None and spans[-1].kind is not PhaseKind.UNLOADING:
        # No unloading was foreseen, but it goes on since then.
        spans.append(KnownSpan(PhaseKind.UNLOADING, planned, (opened_at, max(opened_at, end_at))))
    return tuple(spans)


def _record(charge: Charge, told: Told, spans: tuple[KnownSpan, ...], end_told_at: datetime | None) -> ChargeRecord:
    return ChargeRecord(
        charge.pk,
        charge.kiln_id,
        told,
        spans,
        float(charge.end_spread_h),
        is_start_told=charge.is_start_told,  # type: ignore[attr-defined]
        end_told_at=end_told_at,
    )


def _told(basis: str, opened_at: datetime | None) -> Told:
    if basis == Charge.Basis.DONE:
        return Told.OUT
    if basis == Charge.Basis.PLANNED:
        return Told.PLANNED
    return Told.BEGUN if opened_at is None else Told.OPENED


def known_charges(charges: Iterable[Charge], stops: Collection[Downtime], now: datetime) -> list[charge_phases.Charge]:
    """Return the charges of one kiln, of ``with_what_was_told()``, as the mill reads its records."""
    charges = list(charges)
    by_programme = any(charge.ends_by_programme for charge in charges)  # type: ignore[attr-defined]
    return charges_as_known([record_of(charge, stops, now) for charge in charges], now, by_programme=by_programme)


def stood_so_far(now: datetime) -> dict[int, timedelta]:
    """Return the charges whose end nobody knows since their kiln stood -> by how much later that makes them by now.

    One query where there is none, else three.
    """
    stops: dict[int, list[Downtime]] = defaultdict(list)
    unknown = models.Downtime.objects.filter(charge_end_unknown_at__isnull=False, share_lost=1, start_at__lt=now)
    for one in unknown.exclude(kind=models.Downtime.Kind.NO_TIMBER):
        times = Downtime(one.kiln_id, one.start_at, min(one.end_at or now, now), DowntimeKind(one.kind))
        stops[one.kiln_id].append(replace(times, charge_end_unknown_at=one.charge_end_unknown_at))
    if not stops:
        return {}
    running = Charge.objects.filter(basis=Charge.Basis.RUNNING, kiln__in=stops).with_what_was_told()
    return {
        charge.pk: later
        for charge in running.prefetch_related("phases")
        if (later := record_of(charge, stops[charge.kiln_id], now).end_at - record_of(charge, (), now).end_at)
    }
