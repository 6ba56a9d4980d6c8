"""Kilns between 99 and 130 °C and mills high above the sea: what is reckoned, and what is said not to be."""

from decimal import Decimal

import numpy as np
import psychrolib
import pytest

from maintenance.losses.waiting_drying import WarmWetBulb
from maintenance.losses.waiting_heat import DoorGap
from maintenance.losses.waiting_loss import Worth, price
from plant.physics.emc import HOTTEST_C, emc_from_psychrometer_pct, emc_pct
from plant.physics.heat_loss import bare_pipe_loss_w_m
from plant.physics.psychrometrics import (
    density_kg_m3,
    enthalpy_j_kg,
    humidity_ratio_from_wet_bulb,
    relative_humidity,
)
from plant.physics.standard_atmosphere import pressure_at_pa
from tests.plant.physics.drying_reference import columns, worst

HOT = [(99, 80), (105, 90), (110, 95), (115, 70), (120, 98), (130, 60), (130, 96)]
psychrolib.SetUnitSystem(psychrolib.SI)

# Standard atmosphere, height in m and pressure in hPa: ISO 2533:1975 and U.S. Standard Atmosphere 1976, from memory.
STANDARD_ATMOSPHERE = [(0, 1013.25), (500, 954.61), (1000, 898.74), (2000, 794.95), (3000, 701.08), (5000, 540.20)]


@pytest.mark.parametrize(("height_m", "hectopascal"), STANDARD_ATMOSPHERE)
def test_the_air_pressure_at_a_height_is_that_of_the_standard_atmosphere(height_m: float, hectopascal: float) -> None:
    # Tabled over geometric height, which at 5000 m is 4 m more than the geopotential one: 0.05 %.
    assert float(pressure_at_pa(height_m)) / 100 == pytest.approx(hectopascal, rel=6e-4)
    assert float(pressure_at_pa(height_m)) == pytest.approx(psychrolib.GetStandardAtmPressure(height_m), rel=1e-4)


def test_no_mill_lies_so_high_or_so_low() -> None:
    for height_m in (-500, 6000, np.nan):
        with pytest.raises(ValueError, match="height above the sea"):
            pressure_at_pa(height_m)


@pytest.mark.parametrize("height_m", [0, 700, 1800])
@pytest.mark.parametrize(("dry", "wet"), HOT)
def test_hot_air_is_reckoned_as_psychrolib_does_at_every_height(dry: float, wet: float, height_m: float) -> None:
    """psychrolib 2.5 carries the equations of ASHRAE Fundamentals (2017) ch. 1 to 200 °C."""
    pressure = float(pressure_at_pa(height_m))
    if wet > 100 - height_m / 280:
        pytest.skip("there the wet bulb would boil")
    ratio = float(humidity_ratio_from_wet_bulb(dry, wet, pressure))
    assert ratio == pytest.approx(psychrolib.GetHumRatioFromTWetBulb(dry, wet, pressure), rel=1e-5)
    assert float(enthalpy_j_kg(dry, ratio)) == pytest.approx(psychrolib.GetMoistAirEnthalpy(dry, ratio), rel=1e-5)


def test_hot_air_has_the_properties_of_the_real_gas() -> None:
    """CoolProp's humid air (Herrmann, Kretzschmar and Gatley, 2009) is fitted up to 350 °C and knows real gases."""
    dry, wet, rh, density, heat = columns(
        "real_gas_hot_air", "dry_bulb_c", "wet_bulb_c", "rh", "density_kg_m3", "enthalpy_j_kg_da"
    )
    assert list(zip(dry, wet, strict=True)) == HOT
    ratio = humidity_ratio_from_wet_bulb(dry, wet)
    assert worst(relative_humidity(dry, wet) / rh - 1) < 0.02
    assert worst(density_kg_m3(dry, ratio) / density - 1) < 0.012
    assert worst(enthalpy_j_kg(dry, ratio) / heat - 1) < 0.02


def test_no_air_is_left_where_the_wet_bulb_boils_and_that_comes_earlier_up_a_mountain() -> None:
    with pytest.raises(ValueError, match=r"below the boiling point 99\.9"):
        humidity_ratio_from_wet_bulb(110, 100)
    with pytest.raises(ValueError, match=r"below the boiling point 93\."):
        humidity_ratio_from_wet_bulb(110, 96, pressure_at_pa(1800))


def test_a_leak_of_a_hot_kiln_has_its_price() -> None:
    worth = Worth(Decimal(1), Decimal(1), Decimal(1))
    warm = price(DoorGap(dry_bulb_c=98, wet_bulb_c=80), worth)
    hot = price(DoorGap(dry_bulb_c=125, wet_bulb_c=95), worth)
    assert hot.kwh_per_day > warm.kwh_per_day > 0


def test_beyond_what_is_published_no_emc_is_told() -> None:
    """In steam of one atmosphere EMC falls as it gets hotter: 0.707 of saturation at 110 °C, 0.599 at 115 °C."""
    at = [float(emc_pct(temp, share)) for temp, share in ((105, 0.838), (110, 0.707), (115, 0.599))]
    assert at == sorted(at, reverse=True) and 4 < at[-1] < at[0] < 13
    with pytest.raises(ValueError, match="outside -2 to 115"):
        emc_pct(HOTTEST_C + 0.1, 0.3)
    with pytest.raises(ValueError, match="dry bulb c 120 °C is outside 15 to 115"):
        WarmWetBulb(dry_bulb_c=120)


def test_the_same_bulbs_tell_moister_air_up_a_mountain() -> None:
    """Thinner air carries less heat to a wick, so that the same depression means more humidity (ASHRAE eq. 33)."""
    high = pressure_at_pa(1500)
    assert emc_from_psychrometer_pct(60, 50, high) > emc_from_psychrometer_pct(60, 50) + 0.05
    assert float(bare_pipe_loss_w_m(60.3, 90, 20, pressure_pa=float(high))) < float(bare_pipe_loss_w_m(60.3, 90, 20))
