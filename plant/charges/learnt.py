"""What a kiln's past charges of a kind say of the end of the one that is in it."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from plant.charges.calculations.lateness import Lateness, lateness
from plant.charges.programme import stand_of
from plant.charges.telling import is_inside
from plant.models import Charge

LOOK_BACK = timedelta(days=730)
AT_MOST = 40
HOUR = timedelta(hours=1)
QUARTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class LikelyEnd:
    """When a charge is likely out by what was learnt, to the quarter of an hour."""

    at: datetime
    by: Lateness

    @property
    def shorter_h(self) -> float:
        """Return how many hours less than planned the charges took."""
        return -self.by.mean_h


def learnt(charge: Charge, now: datetime) -> Lateness | None:
    """Return how much longer this kiln's charges of the species took than planned: one query.

    From loading to out, so that a late start is not taken for slow drying.
    """
    done = Charge.objects.filter(kiln=charge.kiln_id, species__iexact=charge.species, basis=Charge.Basis.DONE)
    done = done.filter(end_at__gt=now - LOOK_BACK).order_by("-end_at")
    spans = done.values_list("begin_at", "end_at", "planned_begin_at", "planned_end_at")[:AT_MOST]
    return lateness([((end - begin) - (to - since)) / HOUR for begin, end, since, to in spans])


def likely_end(charge: Charge, now: datetime) -> LikelyEnd | None:
    """Return when a charge that is in its kiln is likely out: as it was planned from its start, and what was learnt.

    None where too little was learnt, or that time is over.
    """
    if not is_inside(charge):
        return None
    found = learnt(charge, now)
    if found is None:
        return None
    planned = charge.planned_end_at - charge.planned_begin_at
    at = stand_of(charge).times.begin_at + planned + timedelta(hours=found.mean_h)
    at -= timedelta(seconds=at.timestamp() % QUARTER.total_seconds())
    return LikelyEnd(at, found) if at > now else None
