"""Charges whose end nobody knows since their kiln stood: where they are expected now."""

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime

from plant.charges.calculations import downtime
from plant.charges.calculations.known import ChargeRecord
from plant.charges.lasting import as_expected
from plant.charges.record import record_of
from plant.models import Charge, Downtime


def held_up_charges(kiln_ids: Collection[int], now: datetime) -> dict[int, ChargeRecord]:
    """Return charge id -> the charge as it is expected, of those in kilns that are later because their kiln stood.

    A stop that goes on counts until it may end. One query where no such stop is on record, four at most.
    """
    stops: dict[int, list[downtime.Downtime]] = defaultdict(list)
    unknown = Downtime.objects.filter(kiln__in=kiln_ids, charge_end_unknown_at__isnull=False, start_at__lte=now)
    for stop in as_expected(unknown.select_related("component"), now):
        stops[stop.kiln_id].append(stop)
    if not stops:
        return {}
    inside = Charge.objects.filter(kiln__in=stops, basis=Charge.Basis.RUNNING, begin_at__lte=now)
    found = {}
    for charge in inside.with_what_was_told().prefetch_related("phases"):
        record = record_of(charge, stops[charge.kiln_id], now)
        if record.spans != record_of(charge, (), now).spans:
            found[charge.pk] = record
    return found
