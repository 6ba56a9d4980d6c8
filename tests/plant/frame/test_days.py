"""Days and instants that people type: a year that slipped is refused wherever it is typed."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from inventory.forms.fields import DayField
from plant.frame.days import Day, Moment


@pytest.mark.parametrize("field", [Day(), Moment(), DayField(label="day")])
@pytest.mark.parametrize("year", ["0001", "1949", "2151", "9999"])
def test_a_year_that_can_only_be_a_slip_is_named(field: Day | Moment, year: str) -> None:
    typed = f"{year}-12-31" + ("T23:59" if isinstance(field, Moment) else "")
    with pytest.raises(ValidationError) as refusal:
        field.clean(typed)
    assert refusal.value.messages == [f"The year {int(year)} cannot be meant: write one between 1950 and 2150."]


def test_a_day_of_the_mills_life_is_taken() -> None:
    assert Day().clean("2026-11-25") == date(2026, 11, 25)


def test_no_day_stays_none() -> None:
    assert Day(required=False).clean("") is None
