"""The equilibrium moisture content against the published table, and the way back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.physics import emc
from tests.plant.physics.drying_reference import columns, worst


def test_every_point_of_the_wood_handbook_table_is_met() -> None:
    temp_f, humidity, table = columns("emc_table", "temp_f", "rh_pct", "emc_pct")
    assert len(table) == 342
    off = emc.emc_pct((temp_f - 32) / 1.8, humidity / 100) - table
    # The table is rounded to 0.1.
    assert worst(off) < 0.057
    assert float(np.mean(np.abs(off))) < 0.026


def test_a_psychrometers_emc_meets_every_check_point() -> None:
    dry, wet, ashrae, by_wick = columns(
        "moist_air", "dry_bulb_c", "wet_bulb_c", "emc_from_rh_ashrae_pct", "emc_from_rh_psychrometer_eq_pct"
    )
    assert worst(emc.emc_from_wet_bulb_pct(dry, wet) - ashrae) < 0.0051
    assert worst(emc.emc_from_psychrometer_pct(dry, wet) - by_wick) < 0.0051
    assert worst(ashrae - by_wick) < 0.21


def test_kiln_schedules_are_met_within_the_gap_of_the_two_coefficient_sets() -> None:
    dry, wet, by_wick, schedule = columns(
        "kiln_depressions", "dry_bulb_f", "wet_bulb_f", "emc_psychrometer_eq_pct", "emc_schedule_from_memory_pct"
    )
    found = emc.emc_from_psychrometer_pct((dry - 32) / 1.8, (wet - 32) / 1.8)
    assert worst(found - by_wick) < 0.03
    # A published red oak schedule, from memory: 0.1 to 0.3 points below the equation.
    assert worst(found - schedule) < 0.35


@given(temp=st.floats(-1, 110), humidity=st.floats(0, 1))
@settings(max_examples=100)
def test_the_inverse_leads_back_to_the_humidity(temp: float, humidity: float) -> None:
    assert float(emc.humidity_for_emc(temp, emc.emc_pct(temp, humidity))) == pytest.approx(humidity, abs=1e-8)


def test_emc_rises_with_humidity_and_falls_with_heat() -> None:
    humidity = np.linspace(0, 1, 101)
    for temp in range(0, 111, 10):
        assert np.all(np.diff(emc.emc_pct(temp, humidity)) > 0)
    assert np.all(np.diff(emc.emc_pct(np.linspace(20, 110, 91), 0.6)) < 0)
    assert float(emc.emc_pct(60, 0)) == 0


@pytest.mark.parametrize(
    ("compute", "message"),
    [
        (lambda: emc.emc_pct(60, 65), "relative humidity 65 is outside 0 to 1"),
        (lambda: emc.emc_pct(140, 0.6), "temperature 140 °C is outside -2 to 115"),
        (lambda: emc.humidity_for_emc(60, 30), "EMC 30 % is outside 0 to 2"),
        (lambda: emc.emc_from_psychrometer_pct(30, 9), "what any air of 30 °C"),
    ],
)
def test_values_outside_their_range_are_refused_by_name(compute: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        compute()  # type: ignore[operator]
