"""The demo mill shows a price of waiting that was worked out."""

from datetime import date

import pytest

from maintenance.demo.setting_up import set_up
from maintenance.models import Defect, PriceOfWaiting

pytestmark = pytest.mark.django_db


def test_the_torn_seal_of_the_demo_has_its_price() -> None:
    set_up(date(2026, 11, 25), months=2)
    kept = PriceOfWaiting.objects.get()
    assert kept.loss == "door_gap" and kept.bound == "estimate"
    # The gap was measured; that charges take 8 % longer is typed, and most of the price.
    assert 0 < kept.sure.physics < kept.sure.assumption and not kept.sure.experience
    assert kept.kwh_per_day > 0 and 20 < kept.cost_per_day < 120
    assert Defect.objects.get(prices=kept).cost_of_delay_per_day == kept.cost_per_day
