"""Units of readings, as sources spell them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.reading_units import UNITS, from_kept, known_unit, to_kept, units_of


@pytest.mark.parametrize(
    ("quantity", "written", "unit", "kept"),
    [
        # NIST SP 811 (2008), appendix B.8: t/°C = (t/°F - 32)/1.8.
        ("air_temperature", 212, "°F", 100),
        ("air_temperature", -40, "degF", -40),
        ("wet_bulb", 140, "F", 60),
        # 0 °C is 273.15 K by definition (BIPM, SI Brochure, 2.3.1).
        ("air_temperature", 333.15, "K", 60),
        ("air_temperature", 60, "C", 60),
        ("relative_humidity", 0.63, "fraction", 63),
        ("relative_humidity", 0.63, "1", 63),
        ("relative_humidity", 63, "% rH", 63),
        ("emc", 11.5, "%", 11.5),
        ("fan_current", 14200, "mA", 14.2),
        ("heat_power", 320000, "W", 320),
        ("heat_power", 1.5, "MW", 1500),
        ("fan_direction", -1, "1", -1),
        ("door_open", 1, "", 1),
        ("message", 217, "number", 217),
    ],
)
def test_values_are_kept_in_the_unit_of_their_quantity(quantity: str, written: float, unit: str, kept: float) -> None:
    assert to_kept(quantity, [written], unit)[0] == pytest.approx(kept, rel=1e-12)


@pytest.mark.parametrize("spelled", ["DEGF", "Fahrenheit", " degf ", "deg f"])
def test_long_spellings_are_known_in_any_case(spelled: str) -> None:
    assert known_unit(spelled) == "degF"


@pytest.mark.parametrize("spelled", ["mw", "k", "ma", "Kw", "furlong", "", "%%"])
def test_what_could_mean_two_units_or_none_is_not_guessed(spelled: str) -> None:
    assert known_unit(spelled) is None


@pytest.mark.parametrize(
    ("quantity", "unit", "said"),
    [
        ("air_temperature", "%", "may be written in degC, degF, kelvin"),
        ("air_temperature", "furlong", "unit 'furlong' is not known"),
        ("relative_humidity", "°C", "may be written in percent, one"),
        ("wobble", "°C", "quantity 'wobble' is not known"),
    ],
)
def test_a_unit_that_does_not_fit_is_refused_with_those_that_do(quantity: str, unit: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        to_kept(quantity, [1.0], unit)


def test_every_quantity_may_be_written_in_the_unit_it_is_kept_in() -> None:
    for code, quantity in QUANTITIES.items():
        assert units_of(code)[0] == quantity.unit
        assert to_kept(code, [1.5], quantity.unit).tolist() == [1.5]


@given(
    pair=st.sampled_from([(code, unit) for code in QUANTITIES for unit in units_of(code)]),
    values=st.lists(st.floats(-1e6, 1e6), max_size=5),
)
def test_what_is_turned_back_is_what_was_written(pair: tuple[str, str], values: list[float]) -> None:
    back = from_kept(pair[0], to_kept(pair[0], values, pair[1]), pair[1])
    np.testing.assert_allclose(back, np.array(values, float), rtol=1e-9, atol=1e-6)


def test_what_is_no_number_stays_none() -> None:
    assert np.isnan(to_kept("air_temperature", [float("nan")], "°F")[0])


def test_each_spelling_names_a_unit_that_some_quantity_is_written_in() -> None:
    assert set(UNITS.values()) == {unit for code in QUANTITIES for unit in units_of(code)}
