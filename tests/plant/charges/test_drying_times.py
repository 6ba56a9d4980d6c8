"""How long a kiln's charges take: its own level, its spread, and the programme against it."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from plant import clock
from plant.charges.drying_times import drying_times
from plant.models import Channel, ChannelDay, Charge
from tests.factories import ChargeFactory, KilnFactory, MillFactory, UserFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 6, tzinfo=UTC)
TIMBER = {"initial_mc_pct": Decimal(70), "final_mc_pct": Decimal(18)}


@pytest.fixture(autouse=True)
def _a_monday_in_march(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: NOW)


def dried(days: list[float], **fields: object) -> list[Charge]:
    kiln = KilnFactory(mill=MillFactory())
    begin_at, found = NOW - timedelta(days=200), []
    for length in days:
        found.append(ChargeFactory(kiln=kiln, begin_at=begin_at, days=length, basis="done", **{**TIMBER, **fields}))
        begin_at += timedelta(days=length + 1)
    return found


def test_the_likely_time_of_like_charges_is_what_they_took() -> None:
    charges = dried([5, 5, 5, 5])
    ChargeFactory(kiln=charges[0].kiln, begin_at=NOW - timedelta(days=1), days=5, basis="running", **TIMBER)
    (coming,) = drying_times(charges[0].kiln, NOW).coming
    assert coming.time.likely_h == pytest.approx(5 * 24 - 28)
    assert coming.is_own_timber
    assert coming.m3_per_day == pytest.approx(55 / 5)


def test_a_charge_not_reported_as_unloaded_is_over_once_the_next_was_begun() -> None:
    kiln = dried([5, 5])[0].kiln
    before, now = NOW - timedelta(days=6), NOW - timedelta(days=1)
    ChargeFactory(kiln=kiln, number="C-1", begin_at=before, days=5, basis="running", **TIMBER)
    assert [one.charge.number for one in drying_times(kiln, NOW).coming] == ["C-1"]
    ChargeFactory(kiln=kiln, number="C-2", begin_at=now, days=5, basis="running", **TIMBER)
    assert [one.charge.number for one in drying_times(kiln, NOW).coming] == ["C-2"]


def test_a_programme_that_allows_less_than_eight_of_ten_took_is_called_short(client: Client) -> None:
    charges = dried([5, 5.2, 4.9, 5.1, 5])
    ChargeFactory(kiln=charges[0].kiln, number="C-77", begin_at=NOW, days=3.5, **TIMBER)
    assert [one.verdict for one in drying_times(charges[0].kiln, NOW).coming] == ["short"]
    client.force_login(
        UserFactory(username="ilse", role="kiln_master"), backend="django.contrib.auth.backends.ModelBackend"
    )
    page = client.get("/kilns/K1/drying-times/")
    assert page.context["sentence"] == "The programme allows charge C-77 less time than such timber took before."
    assert "shorter than usual" in page.content.decode()


def test_two_charges_give_a_level_but_no_spread() -> None:
    charges = dried([5, 5])
    ChargeFactory(kiln=charges[0].kiln, begin_at=NOW, days=1.5, **TIMBER)
    (coming,) = drying_times(charges[0].kiln, NOW).coming
    assert (coming.level.charges, coming.time.low_h, coming.verdict) == (2, None, "")


def test_a_species_without_history_takes_the_level_of_the_whole_kiln() -> None:
    charges = dried([5, 5, 5])
    ChargeFactory(kiln=charges[0].kiln, begin_at=NOW, days=5, species="oak", **TIMBER)
    (coming,) = drying_times(charges[0].kiln, NOW).coming
    assert (coming.is_own_timber, coming.level.charges) == (False, 3)


def test_a_charge_without_moisture_contents_is_counted_as_left_out() -> None:
    charges = dried([5], initial_mc_pct=None)
    times = drying_times(charges[0].kiln, NOW)
    assert (times.past, times.left_out) == ([], 1)


def test_readings_tell_the_temperature_of_the_drying() -> None:
    (charge,) = dried([5])
    channel = Channel.objects.create(kiln=charge.kiln, quantity="air_temperature", place="left")
    for n in range(6):
        ChannelDay.objects.create(
            channel=channel,
            day=date.fromordinal(charge.begin_at.date().toordinal() + n),
            readings=1440,
            marked=0,
            low=70,
            mean=72,
            high=74,
        )
    (past,) = drying_times(charge.kiln, NOW).past
    assert (past.temp_c, past.is_measured) == (72.0, True)


def test_more_charges_ask_no_more_queries() -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            drying_times(KilnFactory(), NOW)
        return len(caught)

    dried([5])
    few = queries()
    for n in range(8):
        ChargeFactory(kiln=KilnFactory(), begin_at=NOW - timedelta(days=150 - 6 * n), days=5, basis="done", **TIMBER)
    assert queries() == few
