"""Moist air against published tables, two other libraries, and itself the other way round."""

import numpy as np
import psychrolib
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plant.physics import psychrometrics as air
from tests.plant.physics.drying_reference import columns, worst

psychrolib.SetUnitSystem(psychrolib.SI)

KILN_TEMPERATURES = st.floats(20, 99.9)
INHG_PA = 3386.389


def celsius(fahrenheit: object) -> object:
    return (np.asarray(fahrenheit) - 32) / 1.8


def test_saturation_pressure_meets_the_ashrae_formula_and_the_steam_tables() -> None:
    temp, ashrae, if97 = columns("saturation_pressure", "temp_c", "psat_ashrae_pa", "psat_if97_pa")
    assert worst(air.saturation_pressure_pa(temp) - ashrae) < 0.006
    assert worst(air.saturation_pressure_pa(temp) / if97 - 1) < 0.0002


@pytest.mark.parametrize(("temp_c", "pascal"), [(-40, 12.84), (-20, 103.24), (-10, 259.90), (-5, 401.74)])
def test_below_freezing_the_pressure_is_that_over_ice(temp_c: float, pascal: float) -> None:
    # ASHRAE Fundamentals (2017) ch. 1 Table 3, from memory; psychrolib agrees.
    assert float(air.saturation_pressure_pa(temp_c)) == pytest.approx(pascal, rel=5e-4)
    assert float(air.saturation_pressure_pa(temp_c)) == pytest.approx(psychrolib.GetSatVapPres(temp_c), rel=1e-12)


def test_humidity_from_two_bulbs_meets_every_check_point() -> None:
    dry, wet, ratio, rh, real = columns(
        "moist_air", "dry_bulb_c", "wet_bulb_c", "humidity_ratio_kg_kg", "rh_ashrae_pct", "rh_real_gas_pct"
    )
    assert worst(air.humidity_ratio_from_wet_bulb(dry, wet) - ratio) < 6e-6
    assert worst(air.relative_humidity(dry, wet) * 100 - rh) < 0.0051
    # Real-gas moist air is another formula altogether: at most 0.27 points off (at 100 °C).
    assert worst(air.relative_humidity(dry, wet) * 100 - real) < 0.28


def test_dew_point_enthalpy_and_density_meet_every_check_point() -> None:
    dry, wet, dew, heat, density = columns(
        "moist_air", "dry_bulb_c", "wet_bulb_c", "dew_point_c", "enthalpy_kj_per_kg_da", "density_kg_m3"
    )
    ratio = air.humidity_ratio_from_wet_bulb(dry, wet)
    assert worst(air.dew_point_c(ratio) - dew) < 0.0051
    assert worst(air.enthalpy_j_kg(dry, ratio) / 1000 - heat) < 0.0051
    assert worst(air.density_kg_m3(dry, ratio) - density) < 6e-5


def test_the_psychrometer_equation_meets_the_printed_table() -> None:
    dry, wet, table, equation = columns(
        "psychrometer_table", "dry_bulb_f", "wet_bulb_f", "rh_table_pct", "rh_psychrometer_eq_pct_30inhg"
    )
    assert len(dry) == 97
    found = air.relative_humidity_by_psychrometer(celsius(dry), celsius(wet), 30 * INHG_PA) * 100
    assert worst(found - equation) < 0.0051
    # The table is printed in whole per cent.
    assert worst(found - table) < 0.6


def test_the_thermodynamic_wet_bulb_gives_more_than_a_psychrometer_table() -> None:
    dry, wet, table = columns("psychrometer_table", "dry_bulb_f", "wet_bulb_f", "rh_table_pct")
    more = air.relative_humidity(celsius(dry), celsius(wet), 30 * INHG_PA) * 100 - table
    assert 0.5 < float(np.mean(more)) < 0.9
    assert worst(more) < 1.8


def test_kiln_depressions_meet_both_formulas_and_the_red_oak_schedule() -> None:
    dry, wet, by_wick, ashrae, schedule = columns(
        "kiln_depressions",
        "dry_bulb_f",
        "wet_bulb_f",
        "rh_psychrometer_eq_pct",
        "rh_ashrae_pct",
        "rh_schedule_from_memory_pct",
    )
    found = air.relative_humidity_by_psychrometer(celsius(dry), celsius(wet)) * 100
    assert worst(found - by_wick) < 0.051
    assert worst(air.relative_humidity(celsius(dry), celsius(wet)) * 100 - ashrae) < 0.051
    assert worst(found - schedule) < 0.6


@given(dry=KILN_TEMPERATURES, depression=st.floats(0, 30))
@settings(max_examples=150)
def test_psychrolib_agrees_over_the_whole_kiln_range(dry: float, depression: float) -> None:
    wet = dry - depression
    assume(wet >= 0 and bool(air.is_possible_pair(dry, wet)))
    ratio = float(air.humidity_ratio_from_wet_bulb(dry, wet))
    assert ratio == pytest.approx(psychrolib.GetHumRatioFromTWetBulb(dry, wet, 101325), rel=1e-6, abs=1e-6)
    assert float(air.enthalpy_j_kg(dry, ratio)) == pytest.approx(psychrolib.GetMoistAirEnthalpy(dry, ratio), rel=1e-9)
    assert float(air.density_kg_m3(dry, ratio)) == pytest.approx(
        psychrolib.GetMoistAirDensity(dry, ratio, 101325), rel=1e-5
    )


def test_coolprop_agrees_over_the_whole_kiln_range() -> None:
    dry, humidity, real_ratio, dew, wet, density = columns(
        "real_gas_air", "dry_bulb_c", "rh", "humidity_ratio_kg_kg", "dew_point_c", "wet_bulb_c", "density_kg_m3"
    )
    assert (dry.min(), dry.max(), humidity.min(), humidity.max(), len(dry)) == (20, 99.9, 0.02, 0.99, 219)
    ratio = air.humidity_ratio(humidity * air.saturation_pressure_pa(dry))
    # Real gas against ideal gas: vapour and air draw each other, and steam's heat falls short of 1.86 kJ/kg K.
    assert worst((ratio / real_ratio - 1)[dry < 90]) < 0.015
    assert worst(ratio / real_ratio - 1) < 0.03
    assert worst(air.dew_point_c(ratio) - dew) < 0.15
    assert worst(air.wet_bulb_c(dry, humidity) - wet) < 0.15
    assert worst(air.density_kg_m3(dry, ratio) / density - 1) < 0.015


@given(dry=st.floats(-30, 130), humidity=st.floats(0.001, 1), pressure=st.floats(70_000, 110_000))
@settings(max_examples=150)
def test_wet_bulb_and_humidity_are_each_others_inverse(dry: float, humidity: float, pressure: float) -> None:
    assume(humidity * float(air.saturation_pressure_pa(dry)) < 0.98 * pressure)
    wet = float(air.wet_bulb_c(dry, humidity, pressure))
    # Between a wick of ice and one of water the rule has a step, on which no wet bulb lies.
    assume(not -0.01 < wet < 0.01)
    assert wet <= dry + 1e-6
    assert float(air.relative_humidity(dry, min(wet, dry), pressure)) == pytest.approx(humidity, abs=1e-6)


@given(temp=st.floats(-90, 199))
def test_dew_point_and_saturation_pressure_are_each_others_inverse(temp: float) -> None:
    assert float(air.saturation_temperature_c(air.saturation_pressure_pa(temp))) == pytest.approx(temp, abs=1e-5)


def test_humidity_rises_with_the_wet_bulb_and_falls_with_the_dry_bulb() -> None:
    wet = np.linspace(25, 60, 200)
    assert np.all(np.diff(air.relative_humidity(60, wet)) > 0)
    assert np.all(np.diff(air.relative_humidity(np.linspace(50, 85, 200), 50)) < 0)
    assert float(air.relative_humidity(60, 60)) == pytest.approx(1, abs=1e-12)
    assert np.all(np.diff(air.saturation_pressure_pa(np.linspace(-100, 200, 3001))) > 0)


@pytest.mark.parametrize(
    ("dry", "wet", "message"),
    [
        (30, 9, "wet bulb 9 °C is outside what any air of 30 °C has"),
        (30, 31, "wet bulb 31 °C is outside -100 to the dry bulb of 30 °C"),
        (110, 100.5, "below the boiling point 99.97 °C"),
        (210, 50, "dry bulb 210 °C is outside -100 to 200"),
        (float("nan"), 50, "dry bulb nan"),
        ([60, 30], [55, 9], "wet bulb 9 °C"),
    ],
)
def test_a_pair_that_no_air_has_is_refused_with_its_values(dry: float, wet: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        air.relative_humidity(dry, wet)
    assert not np.all(air.is_possible_pair(dry, wet))


def test_pairs_are_told_apart_without_an_error() -> None:
    dry, wet = [30, 30, 60, 110, np.nan, 60, np.inf], [9, 31, 55, 100.5, 3, 60, 4]
    assert air.is_possible_pair(dry, wet).tolist() == [False, False, True, False, False, True, False]


@pytest.mark.parametrize(
    ("compute", "message"),
    [
        (lambda: air.wet_bulb_c(60, 1.2), "relative humidity 1.2 is outside 0.0001 to 1"),
        (lambda: air.wet_bulb_c(120, 0.55), "vapour pressure .* is outside 0 to below the air pressure"),
        (lambda: air.relative_humidity(60, 55, 1013), "air pressure 1013 Pa is outside 50000 to 120000"),
        (lambda: air.dew_point_c(-0.1), "humidity ratio -0.1 kg/kg is outside 0 to"),
        (lambda: air.relative_humidity_by_psychrometer(10, -1), "wet bulb -1 °C is outside 0 to 200"),
        (lambda: air.humidity_ratio_from_wet_bulb(50, 51), "wet bulb 51 °C is outside"),
    ],
)
def test_values_outside_their_range_are_refused_by_name(compute: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        compute()  # type: ignore[operator]
