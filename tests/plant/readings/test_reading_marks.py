"""Which readings no rule may rest on; and that it does not matter in which order they came."""

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plant.models import ChannelDay, Charge, Reading
from plant.physics.psychrometrics import is_possible_pair
from plant.readings.calculations.reading_marks import (
    AFTER_GAP,
    JUMP,
    NO_SUCH_AIR,
    OUT_OF_RANGE,
    STANDS_STILL,
    Track,
    gap_s,
    mark,
)
from plant.readings.taking_in import settle, take_in
from tests.factories import MONDAY, ChargeFactory, KilnFactory
from tests.plant.readings.reading_things import MONDAY_S, channel

HOUR_S = 3600
DAY_S = 24 * HOUR_S
ALWAYS = [(0, 100 * DAY_S)]


def track(
    quantity: str, values: Sequence[float], place: str = "", every_s: int = 60, at_s: Sequence[int] | None = None
) -> Track:
    moments = np.arange(len(values)) * every_s + 10_000 if at_s is None else np.array(at_s)
    return Track(quantity, place, every_s, moments.astype(np.int64), np.array(values, float))


def marks_of(one: Track, bit: int, running_s: Sequence[tuple[int, int]] = ALWAYS) -> list[int]:
    """Return the places of a channel's readings that have a mark."""
    return np.flatnonzero(mark({"it": one}, running_s)["it"] & bit).tolist()


def test_the_bits_are_those_of_the_model() -> None:
    assert Reading.Mark.values == [OUT_OF_RANGE, NO_SUCH_AIR, STANDS_STILL, JUMP, AFTER_GAP]


def test_nothing_is_wrong_with_a_quiet_hour() -> None:
    assert mark({"it": track("air_temperature", 60 + np.sin(np.arange(60)))}, ALWAYS)["it"].tolist()[1:] == [0] * 59


def test_the_ends_of_the_scale_are_out_of_range() -> None:
    assert marks_of(track("relative_humidity", [-0.1, 0, 100, 100.1]), OUT_OF_RANGE) == [0, 3]


def test_no_values_have_no_marks() -> None:
    assert mark({"it": track("air_temperature", []), "wet": track("wet_bulb", [])}, ALWAYS)["it"].tolist() == []


class TestNoSuchAir:
    """Pairs of dry and wet bulb."""

    @staticmethod
    def wrong(dry_c: float, wet_c: float, dry_place: str = "left", wet_place: str = "left") -> bool:
        tracks = {"dry": track("air_temperature", [dry_c], dry_place), "wet": track("wet_bulb", [wet_c], wet_place)}
        marks = mark(tracks, ALWAYS)
        dry, wet = (int(marks[name][0] & NO_SUCH_AIR) for name in ("dry", "wet"))
        assert dry == wet
        return bool(wet)

    @pytest.mark.parametrize(("dry_c", "wet_c"), [(60, 62), (60, 90), (30, 7), (80, 20)])
    def test_pairs_that_no_air_has_are_marked_on_both_bulbs(self, dry_c: float, wet_c: float) -> None:
        assert self.wrong(dry_c, wet_c)

    @pytest.mark.parametrize(("dry_c", "wet_c"), [(60, 55), (60, 60), (60, 61.4), (30, 10), (110, 99.9), (110, 100.3)])
    def test_pairs_that_two_sound_sensors_may_show_are_left_alone(self, dry_c: float, wet_c: float) -> None:
        assert not self.wrong(dry_c, wet_c)

    def test_a_broken_cable_does_not_spoil_the_other_bulb(self) -> None:
        tracks = {"dry": track("air_temperature", [850]), "wet": track("wet_bulb", [55])}
        marks = mark(tracks, ALWAYS)
        assert marks["dry"][0] & OUT_OF_RANGE
        assert not marks["wet"][0] & (OUT_OF_RANGE | NO_SUCH_AIR)

    def test_each_side_is_judged_by_its_own_dry_bulb(self) -> None:
        tracks = {
            "dry left": track("air_temperature", [60], "left"),
            "dry right": track("air_temperature", [50], "right"),
            "wet left": track("wet_bulb", [55], "left"),
            "wet right": track("wet_bulb", [55], "right"),
        }
        marks = mark(tracks, ALWAYS)
        assert [name for name, found in marks.items() if found[0] & NO_SUCH_AIR] == ["dry right", "wet right"]

    @pytest.mark.parametrize(("wet_c", "is_wrong"), [(55, False), (62, True)])
    def test_without_a_common_side_only_what_no_dry_bulb_allows_is_marked(self, wet_c: float, is_wrong: bool) -> None:
        tracks = {
            "dry left": track("air_temperature", [60], "left"),
            "dry right": track("air_temperature", [50], "right"),
            "wet": track("wet_bulb", [wet_c]),
        }
        assert bool(mark(tracks, ALWAYS)["wet"][0] & NO_SUCH_AIR) is is_wrong

    def test_a_dry_bulb_of_long_ago_says_nothing(self) -> None:
        tracks = {
            "dry": track("air_temperature", [20, 60], at_s=[0, 3600]),
            "wet": track("wet_bulb", [50], at_s=[1800]),
        }
        assert not mark(tracks, ALWAYS)["wet"][0] & NO_SUCH_AIR

    @given(st.floats(-20, 110), st.floats(-20, 110))
    @settings(max_examples=60)
    def test_what_air_can_have_is_never_marked(self, dry_c: float, wet_c: float) -> None:
        if is_possible_pair(dry_c, wet_c):
            assert not self.wrong(dry_c, wet_c)


class TestStandsStill:
    """Values that stay the very same."""

    def test_a_value_that_stays_for_six_hours_is_marked_from_its_first_reading_on(self) -> None:
        values = [60.1, *[60.2] * 361, 60.3]
        assert marks_of(track("air_temperature", values), STANDS_STILL) == list(range(1, 362))

    def test_a_minute_less_is_not(self) -> None:
        assert marks_of(track("air_temperature", [60.1, *[60.2] * 360, 60.3]), STANDS_STILL) == []

    def test_an_empty_kiln_may_stand_still(self) -> None:
        assert marks_of(track("air_temperature", [20.0] * 1000), STANDS_STILL, running_s=[]) == []

    def test_only_the_time_in_which_the_kiln_runs_counts(self) -> None:
        still = track("air_temperature", [20.0] * 1000)
        begin_s = int(still.at_s[500])
        assert marks_of(still, STANDS_STILL, [(begin_s, begin_s + 9 * HOUR_S)]) == list(range(500, 1000))
        assert marks_of(still, STANDS_STILL, [(begin_s, begin_s + 5 * HOUR_S)]) == []

    def test_a_set_point_may_stand_still(self) -> None:
        assert marks_of(track("set_air_temperature", [60] * 2000), STANDS_STILL) == []

    def test_silence_is_no_standing_still(self) -> None:
        assert marks_of(track("air_temperature", [60.2, 60.2], at_s=[0, 7 * HOUR_S]), STANDS_STILL) == []


class TestJump:
    """Jumps away and back."""

    @pytest.mark.parametrize("count", [1, 2, 3])
    @pytest.mark.parametrize("height", [20, -20])
    def test_a_few_readings_away_and_back_are_marked(self, count: int, height: float) -> None:
        values = [60.0] * 5 + [60.0 + height] * count + [60.0] * 5
        assert marks_of(track("air_temperature", values), JUMP) == list(range(5, 5 + count))

    def test_a_change_that_stays_is_a_change(self) -> None:
        assert marks_of(track("air_temperature", [60.0] * 5 + [80.0] * 5), JUMP) == []

    def test_four_readings_away_are_a_change(self) -> None:
        assert marks_of(track("air_temperature", [60.0] * 5 + [80.0] * 4 + [60.0] * 5), JUMP) == []

    def test_a_reading_between_two_broken_ones_is_not_the_jump(self) -> None:
        assert marks_of(track("air_temperature", [60, 999, 60, 999, 60, 60]), JUMP) == []

    def test_what_can_be_true_within_the_time_is_no_jump(self) -> None:
        assert marks_of(track("air_temperature", [60, 60, 71, 60, 60]), JUMP) == []
        assert marks_of(track("air_temperature", [60, 60, 85, 60, 60], every_s=300), JUMP) == []
        assert marks_of(track("air_temperature", [60, 60, 95, 60, 60], every_s=300), JUMP) == [2]

    def test_what_lies_behind_a_gap_is_not_compared(self) -> None:
        assert marks_of(track("air_temperature", [60, 90, 60], at_s=[0, 3600, 3660]), JUMP) == []

    def test_a_valve_may_jump(self) -> None:
        assert marks_of(track("heating_valve", [0, 100, 0]), JUMP) == []


class TestAfterGap:
    """The first after a gap."""

    def test_the_first_reading_after_a_gap_is_marked(self) -> None:
        at_s = [0, 60, 120, 120 + gap_s(60), 121 + 2 * gap_s(60), 181 + 2 * gap_s(60)]
        assert marks_of(track("air_temperature", range(6), at_s=at_s), AFTER_GAP) == [0, 4]

    def test_what_is_told_on_change_has_no_gaps(self) -> None:
        assert marks_of(track("fan_direction", [1, -1], at_s=[0, 4 * HOUR_S]), AFTER_GAP) == []


Batches = list[list[tuple[str, int, float]]]


@st.composite
def shuffled_batches(draw: st.DrawFn) -> tuple[Batches, list[int]]:
    """Draw readings of four channels with everything that is marked, in batches of any order; settle after some."""
    rows: list[tuple[str, int, float]] = []
    for key in ("air_temperature:left", "wet_bulb:left", "wood_moisture:1", "set_air_temperature"):
        minute = 0
        for _ in range(draw(st.integers(1, 7))):
            minute += draw(st.sampled_from([10, 10, 10, 30, 45, 400]))
            value = draw(st.sampled_from([60.0, 60.0, 55.0, 62.5, 95.0, 900.0, -45.0, 20.0]))
            for _ in range(draw(st.sampled_from([1, 1, 2, 4, 45]))):
                rows.append((key, minute, value))
                minute += 10
    order = draw(st.permutations(range(len(rows))))
    cuts = sorted(draw(st.lists(st.integers(0, len(rows)), max_size=4)))
    edges = [0, *cuts, len(rows)]
    batches = [[rows[place] for place in order[a:b]] for a, b in pairwise(edges) if b > a]
    return batches, draw(st.lists(st.integers(0, 4), max_size=3))


def keep(rows: list[tuple[str, int, float]]) -> None:
    channels = {key: channel(key, every_s=600).pk for key, _, _ in rows}
    at_s = np.array([MONDAY_S + 60 * minute for _, minute, _ in rows])
    take_in(np.array([channels[key] for key, _, _ in rows]), at_s, np.array([value for _, _, value in rows]))


def all_marks_and_days() -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    days = ChannelDay.objects.order_by("channel__quantity", "day")
    return (
        list(Reading.objects.order_by("channel__quantity", "at_s").values_list("channel__quantity", "at_s", "marks")),
        list(days.values_list("channel__quantity", "day", "readings", "marked", "low", "mean", "high")),
    )


@pytest.mark.django_db
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(shuffled_batches())
def test_marks_and_days_are_the_same_in_whatever_order_readings_come(drawn: tuple[Batches, list[int]]) -> None:
    batches, settled_after = drawn
    with transaction.atomic():
        kiln = KilnFactory()
        ChargeFactory(kiln=kiln, basis=Charge.Basis.DONE, begin_at=MONDAY - timedelta(days=2), days=9)
        for number, batch in enumerate(batches):
            keep(batch)
            if number in settled_after:
                settle(kiln)
        settle(kiln)
        piecemeal = all_marks_and_days()
        Reading.objects.all().delete()
        ChannelDay.objects.all().delete()
        keep(sorted(row for batch in batches for row in batch))
        settle(kiln)
        assert piecemeal == all_marks_and_days()
        transaction.set_rollback(True)
