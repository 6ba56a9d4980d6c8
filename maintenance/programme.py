"""The charge programme of many kilns as the calculations want it: forecasts, openings and running windows."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from plant.calculations import openings as calc
from plant.calculations.charge_phases import Charge as CalcCharge
from plant.calculations.charge_phases import ChargeForecast, PhaseKind, PhaseTimes, forecast_charges
from plant.calculations.downtime import Downtime as CalcDowntime
from plant.calculations.downtime import DowntimeKind
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


def load_programme(
    kilns: Iterable[Kiln], from_at: datetime, until_at: datetime, now_at: datetime
) -> dict[int, KilnProgramme]:
    """Return kiln id -> its programme from ``from_at`` to ``until_at``; three queries for any number of kilns."""
    by_id = {kiln.pk: kiln for kiln in kilns}
    charges: dict[int, list[Charge]] = defaultdict(list)
    found = Charge.objects.filter(kiln__in=by_id, end_at__gt=from_at - LOOK_BACK, begin_at__lt=until_at)
    for charge in found.order_by("kiln_id", "begin_at").prefetch_related("phases"):
        charges[charge.kiln_id].append(charge)
    downtimes: dict[int, list[Downtime]] = defaultdict(list)
    for downtime in Downtime.objects.filter(kiln__in=by_id).reaching_into(from_at, until_at).order_by("start_at"):
        downtimes[downtime.kiln_id].append(downtime)
    return {
        kiln_id: _programme(kiln, charges[kiln_id], downtimes[kiln_id], from_at, now_at)
        for kiln_id, kiln in by_id.items()
    }


def _programme(
    kiln: Kiln, charges: list[Charge], downtimes: list[Downtime], from_at: datetime, now_at: datetime
) -> KilnProgramme:
    over = [charge for charge in charges if charge.end_at <= from_at and charge.basis == Charge.Basis.DONE]
    ahead = [charge for charge in charges if charge not in over]
    kept = over[-1:] + ahead
    known = [to_calculation(charge, now_at) for charge in kept]
    stops = [_stop(downtime) for downtime in downtimes]
    return KilnProgramme(
        kiln=kiln,
        charges={charge.pk: charge for charge in kept},
        forecasts=tuple(forecast_charges(known, now_at)),
        windows=calc.windows(kiln.pk, known, now_at, from_at, stops),
        downtimes=tuple(downtimes),
    )


def to_calculation(charge: Charge, now_at: datetime) -> CalcCharge:
    """Return a charge in the words of the calculations; one without phases counts as drying from begin to end."""
    is_begun = charge.basis != Charge.Basis.PLANNED
    rows = sorted(charge.phases.all(), key=lambda phase: (phase.begin_at, list(PhaseKind).index(PhaseKind(phase.kind))))
    spans = [
        (PhaseKind(row.kind), (row.planned_begin_at, row.planned_end_at), (row.begin_at, row.end_at)) for row in rows
    ] or [(PhaseKind.DRYING, (charge.planned_begin_at, charge.planned_end_at), (charge.begin_at, charge.end_at))]
    return CalcCharge(
        charge_id=charge.pk,
        kiln_id=charge.kiln_id,
        phases=tuple(
            PhaseTimes.from_best_known(kind, planned, best, now_at, is_begun=is_begun) for kind, planned, best in spans
        ),
        end_sd_h=float(charge.end_spread_h),
    )


def _stop(downtime: Downtime) -> CalcDowntime:
    return CalcDowntime(
        kiln_id=downtime.kiln_id,
        start_at=downtime.start_at,
        end_at=downtime.end_at,
        kind=DowntimeKind(downtime.kind),
        share_lost_thousandths=int(downtime.share_lost * 1000),
        cause=downtime.cause,
    )
