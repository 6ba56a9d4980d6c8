"""Readings come in, are settled, and are read again."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import transaction
from django.utils import timezone

from plant.background.running import run_job
from plant.models import ChannelDay, Job, Kiln, Reading, ReadingSource, Unsettled
from plant.readings.calculations.climate_frame import PHASE_CODES
from plant.readings.calculations.reading_marks import AFTER_GAP, OUT_OF_RANGE
from plant.readings.spans import load_frame, load_span
from plant.readings.taking_in import SETTLE_PAUSE, SETTLE_TASK, ReadingFault, Taken, settle, take_in
from plant.signals import readings_settled
from tests.factories import MONDAY, ChargeFactory, KilnFactory
from tests.plant.readings.reading_things import MONDAY_S, bring, channel, kept

pytestmark = pytest.mark.django_db


def test_readings_that_come_again_change_nothing() -> None:
    dry = channel("air_temperature:left")
    assert bring(dry, [60, 61, 62]) == Taken(new=3)
    before = kept(dry)
    assert bring(dry, [60, 61, 62]) == Taken(known=3)
    assert kept(dry) == before


def test_the_first_value_that_came_is_kept() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60, 61])
    assert bring(dry, [60, 99, 62]) == Taken(new=1, known=1, differing=1)
    assert [value for _, value, _ in kept(dry)] == [60, 61, 62]


def test_a_second_that_stands_twice_in_a_batch_is_taken_once() -> None:
    dry = channel("air_temperature:left")
    taken = take_in(np.full(4, dry.pk), MONDAY_S + np.array([60, 0, 60, 60]), np.array([61.0, 60, 62, 61]))
    assert taken == Taken(new=2, known=1, differing=1)
    assert [(at_s, value) for at_s, value, _ in kept(dry)] == [(0, 60), (60, 61)]


@pytest.mark.parametrize(
    ("value", "at_s", "said"),
    [
        (float("nan"), MONDAY_S, "nan is not a number"),
        (float("inf"), MONDAY_S, "inf is not a number"),
        (1e12, MONDAY_S, "too large"),
        (60, 3600, "before the year 2000"),
        (60, 7258118400, "more than a day ahead"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(value: float, at_s: int, said: str) -> None:
    dry = channel("air_temperature:left")
    with pytest.raises(ReadingFault, match=said) as refusal:
        take_in(np.array([dry.pk, dry.pk]), np.array([MONDAY_S + 60, at_s]), np.array([60, value]))
    assert refusal.value.faults[0].startswith("reading 2: ")
    assert not Reading.objects.exists()
    assert not Unsettled.objects.exists()


def test_an_unknown_channel_is_refused() -> None:
    dry = channel("air_temperature:left")
    with pytest.raises(ReadingFault, match=f"channel {dry.pk + 1} is not known"):
        take_in(np.array([dry.pk + 1]), np.array([MONDAY_S]), np.array([60.0]))


def test_fifty_faults_are_told_in_their_order() -> None:
    dry = channel("air_temperature:left")
    with pytest.raises(ReadingFault) as refusal:
        bring(dry, [float("nan")] * 70)
    assert [said.partition(":")[0] for said in refusal.value.faults] == [f"reading {n}" for n in range(1, 51)]


def test_a_value_beyond_the_sensor_is_marked_at_once_and_kept() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60, 850])
    assert kept(dry) == [(0, 60, 0), (60, 850, OUT_OF_RANGE)]


def test_the_source_was_heard() -> None:
    source = ReadingSource.objects.create(code="logger", name="Logger", way="files")
    bring(channel("emc"), [9], source=source)
    source.refresh_from_db()
    assert source.last_heard_at is not None


def test_a_batch_that_is_rolled_back_leaves_neither_readings_nor_work() -> None:
    dry = channel("air_temperature:left")
    with pytest.raises(RuntimeError), transaction.atomic():
        bring(dry, [60])
        raise RuntimeError
    assert not Reading.objects.exists()
    assert not Job.objects.filter(what=SETTLE_TASK).exists()


def test_what_waits_is_widened_by_each_batch() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60, 61])
    bring(dry, [59], from_s=MONDAY_S - 3600)
    waiting = Unsettled.objects.get()
    assert (waiting.from_s - MONDAY_S, waiting.until_s - MONDAY_S) == (-3600, 60)


def test_one_waiting_task_for_each_kiln_is_enough() -> None:
    dry = channel("air_temperature:left")
    other = channel("emc", kiln=KilnFactory(tag="K2"))
    for n in range(3):
        bring(dry, [60], from_s=MONDAY_S + 60 * n)
    bring(other, [9])
    assert Job.objects.waiting().filter(what=SETTLE_TASK).count() == 2


def test_a_steady_feed_is_settled_every_few_minutes_only() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60])
    Job.objects.update(state="finished", finished_at=timezone.now())
    bring(dry, [61], from_s=MONDAY_S + 60)
    first, second = Job.objects.filter(what=SETTLE_TASK).order_by("pk")
    assert second.not_before_at == first.not_before_at + SETTLE_PAUSE


def test_readings_known_already_want_nothing_settled() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60])
    settle(dry.kiln)
    bring(dry, [60])
    assert not Unsettled.objects.exists()


def test_settling_sums_up_days_of_the_mill_and_tells() -> None:
    dry = channel("air_temperature:left", every_s=3600)
    midnight_s = int(datetime(2026, 3, 1, 23, tzinfo=UTC).timestamp())
    bring(dry, [50, 60, 70, 999], from_s=midnight_s - 3600, every_s=3600)
    told: list[Any] = []

    def hear(**what: Any) -> None:
        told.append((what["kiln"], what["from_s"], what["until_s"]))

    readings_settled.connect(hear)
    try:
        span = settle(dry.kiln)
    finally:
        readings_settled.disconnect(hear)
    assert span == (midnight_s - 3600, midnight_s + 2 * 3600)
    assert told == [(dry.kiln, *span)]
    days = ChannelDay.objects.values_list("day", "readings", "marked", "low", "mean", "high")
    # The very first one comes after nothing: it counts as the first after a gap.
    assert list(days) == [(date(2026, 3, 1), 1, 1, None, None, None), (date(2026, 3, 2), 3, 1, 60, 65, 70)]


@pytest.mark.parametrize(("day", "hours"), [(date(2025, 3, 30), 23), (date(2025, 10, 26), 25)])
def test_a_day_on_which_clocks_change_has_all_its_hours(day: date, hours: int) -> None:
    wet = channel("wood_moisture:1", every_s=3600)
    kiln = wet.kiln
    midnight_s = int(datetime(day.year, day.month, day.day, tzinfo=kiln.mill.zone).timestamp())
    bring(wet, [20] * 72, from_s=midnight_s - 24 * 3600, every_s=3600)
    settle(kiln)
    assert ChannelDay.objects.get(day=day).readings == hours


def test_settling_nothing_does_nothing() -> None:
    assert settle(KilnFactory()) is None


def test_late_readings_replace_the_days_they_touch() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60, 62], from_s=MONDAY_S + 600)
    settle(dry.kiln)
    bring(dry, [50, 51], from_s=MONDAY_S + 480)
    settle(dry.kiln)
    day = ChannelDay.objects.get()
    assert (day.readings, day.marked, day.low, day.high) == (4, 1, 51, 62)
    assert [marks for _, _, marks in kept(dry)] == [AFTER_GAP, 0, 0, 0]


def test_a_listener_that_fails_leaves_the_span_unsettled() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60, 61])

    def fail(**what: Any) -> None:
        raise RuntimeError("the watches broke down")

    readings_settled.connect(fail)
    try:
        with pytest.raises(RuntimeError):
            settle(dry.kiln)
    finally:
        readings_settled.disconnect(fail)
    assert Unsettled.objects.get().from_s == MONDAY_S
    assert not ChannelDay.objects.exists()


def test_a_crash_between_portions_loses_nothing() -> None:
    dry = channel("air_temperature:left", every_s=3600)
    bring(dry, [60 + n % 5 for n in range(24 * 40)], every_s=3600)
    heard = []

    def fail_at_the_second(**what: Any) -> None:
        heard.append(what["from_s"])
        if len(heard) == 2:
            raise RuntimeError

    readings_settled.connect(fail_at_the_second)
    try:
        with pytest.raises(RuntimeError):
            settle(dry.kiln)
        assert Unsettled.objects.get().from_s > MONDAY_S
        settle(dry.kiln)
    finally:
        readings_settled.disconnect(fail_at_the_second)
    assert heard[1] == heard[2]
    assert not Unsettled.objects.exists()
    assert sum(ChannelDay.objects.values_list("readings", flat=True)) == 24 * 40


def test_years_without_readings_are_passed_over() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [20], from_s=MONDAY_S - 10 * 365 * 86_400)
    bring(dry, [60])
    heard = []

    def hear(**what: Any) -> None:
        heard.append(what["from_s"])

    readings_settled.connect(hear)
    try:
        settle(dry.kiln)
    finally:
        readings_settled.disconnect(hear)
    assert len(heard) == 2


@pytest.mark.django_db(transaction=True)
def test_the_task_settles_and_may_run_again() -> None:
    dry = channel("air_temperature:left")
    bring(dry, [60, 61])
    job = Job.objects.get(what=SETTLE_TASK)
    assert run_job(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.FINISHED
    assert job.result == {"from_s": MONDAY_S, "until_s": MONDAY_S + 60}
    assert not Unsettled.objects.exists()


def test_a_span_has_every_channel_asked_for() -> None:
    dry, wet = channel("air_temperature:left"), channel("wet_bulb:left")
    channel("emc")
    bring(dry, [60, 850, 62])
    span = load_span(dry.kiln, MONDAY_S, MONDAY_S + 120, keys=["air_temperature:left", "wet_bulb:left", "no_such"])
    assert set(span) == {dry.key, wet.key}
    assert span[dry.key].at_s.tolist() == [MONDAY_S, MONDAY_S + 60]
    assert span[dry.key].value.tolist() == [60, 850]
    assert span[dry.key].marks.tolist() == [0, OUT_OF_RANGE]
    assert span[wet.key].value.tolist() == []
    assert load_span(dry.kiln, MONDAY_S, MONDAY_S + 120, with_marked=False)[dry.key].value.tolist() == [60]


def test_a_kiln_without_channels_has_an_empty_span_and_frame() -> None:
    kiln = KilnFactory()
    assert load_span(kiln, MONDAY_S, MONDAY_S + 60) == {}
    assert load_frame(kiln, MONDAY_S, MONDAY_S + 60).values == {}


def test_a_frame_holds_trustworthy_readings_and_the_phase(django_assert_num_queries: Any) -> None:
    dry, wanted = channel("air_temperature:left"), channel("set_air_temperature")
    ChargeFactory(basis="running", begin_at=MONDAY - timedelta(hours=1))
    bring(dry, [60, 850, 62])
    bring(wanted, [65], from_s=MONDAY_S - 7200)
    with django_assert_num_queries(4):
        frame = load_frame(dry.kiln, MONDAY_S, MONDAY_S + 3 * 3600, step_s=60)
    assert len(frame) == 180
    held = frame.values[dry.key]
    assert held[0] == 60
    assert np.isnan(held[1])
    # A value holds until its channel has a gap: five minutes here.
    assert np.all(held[2:8] == 62)
    assert np.all(np.isnan(held[8:]))
    assert np.all(frame.values[wanted.key] == 65)
    assert frame.phase[0] == PHASE_CODES["loading"]
    assert frame.phase[60] == PHASE_CODES["heating_up"]


def test_a_planned_charge_is_no_phase_yet() -> None:
    kiln: Kiln = KilnFactory()
    ChargeFactory(kiln=kiln)
    frame = load_frame(kiln, MONDAY_S, MONDAY_S + 600)
    assert set(frame.phase.tolist()) == {PHASE_CODES["between"]}


def test_a_message_holds_for_one_moment() -> None:
    said = channel("message")
    bring(said, [17], from_s=MONDAY_S + 90)
    frame = load_frame(said.kiln, MONDAY_S, MONDAY_S + 300)
    assert np.flatnonzero(frame.values["message"] == 17).tolist() == [2]
