"""Numbers that are typed in the mill's own unit and leave the form in the unit in which they are kept."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.basics.units import Scale


class InUnitField(forms.DecimalField):
    """A figure in a unit: its limits are given as kept, °C or m³, and told in the unit.

    ``present`` is what is kept now: its figure sent back as it was shown leaves it as it is, unrounded.
    """

    def __init__(
        self,
        *,
        scale: Scale,
        least: Decimal | None = None,
        most: Decimal | None = None,
        present: Decimal | None = None,
        **kwargs: Any,
    ) -> None:
        self.scale, self.present = scale, present
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(
            max_digits=15,
            decimal_places=scale.decimals,
            min_value=None if least is None else _plain(scale.rounded(least)),
            max_value=None if most is None else _plain(scale.rounded(most)),
            error_messages={"invalid": _("Write a number, such as 12 or 2.5.")},
            **kwargs,
        )

    def prepare_value(self, value: Any) -> Any:
        """Show what is kept in the unit; what was typed stays as typed."""
        if value is None or isinstance(value, str):
            return value
        return f"{_plain(self.scale.rounded(Decimal(value))):f}"

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        """Accept a decimal comma."""
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)

    def clean(self, value: Any) -> Any:
        """Check what was typed, then return it as it is kept."""
        typed = super().clean(value)
        if typed is None:
            return None
        is_as_shown = self.present is not None and typed == self.scale.rounded(self.present)
        return self.present if is_as_shown else self.scale.kept(typed)


def _plain(number: Decimal) -> Decimal:
    """Drop trailing zeros: 95.0 as 95, but 100 not as 1E+2."""
    return number.quantize(Decimal(1)) if number == number.to_integral_value() else number.normalize()
