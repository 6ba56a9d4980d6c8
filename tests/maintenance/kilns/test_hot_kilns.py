"""What cannot be said of a hot kiln is said on the page, and the mill's height above the sea is used by all."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from maintenance.pricing.prefill import price_for
from plant import clock
from plant.mill.forms import MillForm
from plant.models import Channel, ChannelDay, Mill
from plant.readings.hot_kilns import emc_words, signal_words_of, steam_words
from plant.readings.spans import load_frame
from tests.factories import ChargeFactory, KilnFactory

pytestmark = pytest.mark.django_db


def read_at(kiln: Any, high: float) -> None:
    channel = Channel.objects.create(kiln=kiln, quantity="air_temperature")
    yesterday = clock.now().date() - timedelta(days=1)
    ChannelDay.objects.create(channel=channel, day=yesterday, readings=1, marked=0, low=20, mean=high, high=high)


def test_a_watch_on_emc_says_where_it_tells_nothing() -> None:
    kiln = KilnFactory()
    assert signal_words_of("psychrometer_emc:left", kiln) == []
    read_at(kiln, 122)
    said = signal_words_of("psychrometer_emc:left", kiln)
    assert "Above 115 °C no EMC can be told" in said[0] and "100 °C" in said[1]
    assert signal_words_of("depression:left", kiln) == []


def test_steam_begins_sooner_up_a_mountain() -> None:
    mill = KilnFactory().mill
    assert emc_words(110, mill) == "" and "100 °C" in steam_words(110, mill)
    mill.height_m = Decimal(1800)
    assert "94 °C" in steam_words(110, mill)


def test_the_height_is_set_in_the_mills_own_unit() -> None:
    KilnFactory()
    mill = Mill.objects.current()
    mill.temperature_unit = "degF"
    mill.height_m = Decimal(1000)
    form = MillForm(instance=mill)
    assert form.fields["height_m"].label == "Height above the sea in ft"
    assert str(form["height_m"].value()).startswith("3281")


def test_prices_and_readings_take_the_pressure_of_the_mills_height() -> None:
    kiln, now = KilnFactory(), clock.now()
    ChargeFactory(kiln=kiln, begin_at=now - timedelta(days=7), basis="done")
    low, at_sea = price_for(kiln, None, "steam_leak", now), load_frame(kiln, 0, 600).pressure_pa
    Mill.objects.update(height_m=Decimal(1800))
    kiln.mill.refresh_from_db()
    high, frame = price_for(kiln, None, "steam_leak", now), load_frame(kiln, 0, 600)
    assert low is not None and high is not None and high.kwh_per_day < low.kwh_per_day
    assert at_sea == 101_325 and frame.pressure_pa == pytest.approx(81_494, rel=1e-3)
