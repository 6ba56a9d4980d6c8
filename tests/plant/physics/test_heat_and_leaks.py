"""Heat through walls and from pipes, air through gaps and doors, steam through holes: against published figures."""

import numpy as np
import pytest

from plant.physics import heat_loss, leaks
from plant.physics.leaks import Air
from tests.plant.physics.drying_reference import columns, rows, worst

# Outer diameters of steel pipes, ASME B36.10, in mm.
OUTER_MM = {"1": 33.4, "2": 60.3, "4": 114.3, "8": 219.1, "12": 323.9}
GAPS, DOORS, STEAM = rows("door_gaps"), rows("open_doors"), rows("steam_leaks")


def airs(row: dict[str, str]) -> tuple[Air, Air]:
    inside = Air.by_wet_bulb(float(row["chamber_dry_bulb_c"]), float(row["chamber_wet_bulb_c"]))
    return inside, Air.by_humidity(float(row["outside_c"]), float(row["outside_rh_pct"]) / 100)


def test_bare_pipes_meet_the_printed_table_of_1955() -> None:
    diameter, pipe, printed = columns("bare_pipes_1955", "od_mm", "pipe_temp_c", "w_per_m")
    assert len(printed) == 75
    off = heat_loss.bare_pipe_loss_w_m(diameter, pipe, (70 - 32) / 1.8) / printed - 1
    assert float(off.min()) > -0.055 and float(off.max()) < 0.035


def test_bare_steam_pipes_lie_within_a_fifth_of_the_energy_departments_table() -> None:
    for row in rows("bare_pipes_doe"):
        found = float(
            heat_loss.bare_pipe_loss_w_m(OUTER_MM[row["nominal_in"]], float(row["steam_temp_c"]), (75 - 32) / 1.8)
        )
        assert 1.0 < found / float(row["w_per_m"]) < 1.2


def test_insulated_pipes_meet_the_cylinder_formula_and_save_what_is_published() -> None:
    diameter, pipe, air, thick, computed = columns(
        "insulated_pipes", "od_mm", "pipe_temp_c", "ambient_c", "insulation_mm", "insulated_w_per_m"
    )
    found = heat_loss.insulated_pipe_loss_w_m(diameter, pipe, air, thick)
    assert worst(found / computed - 1) < 0.001
    saved = 1 - found / heat_loss.bare_pipe_loss_w_m(diameter, pipe, air)
    # The US DOE says that insulation saves about 90 %.
    assert float(saved.min()) > 0.83 and float(saved.max()) < 0.94


def test_wall_surfaces_meet_every_case() -> None:
    u, inside, outside, flux, windy, still, inner = columns(
        "wall_surfaces",
        "u_w_m2k",
        "chamber_dry_bulb_c",
        "outside_c",
        "heat_flux_w_m2",
        "outer_surface_c_rse004",
        "outer_surface_c_still_air_rse013",
        "inner_surface_c_rsi013",
    )
    assert worst(heat_loss.heat_flux_w_m2(u, inside, outside) - flux) < 0.051
    assert worst(heat_loss.outer_surface_c(u, inside, outside) - windy) < 0.0051
    assert worst(heat_loss.outer_surface_c(u, inside, outside, is_still_air=True) - still) < 0.0051
    assert worst(heat_loss.inner_surface_c(u, inside, outside) - inner) < 0.0051


def slot_flow_m3_s(inside: Air, outside: Air, gap_mm: float, height_m: float) -> float:
    """The flow from the true densities, Q = CD w/3 sqrt(g (rho_o - rho_i)/rho_i) H^1.5 (textbook, from memory)."""
    lift = (outside.density_kg_m3 - inside.density_kg_m3) / inside.density_kg_m3
    return float(leaks.GAP_DISCHARGE * gap_mm / 3000 * np.sqrt(leaks.GRAVITY_M_S2 * lift) * height_m**1.5)


@pytest.mark.parametrize("row", GAPS, ids=lambda row: f"{row['chamber_dry_bulb_c']}-{row['outside_c']}-{row['gap_mm']}")
def test_door_gaps_meet_every_example(row: dict[str, str]) -> None:
    inside, outside = airs(row)
    gap, height = float(row["gap_mm"]), float(row["gap_height_m"])
    stack = leaks.gap_flow_m3_s(inside.temp_c, outside.temp_c, gap, height)
    slot = slot_flow_m3_s(inside, outside, gap, height)
    assert stack == pytest.approx(float(row["q_ashrae_stack_m3_s"]), abs=6e-5)
    assert slot == pytest.approx(float(row["q_slot_density_m3_s"]), abs=6e-5)
    lost = leaks.air_loss(inside, outside, stack)
    assert lost.heat_w / 1000 == pytest.approx(float(row["loss_ashrae_stack_kw"]), abs=0.006)
    by_slot = leaks.air_loss(inside, outside, slot)
    assert by_slot.heat_w / 1000 == pytest.approx(float(row["loss_slot_density_kw"]), abs=0.006)
    assert by_slot.water_kg_h == pytest.approx(float(row["water_lost_kg_h"]), abs=0.06)
    # Most of the heat is in the vapour: temperatures alone would miss it.
    assert lost.sensible_w < 0.35 * lost.heat_w


@pytest.mark.parametrize("row", DOORS, ids=lambda row: f"{row['chamber_dry_bulb_c']}-{row['outside_c']}")
def test_open_doors_meet_every_example(row: dict[str, str]) -> None:
    inside, outside = airs(row)
    area, height = float(row["door_area_m2"]), float(row["door_height_m"])
    full = leaks.door_exchange_kg_s(inside, outside, area, height, flow_factor=1)
    assert full == pytest.approx(float(row["mass_flow_da_kg_s"]), abs=6e-4)
    heat_kw = full * (inside.enthalpy_j_kg - outside.enthalpy_j_kg) / 1000
    assert heat_kw == pytest.approx(float(row["full_flow_kw"]), abs=0.6)
    assert heat_kw * 0.8 == pytest.approx(float(row["with_flow_factor_08_kw"]), abs=0.6)


@pytest.mark.parametrize("row", STEAM, ids=lambda row: f"{row['orifice_mm']}mm-{row['abs_kpa']}kPa")
def test_steam_leaks_meet_the_printed_table(row: dict[str, str]) -> None:
    is_napier = "Napier" in row["status"]
    found = leaks.steam_flow_kg_h(
        float(row["orifice_mm"]),
        float(row["abs_kpa"]) * 1000,
        leaks.NAPIER_DISCHARGE if is_napier else leaks.DOE_DISCHARGE,
    )
    # The smallest holes are printed with one figure after the point.
    assert found == pytest.approx(float(row["published_kg_h"]), rel=0.0015 if is_napier else 0.013)


def test_the_energy_departments_yearly_sum_comes_out() -> None:
    # Steam Tip Sheet 1: 75.8 lb/h over 8 760 h at 4.50 $ a thousand pounds make 2 988 $ a year.
    pounds = leaks.steam_flow_kg_h(3.175, 1_135_500, leaks.DOE_DISCHARGE) / 0.45359237
    assert pounds * 8760 * 4.50 / 1000 == pytest.approx(2988, rel=0.002)


def test_the_enthalpy_of_steam_meets_the_steam_tables() -> None:
    pressure, published = columns("steam_enthalpy", "pressure_pa", "enthalpy_j_kg")
    assert (pressure.min(), pressure.max(), len(pressure)) == (101_000, 1_500_000, 60)
    found = np.array([leaks.steam_enthalpy_j_kg(pascal) for pascal in pressure])
    assert worst(found / published - 1) < 2e-4


def test_losses_grow_with_what_drives_them() -> None:
    inside, outside = Air.by_wet_bulb(60, 55), Air.by_humidity(5, 0.8)
    flows = [leaks.gap_flow_m3_s(60, outside_c, 10, 4) for outside_c in (20, 5, -10)]
    assert flows == sorted(flows)
    pressed = [leaks.pressed_flow_m3_s(inside, 0.1, pascal, 0.6) for pascal in (0, 5, 20)]
    assert pressed[0] == 0 and pressed[2] == pytest.approx(2 * pressed[1])
    assert leaks.gap_flow_m3_s(20, 20, 10, 4) == 0
    assert slot_flow_m3_s(inside, outside, 10, 4) > leaks.gap_flow_m3_s(60, 5, 10, 4)
    assert np.all(np.diff(heat_loss.bare_pipe_loss_w_m(60.3, np.linspace(20, 300, 50), 20)) > 0)
    assert float(heat_loss.bare_pipe_loss_w_m(60.3, 20, 20)) == 0


@pytest.mark.parametrize(
    ("compute", "message"),
    [
        (lambda: leaks.gap_flow_m3_s(5, 20, 10, 4), "chamber temperature 5 °C is outside the outer air's 20 °C"),
        (lambda: leaks.gap_flow_m3_s(60, 5, -1, 4), "gap -1 mm is outside 0 to 500"),
        (lambda: leaks.steam_flow_kg_h(3, 8e5, 0.6, behind_pa=6e5), "Napier's rule does not hold"),
        (lambda: leaks.steam_flow_kg_h(3, 8), "steam pressure 8 Pa absolute is outside"),
        (lambda: leaks.steam_enthalpy_j_kg(50_000), "steam pressure 50000 Pa absolute is outside"),
        (lambda: leaks.door_exchange_kg_s(Air(0, 0), Air(20, 0), 1, 1), "is above that outside"),
        (lambda: Air.by_humidity(20, 80), "relative humidity 80 is outside 0 to 1"),
        (lambda: heat_loss.bare_pipe_loss_w_m(60, 10, 20), "pipe temperature 10"),
        (lambda: heat_loss.heat_flux_w_m2(25, 60, 5), "U value 25 W/m2K is outside 0 to 7"),
        (lambda: heat_loss.insulated_pipe_loss_w_m(60, 90, 20, 0), "insulation 0 mm is outside 1 to 500"),
    ],
)
def test_values_outside_their_range_are_refused_by_name(compute: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        compute()  # type: ignore[operator]
