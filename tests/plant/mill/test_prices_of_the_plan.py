"""What overtime, an interruption, a move and a job left out cost in a plan is set by the mill, within reason."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from plant.models import Change, Mill
from plant.models.mill import PLAN_PRICES
from tests.factories import MillFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(client: Client) -> Client:
    MillFactory(currency="SEK")
    client.force_login(UserFactory(username="ada", role="administrator"))
    return client


def sent(client: Client, **changed: Any) -> Any:
    form = client.get("/mill/").context["form"]
    return client.post("/mill/", {**{name: form[name].value() for name in form.fields}, **changed})


def test_a_mill_begins_with_the_usual_prices_folded_away_and_each_explained(ada: Client) -> None:
    page = ada.get("/mill/").content.decode()
    assert "Prices of the plan" in page and '<details class="folded">' in page
    assert "Moving a job, SEK" in page and "An hour of overtime, times the labour rate" in page
    assert "The higher, the calmer the plan" in page
    mill = Mill.objects.get()
    assert {name: getattr(mill, name) for name in PLAN_PRICES} == {
        "overtime_factor": Decimal("1.5"),
        "price_per_interruption": 600,
        "price_per_move": 15,
        "price_per_job_left_out": 200,
    }


def test_prices_are_changed_to_the_cent_and_the_history_keeps_the_former(ada: Client) -> None:
    assert sent(ada, overtime_factor="1.75", price_per_move="0", price_per_interruption="812.5").status_code == 302
    entry = Change.objects.about(Mill.objects.get()).get()
    assert entry.before == {"overtime_factor": "1.50", "price_per_move": "15.00", "price_per_interruption": "600.00"}
    assert entry.after == {"overtime_factor": "1.75", "price_per_move": "0", "price_per_interruption": "812.5"}


@pytest.mark.parametrize(
    ("price", "typed", "message"),
    [
        ("price_per_move", "-1", "That is too little: write 0 or more."),
        ("price_per_interruption", "1000001", "That is too much: write 1000000 or less."),
        ("price_per_job_left_out", "0", "That is too little: write 1 or more."),
        ("overtime_factor", "11", "That is too much: write 10 or less."),
        ("price_per_move", "dear", "Enter a number."),
        ("price_per_move", "0.005", "no more than 2 decimal places"),
    ],
)
def test_a_price_that_makes_no_sense_is_refused_where_it_is_seen(
    ada: Client, price: str, typed: str, message: str
) -> None:
    page = sent(ada, **{price: typed}).content.decode()
    assert message in page and "Constraint" not in page
    assert '<details class="folded" open>' in page
    assert not Change.objects.exists()


@pytest.mark.parametrize("price", PLAN_PRICES)
def test_the_database_refuses_what_makes_no_sense_too(price: str) -> None:
    mill = MillFactory()
    least, most = PLAN_PRICES[price]
    for wrong in (least - Decimal("0.01"), most + Decimal("0.01")):
        with pytest.raises(IntegrityError), transaction.atomic():
            Mill.objects.filter(pk=mill.pk).update(**{price: wrong})
    Mill.objects.filter(pk=mill.pk).update(**{price: least})
    Mill.objects.filter(pk=mill.pk).update(**{price: most})
