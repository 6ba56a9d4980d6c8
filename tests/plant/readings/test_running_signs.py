"""Which readings say that a kiln runs or is hot."""

from collections.abc import Sequence

import numpy as np
import pytest

from plant.readings.calculations.reading_marks import Track
from plant.readings.calculations.running_signs import RunningSign, Sign, running_signs

LIMIT_C = 35.0


def track(quantity: str, values: Sequence[float], every_s: int = 60) -> Track:
    return Track(quantity, "1", every_s, np.arange(len(values)) * every_s, np.array(values, float))


def signs(*tracks: Track) -> list[RunningSign]:
    return running_signs(tracks, LIMIT_C)


@pytest.mark.parametrize(
    ("quantity", "stands", "runs", "sign"),
    [
        ("fan_current", 0.2, 12.0, Sign.FANS),
        ("fan_speed", 0.0, 40.0, Sign.FANS),
        ("fan_direction", 0.0, -1.0, Sign.FANS),
        ("heating_valve", 2.0, 30.0, Sign.HEAT),
        ("heat_power", 0.5, 80.0, Sign.HEAT),
        ("spray_valve", 1.0, 100.0, Sign.SPRAY),
        ("air_temperature", 34.9, 35.1, Sign.HOT),
    ],
)
def test_each_energy_speaks_for_itself(quantity: str, stands: float, runs: float, sign: Sign) -> None:
    assert signs(track(quantity, [stands] * 5)) == []
    (found,) = signs(track(quantity, [stands, stands, runs]))
    assert (found.sign, found.at_s, found.value, found.is_still_so) == (sign, 120, runs, True)


def test_what_ran_for_a_moment_and_stands_again_is_found_and_is_over() -> None:
    (found,) = signs(track("fan_current", [0, 14, 0, 0]))
    assert (found.at_s, found.is_still_so) == (60, False)


def test_heating_shows_as_a_rise_long_before_the_limit() -> None:
    (found,) = signs(track("air_temperature", [20 + 0.25 * minute for minute in range(30)]))
    assert (found.sign, found.is_still_so) == (Sign.WARMING, True)


def test_the_sun_on_the_roof_is_no_heating() -> None:
    assert signs(track("air_temperature", [20 + 0.1 * minute for minute in range(60)])) == []


def test_a_chamber_that_cools_says_nothing() -> None:
    assert signs(track("air_temperature", [34 - 0.3 * minute for minute in range(40)])) == []


def test_what_is_wanted_and_what_is_outside_say_nothing() -> None:
    assert (
        signs(track("set_air_temperature", [70.0]), track("outside_temperature", [38.0]), track("door_open", [1])) == []
    )
