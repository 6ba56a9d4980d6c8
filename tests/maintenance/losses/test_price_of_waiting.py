"""What a day of waiting costs: against computed examples, and as common sense wants it."""

from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import strategies as st

from maintenance.losses import waiting_heat as heat
from maintenance.losses.price_of_waiting import KINDS, proposed_kind
from maintenance.losses.waiting_drying import ColdSide, LessAir, WarmWetBulb
from maintenance.losses.waiting_loss import Bound, HotChamber, Worth, price
from tests.plant.physics.drying_reference import rows

WORTH = Worth(Decimal("0.08"), Decimal(45), Decimal(14))
CATALOGUE = Path(settings.BASE_DIR) / "fixtures" / "catalogue"


def number(row: dict[str, str], name: str) -> float:
    return float(row[name])


def climate(row: dict[str, str]) -> dict[str, float]:
    return {
        "dry_bulb_c": number(row, "chamber_dry_bulb_c"),
        "wet_bulb_c": number(row, "chamber_wet_bulb_c"),
        "outside_c": number(row, "outside_c"),
    }


@pytest.mark.parametrize("row", rows("door_gaps"), ids=lambda row: f"{row['outside_c']}-{row['gap_mm']}")
def test_a_door_gap_loses_what_the_example_says(row: dict[str, str]) -> None:
    gap = heat.DoorGap(
        **climate(row),
        outside_rh_pct=number(row, "outside_rh_pct"),
        hot_h_per_day=24,
        vented_anyway_pct=0,
        gap_mm=number(row, "gap_mm"),
        gap_height_m=number(row, "gap_height_m"),
    )
    loss = gap.loss(14)
    assert loss.kwh_per_day / 24 == pytest.approx(number(row, "loss_ashrae_stack_kw"), abs=0.006)
    assert loss.bound == Bound.LOWER


@pytest.mark.parametrize("row", rows("open_doors"), ids=lambda row: f"{row['chamber_dry_bulb_c']}-{row['outside_c']}")
def test_an_open_door_loses_what_the_example_says(row: dict[str, str]) -> None:
    height = number(row, "door_height_m")
    door = heat.OpenDoor(
        **climate(row),
        minutes_per_day=60,
        door_height_m=height,
        door_width_m=number(row, "door_area_m2") / height,
    )
    assert door.loss(14).kwh_per_day == pytest.approx(number(row, "with_flow_factor_08_kw"), abs=0.6)


@pytest.mark.parametrize("row", rows("wall_surfaces"), ids=lambda row: f"{row['case']}-{row['outside_c']}")
def test_a_poor_wall_is_wet_inside_where_the_example_says(row: dict[str, str]) -> None:
    wall = heat.PoorWall(**climate(row), area_m2=1, u_now_w_m2k=number(row, "u_w_m2k"), u_sound_w_m2k=0.25)
    loss = wall.loss(14)
    flux = number(row, "heat_flux_w_m2") - 0.25 * (wall.dry_bulb_c - wall.outside_c)
    assert loss.figures["more_w_m2"] == pytest.approx(flux, abs=0.06)
    assert loss.figures["inner_surface_c"] == pytest.approx(number(row, "inner_surface_c_rsi013"), abs=0.006)
    assert loss.figures["dew_point_c"] == pytest.approx(number(row, "chamber_dew_point_c"), abs=0.006)
    assert loss.figures["is_wet"] == (row["condenses_on_inner_skin"] == "yes")
    assert loss.figures["outer_surface_c"] == pytest.approx(number(row, "outer_surface_c_still_air_rse013"), abs=0.006)


@pytest.mark.parametrize(
    "row", rows("wet_bulb_errors"), ids=lambda row: f"{row['dry_bulb_c']}-{row['wet_bulb_reads_too_warm_k']}"
)
def test_a_warm_wet_bulb_misleads_as_the_example_says(row: dict[str, str]) -> None:
    error = number(row, "wet_bulb_reads_too_warm_k")
    bulb = WarmWetBulb(
        dry_bulb_c=number(row, "dry_bulb_c"),
        wet_bulb_shown_c=number(row, "true_wet_bulb_c") + error,
        reads_too_warm_k=error,
    )
    found = bulb.loss(14).figures
    # At 43.3 °C the file's Fahrenheit origin shows: 110 °F is 43.33.
    assert found["true_rh_pct"] == pytest.approx(number(row, "rh_true_pct"), abs=0.1)
    assert found["shown_rh_pct"] == pytest.approx(number(row, "rh_indicated_pct"), abs=0.1)
    assert found["true_emc_pct"] == pytest.approx(number(row, "emc_true_pct"), abs=0.05)
    assert found["emc_error"] == pytest.approx(number(row, "emc_error_points"), abs=0.08)


def test_one_kelvin_of_wet_bulb_is_some_four_points_of_humidity() -> None:
    bulb = WarmWetBulb(dry_bulb_c=60, wet_bulb_shown_c=56, reads_too_warm_k=1)
    assert bulb.loss(14).figures["rh_error"] == pytest.approx(4.2, abs=0.1)


def test_a_bare_pipe_costs_what_insulation_would_save() -> None:
    (printed,) = (row for row in rows("bare_pipes_1955") if row["od_mm"] == "60.3" and row["pipe_temp_c"] == "98.9")
    pipe = heat.BarePipe(length_m=3, outer_diameter_mm=60.3, pipe_c=98.9, ambient_c=21.1)
    loss = pipe.loss(14)
    assert loss.figures["bare_w_m"] == pytest.approx(number(printed, "w_per_m"), rel=0.02)
    assert 0.85 < loss.figures["heat_kw"] * 1000 / 3 / loss.figures["bare_w_m"] < 0.93


@pytest.mark.parametrize(
    "row", [row for row in rows("steam_leaks") if 160 < float(row["abs_kpa"]) < 1200 and row["status"] == "verified"]
)
def test_a_steam_leak_loses_what_the_table_says(row: dict[str, str]) -> None:
    leak = heat.SteamLeak(hole_mm=number(row, "orifice_mm"), steam_bar=number(row, "abs_kpa") / 100 - 1.01325)
    assert leak.loss(14).figures["steam_kg_h"] == pytest.approx(number(row, "published_kg_h"), rel=0.014)


def test_a_slow_fan_costs_nothing_once_the_timber_is_dry() -> None:
    assert LessAir(above_fibre_saturation_pct=0).loss(14).m3_per_day == 0
    wet = LessAir(above_fibre_saturation_pct=100, exponent=0.5)
    assert wet.loss(14).m3_per_day == pytest.approx(14 * (1 - 0.75**0.5))
    assert LessAir(fans=2, affected_fans=2).loss(14).m3_per_day == 14


def test_a_cold_side_costs_less_where_the_sides_take_turns() -> None:
    turns, stays = ColdSide(lagging_pct=50).loss(14), ColdSide(lagging_pct=100).loss(14)
    assert 0 < turns.m3_per_day < stays.m3_per_day
    assert stays.m3_per_day == pytest.approx(2 * turns.m3_per_day)


def test_a_leak_that_holds_the_charge_back_costs_timber_too() -> None:
    assert heat.DoorGap(longer_drying_pct=25).loss(15).m3_per_day == pytest.approx(3)


def test_what_the_flaps_would_have_let_out_anyway_is_not_lost() -> None:
    assert heat.DoorGap(vented_anyway_pct=100).loss(14).kwh_per_day == 0
    half, none = heat.OpenFlap(vented_anyway_pct=50), heat.OpenFlap(vented_anyway_pct=0)
    assert half.loss(14).kwh_per_day == pytest.approx(none.loss(14).kwh_per_day / 2)


@pytest.mark.parametrize("kind", KINDS)
def test_the_money_is_that_of_the_rounded_amounts_to_its_last_decimal(kind: str) -> None:
    found = price(KINDS[kind](), WORTH)
    assert found.heat_cost_per_day == found.kwh_per_day * Decimal("0.08")
    assert found.timber_cost_per_day == found.m3_per_day * 45
    assert found.cost_per_day == found.heat_cost_per_day + found.timber_cost_per_day
    assert found.cost_per_day > 0 and KINDS[kind].SOURCE


@pytest.mark.parametrize(
    ("kind", "grows"),
    [
        ("door_gap", "gap_mm"),
        ("threshold", "gap_length_m"),
        ("open_flap", "pressure_pa"),
        ("open_door", "minutes_per_day"),
        ("poor_wall", "area_m2"),
        ("bare_pipe", "pipe_c"),
        ("steam_leak", "hole_mm"),
        ("water_leak", "leak_l_min"),
        ("warm_wet_bulb", "reads_too_warm_k"),
        ("less_air", "affected_fans"),
        ("cold_side", "colder_by_k"),
    ],
)
def test_more_of_the_fault_costs_more(kind: str, grows: str) -> None:
    little = KINDS[kind]()
    much = replace(little, **{grows: getattr(little, grows) + 1})
    assert price(much, WORTH).cost_per_day > price(little, WORTH).cost_per_day


@given(st.sampled_from(sorted(KINDS)), st.data())
def test_whatever_is_typed_gives_a_price_or_a_reason(kind: str, data: st.DataObject) -> None:
    told = {
        one.name: data.draw(
            st.integers(int(one.metadata["low"]), int(one.metadata["high"]))
            if one.metadata["step"]
            else st.floats(one.metadata["low"], one.metadata["high"])
        )
        for one in fields(KINDS[kind])
    }
    try:
        found = price(KINDS[kind](**told), WORTH)
    except ValueError as refusal:
        assert "is outside" in str(refusal) or "is above" in str(refusal)
    else:
        assert found.cost_per_day >= 0
        # Rounded up at the most by half of the last digit.
        assert found.m3_per_day <= Decimal("14.001")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: heat.DoorGap(gap_mm=-1), "gap mm -1 mm is outside 0.1 to 200"),
        (lambda: LessAir(fans=2.5), "fans 2.5 is no multiple of 1"),
        (lambda: LessAir(fans=2, affected_fans=3).loss(14), "affected fans 3 is outside 0 to 2"),
        (lambda: HotChamber(dry_bulb_c=60, wet_bulb_c=61).inside(), "wet bulb 61 °C is outside"),
        (lambda: heat.PoorWall(u_now_w_m2k=0.2).loss(14), "U value of a sound wall 0.3 W/m²K is above"),
        (lambda: heat.WaterLeak(replaced_c=95).loss(14), "comes back 95 °C is above the hot water of 90 °C"),
        (lambda: heat.SteamLeak(steam_bar=0.3).loss(14), "Napier's rule does not hold"),
        (
            lambda: heat.DoorGap(dry_bulb_c=45, wet_bulb_c=20, outside_c=40, outside_rh_pct=90).loss(14),
            "outer air holds more heat",
        ),
        (lambda: Worth(Decimal(-1), Decimal(1), Decimal(1)), "energy price per kwh -1 is outside"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(make: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()  # type: ignore[operator]


def test_kinds_are_proposed_from_the_catalogue() -> None:
    assert proposed_kind("door-seal-torn", "door-seal", is_steam=False) == "door_gap"
    assert proposed_kind("threshold-broken", "door-threshold", is_steam=False) == "threshold"
    assert proposed_kind("heating-valve-leaks", "heating-valve", is_steam=True) == "steam_leak"
    assert proposed_kind("heating-valve-leaks", "heating-valve", is_steam=False) == "water_leak"
    assert proposed_kind("trap-blows", "steam-trap", is_steam=True) == "steam_leak"
    assert proposed_kind("wick-dry", "psychrometer", is_steam=False) == "warm_wet_bulb"
    assert proposed_kind("", "fan", is_steam=False) == "less_air"
    assert proposed_kind("escape-light-dark", "escape-sign", is_steam=False) is None


def test_every_code_that_proposes_a_kind_stands_in_the_catalogue() -> None:
    from maintenance.losses import price_of_waiting as table

    modes = (CATALOGUE / "failure_modes.csv").read_text(encoding="utf-8")
    kinds = (CATALOGUE / "component_kinds.csv").read_text(encoding="utf-8")
    for code in [*table._BY_FAILURE_MODE, *table._LEAKS]:
        assert f"\n{code}," in modes
    for code in [*table._BY_KIND, *table._LEAKING_KINDS]:
        assert f"\n{code}," in kinds
    assert {*table._BY_FAILURE_MODE.values(), *table._BY_KIND.values()} <= set(KINDS)
