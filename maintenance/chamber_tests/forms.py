"""The form that asks for the hours of a chamber's test."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.chamber_tests.running import COOLING, POWER, SHEETS, TestHours
from maintenance.frame.fields import KeyField, MeasureField
from maintenance.models import ChamberTest, WorkOrder
from plant.frame.days import Moment
from plant.models import Kiln

METHODS = [
    (POWER, _("from the metered power that held it warm")),
    (COOLING, _("from how fast it cooled")),
]


class WorkOrderChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A job by its number and title."""

    def label_from_instance(self, obj: Any) -> str:
        """Return number and title."""
        return f"{obj.number} {obj.title}"


class ChamberTestForm(forms.Form):
    """Which test, when, and what is known of the chamber."""

    key = KeyField()
    kind = forms.ChoiceField(label=_("Test"), choices=ChamberTest.Kind.choices)
    fans = forms.ChoiceField(
        label=_("Fans"), choices=ChamberTest.Fans.choices, help_text=_("As they were meant to be during the test.")
    )
    begin_at = Moment(
        label=_("From"),
        help_text=_("Tightness: any time from the spraying on. Heat loss by power: from the begin of warming up."),
    )
    end_at = Moment(label=_("Until"), help_text=_("Before flaps, doors or heating were touched again."))
    method = forms.ChoiceField(
        label=_("Heat loss is found"), choices=METHODS, required=False, help_text=_("Has no part in tightness.")
    )
    volume_m3 = MeasureField(
        label=_("Air volume of the empty chamber, m³"),
        required=False,
        min_value=Decimal(5),
        max_value=Decimal(10_000),
        help_text=_("Turns air changes into m³ and kWh."),
    )
    capacity_mj_k = MeasureField(
        label=_("Heat capacity, MJ/K"),
        required=False,
        min_value=Decimal("0.1"),
        max_value=Decimal(1000),
        help_text=_(
            "Only for cooling: of all that cools along, about 0.5 MJ/K a tonne of steel and half of what the panels "
            "hold. Surest from one test by power and one by cooling: W/K times the time constant in hours times 0.0036."
        ),
    )
    capacity_within_pct = MeasureField(
        label=_("Known within, %"), required=False, min_value=Decimal(1), max_value=Decimal(100)
    )
    work_order = WorkOrderChoice(
        label=_("Work order"),
        queryset=WorkOrder.objects.none(),
        required=False,
        to_field_name="number",
        empty_label=_("none"),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, kiln: Kiln, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        jobs = WorkOrder.objects.filter(kiln=kiln, sheet__code__in=SHEETS).exclude(state=WorkOrder.State.WITHDRAWN)
        self.fields["work_order"].queryset = jobs.order_by("-raised_at")  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Say aloud that the form itself is broken: its hidden key shows no error of its own."""
        if "key" in self.errors:
            raise forms.ValidationError(_("This form is damaged. Load the page again and fill it in anew."))
        return super().clean() or {}

    @property
    def hours(self) -> TestHours:
        """What was asked; only of a valid form."""
        numbers = {name: float(one) for name, one in self.cleaned_data.items() if isinstance(one, Decimal)}
        said: dict[str, Any] = {**self.cleaned_data, **numbers}
        return TestHours(**{**said, "method": said["method"] or POWER})
