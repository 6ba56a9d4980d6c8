"""The demo's readings: simulated from its own charges, taken in like a mill's own, and looked at by the watches."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from maintenance.demo.readings import bring_readings
from maintenance.demo.setting_up import set_up
from maintenance.demo.world import World
from maintenance.models import Firing, Watch, WorkOrder
from plant import clock
from plant.basics.periods import to_epoch_s
from plant.models import Channel, ChannelDay, Charge, Job, Kiln, Reading, ReadingSource, Unsettled
from plant.readings.calculations.climate_frame import PHASE_CODES
from plant.readings.spans import load_frame

DAY = date(2026, 11, 25)


@pytest.fixture
def world(db: None, settings: Any, monkeypatch: pytest.MonkeyPatch) -> World:
    """The demo mill at seven in the morning."""
    settings.KILNWARD_TODAY = DAY.isoformat()
    world = World(DAY, 2)
    monkeypatch.setattr(clock, "now", lambda: world.at(0, 7))
    set_up(DAY, months=2)
    return world


def test_a_kiln_with_a_weak_fan_tells_of_it_until_it_stands(world: World) -> None:
    kiln = Kiln.objects.get(tag="K3")
    brought = bring_readings(days=1, tags=["K3"])
    charge = Charge.objects.get(kiln=kiln, begin_at__lt=world.at(0), end_at__gt=world.at(0))
    readings = Reading.objects.filter(channel__kiln=kiln)
    assert brought.readings == readings.count() == Reading.objects.count()
    assert readings.order_by("at_s")[0].at_s >= to_epoch_s(charge.begin_at)
    assert world.at(0, 7) - timedelta(minutes=5) <= readings.order_by("-at_s")[0].at < world.at(0, 7)
    # Every channel told something, and nothing is left to be settled.
    assert readings.values("channel").distinct().count() == Channel.objects.filter(kiln=kiln).count()
    assert ChannelDay.objects.filter(channel__kiln=kiln).exists()
    assert not Unsettled.objects.exists()
    assert not Job.objects.waiting().exists()
    assert ReadingSource.objects.get().last_heard_at == world.at(0, 7)

    frame = load_frame(kiln, to_epoch_s(charge.begin_at), to_epoch_s(world.at(0, 7)), step_s=300)
    is_drying = frame.phase == PHASE_CODES["drying"]
    stands = is_drying & (frame.moments_s > to_epoch_s(world.at(-1, 17)))
    runs = is_drying & (frame.moments_s < to_epoch_s(world.at(-1, 16)))
    assert np.nanmax(frame.values["fan_current:2"][stands]) == 0
    assert np.nanmean(frame.values["air_temperature:left"][runs]) > 50
    assert np.nanmean(frame.values["wood_moisture:1"][runs]) > 20
    assert np.nanmean(frame.values["fan_current:1"][runs]) < 0.9 * np.nanmean(frame.values["fan_current:2"][runs])

    firing = Firing.objects.get(watch__kiln=kiln, watch__code="fan-low-1")
    assert WorkOrder.objects.unfinished().filter(origin=WorkOrder.Origin.WATCH, pk=firing.work_order_id).exists()
    assert not Watch.objects.filter(kiln=kiln, is_on=True, code="no-data").exists()
    assert bring_readings(days=1, tags=["K3"]).readings == 0
