"""Figures of a whole charge: what they are worth, and why there is none."""

import numpy as np
import pytest
from numpy.typing import NDArray

from plant.basics.sentences import Sentence
from plant.frame.saying import say
from plant.physics.emc import emc_from_psychrometer_pct
from plant.readings.calculations.charge_figures import (
    FIGURES,
    ChargeFigures,
    charge_figures,
    check_figure,
    figure_codes,
    figure_places,
    figure_unit,
)
from plant.readings.calculations.charge_formulas import LOSS_SHARE
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame

Numbers = NDArray[np.float64]
STEP_S = 300
HOUR = 3600 // STEP_S
# Hours of each phase of the charge that the tests look at.
HOURS = {"loading": 1, "heating_up": 6, "drying": 24, "conditioning": 6, "cooling": 3}
PHASE = np.concatenate([np.full(hours * HOUR, PHASE_CODES[name], dtype=np.int8) for name, hours in HOURS.items()])
COUNT = len(PHASE)
WAY = np.where(np.arange(COUNT) // (3 * HOUR) % 2 == 0, 1.0, -1.0)


def at(phase: str) -> NDArray[np.bool_]:
    return np.asarray(PHASE_CODES[phase] == PHASE)


def since(phase: str) -> Numbers:
    """Return the hours since a phase began, below 0 before."""
    return (np.arange(COUNT) - np.flatnonzero(at(phase))[0]) / HOUR


def heating(hours: float = 4, from_c: float = 20, to_c: float = 60) -> Numbers:
    """Return a temperature that climbs evenly while heating up and then stands."""
    return np.clip(from_c + (to_c - from_c) * since("heating_up") / hours, from_c, to_c)


def figures_of(**values: object) -> ChargeFigures:
    """Compute the figures of a charge in which all stands still but what is given."""
    given = {
        name.replace("__", ":"): np.broadcast_to(np.asarray(value, float), COUNT) for name, value in values.items()
    }
    return charge_figures(Frame(1_700_000_000, STEP_S, given, PHASE))


def test_a_heat_up_of_the_standard_rise_takes_as_long_as_it_took() -> None:
    # From 20 to 60 °C it is on average 20 K over 20 °C, so that the air outside stands at 5 °C for 35 K.
    found = figures_of(air_temperature=heating(), set_air_temperature=60, outside_temperature=5, heating_valve=80)
    # It counts as reached 2 K before, which is given back by the rise.
    assert found.values["heat_up_h"] == pytest.approx(4, rel=0.04)
    assert found.values["heat_up_valve_h"] == pytest.approx(0.8 * found.values["heat_up_h"])


def test_a_smaller_rise_counts_for_more_and_cold_air_outside_for_less() -> None:
    warm = figures_of(air_temperature=heating(2, 40), set_air_temperature=60, outside_temperature=15)
    assert warm.values["heat_up_h"] == pytest.approx(4, rel=0.06)
    mild, cold = (
        figures_of(air_temperature=heating(), set_air_temperature=60, outside_temperature=outside).values["heat_up_h"]
        for outside in (5, -30)
    )
    assert cold / mild == pytest.approx((1 - 2 * LOSS_SHARE) / (1 - LOSS_SHARE), rel=0.02)


def test_the_target_is_where_the_set_point_climbs_to() -> None:
    climbing = np.minimum(heating() + 1, 60)
    found = figures_of(air_temperature=heating(), set_air_temperature=climbing, outside_temperature=5)
    assert found.values["heat_up_h"] == pytest.approx(4, rel=0.04)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"air_temperature": 40, "set_air_temperature": 60}, "figure.not_hot"),
        ({"air_temperature": heating(1, 55), "set_air_temperature": 60}, "figure.began_warm"),
        ({"air_temperature": np.nan, "set_air_temperature": 60}, "figure.no_start"),
        ({"air_temperature": heating(), "set_air_temperature": np.nan}, "figure.no_set_point"),
    ],
)
def test_why_there_is_no_heat_up_time(values: dict[str, object], why: str) -> None:
    found = figures_of(**values)
    assert "heat_up_h" not in found.values
    assert found.why_not["heat_up_h"].code == why


def test_overshoot_and_hours_outside_the_band() -> None:
    hours = since("drying")
    dry = heating() + np.where((hours >= 0) & (hours < 3), 4.0, 0.0)
    found = figures_of(air_temperature=dry, set_air_temperature=60, wet_bulb=50, set_wet_bulb=50)
    assert found.values["overshoot_k"] == pytest.approx(4)
    assert found.values["outside_band_h"] == pytest.approx(3)


def test_the_time_to_humidity_is_that_for_four_degrees() -> None:
    hours = since("conditioning")
    spray = np.where(hours >= 1, 100.0, 0.0)
    wet = np.clip(50 + 8 * (hours - 1), 50, 58)
    found = figures_of(wet_bulb=wet, set_wet_bulb=58, spray_valve=spray, air_temperature=65)
    assert found.values["time_to_humidity_h"] == pytest.approx(0.5, abs=0.06)
    never = figures_of(wet_bulb=50, set_wet_bulb=58, spray_valve=spray)
    assert "not reached" in say(never.why_not["time_to_humidity_h"])
    near = figures_of(wet_bulb=57, set_wet_bulb=58, spray_valve=spray)
    assert "less than 2 K" in say(near.why_not["time_to_humidity_h"])
    dry = figures_of(wet_bulb=50, set_wet_bulb=58, spray_valve=0)
    assert "no spray" in say(dry.why_not["time_to_humidity_h"])


def test_evaporation_is_the_fall_of_the_electrodes_over_the_drying() -> None:
    moisture = np.clip(60 - 1.5 * since("drying"), 0, 60)
    assert figures_of(wood_moisture__1=moisture).values["evaporation"] == pytest.approx(1.5, rel=0.02)
    late = np.where(since("drying") > 12, moisture, np.nan)
    assert "do not cover" in say(figures_of(wood_moisture__1=late).why_not["evaporation"])


def test_sides_are_compared_over_both_directions_alike() -> None:
    found = figures_of(
        air_temperature__left=60.5 + 2 * WAY, air_temperature__right=60 - 2 * WAY, wet_bulb__left=50.3,
        wet_bulb__right=50, emc__left=7, fan_direction=WAY,
    )  # fmt: skip
    assert found.values["left_right_k"] == pytest.approx(0.5)
    assert found.values["wet_left_right_k"] == pytest.approx(0.3)
    assert found.values["air_drop_k"] == pytest.approx(4, abs=0.1)
    expected = 7 - sum(float(emc_from_psychrometer_pct(60.5 + 2 * way, 50.3)) for way in (1, -1)) / 2
    assert found.values["plate_minus_psychrometer:left"] == pytest.approx(expected)


def test_fans_are_known_for_each_direction_and_against_each_other() -> None:
    found = figures_of(fan_current__1=10 + WAY, fan_current__2=10, fan_direction=WAY)
    assert found.values["fan_current_left:1"] == pytest.approx(11)
    assert found.values["fan_current_right:1"] == pytest.approx(9)
    assert found.values["fan_share:2"] == pytest.approx((100 * 10 / 11 + 100 * 10 / 9) / 2, rel=0.02)


def test_heat_and_valves() -> None:
    found = figures_of(
        air_temperature=60, heating_valve=50, heat_power=150, heating_supply_temperature=90, spray_valve=20,
        flap_position=0, wet_bulb=50, set_wet_bulb=50.5, set_air_temperature=60,
    )  # fmt: skip
    assert found.values["heat_per_valve"] == pytest.approx(150 / (0.5 * 30))
    assert found.values["heat_open_valve_kw"] == pytest.approx(300)
    assert (found.values["heating_valve_pct"], found.values["spray_holding"]) == pytest.approx((50, 20))
    assert found.values["wet_minus_set_k"] == pytest.approx(-0.5)


def test_few_readings_make_no_mean() -> None:
    scarce = np.where(np.arange(COUNT) % 40 == 0, 5.0, np.nan)
    found = figures_of(heating_valve=scarce)
    assert "fewer than 2 hours" in say(found.why_not["heating_valve_pct"])


def test_a_charge_that_was_broken_off_has_figures_of_what_it_had() -> None:
    phase = np.full(COUNT, PHASE_CODES["drying"], dtype=np.int8)
    values = {"heating_valve": np.full(COUNT, 30.0), "air_temperature": heating(), "set_air_temperature": heating()}
    found = charge_figures(Frame(0, STEP_S, values, phase))
    assert found.values["heating_valve_pct"] == 30
    assert found.why_not["heat_up_h"] == Sentence.of("figure.no_heating_up")


def test_only_the_figures_asked_for_are_computed() -> None:
    frame = Frame(0, STEP_S, {"heating_valve": np.full(COUNT, 30.0)}, PHASE)
    found = charge_figures(frame, ["heating_valve_pct", "fan_share:1"])
    why_not = {"fan_share:1": Sentence.of("figure.not_measured")}
    assert found == ChargeFigures({"heating_valve_pct": 30}, why_not)


def test_a_kiln_has_the_figures_that_its_channels_serve() -> None:
    keys = ["air_temperature", "wet_bulb", "emc:1", "emc:2", "fan_current:1", "fan_direction"]
    codes = figure_codes(keys)
    assert {"plate_minus_psychrometer:1", "plate_minus_psychrometer:2", "fan_current_left:1"} <= set(codes)
    assert figure_places("fan_share", keys) == ()
    assert not any(code.startswith("heat") for code in codes)
    assert figure_unit("plate_minus_psychrometer:2") == "percent"
    for code in codes:
        check_figure(code)


@pytest.mark.parametrize("code", ["", "heat", "heat_up_h:1", "fan_share:"])
def test_a_figure_that_does_not_exist_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match=r"not known|no such place"):
        check_figure(code)


def test_every_figure_has_a_code_that_the_database_can_keep() -> None:
    assert all(len(f"{code}:right") <= 40 for code in FIGURES)
