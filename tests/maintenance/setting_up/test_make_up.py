"""What a chamber is usually made of: what is asked decides what is there, and every kind is in the catalogue."""

import csv
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import strategies as st

from maintenance.setting_up.calculations.make_up import (
    SIDES,
    TRAP_SURVEYS,
    Answers,
    first_date,
    positions,
    trap_survey_fits,
    usual_channels,
)
from plant.models import Kiln

OF_HOT_WATER = Answers(
    heating_medium="hot_water",
    humidifying="water_spray",
    climate_sensing="psychrometer",
    is_reversing=True,
    main_doors=1,
    escape_doors=1,
    fans=4,
    electrode_groups=4,
)
ANSWERS = st.builds(
    Answers,
    heating_medium=st.sampled_from(Kiln.HeatingMedium.values),
    humidifying=st.sampled_from(Kiln.Humidifying.values),
    climate_sensing=st.sampled_from(Kiln.ClimateSensing.values),
    is_reversing=st.booleans(),
    main_doors=st.integers(0, 4),
    escape_doors=st.integers(0, 4),
    fans=st.integers(0, 12),
    electrode_groups=st.integers(0, 8),
    has_air_drives=st.booleans(),
    is_loaded_on_cars=st.booleans(),
    steam_bar=st.none() | st.decimals(0, 60, places=1),
)


def kinds_of_the_catalogue() -> set[str]:
    with (settings.FIXTURES_DIR / "catalogue" / "component_kinds.csv").open(encoding="utf-8") as file:
        return {row["code"] for row in csv.DictReader(file)}


def count(answers: Answers, kind: str) -> int:
    return sum(one.kind == kind for one in positions(answers))


@given(ANSWERS)
def test_every_position_is_of_a_known_kind_and_has_a_tag_of_its_own(answers: Answers) -> None:
    found = positions(answers)
    assert {one.kind for one in found} <= kinds_of_the_catalogue()
    assert len({one.tag for one in found}) == len(found)


@given(ANSWERS)
def test_what_was_counted_is_there_as_often(answers: Answers) -> None:
    assert count(answers, "fan") == count(answers, "fan-motor") == answers.fans
    assert count(answers, "escape-door") == answers.escape_doors
    assert count(answers, "door-seal") == answers.main_doors
    assert count(answers, "wood-electrode") == answers.electrode_groups


@given(ANSWERS)
def test_the_air_is_known_on_both_sides(answers: Answers) -> None:
    assert {one.side for one in positions(answers) if one.kind == "thermometer"} == set(SIDES)


def test_what_heats_and_humidifies_decides_what_comes_with_it() -> None:
    steam = replace(OF_HOT_WATER, heating_medium="steam", humidifying="steam_spray")
    fired = replace(OF_HOT_WATER, heating_medium="direct_fired", humidifying="none")
    assert count(OF_HOT_WATER, "steam-trap") == 0 and count(steam, "steam-trap") == 1
    assert count(OF_HOT_WATER, "water-supply") == 1 and count(steam, "water-supply") == 0
    assert count(fired, "burner-controls") == 1 and count(fired, "heating-coil") == 0
    assert count(fired, "spray-line") == 0
    assert count(replace(OF_HOT_WATER, is_reversing=False), "fan-reversal") == 0


@given(ANSWERS)
def test_what_is_usually_measured_follows_from_what_is_there(answers: Answers) -> None:
    keys = usual_channels(answers)
    assert sum(key.startswith("fan_current:") for key in keys) == answers.fans
    assert sum(key.startswith("wood_moisture:") for key in keys) == answers.electrode_groups
    assert ("spray_valve" in keys) == (count(answers, "spray-valve") == 1)
    assert ("heating_valve" in keys) == (count(answers, "heating-valve") == 1)
    assert ("fan_direction" in keys) == (count(answers, "fan-reversal") == 1)
    assert ("wet_bulb:left" in keys) == (count(answers, "psychrometer") == 2)


def test_a_count_below_nought_is_refused() -> None:
    with pytest.raises(ValueError, match="below nought"):
        positions(replace(OF_HOT_WATER, fans=-1))


# US DOE Steam Tip Sheet 1 (as the catalogue cites it): above 150 psig weekly to monthly, 30 to 150 psig monthly to
# quarterly, below 30 psig yearly; 1 psi is 0.0689476 bar.
@pytest.mark.parametrize(
    ("psig", "sheet"), [(15, "trap-survey-low"), (100, "trap-survey-mid"), (200, "trap-survey-high")]
)
def test_one_survey_of_steam_traps_suits_a_pressure(psig: int, sheet: str) -> None:
    answers = replace(OF_HOT_WATER, heating_medium="steam", steam_bar=Decimal(psig) * Decimal("0.0689476"))
    assert [code for code in TRAP_SURVEYS if trap_survey_fits(code, answers)] == [sheet]
    assert trap_survey_fits("wick-exchange", answers) is None
    assert trap_survey_fits(sheet, OF_HOT_WATER) is None


@given(st.integers(1, 3000), st.integers(0, 500))
def test_a_first_date_lies_in_its_own_interval_and_safety_work_is_due_at_once(days: int, place: int) -> None:
    today = date(2026, 3, 2)
    assert 0 <= (first_date(today, days, place, is_safety=False) - today).days <= days
    assert first_date(today, days, place, is_safety=True) == today


def test_first_dates_of_monthly_tasks_do_not_fall_on_one_day() -> None:
    today = date(2026, 3, 2)
    dates = [first_date(today, 30, place, is_safety=False) for place in range(15)]
    assert max(dates.count(on) for on in dates) <= 2
