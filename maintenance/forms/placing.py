"""Forms of the planner: where on the board to look, and a place for a job."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.board import RANGES
from maintenance.forms.fields import DayField, MomentField, VersionField
from maintenance.models import WorkOrder
from plant.models import Person


class BoardForm(forms.Form):
    """The stretch of time that the board shows."""

    weeks = forms.TypedChoiceField(
        label=_("Range"), coerce=int, choices=[(weeks, str(weeks)) for weeks in RANGES], required=False
    )
    start = DayField(label=_("From"), required=False)


class PeopleField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """People to tick, each with what they can do."""

    def label_from_instance(self, obj: Any) -> str:
        """Name a person with their skills."""
        skills = ", ".join(held.skill.name for held in obj.qualifications.all())
        return f"{obj.name} ({skills})" if skills else obj.name


class PlaceForm(forms.Form):
    """When a job is to begin, and who does it."""

    start_at = MomentField(label=_("Begins"))
    people = PeopleField(
        label=_("People"),
        queryset=Person.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose who does it: tick one or more people.")},
    )
    version = VersionField()

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = self.fields["people"]
        assert isinstance(people, PeopleField)  # noqa: S101  narrows the type
        people.queryset = Person.objects.working_here().prefetch_related("qualifications__skill")
        self.fields["version"].initial = order.version


class LeaveOutForm(forms.Form):
    """Why a job is left out of the plan, and up to which day."""

    why = forms.CharField(label=_("Why it is left out of the plan"), max_length=200)
    not_before_on = DayField(
        label=_("Not wanted before"),
        required=False,
        help_text=_("From this day on it may have a place again. Empty: it stays out until somebody puts it back."),
    )
    version = VersionField()
    back = forms.CharField(required=False, widget=forms.HiddenInput)
