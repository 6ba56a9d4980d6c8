"""The climate that a kiln's own readings show for the days on which it dried."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import fmean

from maintenance.losses.waiting_loss import HOTTEST_CHAMBER_C
from plant.models import Channel, ChannelDay, Charge, Kiln, Phase
from plant.physics.psychrometrics import wet_bulb_c
from plant.physics.saturation import saturation_pressure_pa

HOT = (Phase.Kind.HEATING_UP, Phase.Kind.DRYING, Phase.Kind.CONDITIONING)
LEAST_DAYS = 3
"""Fewer hot days with readings than this are no climate to reckon with. Ours."""


@dataclass(frozen=True, slots=True)
class UsualClimate:
    """Means over whole days, None where no channel tells it; the chamber's rest on ``hot_days``."""

    hot_days: int
    dry_bulb_c: float
    wet_bulb_c: float | None
    outside_c: float | None
    outside_rh_pct: float | None


def usual_climate(kiln: Kiln, now: datetime, look_back: timedelta = timedelta(days=60)) -> UsualClimate | None:
    """Return a kiln's climate of the last weeks, or None with too few days of readings; two queries."""
    means = _daily_means(kiln, now, look_back)
    hot = [means[day] for day in _hot_days(kiln, now, look_back) if Channel.Quantity.AIR_TEMPERATURE in means[day]]
    if len(hot) < LEAST_DAYS:
        return None
    every_day = list(means.values())
    dry = _mean(hot, Channel.Quantity.AIR_TEMPERATURE)
    return UsualClimate(
        hot_days=len(hot),
        dry_bulb_c=dry or 0.0,
        wet_bulb_c=_wet_bulb(hot, dry, kiln.mill.pressure_pa),
        outside_c=_mean(every_day, Channel.Quantity.OUTSIDE_TEMPERATURE),
        outside_rh_pct=_mean(every_day, Channel.Quantity.OUTSIDE_HUMIDITY),
    )


def _wet_bulb(hot: list[dict[str, float]], dry: float | None, pressure_pa: float) -> float | None:
    wet = _mean(hot, Channel.Quantity.WET_BULB)
    humidity = _mean(hot, Channel.Quantity.RELATIVE_HUMIDITY)
    if wet is not None or dry is None or humidity is None or not (0 < dry <= HOTTEST_CHAMBER_C and humidity > 0):
        return wet
    if humidity / 100 * float(saturation_pressure_pa(dry)) >= pressure_pa:
        # So much vapour leaves no air: a mean of days that no day had.
        return None
    return float(wet_bulb_c(dry, humidity / 100, pressure_pa))


def _mean(days: list[dict[str, float]], quantity: str) -> float | None:
    found = [day[quantity] for day in days if quantity in day]
    return fmean(found) if found else None


def _daily_means(kiln: Kiln, now: datetime, look_back: timedelta) -> dict[date, dict[str, float]]:
    """Return day -> quantity -> mean over the channels of that quantity."""
    zone = kiln.mill.zone
    first, today = (now - look_back).astimezone(zone).date(), now.astimezone(zone).date()
    rows = ChannelDay.objects.filter(channel__kiln=kiln, day__gt=first, day__lt=today, mean__isnull=False).values_list(
        "day", "channel__quantity", "mean"
    )
    found: dict[date, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for day, quantity, mean in rows:
        found[day][quantity].append(mean or 0.0)
    return defaultdict(dict, {day: {key: fmean(every) for key, every in own.items()} for day, own in found.items()})


def _hot_days(kiln: Kiln, now: datetime, look_back: timedelta) -> list[date]:
    """Return the days that lie wholly within heating up, drying and conditioning of one charge."""
    zone = kiln.mill.zone
    spans: dict[int, list[datetime]] = defaultdict(list)
    phases = Phase.objects.filter(charge__kiln=kiln, kind__in=HOT, begin_at__lt=now, end_at__gt=now - look_back)
    for charge, begin_at, end_at in phases.exclude(charge__basis=Charge.Basis.PLANNED).values_list(
        "charge_id", "begin_at", "end_at"
    ):
        spans[charge] += [begin_at, end_at]
    found = []
    for instants in spans.values():
        first = min(instants).astimezone(zone).date()
        last = min(max(instants), now).astimezone(zone).date()
        found += [first + timedelta(days=n) for n in range(1, (last - first).days)]
    return found
