"""Fields that several forms of upkeep share."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.frame.days import Day, Moment


class MeasureField(forms.DecimalField):
    """A number as people type it: a decimal comma or a point, with the keypad of a phone."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_digits", 15)
        kwargs.setdefault("decimal_places", 3)
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        """Accept a decimal comma."""
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class KeyField(forms.UUIDField):
    """A hidden key made with the form, so that a second sending changes nothing."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, initial=uuid4)


class VersionField(forms.IntegerField):
    """The hidden version of what was on the screen."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, min_value=0)


class TickField(forms.BooleanField):
    """A statement that must be ticked; the form says which one is missing.

    It says how things are at this moment, so it is never ticked for somebody (config.refill).
    """

    def __init__(self, label: Any, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.CheckboxInput(attrs={"data-said-anew": "yes"}))
        super().__init__(label=label, error_messages={"required": _("This must be so first: tick it.")}, **kwargs)


# What the forms of the board and of the plans still call them.
DayField, MomentField = Day, Moment
