"""Days and instants as people type them: a year that slipped is asked about, not believed."""

from datetime import date, datetime
from typing import Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

# Nothing that a mill plans or remembers lies outside these years, and what is counted on from such a day stays
# within the calendar of the computer. The same years as in a mill's files; our own choice.
FIRST_YEAR: Final = 1950
LAST_YEAR: Final = 2150


def check_year(value: date) -> None:
    """Refuse a day or an instant in a year that can only be a slip. Raises ValidationError."""
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise ValidationError(
            _("The year %(year)s cannot be meant: write one between %(first)s and %(last)s."),
            code="year",
            params={"year": value.year, "first": FIRST_YEAR, "last": LAST_YEAR},
        )


class DayInput(forms.DateInput):
    """A day, chosen from the browser's calendar or typed."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class Day(forms.DateField):
    """A day in a year that can be meant, in the mill's calendar."""

    widget = DayInput
    default_validators = [check_year]


class LocalInput(forms.DateTimeInput):
    """A date and a time of the mill's own clock."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M", attrs={"step": 60})


class Moment(forms.DateTimeField):
    """An instant in a year that can be meant, in the mill's zone."""

    widget = LocalInput
    default_validators = [check_year]


def instant_of(text: str) -> datetime | None:
    """Return the instant that an address names, with its distance from UTC; None for anything else."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return at if at.tzinfo else None
