"""The mill's settings, and the units they choose."""

from decimal import Decimal
from typing import Any

import pytest
from django.template import engines
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from plant.basics.units import BOARD_FEET, BOARD_FEET_PER_M3
from plant.basics.units import FAHRENHEIT as FAHRENHEIT_SCALE
from plant.frame.units import temperature_in, volume_in
from plant.models import Change, Mill
from tests.factories import MillFactory, UserFactory

BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def ada(client: Client) -> Client:
    MillFactory()
    client.force_login(UserFactory(username="ada", role="administrator"), backend=BACKEND)
    return client


def settings_of(client: Client, **changed: Any) -> dict[str, Any]:
    form = client.get("/mill/").context["form"]
    return {**{name: form[name].value() for name in form.fields}, **changed}


@pytest.mark.django_db
def test_settings_are_changed_and_the_history_keeps_the_former(ada: Client) -> None:
    assert ada.post("/mill/", settings_of(ada, currency="sek", entry_limit_c=30)).status_code == 302
    mill = Mill.objects.get()
    assert (mill.currency, mill.entry_limit_c) == ("SEK", 30)
    entry = Change.objects.about(mill).get()
    assert (entry.before, entry.after) == (
        {"currency": "EUR", "entry_limit_c": "35.000"},
        {"currency": "SEK", "entry_limit_c": "30.000"},
    )


@pytest.mark.django_db
def test_what_is_sent_unchanged_leaves_no_entry(ada: Client) -> None:
    ada.post("/mill/", settings_of(ada))
    assert not Change.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"time_zone": "Mars/Olympus"}, "is no time zone"),
        ({"time_zone": "../etc/passwd"}, "is no time zone"),
        ({"currency": "E1R"}, "not a currency of three letters"),
        ({"horizon_days": "0"}, "That is too little: write 1 or more."),
        ({"horizon_days": "9000"}, "That is too much: write 730 or less."),
        ({"drying_margin_per_m3": "-1"}, "That is too little: write 0 or more."),
        ({"planned_notice_days": "-1"}, "That is too little: write 0 or more."),
        ({"entry_limit_c": "90"}, "That is too much: write 60 or less."),
    ],
)
def test_a_faulty_setting_is_refused(ada: Client, changed: dict[str, str], message: str) -> None:
    answer = ada.post("/mill/", settings_of(ada, **changed))
    assert answer.status_code == 200
    assert message in answer.content.decode()
    assert "Constraint" not in answer.content.decode()
    assert Mill.objects.get().horizon_days == 56


@pytest.mark.django_db
def test_a_change_over_somebody_elses_is_noticed(ada: Client) -> None:
    mine = settings_of(ada, labour_rate_per_h="52")
    Mill.objects.update(horizon_days=70)
    assert "changed this meanwhile" in ada.post("/mill/", mine).content.decode()
    assert Mill.objects.get().labour_rate_per_h == 48


@pytest.mark.django_db
def test_the_entry_limit_is_read_and_typed_in_the_mills_own_unit(ada: Client) -> None:
    Mill.objects.update(temperature_unit="degF")
    page = ada.get("/mill/").content.decode()
    assert "Entry limit in °F" in page
    assert 'name="entry_limit_c" value="95"' in page
    ada.post("/mill/", settings_of(ada, entry_limit_c="100"))
    assert Mill.objects.get().entry_limit_c == Decimal("37.778")
    assert settings_of(ada)["entry_limit_c"] == "100"
    ada.post("/mill/", settings_of(ada, currency="USD"))
    assert Change.objects.about(Mill.objects.get()).last().after == {"currency": "USD"}  # type: ignore[union-attr]
    refused = ada.post("/mill/", settings_of(ada, entry_limit_c="150")).content.decode()
    assert "That is too much: write 140 or less." in refused


@pytest.mark.django_db
def test_a_limit_typed_while_the_unit_is_changed_counts_in_the_unit_it_was_shown_in(ada: Client) -> None:
    ada.post("/mill/", settings_of(ada, temperature_unit="degF", entry_limit_c="40"))
    mill = Mill.objects.get()
    assert (mill.temperature_unit, mill.entry_limit_c) == ("degF", Decimal(40))


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["planner", "manager", "auditor"])
def test_only_an_administrator_changes_the_mill(client: Client, role: str) -> None:
    MillFactory()
    client.force_login(UserFactory(username="rolf", role=role), backend=BACKEND)
    assert client.get("/mill/").status_code == 403


def test_a_board_foot_is_144_cubic_inches() -> None:
    # International yard and pound agreement, 1959: 1 inch = 25.4 mm exactly.
    cubic_metres = 144 * Decimal("0.0254") ** 3
    assert abs(1 / cubic_metres - BOARD_FEET_PER_M3) < Decimal("0.0005")


# Typed with one decimal of °F, or whole board feet: what is kept comes back as it was typed, and keeps its order.
@given(st.integers(-2000, 5000), st.integers(-2000, 5000))
def test_a_temperature_typed_in_fahrenheit_comes_back_as_typed(first: int, second: int) -> None:
    typed = sorted(Decimal(tenths) / 10 for tenths in (first, second))
    kept = [FAHRENHEIT_SCALE.kept(one) for one in typed]
    assert [FAHRENHEIT_SCALE.rounded(one) for one in kept] == typed
    assert kept == sorted(kept)
    assert (kept[0] == kept[1]) is (typed[0] == typed[1])


@given(st.integers(0, 10**9))
def test_a_volume_typed_in_board_feet_comes_back_as_typed(typed: int) -> None:
    assert BOARD_FEET.rounded(BOARD_FEET.kept(Decimal(typed))) == typed


@given(st.decimals(-60, 200, places=3))
def test_a_temperature_kept_is_shown_within_a_twentieth_of_a_degree(kept: Decimal) -> None:
    assert abs(FAHRENHEIT_SCALE.rounded(kept) - (kept * 9 / 5 + 32)) <= Decimal("0.05")


FAHRENHEIT = Mill(temperature_unit="degF", volume_unit="board_feet")


# NIST SP 811 (2008), appendix B.8: t/°F = 1.8 t/°C + 32; 0 °C, 100 °C and -40 °C are its common points.
@pytest.mark.parametrize(("celsius", "shown"), [(0, "32 °F"), (100, "212 °F"), (-40, "-40 °F"), (35, "95 °F")])
def test_temperatures_in_fahrenheit(celsius: int, shown: str) -> None:
    assert temperature_in(celsius, FAHRENHEIT) == shown


def test_figures_stay_metric_unless_the_mill_says_otherwise() -> None:
    assert temperature_in(Decimal("34.6"), Mill()) == "34.6 °C"
    assert volume_in(Decimal("41.35"), Mill(), 1) == "41.4 m³"
    assert volume_in(None, Mill()) == "–"


def test_volumes_in_board_feet_are_whole() -> None:
    assert volume_in(1, FAHRENHEIT, 3) == "424 board feet"
    assert volume_in(Decimal("60.5"), FAHRENHEIT).replace("\N{NO-BREAK SPACE}", ",") == "25,638 board feet"


def test_templates_have_filters_for_both() -> None:
    source = "{% load units %}{{ 35|temperature:mill }} {{ 2|volume:mill }} {% show_volume 1.25 1 %}"
    told = engines["django"].from_string(source).render({"mill": Mill()})
    assert told == "35 °C 2 m³ 1.3 m³"


WEEK = ["6:00–14:00", "6-14", "06.00 - 14.30", "22:00–24:00", "", "", ""]


@pytest.mark.django_db
def test_the_yard_works_from_when_to_when_on_each_weekday(ada: Client) -> None:
    said = {f"yard_hours_{number}": day for number, day in enumerate(WEEK)}
    assert ada.post("/mill/", settings_of(ada, **said)).status_code == 302
    early = ["06:00", "14:00"]
    assert Mill.objects.get().yard_hours == [early, early, ["06:00", "14:30"], ["22:00", "00:00"], None, None, None]
    page = ada.get("/mill/").content.decode()
    assert 'name="yard_hours_2" value="06:00–14:30"' in page and "Wednesday" in page
    # Sent again as it is shown, nothing changes.
    shown = {f"yard_hours_{number}": day for number, day in enumerate(settings_of(ada)["yard_hours"])}
    ada.post("/mill/", settings_of(ada, **shown))
    assert Change.objects.count() == 1
    ada.post("/mill/", settings_of(ada))
    assert Mill.objects.get().yard_hours == []


@pytest.mark.django_db
@pytest.mark.parametrize("typed", ["early", "14:00–6:00", "6–25", "6:75–14"])
def test_hours_that_cannot_be_are_said_by_their_day_and_kept_as_typed(ada: Client, typed: str) -> None:
    page = ada.post("/mill/", settings_of(ada, yard_hours_1=typed)).content.decode()
    assert "Tuesday: write from when to when, such as 6:00–14:00" in page
    assert f'name="yard_hours_1" value="{typed}"' in page
