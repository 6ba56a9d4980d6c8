"""The demo's readings: what the simulated kilns told, taken in as a mill's own are, and what the watches made of it."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from maintenance.demo.chamber.sensors import PLATE_LAG_S
from maintenance.demo.climate import EVERY_S, Told, tell
from maintenance.models import Watch
from maintenance.watches.looking import look_over_past
from maintenance.watches.settings import set_up_watches
from maintenance.watches.specs import is_about_silence, spec_of
from plant import clock
from plant.background.queueing import take_off
from plant.models import Channel, ChannelName, Job, Kiln, ReadingSource
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

    def lines(self) -> list[str]:
        """Say it."""
        if not self.readings:
            return []
        return [
            f"{self.readings:,} readings of the kilns were brought",
            f"The watches raised {self.fired} times in them; {self.work_orders} jobs came of it",
        ]


def bring_readings(days: int = DAYS, tags: Collection[str] | None = None) -> Brought:
    """Bring readings of the last days up to now, and let the watches look at them; nothing where some are there.

    Of all kilns that have channels, or of those named.
    """
    joined = Kiln.objects.filter(channels__isnull=False).select_related("mill").distinct()
    kilns = [kiln for kiln in joined if (tags is None or kiln.tag in tags) and not _has_readings(kiln)]
    now = clock.now()
    since = [(kiln, now - timedelta(days=days if kiln.tag in LONG else min(days, DAYS_OF_NEW))) for kiln in kilns]
    told: dict[int, list[Told]] = defaultdict(list)
    for one in tell(since, now):
        told[one.kiln.pk].append(one)
    found = [_bring(kiln, told[kiln.pk]) for kiln in kilns if told[kiln.pk]]
    return Brought(*(sum(getattr(one, name) for one in found) for name in ("readings", "fired", "work_orders")))


def _has_readings(kiln: Kiln) -> bool:
    return kiln.channels.filter(readings__isnull=False).exists()


@transaction.atomic
def _bring(kiln: Kiln, told: Sequence[Told]) -> Brought:
    """Take in what a kiln told, settle it at once, and let its watches look over it."""
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
    at_s = np.concatenate(instants)
    taken = take_in(np.concatenate(ids), at_s, np.concatenate(values), source=source)
    settle(kiln)
    for watch in set_up_watches(kiln, by=None, switched_on=True).watches:
        if is_about_silence(spec_of(watch)):
            # The demo's readings end with its present: nobody shall be sent to look for the rest.
            Watch.objects.filter(pk=watch.pk).update(is_on=False)
    looked = look_over_past(kiln, int(at_s.min()), int(at_s.max()))
    _take_off_the_list(kiln)
    return Brought(taken.new, len(looked.fired), len(looked.work_orders))


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
