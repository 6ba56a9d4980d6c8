"""What is planned and told of a charge, as people type it."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from plant.frame.days import LocalInput, Moment
from plant.frame.measures import InUnitField
from plant.frame.units import volume_scale
from plant.models import Charge, Kiln, Mill


class TellForm(forms.Form):
    """When it happened, or is expected; the time now stands there."""

    at = Moment(label=_("When"), widget=LocalInput())
    why = forms.CharField(label=_("Note"), max_length=300, required=False)
    # Made when the page is: sent twice, it is told once.
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


class CorrectForm(TellForm):
    """The right instant of what was told, and why the former one was wrong."""

    why = forms.CharField(label=_("Why it is put right"), max_length=300)


class TakeBackForm(forms.Form):
    """Why what was told is taken back."""

    why = forms.CharField(label=_("Why it is taken back"), max_length=300)
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


class TakeOutForm(forms.Form):
    """Why a planned charge is taken out of the programme."""

    why = forms.CharField(
        label=_("Why it is taken out"), max_length=300, help_text=_("A sentence: the record keeps it with the charge.")
    )
    seen = forms.CharField(widget=forms.HiddenInput)


class Number(forms.DecimalField):
    """A number that may be typed with a decimal comma."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(
            max_digits=12, widget=widget, error_messages={"invalid": _("Write a number, such as 12 or 2.5.")}, **kwargs
        )

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        """Accept a decimal comma."""
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class PlanForm(forms.Form):
    """What is to be dried, where and when, and for when it is promised.

    ``is_outside_meant`` is asked only after a time outside of the yard's hours was typed.
    """

    kiln = forms.ModelChoiceField(label=_("Kiln"), queryset=Kiln.objects.in_use(), to_field_name="tag")
    number = forms.CharField(label=_("Number of the charge"), max_length=20)
    species = forms.CharField(
        label=_("Species"), max_length=60, widget=forms.TextInput(attrs={"list": "species-known"})
    )
    thickness_mm = forms.IntegerField(label=_("Thickness in mm"))
    volume_m3 = forms.DecimalField()
    initial_mc_pct = Number(label=_("Moisture content at the start in %"), decimal_places=1, required=False)
    final_mc_pct = Number(label=_("Wanted moisture content in %"), decimal_places=1, required=False)
    begin_at = Moment(label=_("Loading begins at"), help_text=_("By the mill's clock."))
    end_at = Moment(
        label=_("Out at"),
        required=False,
        help_text=_("Empty: as long as such timber usually takes; then it is shown before anything is kept."),
    )
    promised_at = Moment(label=_("Promised for"), required=False)
    late_cost_per_h = Number(label=_("Each hour after that costs"), decimal_places=2, required=False)
    is_outside_meant = forms.BooleanField(label=_("The yard loads and unloads then all the same."), required=False)
    why = forms.CharField(label=_("Note"), max_length=300, required=False)
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    # What was shown to follow; empty as long as nothing was.
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, mill: Mill, present: Charge | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        scale = volume_scale(mill)
        self.fields["volume_m3"] = InUnitField(
            scale=scale,
            label=_("Volume in %(unit)s") % {"unit": scale.unit},
            present=present.volume_m3 if present else None,
        )
        label = _("Each hour after that costs, in %(currency)s")
        self.fields["late_cost_per_h"].label = label % {"currency": mill.currency}
        self.order_fields(PlanForm.base_fields)
        if present is not None:
            self.fields["end_at"].help_text = _("Empty: as long as now, or as usual where timber or kiln changes.")
        if "is_outside_meant" not in self.data:
            del self.fields["is_outside_meant"]

    def ask(self, refusal: ValidationError) -> None:
        """Ask whether a time is meant at which the yard does not work."""
        if getattr(refusal, "code", "") == "outside":
            self.fields["is_outside_meant"] = PlanForm.base_fields["is_outside_meant"]
            self.order_fields(PlanForm.base_fields)
