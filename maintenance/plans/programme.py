"""The charge programme of many kilns as the calculations want it: forecasts, openings and running windows."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, prefetch_related_objects

from plant.charges.calculations import openings as calc
from plant.charges.calculations.charge_phases import ChargeForecast, forecast_charges
from plant.charges.calculations.downtime import Downtime as Stop
from plant.charges.calculations.lasting import Lasting
from plant.charges.lasting import downtime_times, expected_ends
from plant.charges.record import known_charges
from plant.models import Charge, Downtime, Kiln

# The last charge before the span is looked for this far back; behind it an opening has no beginning of its own.
LOOK_BACK = timedelta(days=60)


@dataclass(frozen=True)
class KilnProgramme:
    """What a kiln does in a span of time, as expected now."""

    kiln: Kiln
    charges: Mapping[int, Charge]
    forecasts: tuple[ChargeForecast, ...]
    windows: calc.Windows
    downtimes: tuple[Downtime, ...]
    #: The downtimes as the computations know them: a stop that goes on ends when it is expected to.
    stops: tuple[Stop, ...]
    lasting: Mapping[int, Lasting]


def load_programme(
    kilns: Iterable[Kiln], from_at: datetime, until_at: datetime, now_at: datetime, without: int = 0
) -> dict[int, KilnProgramme]:
    """Return kiln id -> its programme from ``from_at`` to ``until_at``, as it would be without the downtime of an id.

    Three queries for any number of kilns, four where a stop goes on of which nobody knows until when.
    """
    by_id = {kiln.pk: kiln for kiln in kilns}
    charges: dict[int, list[Charge]] = defaultdict(list)
    is_told = Q(end_at__gt=from_at - LOOK_BACK) | Q(basis=Charge.Basis.RUNNING)
    found = Charge.objects.filter(is_told, kiln__in=by_id, begin_at__lt=until_at).with_what_was_told()
    for charge in found.order_by("kiln_id", "begin_at"):
        charges[charge.kiln_id].append(charge)
    charges = {kiln_id: _still_told(rows, from_at) for kiln_id, rows in charges.items()}
    prefetch_related_objects([charge for rows in charges.values() for charge in rows], "phases")
    downtimes: dict[int, list[Downtime]] = defaultdict(list)
    records = Downtime.objects.filter(kiln__in=by_id).reaching_into(from_at - LOOK_BACK, until_at)
    for downtime in records.exclude(pk=without).order_by("start_at").select_related("component"):
        downtimes[downtime.kiln_id].append(downtime)
    ends = expected_ends([one for rows in downtimes.values() for one in rows], now_at)
    return {
        kiln_id: _programme(kiln, charges.get(kiln_id, []), downtimes[kiln_id], ends, from_at, now_at)
        for kiln_id, kiln in by_id.items()
    }


def _still_told(charges: list[Charge], from_at: datetime) -> list[Charge]:
    """Leave out what was over before the span, but for the last: the opening begins where that one ends."""
    is_over = [charge.end_at <= from_at and charge.basis == Charge.Basis.DONE for charge in charges]
    over = [charge for charge, past in zip(charges, is_over, strict=True) if past]
    return over[-1:] + [charge for charge, past in zip(charges, is_over, strict=True) if not past]


def _programme(
    kiln: Kiln,
    kept: list[Charge],
    downtimes: list[Downtime],
    ends: Mapping[int, Lasting],
    from_at: datetime,
    now_at: datetime,
) -> KilnProgramme:
    stops = [downtime_times(downtime, ends.get(downtime.pk)) for downtime in downtimes]
    known = known_charges(kept, stops, now_at)
    ahead = [one for one in downtimes if one.end_at is None or one.end_at > from_at]
    return KilnProgramme(
        kiln=kiln,
        charges={charge.pk: charge for charge in kept},
        forecasts=tuple(forecast_charges(known, now_at)),
        windows=calc.windows(kiln.pk, known, now_at, from_at, stops),
        downtimes=tuple(ahead),
        stops=tuple(one for one in stops if one.end_at is None or one.end_at > from_at),
        lasting=ends,
    )
