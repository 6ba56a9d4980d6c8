"""Water, time and capacity against published figures; the fan laws."""

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.physics import drying_capacity as drying
from plant.physics import fan_laws
from tests.plant.physics.drying_reference import columns, worst

OAK = drying.Drying(thickness_mm=25.4, temp_c=60, start_mc_pct=80, end_mc_pct=8, emc_pct=5)


def test_time_constants_meet_the_red_oak_model() -> None:
    thick, temp, days, ratio = columns("red_oak_times", "thickness_mm", "temp_c", "tau_days", "time_ratio_to_1in")
    # The file gives a tenth of a millimetre and of a degree.
    assert worst(drying.time_constant_h(thick, temp) / 24 / days - 1) < 0.006
    assert worst(drying.time_constant_h(thick, temp) / drying.time_constant_h(25.4, temp) / ratio - 1) < 0.003


def test_the_published_thickness_effect_comes_out() -> None:
    # Simpson and Tschernitz: 3/32 in more on 1 in takes 10 to 15 % longer.
    longer = float(drying.time_constant_h(25.4 * (1 + 3 / 32), 60) / drying.time_constant_h(25.4, 60))
    assert 1.10 < longer < 1.15


def test_the_model_course_ends_where_it_should() -> None:
    tau = float(drying.time_constant_h(25.4, 60))
    assert 5 + (80 - 5) * exp(-OAK.model_h / tau) == pytest.approx(8)


def test_a_kilns_own_history_sets_the_level_and_the_spread() -> None:
    history = [(OAK, OAK.model_h * factor) for factor in (1.8, 2.0, 2.2, 2.0)]
    level = drying.calibrate(history)
    assert level.factor == pytest.approx(1.995, abs=0.005) and level.charges == 4
    time = drying.drying_time(OAK, level)
    assert time.low_h and time.high_h
    assert time.low_h < time.likely_h < time.high_h
    assert time.likely_h == pytest.approx(OAK.model_h * level.factor)


def test_with_little_history_no_spread_is_claimed() -> None:
    assert drying.calibrate([]) == drying.UNCALIBRATED
    few = drying.calibrate([(OAK, 100.0), (OAK, 120.0)])
    assert few.log_spread is None and drying.drying_time(OAK, few).low_h is None


@given(start=st.floats(30, 150), end=st.floats(7, 20))
def test_the_share_above_fibre_saturation_is_a_share_and_grows_with_the_start(start: float, end: float) -> None:
    share = drying.share_above_fibre_saturation(start, end, 5)
    assert 0 <= share < 1
    assert share <= drying.share_above_fibre_saturation(start + 5, end, 5)


def test_dry_timber_spends_no_time_above_fibre_saturation() -> None:
    assert drying.share_above_fibre_saturation(25, 10, 6) == 0
    assert drying.share_above_fibre_saturation(80, 30, 6) == 1


def test_capacity_is_the_load_over_all_hours_of_a_charge() -> None:
    assert drying.capacity_m3_per_day(60, 84, 12) == 15


def test_hotter_air_dries_faster() -> None:
    assert np.all(np.diff(drying.rate_ratio_at(np.linspace(20, 100, 50), 60)) > 0)
    assert float(drying.rate_ratio_at(60, 60)) == 1


def test_the_fan_laws_meet_the_published_ratios() -> None:
    speed, flow, power = columns("fan_laws", "speed_ratio", "flow_ratio", "power_ratio")
    assert worst(fan_laws.flow_ratio(speed) - flow) < 1e-9
    assert worst(fan_laws.power_ratio(speed) - power) < 1e-9


def test_a_row_of_fans_loses_the_share_of_those_that_stand() -> None:
    assert fan_laws.bank_flow_ratio(4, 1, 0) == 0.75
    assert fan_laws.bank_flow_ratio(4, 4, 0.8) == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("compute", "message"),
    [
        (lambda: drying.time_constant_h(500, 60), "thickness 500 mm is outside 10 to 150"),
        (lambda: drying.time_constant_h(25, 140), "temperature 140 °C is outside 20 to 100"),
        (lambda: drying.Drying(25, 60, 80, 4, 5), "wanted moisture content 4 % is outside EMC 5 to start 80 %"),
        (lambda: drying.calibrate([(OAK, 0)]), "drying time 0 h is outside"),
        (lambda: drying.capacity_m3_per_day(60, 0, 0), "drying time 0 h is outside"),
        (lambda: fan_laws.power_ratio(50), "speed ratio 50 is outside 0 to 2"),
        (lambda: fan_laws.bank_flow_ratio(4, 5, 0), "affected fans 5 is outside 0 to 4"),
    ],
)
def test_values_outside_their_range_are_refused_by_name(compute: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        compute()  # type: ignore[operator]
