"""The two tests that a chamber runs on itself: they find what is true within their bounds, or say why they cannot."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from maintenance.chamber_tests.calculations.figures import Fans, Figure, Refusal, SensorErrors, Why
from maintenance.chamber_tests.calculations.fit import fit
from maintenance.chamber_tests.calculations.heat_loss import heat_loss_by_cooling, heat_loss_by_power
from maintenance.chamber_tests.calculations.tightness import tightness
from maintenance.demo.chamber.design import Chamber, Timber
from maintenance.demo.chamber.model import simulate
from maintenance.watches.calculations.student_t import t_quantile
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, humidity_ratio, vapour_pressure_pa
from plant.physics.saturation import saturation_pressure_pa
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame
from tests.maintenance.chamber_tests import chamber_cases
from tests.maintenance.chamber_tests.chamber_cases import BEGIN_S, Case, cool_case, tight_case, warm_case
from tests.maintenance.chamber_tests.programmes import tightness_stages

STEP_S = 300
NO_ERRORS = SensorErrors(sd_share=0.0)


def plain_decay(changes_per_h: float, hours: float = 6, cooling_k_per_h: float = 0.0) -> Frame:
    """Readings without noise of a chamber whose outflow is exactly known, made from the mass of its excess vapour."""
    moment_h = np.arange(int(hours * 12)) / 12
    temp = 60 - cooling_k_per_h * moment_h
    outside_c, outside_rh = 5.0, 80.0
    outer = float(humidity_ratio(outside_rh / 100 * saturation_pressure_pa(outside_c)))
    wanted = 0.05 * np.exp(-changes_per_h * moment_h)
    ratio = outer + wanted
    # Mass of dry air depends on the vapour it stands with: a few rounds settle both.
    first = dry_mass(np.array([outer + 0.05]), temp[:1])[0]
    for _ in range(50):
        ratio = outer + wanted * first / dry_mass(ratio, temp)
    humidity = 100 * vapour_pressure_pa(ratio) / saturation_pressure_pa(temp)
    values = {
        "air_temperature": temp,
        "relative_humidity": np.asarray(humidity),
        "outside_temperature": np.full(len(temp), outside_c),
        "outside_humidity": np.full(len(temp), outside_rh),
    }
    return Frame(BEGIN_S, STEP_S, values, np.zeros(len(temp), np.int8))


def dry_mass(ratio: np.ndarray, temp_c: np.ndarray) -> np.ndarray:
    return np.asarray((STANDARD_PRESSURE_PA - vapour_pressure_pa(ratio)) / (temp_c + 273.15))


@pytest.mark.parametrize("changes_per_h", [0.1, 0.35, 1.5])
@pytest.mark.parametrize("cooling_k_per_h", [0.0, 1.5])
def test_a_decay_without_noise_gives_its_air_changes_exactly(changes_per_h: float, cooling_k_per_h: float) -> None:
    """ASTM E741, concentration decay: ln of the excess falls with the air changes; of its mass, for air shrinks."""
    found = tightness(plain_decay(changes_per_h, 8, cooling_k_per_h), Fans.ON, NO_ERRORS)
    assert isinstance(found, Figure)
    assert found.value == pytest.approx(changes_per_h, rel=1e-6)
    assert set(found.unchecked) == {"door", "flaps", "spray", "fans"}


def test_bounds_grow_with_what_sensors_may_be_off() -> None:
    frame = plain_decay(0.35)
    widths = []
    for share in (0.0, 0.44, 0.88):
        found = tightness(frame, Fans.ON, SensorErrors(sd_share=share))
        assert isinstance(found, Figure) and found.low <= found.value <= found.high
        widths.append(found.high - found.low)
    assert widths[0] < widths[1] < widths[2]


@pytest.mark.parametrize("correlation", [0.0, 0.6, 0.85])
def test_bounds_of_a_slope_hold_whatever_the_noise_remembers(correlation: float) -> None:
    rng = np.random.default_rng(5)
    design = np.column_stack((np.ones(90), np.arange(90) - 44.5))
    inside, plain = 0, 0
    for _ in range(300):
        noise = rng.standard_normal(90)
        for i in range(1, 90):
            noise[i] += correlation * noise[i - 1]
        line = fit(design, 3 + 0.02 * design[:, 1] + noise, np.ones(90))
        inside += abs(line.coefficients[1] - 0.02) <= t_quantile(0.975, line.degrees) * line.sd(1)
        independent = fit(design, 3 + 0.02 * design[:, 1] + noise, np.ones(90), correlation=0.0)
        plain += abs(independent.coefficients[1] - 0.02) <= t_quantile(0.975, 87) * independent.sd(1)
    assert 0.90 <= inside / 300 <= 0.99
    # What least squares would say of the same readings.
    assert correlation < 0.5 or plain / 300 < 0.8


@pytest.mark.parametrize("fans", list(Fans))
def test_the_true_leak_lies_within_its_bounds(fans: Fans) -> None:
    found = chamber_cases.tightness_coverage(91_000, 60, fans)
    # By chance 60 tests of 95 % leave this span once in some hundred draws; the benchmark runs 500.
    assert found.figures >= 35 and found.share >= 0.88
    assert found.half_width < 0.06


def test_the_true_heat_loss_lies_within_its_bounds() -> None:
    by_power = chamber_cases.power_coverage(92_000, 50)
    assert by_power.figures >= 45 and by_power.share >= 0.88 and by_power.half_width < 0.06
    by_cooling = chamber_cases.cooling_coverage(93_000, 50)
    assert by_cooling.figures >= 45 and by_cooling.share >= 0.86 and by_cooling.half_width < 0.2


def changed(frame: Frame, key: str, change: Callable[[np.ndarray], np.ndarray]) -> Frame:
    return replace(frame, values={**frame.values, key: change(frame.values[key].copy())})


def during(frame: Frame, key: str, from_h: float, minutes: int, value: float) -> Frame:
    """Put a value into a channel for some minutes."""

    def put(values: np.ndarray) -> np.ndarray:
        values[round(from_h * 60) : round(from_h * 60) + minutes] = value
        return values

    return changed(frame, key, put)


def without(frame: Frame, *keys: str) -> Frame:
    return replace(frame, values={key: value for key, value in frame.values.items() if key not in keys})


def refused(found: Figure | Refusal) -> Why:
    assert isinstance(found, Refusal), found
    assert all(np.isfinite(value) for value in found.facts.values())
    return found.why


OUTSIDE_RH, WET = "outside_humidity", ("wet_bulb:left", "wet_bulb:right")


def test_the_undisturbed_test_carries_a_figure() -> None:
    assert isinstance(tightness(tight_case().frame(), Fans.ON), Figure)


@pytest.mark.parametrize(
    ("disturb", "why"),
    [
        (lambda f: during(f, "door_open", 3, 2, 1), Why.DOOR),
        (lambda f: during(f, "flap_position", 2, 20, 30), Why.FLAPS),
        (lambda f: during(f, "spray_valve", 0, 10_000, 40), Why.SPRAY),
        (lambda f: during(f, "fan_direction", 2, 60, 0), Why.FANS),
        (lambda f: during(f, "wet_bulb:left", 2, 40, np.nan), Why.GAPS),
        (lambda f: changed(f, "air_temperature:left", lambda v: v + 4), Why.SENSORS),
        (lambda f: changed(f, "wet_bulb:right", lambda v: v + 4), Why.SENSORS),
        (lambda f: replace(f, phase=np.full(len(f), PHASE_CODES["drying"], np.int8)), Why.TIMBER),
        (lambda f: changed(f, "wood_moisture:1", lambda v: np.full(len(v), 14.0)), Why.TIMBER),
        (lambda f: without(f, *WET), Why.NO_HUMIDITY),
        (lambda f: without(f, "air_temperature:left", "air_temperature:right"), Why.NO_TEMPERATURE),
        (lambda f: without(f, "outside_temperature"), Why.NO_OUTSIDE),
        (lambda f: changed(f, "outside_temperature", lambda v: v + 48), Why.TOO_COOL),
    ],
)
def test_a_disturbed_test_of_tightness_is_refused(disturb: Callable[[Frame], Frame], why: Why) -> None:
    assert refused(tightness(disturb(tight_case().frame()), Fans.ON)) == why


def test_fans_that_ran_where_they_should_stand_are_noticed() -> None:
    assert refused(tightness(tight_case().frame(), Fans.OFF)) == Why.FANS


def test_a_short_decay_is_refused_with_how_far_it_came() -> None:
    found = tightness(tight_case().frame(until_h=6.9), Fans.ON)
    assert refused(found) == Why.TOO_SHORT
    assert isinstance(found, Refusal) and found.facts["time_constants"] < 0.5


def test_a_chamber_that_was_not_sprayed_or_is_too_moist_is_refused() -> None:
    assert refused(tightness(tight_case().frame(1, 5), Fans.ON)) == Why.TOO_DRY
    moist = plain_decay(0.3)
    soaked = changed(moist, "relative_humidity", lambda v: np.minimum(v + 70, 100))
    assert refused(tightness(soaked, Fans.ON)) == Why.TOO_MOIST


def test_without_outside_humidity_the_bounds_are_wider_but_there() -> None:
    known = tightness(tight_case().frame(), Fans.ON)
    guessed = tightness(without(tight_case().frame(), OUTSIDE_RH), Fans.ON)
    assert isinstance(known, Figure) and isinstance(guessed, Figure)
    assert guessed.high - guessed.low > known.high - known.low


def test_timber_that_nobody_told_of_is_never_taken_for_a_leak() -> None:
    """Moist timber gives its own vapour: neither the electrodes nor a charge say so here."""
    case = tight_case()
    timber = Timber(dry_kg=15_000, surface_m2=3000, time_constant_60_h=30, start_mc_pct=40)
    first, *rest = tightness_stages(6, 8, True)
    (run,) = simulate([Chamber(case.design, stages=(replace(first, timber=timber), *rest))], BEGIN_S, 15, emit_s=60)
    frame = without(Case(case.design, run, 6, 14.75).frame(), "wood_moisture:1", "wood_moisture:2")
    assert isinstance(tightness(frame, Fans.ON), Refusal)


def test_impossible_readings_carry_nothing() -> None:
    frame = plain_decay(0.3)
    for value in (np.nan, 1e6, -1e6):
        for key in ("relative_humidity", "air_temperature", "outside_temperature"):
            found = tightness(changed(frame, key, lambda v, to=value: np.full(len(v), to)), Fans.ON)  # type: ignore[misc]
            assert isinstance(found, Refusal)
    empty = Frame(BEGIN_S, STEP_S, {}, np.zeros(0, np.int8))
    assert refused(tightness(empty, Fans.ON)) in {Why.NO_TEMPERATURE, Why.GAPS}


def test_a_step_that_does_not_divide_five_minutes_is_an_error() -> None:
    with pytest.raises(ValueError, match="divide"):
        tightness(replace(plain_decay(0.3), step_s=420), Fans.ON)


@pytest.mark.parametrize(
    ("disturb", "why"),
    [
        (lambda f: without(f, "heat_power"), Why.NO_POWER),
        (lambda f: during(f, "door_open", 15, 5, 1), Why.DOOR),
        (lambda f: changed(f, "flap_position", lambda v: v + 20), Why.FLAPS),
        (lambda f: replace(f, phase=np.full(len(f), PHASE_CODES["drying"], np.int8)), Why.TIMBER),
        (lambda f: during(f, "heat_power", 12, 60, np.nan), Why.GAPS),
        (lambda f: changed(f, "outside_temperature", lambda v: v + 50), Why.TOO_COOL),
        (lambda f: changed(f, "air_temperature:left", lambda v: v - 4), Why.SENSORS),
    ],
)
def test_a_disturbed_test_of_heat_loss_is_refused(disturb: Callable[[Frame], Frame], why: Why) -> None:
    assert isinstance(heat_loss_by_power(warm_case().frame()), Figure)
    assert refused(heat_loss_by_power(disturb(warm_case().frame()))) == why


def test_a_chamber_that_was_held_too_shortly_or_not_steady_is_refused() -> None:
    assert refused(heat_loss_by_power(warm_case().frame(until_h=14))) == Why.TOO_SHORT
    frame = warm_case().frame(from_h=8)
    wandering = {
        key: frame.values[key] + 0.8 * np.sin(np.arange(len(frame)) / 150)
        for key in ("air_temperature:left", "air_temperature:right")
    }
    assert refused(heat_loss_by_power(replace(frame, values={**frame.values, **wandering}))) == Why.NOT_STEADY


def test_cooling_tells_the_time_constant_and_scales_with_the_capacity() -> None:
    frame = cool_case().frame()
    one, two = heat_loss_by_cooling(frame, 5, 0.05), heat_loss_by_cooling(frame, 10, 0.05)
    assert isinstance(one, Figure) and isinstance(two, Figure)
    assert two.value == pytest.approx(2 * one.value)
    assert one.value == pytest.approx(5e6 / 3600 / one.details["time_constant_h"])
    vague = heat_loss_by_cooling(frame, 5, 0.15)
    assert isinstance(vague, Figure) and vague.high - vague.low > one.high - one.low


def test_cooling_that_was_heated_or_is_too_short_is_refused() -> None:
    frame = cool_case().frame()
    assert refused(heat_loss_by_cooling(changed(frame, "heating_valve", lambda v: v + 30), 5, 0.05)) == Why.HEATING
    assert refused(heat_loss_by_cooling(cool_case().frame(until_h=18.5), 5, 0.05)) == Why.TOO_SHORT
    for capacity, spread in ((0.0, 0.05), (float("nan"), 0.05), (5, 0.0), (5, 0.9)):
        with pytest.raises(ValueError, match="outside"):
            heat_loss_by_cooling(frame, capacity, spread)


def test_the_bounds_of_a_leak_carry_what_the_wick_may_be_off() -> None:
    frame = tight_case().frame()
    sure = tightness(frame, Fans.ON, SensorErrors(wick_tolerance_pct=0))
    unsure = tightness(frame, Fans.ON, SensorErrors(wick_tolerance_pct=6))
    assert isinstance(sure, Figure) and isinstance(unsure, Figure)
    assert unsure.value == sure.value
    assert unsure.low < sure.low and unsure.high > sure.high
