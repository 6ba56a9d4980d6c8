"""The demo's readings: what the simulated kilns told, taken in as a mill's own are, and what the watches made of it."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from django.db import transaction
from django.db.models import Max, Min, QuerySet
from numpy.typing import NDArray

from maintenance.demo.chamber.sensors import PLATE_LAG_S
from maintenance.demo.climate import EVERY_S, Told, tell
from maintenance.models import Watch
from maintenance.watches.firing import Looked
from maintenance.watches.looking import look_over_past
from maintenance.watches.settings import set_up_watches
from maintenance.watches.specs import is_about_silence, spec_of
from plant import clock
from plant.background.queueing import take_off
from plant.models import Channel, ChannelName, Job, Kiln, Reading, ReadingSource
from plant.physics.emc import emc_pct
from plant.physics.psychrometrics import relative_humidity_of_readings
from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE
from plant.readings.taking_in import SETTLE_TASK, settle, take_in

# Kilns whose readings reach back all the way; the others were joined to the source not long ago.
LONG: Final = ("K1", "K2", "K3", "K5")
DAYS, DAYS_OF_NEW = 62, 14
TOLD_AGAIN_S: Final = 6 * 3600
LOOK_TASK: Final = "look at readings"
Readings = tuple[NDArray[np.int64], Values]


@dataclass(frozen=True, slots=True)
class Brought:
    """What came of the readings."""

    readings: int = 0
    fired: int = 0
    work_orders: int = 0


def bring_readings(
    days: int = DAYS,
    tags: Collection[str] | None = None,
    *,
    until: datetime | None = None,
    progress: Callable[[int], None] = lambda done: None,
) -> Brought:
    """Bring readings of the last days up to now, or to an instant, and let the watches look at them.

    Of all kilns that have channels, or of those named. What a kiln has is left alone, so that a second call goes on
    where one was cut off, and ends with the same, given the same instant. ``progress`` is told how many kilns are done.
    """
    kilns = [kiln for kiln in kilns_with_channels().select_related("mill") if tags is None or kiln.tag in tags]
    lacking = [kiln for kiln in kilns if not (_has_readings(kiln) and _has_looked(kiln))]
    progress(len(kilns) - len(lacking))
    if not lacking:
        return Brought()
    now = until or clock.now()
    since = [(kiln, now - timedelta(days=days if kiln.tag in LONG else min(days, DAYS_OF_NEW))) for kiln in kilns]
    told: dict[int, list[Told]] = defaultdict(list)
    # All of them, whatever is there: they stand under one sky, which the oldest of them begins.
    for one in tell(since, now):
        told[one.kiln.pk].append(one)
    found = []
    for done, kiln in enumerate(lacking, start=len(kilns) - len(lacking) + 1):
        if told[kiln.pk]:
            found.append(_bring(kiln, told[kiln.pk]))
        progress(done)
    return Brought(*(sum(getattr(one, name) for one in found) for name in ("readings", "fired", "work_orders")))


def kilns_with_channels() -> QuerySet[Kiln]:
    """Return the kilns that tell readings."""
    return Kiln.objects.filter(channels__isnull=False).distinct()


def _has_readings(kiln: Kiln) -> bool:
    return kiln.channels.filter(readings__isnull=False).exists()


def _has_looked(kiln: Kiln) -> bool:
    return kiln.watches.filter(looked_until_s__isnull=False).exists()


def _bring(kiln: Kiln, told: Sequence[Told]) -> Brought:
    """Take in what a kiln told, settle it, and let its watches look over it: three transactions, each once."""
    taken = 0 if _has_readings(kiln) else _take_in(kiln, told)
    with transaction.atomic():
        settle(kiln)
        _take_off_the_list(kiln)
    if _has_looked(kiln):
        return Brought(taken)
    looked = _look_over(kiln)
    return Brought(taken, len(looked.fired), len(looked.work_orders))


@transaction.atomic
def _take_in(kiln: Kiln, told: Sequence[Told]) -> int:
    """Store what a kiln told; return how many readings."""
    source = _source()
    ids, instants, values = [], [], []
    for channel in Channel.objects.filter(kiln=kiln):
        name = f"{kiln.tag}.{channel.key}"
        ChannelName.objects.get_or_create(source=source, name=name, defaults={"channel": channel})
        for one in told:
            at_s, value = _readings(channel, one)
            ids.append(np.full(len(at_s), channel.pk))
            instants.append(at_s)
            values.append(value)
    taken = take_in(np.concatenate(ids), np.concatenate(instants), np.concatenate(values), source=source)
    # What waits is settled here and now.
    _take_off_the_list(kiln)
    return taken.new


@transaction.atomic
def _look_over(kiln: Kiln) -> Looked:
    """Give a kiln its watches and let them look over its past."""
    span = Reading.objects.filter(channel__kiln=kiln).aggregate(from_s=Min("at_s"), until_s=Max("at_s"))
    for watch in set_up_watches(kiln, by=None, switched_on=True).watches:
        if is_about_silence(spec_of(watch)):
            # The demo's readings end with its present: nobody shall be sent to look for the rest.
            Watch.objects.filter(pk=watch.pk).update(is_on=False)
    looked = look_over_past(kiln, span["from_s"], span["until_s"])
    _take_off_the_list(kiln)
    return looked


def _source() -> ReadingSource:
    source, _ = ReadingSource.objects.get_or_create(
        code="kiln-controllers", defaults={"name": "Controllers of the kilns", "way": ReadingSource.Way.SENDS}
    )
    return source


def _take_off_the_list(kiln: Kiln) -> None:
    """Take off the list of background work what was done here already."""
    for job in Job.objects.waiting().filter(what__in=(SETTLE_TASK, LOOK_TASK), arguments__kiln=kiln.pk):
        take_off(job.queue_row)
        job.delete()


def _readings(channel: Channel, told: Told) -> Readings:
    """Return what a channel told: each moment's value, or only changes where controllers tell no more."""
    value = _MADE.get(channel.quantity, _as_simulated)(channel, told)[: len(told.at_s)]
    is_told = np.isfinite(value)
    at_s, value = told.at_s[is_told], value[is_told]
    if channel.quantity in TOLD_ON_CHANGE and len(value):
        is_new = np.diff(value, prepend=np.nan) != 0
        is_new |= at_s % TOLD_AGAIN_S < EVERY_S
        at_s, value = at_s[is_new], value[is_new]
    return at_s, value


def _as_simulated(channel: Channel, told: Told) -> Values:
    return told.run.values[channel.key]


def _current(channel: Channel, told: Told) -> Values:
    """A third fan, which the simulation does not have, draws what the second one drew a moment ago."""
    if channel.key in told.run.values:
        return told.run.values[channel.key]
    return np.round(np.roll(told.run.values["fan_current:2"], 1) * 0.985, 2)


def _humidity(channel: Channel, told: Told) -> Values:
    """A humidity sensor reads what the bulbs of its side tell together."""
    return _rounded(100 * _share(told, channel.place))


def _plate(channel: Channel, told: Told) -> Values:
    """The left plate is simulated; the right one follows the bulbs of its side, as slowly."""
    if channel.place == "left":
        return told.run.values["emc:1"]
    air_c = told.run.values["air_temperature:right"]
    share = _share(told, "right")
    known = np.isfinite(share) & (air_c >= 0)
    wanted = np.where(known, emc_pct(np.where(known, air_c, 20.0), np.where(known, share, 0.5)), np.nan)
    return _rounded(np.fromiter(_lagged(wanted), np.float64, len(wanted)))


def _lagged(wanted: Values) -> Iterator[float]:
    follow = -np.expm1(-EVERY_S / PLATE_LAG_S)
    last = float("nan")
    for one in wanted.tolist():
        if one == one:
            last = one if last != last else last + follow * (one - last)
        yield last


def _set_humidity(channel: Channel, told: Told) -> Values:
    return _rounded(100 * relative_humidity_of_readings(*_set_points(told)))


def _set_plate(channel: Channel, told: Told) -> Values:
    air_c, wet_c = _set_points(told)
    share = relative_humidity_of_readings(air_c, wet_c)
    known = np.isfinite(share)
    return np.where(known, _rounded(emc_pct(np.where(known, air_c, 20.0), np.where(known, share, 0.5))), np.nan)


def _set_wet_bulb(channel: Channel, told: Told) -> Values:
    """A controller that cools down still holds the schedule's humidity, never a wet bulb above the dry bulb."""
    return np.minimum(*_set_points(told))


def _set_points(told: Told) -> tuple[Values, Values]:
    return told.run.values["set_air_temperature"], told.run.values["set_wet_bulb"]


def _share(told: Told, side: str) -> Values:
    """Return the relative humidity on a side; saturated where noise lifts the wet bulb above the dry bulb."""
    air_c, wet_c = told.run.values[f"air_temperature:{side}"], told.run.values[f"wet_bulb:{side}"]
    return np.asarray(relative_humidity_of_readings(air_c, np.minimum(wet_c, air_c)))


def _rounded(value: Values) -> Values:
    """Round to what a display shows."""
    return np.asarray(np.round(value, 1), np.float64)


_MADE: Final[dict[str, Callable[[Channel, Told], Values]]] = {
    Channel.Quantity.FAN_CURRENT: _current,
    Channel.Quantity.RELATIVE_HUMIDITY: _humidity,
    Channel.Quantity.EMC: _plate,
    Channel.Quantity.SET_RELATIVE_HUMIDITY: _set_humidity,
    Channel.Quantity.SET_EMC: _set_plate,
    Channel.Quantity.SET_WET_BULB: _set_wet_bulb,
}
