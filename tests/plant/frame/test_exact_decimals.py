"""Quantities and money are exact on every database."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db.models import F, Max, Sum, Value
from hypothesis import given
from hypothesis import strategies as st

from plant.fields import MoneyField, QuantityField
from plant.models import Kiln, Mill

FIELD = QuantityField()


@pytest.fixture
def mill(db: Any) -> Mill:
    return Mill.objects.create(name="Fallow Bridge Sawmill")


def add_kilns(mill: Mill, count: int, usable_m3: Decimal) -> None:
    Kiln.objects.bulk_create(
        Kiln(mill=mill, tag=f"K{no}", usable_m3=usable_m3, heating_medium="steam", humidifying="none")
        for no in range(count)
    )


def test_a_thousand_tenths_add_up_to_a_hundred(mill: Mill) -> None:
    add_kilns(mill, 1000, Decimal("0.1"))
    assert Kiln.objects.aggregate(total=Sum("usable_m3"))["total"] == Decimal("100.000")


def test_a_long_number_comes_back_as_it_went_in(mill: Mill) -> None:
    add_kilns(mill, 1, Decimal("123456789012345.678"))
    assert Kiln.objects.get().usable_m3 == Decimal("123456789012345.678")


def test_a_filter_finds_what_was_added_in_the_database(mill: Mill) -> None:
    add_kilns(mill, 3, Decimal("0.1"))
    Kiln.objects.update(usable_m3=F("usable_m3") + Value(Decimal("0.2"), output_field=QuantityField()))
    assert Kiln.objects.filter(usable_m3=Decimal("0.3")).count() == 3
    assert Kiln.objects.filter(usable_m3__gte="0.3").count() == 3
    assert Kiln.objects.aggregate(most=Max("usable_m3"))["most"] == Decimal("0.300")


@pytest.mark.parametrize(
    ("value", "code"),
    [("1.2345", "surplus"), ("many", "invalid"), ("NaN", "invalid"), ("1e30", "range"), ("Infinity", "invalid")],
)
def test_what_cannot_be_kept_exactly_is_refused(value: str, code: str) -> None:
    with pytest.raises(ValidationError) as refusal:
        FIELD.to_python(value)
    assert refusal.value.code == code


@given(st.decimals(min_value=-(10**12), max_value=10**12, places=3))
def test_every_quantity_survives_the_way_to_the_database_and_back(value: Decimal) -> None:
    assert FIELD.from_db_value(FIELD.get_prep_value(value), None, None) == value


def test_money_keeps_hundredths() -> None:
    assert MoneyField().get_prep_value(Decimal("19.90")) == 1990
