"""Several writers of readings at once: run where rows are locked, on PostgreSQL."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import numpy as np
import pytest
from django.db import connection

from plant.models import ChannelDay, Job, Reading, Unsettled
from plant.readings.taking_in import SETTLE_TASK, Taken, settle, take_in
from tests.factories import KilnFactory
from tests.plant.readings.reading_things import MONDAY_S, bring, channel

pytestmark = [
    pytest.mark.postgresql,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one writer in at a time"),
]
WRITERS, ROUNDS, MINUTES = 4, 6, 200


def test_overlapping_batches_lose_nothing_double_nothing_and_never_wait_for_each_other() -> None:
    kilns = [KilnFactory(tag=tag) for tag in ("K1", "K2", "K3")]
    channels = [channel(key, kiln=kiln).pk for kiln in kilns for key in ("air_temperature:left", "wet_bulb:left")]
    gate = Barrier(WRITERS)

    def write(number: int) -> list[Taken]:
        # Each writer has its own order of kilns and minutes, so that bare locks would cross.
        order = np.random.default_rng(number)
        taken = []
        try:
            gate.wait(timeout=30)
            for one_round in range(ROUNDS):
                minutes = one_round * MINUTES // 2 + np.arange(MINUTES)
                ids, at = (grid.ravel() for grid in np.meshgrid(channels, MONDAY_S + 60 * minutes))
                mixed = order.permutation(len(ids))
                taken.append(take_in(ids[mixed], at[mixed], np.full(len(ids), 50.0 + number)))
        finally:
            connection.close()
        return taken

    with ThreadPoolExecutor(WRITERS) as writers:
        taken = [one for found in writers.map(write, range(WRITERS)) for one in found]
    expected = len(channels) * (ROUNDS + 1) * MINUTES // 2
    assert Reading.objects.count() == expected
    assert sum(one.new for one in taken) == expected
    assert sum(one.new + one.known + one.differing for one in taken) == WRITERS * ROUNDS * MINUTES * len(channels)
    assert Job.objects.waiting().filter(what=SETTLE_TASK).count() == len(kilns)


def test_what_comes_while_a_kiln_is_settled_is_settled_too() -> None:
    dry = channel("air_temperature:left")
    gate = Barrier(2)

    def write() -> None:
        try:
            gate.wait(timeout=30)
            for n in range(40):
                bring(dry, [60.0 + n % 7], from_s=MONDAY_S + 60 * n)
        finally:
            connection.close()

    def keep_settling() -> None:
        try:
            gate.wait(timeout=30)
            for _ in range(40):
                settle(dry.kiln)
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as people:
        for done in [people.submit(write), people.submit(keep_settling)]:
            done.result(timeout=60)
    settle(dry.kiln)
    assert not Unsettled.objects.exists()
    day = ChannelDay.objects.get()
    assert (day.readings, day.marked) == (40, 1)
