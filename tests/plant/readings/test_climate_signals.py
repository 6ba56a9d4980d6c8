"""Derived figures of a chamber for each moment: what they are worth, when they keep silent, how far they look back."""

import numpy as np
import pytest
from numpy.typing import NDArray

from plant.physics.emc import emc_from_psychrometer_pct
from plant.physics.psychrometrics import relative_humidity_by_psychrometer
from plant.readings.calculations.climate_frame import PHASE_CODES, Frame
from plant.readings.calculations.climate_signals import (
    SIGNALS,
    check_signal,
    is_served,
    lookback_minutes,
    places_of,
    signal_values,
    unit_of,
)
from plant.readings.calculations.climate_view import Usual, View

Numbers = NDArray[np.float64]
STEP_S = 300
HOUR = 3600 // STEP_S
KEYS = [
    "air_temperature:left",
    "air_temperature:right",
    "wet_bulb:left",
    "wet_bulb:right",
    "emc:left",
    "emc:2",
    "wood_moisture:1",
    "wood_moisture:2",
    "set_air_temperature",
    "set_wet_bulb",
    "heating_valve",
    "spray_valve",
    "flap_position",
    "fan_direction",
    "fan_current:1",
    "fan_current:2",
    "heat_power",
]


def view_of(count: int = 20 * HOUR, phase: str = "drying", **values: object) -> View:
    """Make a view in which everything stands still but what is given; keys are written with two underscores."""
    given = {
        name.replace("__", ":"): np.broadcast_to(np.asarray(value, float), count) for name, value in values.items()
    }
    return View(Frame(1_700_000_000, STEP_S, given, np.full(count, PHASE_CODES[phase], dtype=np.int8)))


def last(code: str, view: View) -> float:
    return float(signal_values(code, view)[-1])


def reversing(count: int, hours: float = 3) -> Numbers:
    return np.where(np.arange(count) // int(hours * HOUR) % 2 == 0, 1.0, -1.0)


def test_depression_humidity_and_emc_are_those_of_the_psychrometer() -> None:
    view = view_of(air_temperature__left=60, wet_bulb__left=55, fan_direction=1)
    assert last("depression:left", view) == pytest.approx(5)
    assert last("psychrometer_humidity:left", view) == pytest.approx(
        100 * float(relative_humidity_by_psychrometer(60, 55))
    )
    assert last("psychrometer_emc:left", view) == pytest.approx(float(emc_from_psychrometer_pct(60, 55)))


def test_a_pair_that_no_air_has_gives_no_humidity() -> None:
    view = view_of(air_temperature=60, wet_bulb=np.where(np.arange(20 * HOUR) % 2, 61.0, 12.0), fan_direction=1)
    assert np.isnan(signal_values("psychrometer_emc", view)).all()


def test_nothing_is_compared_while_fans_stand_or_have_just_turned() -> None:
    count = 4 * HOUR
    direction = np.ones(count)
    direction[HOUR : HOUR + 2] = 0
    direction[HOUR + 2 :] = -1
    depression = signal_values(
        "depression:left", view_of(count, air_temperature__left=60, wet_bulb__left=50, fan_direction=direction)
    )
    assert np.flatnonzero(np.isnan(depression)).tolist() == [0, 1, 2, *range(HOUR, HOUR + 6)]


def test_the_drop_across_the_load_does_not_count_as_a_disagreement_of_thermometers() -> None:
    count = 20 * HOUR
    way = reversing(count)
    sound = view_of(count, air_temperature__left=60 + 2 * way, air_temperature__right=60 - 2 * way, fan_direction=way)
    assert last("air_drop", sound) == pytest.approx(4)
    assert last("dry_bulb_disagreement", sound) == pytest.approx(0)
    off = view_of(count, air_temperature__left=63 + 2 * way, air_temperature__right=60 - 2 * way, fan_direction=way)
    assert last("dry_bulb_disagreement", off) == pytest.approx(3)


def test_the_plate_is_compared_only_with_psychrometers_that_agree() -> None:
    count = 20 * HOUR
    sound = {"air_temperature__left": 60, "air_temperature__right": 60, "wet_bulb__left": 50, "emc__1": 10.9}
    view = view_of(count, wet_bulb__right=50, fan_direction=reversing(count), **sound)
    expected = 10.9 - float(emc_from_psychrometer_pct(60, 50))
    assert last("plate_steady:1", view) == pytest.approx(expected)
    assert last("plate_minus_psychrometer:1", view) == pytest.approx(expected)
    doubtful = view_of(count, wet_bulb__right=53, fan_direction=reversing(count), **sound)
    assert np.isnan(signal_values("plate_steady:1", doubtful)).all()


def test_a_wick_is_judged_where_the_air_enters_and_against_the_other_one() -> None:
    count = 4 * HOUR
    way = reversing(count, 2)
    view = view_of(
        count, air_temperature__left=60, air_temperature__right=56, wet_bulb__left=59.5, wet_bulb__right=52,
        fan_direction=way,
    )  # fmt: skip
    entering = signal_values("entering_depression:left", view)
    assert np.isnan(entering[way < 0]).all()
    assert entering[HOUR] == pytest.approx(0.5)
    assert last("wet_bulb_excess:left", view) == pytest.approx(7.5)
    assert last("wet_bulb_excess:right", view) == pytest.approx(-7.5)


def test_a_leaking_heating_valve_shows_once_it_was_shut_for_long() -> None:
    count = 4 * HOUR
    valve = np.where(np.arange(count) < HOUR, 50.0, 0.0)
    hours = np.arange(count) / HOUR
    view = view_of(
        count, heating_valve=valve, air_temperature=60 + 2 * hours, set_air_temperature=60, heat_power=40,
        fan_direction=1,
    )  # fmt: skip
    for code, value in (("rise_valve_shut", 2), ("excess_valve_shut", 8), ("heat_valve_shut", 40)):
        found = signal_values(code, view)
        assert np.isnan(found[: HOUR + 9]).all(), code
        assert found[-1] == pytest.approx(value, abs=0.2), code


def test_an_open_heating_valve_that_does_not_warm_shows_after_an_hour() -> None:
    view = view_of(heating_valve=100, air_temperature=40, set_air_temperature=60, fan_direction=1)
    missing = signal_values("missing_valve_open", view)
    assert np.isnan(missing[:HOUR]).all()
    assert (missing[-1], last("rise_valve_open", view)) == pytest.approx((20, 0))


def test_spray_is_judged_only_after_hours_in_which_it_was_seldom_open_and_where_humidity_does_not_fall() -> None:
    count = 20 * HOUR
    since_spray = np.arange(count) - 19 * HOUR
    common = {"set_wet_bulb": 60, "fan_direction": 1, "air_temperature": 70, "set_air_temperature": 70}
    fresh = 100.0 * (since_spray >= 0)
    blocked = view_of(count, spray_valve=fresh, wet_bulb=50, **common)
    gain = signal_values("gain_spraying", blocked)
    assert np.flatnonzero(np.isfinite(gain))[0] == 19 * HOUR + 5
    assert (gain[-1], last("missing_sprayed", blocked)) == pytest.approx((0, 10))
    always = view_of(count, spray_valve=100, wet_bulb=50, **common)
    falling = view_of(count, spray_valve=fresh, wet_bulb=56 - np.maximum(since_spray, 0) * 0.2, **common)
    cold = view_of(count, spray_valve=fresh, wet_bulb=50, **(common | {"air_temperature": 60}))
    for view in (always, falling, cold):
        assert np.isnan(last("gain_spraying", view))


def test_flaps_are_judged_by_the_humidity_they_should_give() -> None:
    shut = view_of(wet_bulb=50, set_wet_bulb=55, flap_position=0, spray_valve=80, fan_direction=1)
    assert (last("missing_flaps_shut", shut), last("spray_long", shut)) == pytest.approx((5, 80))
    open_ = view_of(wet_bulb=58, set_wet_bulb=55, flap_position=100, fan_direction=1)
    assert last("excess_flaps_open", open_) == pytest.approx(3)
    held = view_of(wet_bulb=55, set_wet_bulb=55, flap_position=0, spray_valve=20, fan_direction=1)
    assert last("spray_holding", held) == pytest.approx(20)
    hours = np.arange(20 * HOUR) / HOUR
    falling = view_of(wet_bulb=60 - hours, flap_position=0, spray_valve=0, fan_direction=1)
    assert last("fall_all_shut", falling) == pytest.approx(1)


def test_a_kiln_that_is_far_from_its_temperature_tells_nothing_of_its_flaps() -> None:
    cold = {"air_temperature": 50, "set_air_temperature": 60, "fan_direction": 1, "wet_bulb": 45, "set_wet_bulb": 55}
    view = view_of(flap_position=0, spray_valve=80, **cold)
    for code in ("missing_flaps_shut", "spray_long", "spray_holding"):
        assert np.isnan(last(code, view)), code
    assert np.isnan(last("excess_flaps_open", view_of(flap_position=100, **cold)))


def test_wet_bulbs_are_not_compared_while_the_temperature_climbs() -> None:
    count = 20 * HOUR
    climbing = 30 + 8 * np.arange(count) / HOUR
    view = view_of(
        count, air_temperature=climbing, wet_bulb__left=28, wet_bulb__right=26, fan_direction=reversing(count)
    )
    assert np.isnan(signal_values("wet_bulb_excess:left", view)).all()
    assert np.isnan(signal_values("wet_bulb_excess_steady:left", view)).all()


def test_a_bulb_is_silent_only_while_others_are_heard() -> None:
    count = 4 * HOUR
    hours = np.arange(count) // HOUR
    wet = np.where(hours == 1, np.nan, 50.0)
    other = np.where(hours == 2, np.nan, 50.0)
    wet[hours == 2] = np.nan
    view = view_of(count, wet_bulb__left=wet, wet_bulb__right=other, fan_direction=1)
    silence = signal_values("wet_bulb_silence:left", view)
    assert [silence[hours == hour][0] for hour in (0, 1, 3)] == [0, 1, 0]
    assert np.isnan(silence[hours == 2]).all()


def test_fans_are_compared_with_their_mates_with_themselves_and_in_both_directions() -> None:
    count = 20 * HOUR
    way = reversing(count)
    view = view_of(count, fan_current__1=8 + way, fan_current__2=10, fan_direction=way, fan_speed=100)
    assert last("fan_share:1", view) == pytest.approx(100 * (8 + way[-1]) / 10)
    assert last("fan_both_ways:1", view) == pytest.approx(100 * 9 / 7)
    usual = View(view.frame, Usual({"1": (10, 14)}))
    assert last("fan_of_usual:1", usual) == pytest.approx(100 * (8 + way[-1]) / (10 if way[-1] > 0 else 14))
    assert last("since_turned", view) == pytest.approx(115)


def test_a_fan_that_stands_beside_others_that_run_draws_nothing() -> None:
    view = view_of(fan_current__1=0, fan_current__2=10, fan_current__3=10, fan_direction=1)
    assert (last("fan_share:1", view), last("fan_share:2", view)) == pytest.approx((0, 200))


def test_the_only_fan_is_judged_while_it_is_told_to_turn() -> None:
    view = view_of(fan_current=0.1, fan_direction=np.where(np.arange(20 * HOUR) < HOUR, 0.0, 1.0))
    current = signal_values("lone_fan_current", view)
    assert np.isnan(current[:HOUR]).all()
    assert current[-1] == pytest.approx(0.1)


def test_at_a_lower_speed_a_fan_draws_less_with_its_square() -> None:
    view = View(view_of(fan_current__1=6.4, fan_direction=1, fan_speed=80).frame, Usual({"1": (10, 10)}))
    assert last("fan_of_usual:1", view) == pytest.approx(100)
    slow = View(view_of(fan_current__1=6.4, fan_direction=1, fan_speed=40).frame, Usual({"1": (10, 10)}))
    assert np.isnan(last("fan_of_usual:1", slow))


def test_an_electrode_that_jumps_differs_from_the_hour_before_and_from_its_mates() -> None:
    count = 4 * HOUR
    moisture = np.where(np.arange(count) < 3 * HOUR, 40.0, 30.0)
    view = view_of(count, wood_moisture__1=moisture, wood_moisture__2=40)
    assert np.nanmin(signal_values("moisture_jump:1", view)) == pytest.approx(-25)
    assert np.nanmax(signal_values("moisture_step:1", view)) == pytest.approx(10)
    assert last("moisture_minus_mates:1", view) == pytest.approx(-10)
    assert np.nanmax(np.abs(signal_values("moisture_jump:2", view))) == 0


def test_electrodes_that_dry_together_do_not_jump() -> None:
    count = 8 * HOUR
    moisture = 60 * 0.9 ** (np.arange(count) / HOUR)
    view = view_of(count, wood_moisture__1=moisture, wood_moisture__2=0.9 * moisture)
    assert np.nanmax(np.abs(signal_values("moisture_jump:1", view))) < 1e-9
    alone = view_of(count, wood_moisture__1=moisture)
    assert last("moisture_jump:1", alone) == pytest.approx(-10)


def test_a_wick_that_dries_out_has_risen_against_the_other_and_not_the_other_way_round() -> None:
    count = 20 * HOUR
    view = view_of(
        count, air_temperature=60, wet_bulb__left=50 + 0.7 * (np.arange(count) >= 19 * HOUR), wet_bulb__right=50.4,
        fan_direction=reversing(count),
    )  # fmt: skip
    # The mean of the last 20 minutes stands 0.7 K above half a day before, of which the bulb is 0.3 K above the other.
    assert last("wet_bulb_shift:left", view) == pytest.approx(0.3)
    assert last("wet_bulb_shift:right", view) < 0


def test_what_is_told_only_when_it_changes_says_nothing_of_silence() -> None:
    view = view_of(wet_bulb=np.nan, fan_direction=1)
    assert last("data_age", view) == 20 * 60


def test_silence_of_all_channels_is_counted_in_minutes() -> None:
    count = 4 * HOUR
    heard = np.where(np.arange(count) < HOUR, 1.0, np.nan)
    assert last("data_age", view_of(count, fan_direction=heard, wet_bulb=heard)) == pytest.approx(180)
    assert last("data_age", view_of(count, heat_power=heard, wet_bulb=50)) == 0


def test_raw_channels_and_differences_are_signals_too() -> None:
    view = view_of(wet_bulb__left=50, wet_bulb__right=48)
    assert last("wet_bulb:left", view) == 50
    assert last("wet_bulb:left - wet_bulb:right", view) == 2
    assert unit_of("wet_bulb:left - wet_bulb:right") == "degC"


def noisy_frame(seed: int, count: int) -> Frame:
    """Draw a kiln that does everything now and then, gaps included."""
    rng = np.random.default_rng(seed)

    def blocks(low: float, high: float, length: int) -> Numbers:
        return np.repeat(rng.uniform(low, high, count // length + 1), length)[:count]

    values = {
        "air_temperature:left": blocks(50, 62, 60) + rng.normal(0, 0.1, count),
        "air_temperature:right": blocks(50, 62, 60) + rng.normal(0, 0.1, count),
        "wet_bulb:left": blocks(40, 52, 60),
        "wet_bulb:right": blocks(44, 48, 60),
        "emc:left": blocks(8, 12, 60),
        "emc:2": blocks(8, 12, 60),
        "wood_moisture:1": blocks(20, 60, 50),
        "wood_moisture:2": blocks(20, 60, 50),
        "set_air_temperature": blocks(50, 62, 200),
        "set_wet_bulb": blocks(44, 50, 100),
        "fan_direction": np.sign(blocks(-1, 1, 36)),
        "fan_current:1": blocks(8, 12, 40),
        "fan_current:2": blocks(8, 12, 40),
        "heat_power": blocks(0, 300, 30),
    }
    for name, length in (("heating_valve", 40), ("spray_valve", 45), ("flap_position", 50)):
        values[name] = rng.choice([0.0, 0.0, 50.0, 100.0, 100.0], count // length + 1).repeat(length)[:count]
    for value in values.values():
        value[rng.random(count) < 0.02] = np.nan
    phase = rng.choice([2, 3, 3, 4, 5], count // 150 + 1).repeat(150)[:count].astype(np.int8)
    return Frame(1_700_000_000, STEP_S, values, phase)


def part_of(frame: Frame, first: int) -> Frame:
    values = {key: value[first:] for key, value in frame.values.items()}
    return Frame(frame.start_s + first * frame.step_s, frame.step_s, values, frame.phase[first:])


@pytest.mark.parametrize("code", [
    f"{stem}:{place}" if place else stem for stem in SIGNALS for place in places_of(stem, KEYS)
])  # fmt: skip
def test_a_stretch_that_begins_by_its_lookback_earlier_says_the_same_as_the_whole_past(code: str) -> None:
    frame = noisy_frame(3, 1500)
    usual = Usual({"1": (10, 10), "2": (10, 10)})
    whole = signal_values(code, View(frame, usual))
    back = lookback_minutes(code) * 60 // STEP_S + 1
    for begin in (700, 991, 1287):
        part = signal_values(code, View(part_of(frame, begin - back), usual))[back:]
        np.testing.assert_allclose(part, whole[begin:], rtol=0, atol=1e-6)


def test_the_noisy_kiln_gives_every_signal_something_to_say() -> None:
    views = [View(noisy_frame(seed, 6000), Usual({"1": (10, 10), "2": (10, 10)})) for seed in range(3)]
    codes = [f"{stem}:{place}" if place else stem for stem in SIGNALS for place in places_of(stem, KEYS)]
    silent = [code for code in codes if not any(np.isfinite(signal_values(code, view)).any() for view in views)]
    assert silent == []


def test_a_kiln_is_served_by_what_it_measures() -> None:
    assert is_served("depression:left", KEYS)
    assert not is_served("depression:3", KEYS)
    assert places_of("fan_share", KEYS) == ("1", "2")
    assert places_of("fan_share", ["fan_current:1"]) == ()
    assert places_of("wet_bulb_excess", ["air_temperature", "wet_bulb"]) == ()
    assert places_of("entering_depression", ["air_temperature", "wet_bulb"]) == ("",)
    assert places_of("lone_depression", ["air_temperature", "wet_bulb"]) == ("",)
    assert places_of("lone_depression", KEYS) == ()
    assert places_of("since_turned", ["fan_current"]) == ()
    assert is_served("wet_bulb:left - wet_bulb:right", KEYS)


@pytest.mark.parametrize("code", ["", "steam", "depression:", "since_turned:1", "a - b - c", "wet_bulb:left - steam"])
def test_a_signal_that_does_not_exist_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match=r"not known|no place|name the place|more than one"):
        check_signal(code)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_a_stretch_may_be_as_short_as_it_likes(count: int) -> None:
    frame = noisy_frame(1, 600)
    values = {key: value[:count] for key, value in frame.values.items()}
    view = View(Frame(frame.start_s, STEP_S, values, frame.phase[:count]))
    for stem in SIGNALS:
        for place in places_of(stem, KEYS):
            assert len(signal_values(f"{stem}:{place}" if place else stem, view)) == count
