"""The simulated chamber against the laws that it rests on, and each fault against what it is said to do."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.demo.chamber import weather as chamber_weather
from maintenance.demo.chamber.design import (
    SPRUCE,
    Chamber,
    ChamberDesign,
    Drive,
    Heating,
    Species,
    Stage,
    Step,
)
from maintenance.demo.chamber.faults import Fault, FaultKind
from maintenance.demo.chamber.model import simulate
from maintenance.demo.chamber.sensors import class_b_k
from maintenance.demo.chamber.states import ChamberRun
from maintenance.demo.chamber.tables import saturation_pa, wood_activity
from plant.physics.drying_capacity import Drying, time_constant_h
from plant.physics.emc import emc_from_psychrometer_pct, emc_pct
from plant.physics.psychrometrics import enthalpy_j_kg, humidity_ratio
from plant.physics.quantities import QUANTITIES
from plant.physics.saturation import saturation_pressure_pa
from plant.readings.calculations.climate_frame import PHASE_CODES

BEGIN_S = 1_761_955_200
HOUR_S = 3600
# A chamber whose first charge begins soon.
SEED = 164
FAULT_H, MENDED_H, UNTIL_H = 10, 24, 25
BEECH = Species(
    "beech",
    570,
    (55, 80),
    9,
    (26, 32),
    0.5,
    (Step(40, 45, 2.5), Step(30, 50, 4), Step(22, 56, 8), Step(15, 62, 13), Step(0, 66, 18)),
    (68, 62),
)


@pytest.fixture
def still_sky(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("SEASON_C", "DAILY_C", "FRONT_C", "DAILY_HUMIDITY", "FRONT_HUMIDITY", "GUSTINESS"):
        monkeypatch.setattr(chamber_weather, name, 0.0)


OUTSIDE_C = chamber_weather.MEAN_C
OUTSIDE_RATIO = float(humidity_ratio(chamber_weather.MEAN_HUMIDITY * saturation_pressure_pa(OUTSIDE_C)))


def empty(hours: float, **how: object) -> Stage:
    return Stage("between", hours, **how)  # type: ignore[arg-type]


@settings(max_examples=5, deadline=None)
@given(
    leak=st.floats(0, 5),
    u=st.floats(0.2, 2),
    is_steam=st.booleans(),
    kinds=st.lists(st.sampled_from(list(FaultKind)), max_size=4),
    seed=st.integers(0, 10_000),
)
def test_no_water_and_no_heat_is_lost(leak: float, u: float, is_steam: bool, kinds: list[FaultKind], seed: int) -> None:
    design = ChamberDesign(leak_air_changes_per_h=leak, u_w_m2k=u, spray_is_steam=is_steam)
    faults = [Fault(kind, 0, BEGIN_S, BEGIN_S + 10**6) for kind in kinds]
    (run,) = simulate([Chamber(design, seed=seed)], BEGIN_S, 20, faults)
    balance = run.balance
    water = balance["water_in_kg"] - balance["water_out_kg"] - balance["water_stored_kg"]
    heat = balance["heat_in_j"] - balance["heat_out_j"] - balance["heat_stored_j"]
    assert abs(water) < 1e-6
    assert abs(heat) < 1e-9 * max(abs(balance["heat_in_j"]), 1e6)


@pytest.mark.usefixtures("still_sky")
def test_a_steady_chamber_needs_what_skin_and_leak_take() -> None:
    stages = (empty(200, heating=Heating.CONSTANT_POWER, power_kw=8, fans=True),)
    designs = [
        ChamberDesign(leak_air_changes_per_h=leak, u_w_m2k=u) for leak, u in ((0.0, 0.45), (1.0, 0.45), (0.5, 1.5))
    ]
    for design, run in zip(
        designs, simulate([Chamber(one, stages=stages) for one in designs], BEGIN_S, 60, emit_s=600), strict=True
    ):
        temp, ratio = run.truth["air_temperature"][-1], run.truth["humidity_ratio"][-1]
        pressure = 101_325 * 0.621945 / (0.621945 + ratio)
        dry_kg = pressure * design.volume_m3 / (287.042 * (temp + 273.15))
        carried = enthalpy_j_kg(temp, ratio) - enthalpy_j_kg(OUTSIDE_C, OUTSIDE_RATIO)
        leaking = run.truth["air_changes_per_h"][-1] / HOUR_S * dry_kg * float(carried)
        # Air that is exchanged within a step of a minute makes the leak's part less than a hundredth smaller.
        assert design.loss_w_k * (temp - OUTSIDE_C) + leaking == pytest.approx(8000, rel=0.007)


@pytest.mark.usefixtures("still_sky")
def test_humidity_decays_with_the_air_changes() -> None:
    """ASTM E741: the excess of a tracer falls as exp(-n t). Dry air comes into the room that vapour leaves."""
    warm = {"heating": Heating.CONTROLLED, "set_air_c": 60.0, "fans": True}
    stages = (empty(8, **warm), empty(0.15, **warm, spray=Drive.OPEN), empty(100, **warm))
    # No reversal: in its pause the chamber cools and draws breath.
    design = ChamberDesign(leak_air_changes_per_h=0.8, reversal_h=24)
    (run,) = simulate([Chamber(design, stages=stages)], BEGIN_S, 12, emit_s=60)
    ratio = run.truth["humidity_ratio"][550:]
    excess = (ratio - OUTSIDE_RATIO) / (1 + ratio / 0.621945)
    changes = np.cumsum(run.truth["air_changes_per_h"][550:]) / 60
    assert excess[0] > 0.03
    assert np.log(excess[0] / excess[-1]) == pytest.approx(changes[-1] - changes[0], rel=0.002)


def test_tables_are_their_formulas() -> None:
    temp = np.linspace(-40, 120, 777)
    assert np.max(np.abs(saturation_pa(temp) / saturation_pressure_pa(temp) - 1)) < 2e-5
    share = np.linspace(0.1, 0.9, 30)
    for temp_c in (22.0, 48.0, 71.0):
        found = wood_activity(np.full(30, temp_c), emc_pct(temp_c, share) / 100)
        assert np.max(np.abs(found - share)) < 0.005


@pytest.mark.parametrize(("temp_c", "tolerance_k"), [(0, 0.3), (20, 0.4), (60, 0.6), (80, 0.7), (100, 0.8)])
def test_thermometers_keep_to_the_tolerance_of_class_b(temp_c: float, tolerance_k: float) -> None:
    """IEC 60751, class B: 0.30 K + 0.005 |t|."""
    assert float(class_b_k(np.asarray(float(temp_c)))) == pytest.approx(tolerance_k)


@cache
def charge_run() -> ChamberRun:
    (run,) = simulate([Chamber(seed=SEED, species=(SPRUCE,))], BEGIN_S, 80)
    return run


def test_a_charge_goes_through_all_its_phases() -> None:
    charge = charge_run().charges[0]
    kinds = [phase.kind for phase in charge.phases]
    assert kinds == ["loading", "heating_up", "drying", "conditioning", "cooling", "unloading"]
    for before, after in zip(charge.phases, charge.phases[1:], strict=False):
        assert before.end_s == after.begin_s
    phase = charge_run().phase
    assert set(np.unique(phase)) == set(PHASE_CODES.values())


def test_readings_are_possible_and_named_as_agreed() -> None:
    for key, values in charge_run().values.items():
        quantity = QUANTITIES[key.split(":")[0]]
        known = values[~np.isnan(values)]
        assert len(known) and known.min() >= quantity.low and known.max() <= quantity.high, key


def steady(run: ChamberRun) -> np.ndarray:
    """Moments in drying at which the set point has stood for two hours."""
    set_air = run.values["set_air_temperature"]
    same = np.ones(len(set_air), dtype=bool)
    for back in range(1, 25):
        same[back:] &= set_air[back:] == set_air[:-back]
    return np.asarray(same & (run.phase == PHASE_CODES["drying"]))


def entering(run: ChamberRun, quantity: str) -> np.ndarray:
    is_left = run.values["fan_direction"] > 0
    return np.where(is_left, run.values[f"{quantity}:left"], run.values[f"{quantity}:right"])


def test_the_controller_holds_both_set_points() -> None:
    run = charge_run()
    for quantity, wanted in (("air_temperature", "set_air_temperature"), ("wet_bulb", "set_wet_bulb")):
        error = (entering(run, quantity) - run.values[wanted])[steady(run)]
        assert np.nanquantile(np.abs(error), 0.8) < 0.6


def test_air_that_leaves_the_timber_is_cooler_and_sides_swap_with_the_fans() -> None:
    run = charge_run()
    drop = run.values["air_temperature:left"] - run.values["air_temperature:right"]
    settled = steady(run) & (np.roll(run.values["fan_direction"], 6) == run.values["fan_direction"])
    assert np.nanmean(drop[settled & (run.values["fan_direction"] > 0)]) > 1.5
    assert np.nanmean(drop[settled & (run.values["fan_direction"] < 0)]) < -1.5


def test_the_plate_agrees_with_the_psychrometer_beside_it() -> None:
    run = charge_run()
    use = steady(run) & (np.roll(run.values["fan_direction"], 24) > 0) & (run.values["fan_direction"] > 0)
    dry, wet = run.values["air_temperature:left"][use], run.values["wet_bulb:left"][use]
    assert use.sum() > 50
    known = ~np.isnan(dry) & ~np.isnan(wet)
    by_bulbs = emc_from_psychrometer_pct(dry[known], wet[known])
    # A class B pair may be 1 point of EMC off, a plate as well.
    assert abs(np.nanmedian(run.values["emc:1"][use]) - np.median(by_bulbs)) < 2


def test_timber_never_dries_faster_than_the_published_model_and_thin_boards_wait_for_the_air() -> None:
    run = charge_run()
    plan = run.charges[0].plan
    drying = next(phase for phase in run.charges[0].phases if phase.kind == "drying")
    assert drying.end_s is not None
    by_model = Drying(plan.thickness_mm, 64, plan.start_mc_pct, plan.end_mc_pct, 8).model_h * SPRUCE.slowness
    assert 1.0 < (drying.end_s - drying.begin_s) / HOUR_S / by_model < 2.5
    assert run.truth["wood_moisture"][run.phase == PHASE_CODES["conditioning"]].max() < plan.end_mc_pct + 2


def test_thicker_timber_takes_longer() -> None:
    assert time_constant_h(50, 60) > time_constant_h(22, 60)
    fast, slow = (
        Species("board", 380, (60, 60.001), 16, (thickness,), 0.22, SPRUCE.steps, SPRUCE.conditioning)
        for thickness in (22.0, 50.0)
    )
    runs = simulate([Chamber(seed=SEED, species=(one,)) for one in (fast, slow)], BEGIN_S, 40)
    thin, thick = (run.truth["wood_moisture"][-1] for run in runs)
    assert np.isnan(thin) or thin < thick - 5


def test_a_chamber_does_not_feel_its_neighbours_nor_the_end_of_the_run() -> None:
    chambers = [Chamber(seed=seed, weather_seed=4, species=(SPRUCE, BEECH)) for seed in (1, 2, 3)]
    together = simulate(chambers, BEGIN_S, 24)
    (alone,) = simulate(chambers[1:2], BEGIN_S, 16)
    for key, values in alone.values.items():
        np.testing.assert_allclose(values, together[1].values[key][: len(values)], atol=0.11, err_msg=key)
    assert not np.allclose(together[0].truth["air_temperature"], together[1].truth["air_temperature"])


@cache
def faulty_runs() -> dict[str, ChamberRun]:
    """Run the same chamber sound and with each fault of its own, from hour 10 to hour 24: all of it drying."""
    spells = [("sound", None)] + [
        (kind.value, Fault(kind, 0, BEGIN_S + FAULT_H * HOUR_S, BEGIN_S + MENDED_H * HOUR_S, grows_s=HOUR_S))
        for kind in FaultKind
    ]
    chambers = [Chamber(seed=SEED, species=(SPRUCE,))] * len(spells)
    faults = [
        Fault(
            fault.kind, kiln, fault.begin_s, fault.end_s, place="1" if fault.kind == "fan_weak" else "", grows_s=HOUR_S
        )
        for kiln, (_name, fault) in enumerate(spells)
        if fault
    ]
    return dict(zip([name for name, _fault in spells], simulate(chambers, BEGIN_S, UNTIL_H, faults), strict=True))


def spell(name: str, key: str, from_h: float = FAULT_H + 2, to_h: float = MENDED_H) -> np.ndarray:
    run = faulty_runs()[name]
    values = run.values[key] if key in run.values else run.truth[key]
    return values[int(from_h * 12) : int(to_h * 12)]


def change(name: str, key: str) -> float:
    """How far the mean of a channel is off the sound chamber's while the fault is there."""
    return float(np.nanmean(spell(name, key)) - np.nanmean(spell("sound", key)))


def test_the_sound_chamber_dries_while_faults_are_tried() -> None:
    run = faulty_runs()["sound"]
    assert set(run.phase[FAULT_H * 12 : MENDED_H * 12]) == {PHASE_CODES["drying"]}


@pytest.mark.parametrize("name", [kind.value for kind in FaultKind])
def test_before_a_fault_begins_a_chamber_is_as_a_sound_one(name: str) -> None:
    for key in ("air_temperature:left", "wet_bulb:right", "emc:1", "fan_current:1", "heat_power", "wood_moisture:2"):
        np.testing.assert_array_equal(spell(name, key, 0, FAULT_H), spell("sound", key, 0, FAULT_H))


@pytest.mark.parametrize(
    ("name", "key", "least"),
    [
        ("wick_dry", "humidity_ratio", -0.01),  # the controller takes the air for moist and opens the flaps
        ("wick_dry", "flap_position", 20),
        ("wick_scaled", "humidity_ratio", -0.003),
        ("plate_drift", "emc:1", -2.5),
        ("thermometer_offset", "air_temperature", -2),  # the controller cools until the offset sensor reads right
        ("flap_stuck_open", "air_changes_per_h", 4),
        ("flap_stuck_open", "humidity_ratio", -0.003),
        ("flap_stuck_shut", "humidity_ratio", 0.01),
        ("heating_valve_stuck", "air_temperature", -6),
        ("coil_fouled", "heating_valve", 5),
        ("fan_stopped", "fan_current:1", -10),
        ("fan_weak", "fan_current:1", -2),
        ("electrode_jump", "wood_moisture:1", -7),
        ("door_leak", "flap_position", -3),  # the leak does part of the flaps' work
    ],
)
def test_a_fault_shows_where_it_must(name: str, key: str, least: float) -> None:
    found = change(name, key)
    assert found <= least if least < 0 else found >= least


def test_a_dry_wick_ends_at_the_dry_bulb() -> None:
    gap = spell("wick_dry", "air_temperature:left") - spell("wick_dry", "wet_bulb:left")
    assert abs(np.nanmedian(gap)) < 1.3


def test_a_fan_that_stops_leaves_no_current() -> None:
    assert np.nanmax(np.abs(spell("fan_stopped", "fan_current:2"))) < 0.01
    assert np.nanmax(spell("fan_stopped", "flow")) == 0


def test_without_reversal_the_direction_stays() -> None:
    assert len(np.unique(spell("reversal_missing", "fan_direction", FAULT_H + 1))) <= 2
    assert {-1.0, 0.0, 1.0} >= set(np.unique(spell("sound", "fan_direction"))) >= {-1.0, 1.0}
    assert not {-1.0, 1.0} <= set(np.unique(spell("reversal_missing", "fan_direction", FAULT_H + 1)))


def test_an_open_electrode_reads_the_end_of_its_scale_and_no_data_is_none() -> None:
    assert set(spell("electrode_open", "wood_moisture:1")) == {2.0}
    for key in faulty_runs()["no_data"].values:
        assert np.isnan(spell("no_data", key)).all()


def test_blocked_spray_leaving_flaps_and_a_leaking_valve_show_when_they_are_asked() -> None:
    warm = {"heating": Heating.CONTROLLED, "set_air_c": 55.0, "fans": True}
    stages = (
        empty(4, **warm),
        empty(1, **warm, set_wet_c=50.0, spray=Drive.CONTROLLED, flaps=Drive.CONTROLLED),
        empty(3, fans=True),
    )
    kinds = [None, FaultKind.SPRAY_BLOCKED, FaultKind.FLAP_LEAKS, FaultKind.HEATING_VALVE_LEAKS]
    faults = [Fault(kind, kiln, BEGIN_S, BEGIN_S + 10**6) for kiln, kind in enumerate(kinds) if kind]
    sound, blocked, leaking_flap, leaking_valve = simulate([Chamber(stages=stages)] * 4, BEGIN_S, 7, faults, emit_s=60)
    sprayed = slice(280, 299)
    assert sound.truth["humidity_ratio"][sprayed].mean() > blocked.truth["humidity_ratio"][sprayed].mean() + 0.02
    assert np.nanmax(blocked.values["spray_valve"]) > 95
    assert leaking_flap.truth["air_changes_per_h"][60] > sound.truth["air_changes_per_h"][60] + 1
    assert np.nanmin(leaking_valve.values["heat_power"][380:]) > 10 and np.nanmax(sound.values["heat_power"][380:]) == 0
    assert leaking_valve.truth["air_temperature"][-1] > sound.truth["air_temperature"][-1] + 10


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: simulate([Chamber()], BEGIN_S, 1, step_s=300),
        lambda: simulate([Chamber()], BEGIN_S, 1, emit_s=90),
        lambda: simulate([Chamber()], BEGIN_S, 0),
        lambda: simulate([Chamber()], BEGIN_S, 1, [Fault(FaultKind.WICK_DRY, 1, 0, 10)]),
        lambda: ChamberDesign(leak_air_changes_per_h=-1),
        lambda: ChamberDesign(u_w_m2k=float("nan")),
        lambda: Fault(FaultKind.WICK_DRY, 0, 10, 10),
        lambda: Fault(FaultKind.WICK_DRY, 0, 0, 10, size=1.5),
        lambda: Fault(FaultKind.WICK_DRY, 0, 0, 10, place="3"),
        lambda: Fault(FaultKind.SPRAY_BLOCKED, 0, 0, 10, place="left"),
        lambda: Fault("no_such_fault", 0, 0, 10),  # type: ignore[arg-type]
        lambda: Species("x", 380, (60, 70), 16, (22,), 0.2, (Step(30, 60, 5), Step(40, 62, 5)), (70, 65)),
    ],
)
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"outside|not|above|kiln|fall|valid|no "):
        wrong()  # type: ignore[operator]
