"""Forms of the planner: where on the board to look, and a place for a job."""

from typing import Any

from django import forms
from django.db.models import Exists, OuterRef
from django.utils.formats import date_format
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from maintenance.board import RANGES
from maintenance.forms.fields import DayField, MomentField, VersionField
from maintenance.models import WorkOrder
from plant.models import Person, Qualification


class BoardForm(forms.Form):
    """The stretch of time that the board shows."""

    weeks = forms.TypedChoiceField(
        label=_("Range"), coerce=int, choices=[(weeks, str(weeks)) for weeks in RANGES], required=False
    )
    start = DayField(label=_("From"), required=False)


class PeopleField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """People to tick, each with what they bring of the skills that are wanted."""

    wanted: frozenset[int] = frozenset()

    def label_from_instance(self, obj: Any) -> str:
        """Name a person with the skills that count here, and the last day of each."""
        skills = [self._held(held) for held in obj.qualifications.all() if held.skill_id in self.wanted]
        return f"{obj.name} ({', '.join(skills)})" if skills else obj.name

    def _held(self, held: Any) -> str:
        if held.valid_until is None:
            return str(held.skill.name)
        facts = {"skill": held.skill.name, "day": date_format(held.valid_until, "j M Y")}
        return _now("%(skill)s until %(day)s") % facts


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
        people.wanted = frozenset(needed.skill_id for needed in order.skills.all())
        known = Person.objects.working_here().prefetch_related("qualifications__skill")
        if people.wanted:
            # Whoever brings a wanted skill stands first; with none wanted it would be sorting by a constant.
            brings = Qualification.objects.filter(person=OuterRef("pk"), skill__in=people.wanted)
            known = known.order_by(Exists(brings).desc(), "name")
        people.queryset = known
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
