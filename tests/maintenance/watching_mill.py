"""A kiln that is watched: channels, a charge, and readings written in few words."""

import csv
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from maintenance.loading.loader import load_catalogue
from maintenance.models import Watch
from maintenance.watches.calculations.rows import COLUMNS, parse_watches
from maintenance.watches.firing import Looked
from maintenance.watches.looking import look
from maintenance.watches.settings import set_up_watches, switch_on
from plant.models import Channel, Component, ComponentKind, Kiln, Reading
from tests.factories import MONDAY, ChargeFactory, ComponentFactory, KilnFactory

# A few watches with numbers of their own, so that tuning those that ship changes no test here.
SHIPPED = parse_watches(
    csv.DictReader(
        [
            ",".join(COLUMNS),
            "wick-dry,Wick dry,depression:*,limit,side=below; limit=0.8; clear=1.5; hold_minutes=40,drying,"
            "psychrometer,wick-dry; trough-scaled; wet-bulb-no-air,work_order,30,wick-exchange,"
            "The wet bulb {place} is only {value} {unit} below the dry bulb since {since}.,warm_wet_bulb,1,,ours,",
            "wick-apart,Wet bulbs apart,wet_bulb:left - wet_bulb:right,disagreement,limit=1.5; clear=1; "
            "hold_minutes=30,drying,psychrometer,wick-dirty; trough-scaled,notice,30,trough-descale,"
            "The wet bulbs differ by {value} {unit}.,,7,,ours,",
            "dry-apart,Dry bulbs apart,air_temperature:left - air_temperature:right,disagreement,limit=2; clear=1,"
            "drying,psychrometer,wick-dirty,notice,3,trough-descale,The dry bulbs differ by {value} {unit}.,,7,,ours,",
            "wet-drift,Wet bulbs drift,wet_left_right_k,drift,chart=cusum; least_charges=5; least_sd=0.1,,psychrometer,"
            "wick-dirty,notice,30,trough-descale,Off by {value} {unit} over {charges} charges.,,14,,ours,",
            "slower,Heat-up slower,heat_up_h,trend,side=above; limit=12; least_charges=8,,heating-coil,"
            "coil-fins-blocked,notice,30,coil-clean,It will pass {limit} {unit} about {day}.,cold_side,14,,ours,",
            "valve,Valve leaks,rise_valve_shut,limit,side=above; limit=1; clear=0.3,drying,heating-valve,"
            "heating-valve-leaks,work_order,30,heating-valve-seat,It climbs by {value} {unit}.,water_leak,3,10,ours,",
            "fan-low,Fan low,fan_share:*,limit,side=below; limit=85; clear=92,drying,fan-motor,motor-belt-slips,"
            "work_order,30,fan-bearing-exchange,Fan {place} draws {value} {unit}.,less_air,5,,ours,",
            "turn,No turning,since_turned,limit,side=above; limit=360; clear=30,drying,fan-reversal,reversal-missing,"
            "work_order,30,rotation-reversal-test,No turning for {value} {unit}.,,2,,ours,",
            "no-data,No data,data_age,limit,side=above; limit=60; clear=5,drying,control-room,control-clock-wrong,"
            "work_order,30,alarm-test,Nothing was heard of this kiln for {value} {unit}.,,1,,ours,",
        ]
    )
)
MONDAY_S = int(MONDAY.timestamp())
# Loading 2 h, heating up 8 h: from then on the charge of the factory dries.
DRYING_S = MONDAY_S + 10 * 3600
PSYCHROMETER = ("air_temperature:left", "wet_bulb:left", "fan_direction")
Course = Callable[[int], float]


def a_watched_kiln(*keys: str, tag: str = "K1", places: tuple[str, ...] = ("left",)) -> Kiln:
    """A kiln with a psychrometer on the left, or with other channels, and a charge of five days from Monday on."""
    load_catalogue()
    kiln = KilnFactory(tag=tag)
    for key in keys or PSYCHROMETER:
        quantity, _, place = key.partition(":")
        Channel.objects.create(kiln=kiln, quantity=quantity, place=place)
    for place in places:
        a_component(kiln, "psychrometer", place)
    ChargeFactory(kiln=kiln, basis="done")
    return kiln


def a_component(kiln: Kiln, kind: str, place: str = "") -> Component:
    """A component of a kind of the catalogue."""
    found = ComponentKind.objects.get(code=kind)
    tag = f"{kind}-{place}".rstrip("-")
    side = place if place in ("left", "right") else ""
    made: Component = ComponentFactory(kiln=kiln, kind=found, tag=tag, name=tag, side=side)
    return made


def a_watch(kiln: Kiln, code: str, at: datetime | None = None) -> Watch:
    """One of the watches that ship, switched on, which has looked at nothing since Monday morning."""
    set_up_watches(kiln, by=None)
    watch = switch_on(Watch.objects.get(kiln=kiln, code=code), by=None)
    Watch.objects.filter(pk=watch.pk).update(looked_until_s=int((at or MONDAY).timestamp()))
    watch.refresh_from_db()
    return watch


def write(kiln: Kiln, from_s: int, minutes: int, **courses: Course | float) -> int:
    """Write a reading a minute; names have two underscores for the colon. Return the last second."""
    channels = {channel.key: channel for channel in Channel.objects.filter(kiln=kiln)}
    rows = []
    for name, course in courses.items():
        channel = channels[name.replace("__", ":")]
        for minute in range(minutes):
            value = course(minute) if callable(course) else course
            rows.append(Reading(channel=channel, at_s=from_s + 60 * minute, value=float(value)))
    Reading.objects.bulk_create(rows, batch_size=5000)
    return from_s + 60 * (minutes - 1)


def dry_wick(kiln: Kiln, from_s: int = DRYING_S, sound: int = 60, dry: int = 90, after: int = 0) -> int:
    """Write the readings of a wick that is sound, falls dry, and perhaps is mended."""
    return write(
        kiln,
        from_s,
        sound + dry + after,
        air_temperature__left=60,
        wet_bulb__left=lambda minute: 59.8 if sound <= minute < sound + dry else 52,
        fan_direction=1,
    )


def looked(kiln: Kiln, until_s: int, from_s: int = MONDAY_S) -> Looked:
    """Let the kiln's watches look."""
    return look(Kiln.objects.get(pk=kiln.pk), from_s, until_s)


def ship(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the watches of these tests be those that ship."""
    monkeypatch.setattr("maintenance.watches.settings.shipped_specs", lambda: SHIPPED)


def stand_at(monkeypatch: pytest.MonkeyPatch, epoch_s: int) -> None:
    """Let it be an instant."""
    now = MONDAY + timedelta(seconds=epoch_s - MONDAY_S)
    monkeypatch.setattr("plant.clock.now", lambda: now)
