"""A stuck sensor whose last digit flickers is marked; live air, however steady, is not.

Live readings come from the simulated chamber, rounded to a tenth as loggers do.
"""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.demo.chamber.design import Chamber, ChamberDesign
from maintenance.demo.chamber.model import simulate
from plant.readings.calculations.reading_marks import STANDS_STILL, Track, mark, reach_s
from tests.plant.readings.test_reading_marks import ALWAYS, HOUR_S, marks_of, track

HOURS = 14


def flickering(low: float, step: float, hours: float, seed: int = 1, *, share: float = 0.5) -> list[float]:
    """A reading a minute that shows one of two values."""
    drawn = np.random.default_rng(seed).random(int(60 * hours)) < share
    return (low + step * drawn).tolist()


@pytest.mark.parametrize(
    ("quantity", "low", "hours"),
    [("air_temperature", 60.1, HOURS), ("wet_bulb", 50.0, HOURS), ("relative_humidity", 61.2, 26)],
)
@pytest.mark.parametrize("share", [0.5, 0.03])
def test_a_last_digit_that_flickers_is_no_life(quantity: str, low: float, hours: float, share: float) -> None:
    one = track(quantity, flickering(low, 0.1, hours, share=share))
    assert len(marks_of(one, STANDS_STILL)) > 0.9 * len(one.at_s)


def test_before_and_after_it_stuck_nothing_is_marked() -> None:
    alive = (60 + np.sin(np.arange(300) / 30)).round(1).tolist()
    marked = marks_of(track("air_temperature", [*alive, *flickering(63.0, 0.1, HOURS), *alive]), STANDS_STILL)
    assert (marked[0], marked[-1]) == (300, 300 + 60 * HOURS - 1)


@pytest.mark.parametrize(
    "values",
    [
        flickering(60.1, 0.1, 11),
        flickering(60.0, 1.0, 40),
        [*flickering(60.1, 0.1, 7), 60.4, *flickering(60.1, 0.1, 7)],
        (60 + 0.1 * np.random.default_rng(2).integers(0, 3, 2400)).round(1).tolist(),
    ],
    ids=["too short", "a coarse sensor", "a third value", "three values"],
)
def test_what_may_be_live_is_left_alone(values: Sequence[float]) -> None:
    assert marks_of(track("air_temperature", values), STANDS_STILL) == []


def test_a_standing_kiln_may_read_two_values_for_days() -> None:
    assert marks_of(track("air_temperature", flickering(20, 0.1, 40)), STANDS_STILL, running_s=[]) == []


def test_a_channel_that_is_read_each_half_hour_may_keep_to_two_values_by_chance() -> None:
    assert marks_of(track("air_temperature", flickering(60, 0.1, 2), every_s=1800), STANDS_STILL) == []


def test_weeks_of_steady_drying_are_not_taken_for_a_stuck_sensor() -> None:
    """Six simulated kilns over nine days, drying for most of them, with the noise of their sensors."""
    for run in simulate([Chamber(ChamberDesign(), seed=seed) for seed in range(6)], 1_750_000_000, 24 * 9):
        tracks = {}
        for key, value in run.values.items():
            quantity, _colon, place = key.partition(":")
            if quantity in ("air_temperature", "wet_bulb"):
                known = np.isfinite(value)
                tracks[key] = Track(quantity, place, 300, run.moments_s[known], value[known].round(1))
        marks = mark(tracks, [(run.start_s, run.start_s + 10**7)])
        assert len(tracks) == 4
        assert not any((one & STANDS_STILL).any() for one in marks.values())


ROWS = st.tuples(st.sampled_from([60.0, 60.1, 60.2]), st.integers(1, 300))


@given(st.lists(ROWS, min_size=1, max_size=40), st.data())
def test_a_reading_is_marked_alike_with_all_of_the_past_or_with_what_is_in_reach(
    rows: list[tuple[float, int]], data: st.DataObject
) -> None:
    values = [value for value, length in rows for _ in range(length)]
    whole = track("air_temperature", values)
    which = data.draw(st.integers(0, len(values) - 1))
    reach = reach_s("air_temperature", 60)
    near = np.abs(whole.at_s - whole.at_s[which]) <= reach
    part = track("air_temperature", whole.value[near].tolist(), at_s=whole.at_s[near].tolist())
    at = int(np.flatnonzero(whole.at_s[near] == whole.at_s[which])[0])
    marks = mark({"it": whole}, ALWAYS)["it"][which], mark({"it": part}, ALWAYS)["it"][at]
    assert marks[0] & STANDS_STILL == marks[1] & STANDS_STILL
    assert reach >= 12 * HOUR_S
