"""Forms of the planner: where on the board to look, and a place for a job."""

from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef
from django.utils.formats import date_format
from django.utils.timezone import get_current_timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from maintenance.board import USUAL_DAYS, ZOOMS
from maintenance.frame.fields import DayField, MomentField, VersionField
from maintenance.models import Plan, WorkOrder
from plant.frame.days import check_year
from plant.frame.typed_numbers import row_number
from plant.models import Person, Qualification

#: Digits of the longest number that a row can have in any database.
LONGEST_NUMBER = 18


class BoardForm(forms.Form):
    """The stretch of time that the board shows; what makes no sense falls back to the usual."""

    days = forms.TypedChoiceField(
        label=_("Range"), coerce=int, choices=[(days, str(days)) for days in ZOOMS], required=False
    )
    #: Older links count in weeks.
    weeks = forms.TypedChoiceField(
        coerce=int, choices=[(weeks, str(weeks)) for weeks in (1, 2, 4, 8, 13)], required=False
    )
    start = DayField(label=_("From"), required=False)
    #: The list below the board begins with this day.
    day = DayField(label=_("Day"), required=False)
    q = forms.CharField(label=_("Find a kiln or a job"), max_length=80, required=False)

    def days_shown(self) -> int:
        """Return how many days are wanted."""
        said = self.cleaned_data
        return int(said.get("days") or 7 * (said.get("weeks") or 0) or USUAL_DAYS)


class InstantField(forms.Field):
    """An instant in the form of ISO 8601; without a zone it is meant in the mill's."""

    default_error_messages = {"invalid": _("Say when it is to begin, as day and time: 2026-03-06 10:00.")}

    def to_python(self, value: Any) -> Any:
        """Read the instant."""
        text = str(value or "").strip()
        if not text:
            return None
        try:
            found = datetime.fromisoformat(text)
            check_year(found)
            return found if found.tzinfo else found.replace(tzinfo=get_current_timezone())
        except (ValueError, OverflowError):
            raise ValidationError(self.error_messages["invalid"], code="invalid") from None


class ChosenField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """People by their numbers; a number that no database holds is nobody's."""

    def clean(self, value: Any) -> Any:
        """Refuse numbers beyond what a row can have."""
        for number in value or ():
            if str(number).isdigit() and len(str(number)) > LONGEST_NUMBER:
                raise ValidationError(self.error_messages["invalid_choice"], params={"value": number[:LONGEST_NUMBER]})
        return super().clean(value)


class VerdictForm(forms.Form):
    """A place that is asked about: which job, when, with whom, in which plan."""

    job = forms.ModelChoiceField(
        label=_("Job"),
        queryset=WorkOrder.objects.all(),
        to_field_name="number",
        error_messages={
            "required": _("Say which job is meant, by its number."),
            "invalid_choice": _("No job has this number; it may have been withdrawn. Load the board again."),
        },
    )
    start = InstantField(label=_("Begins"), error_messages={"required": _("Say when it is to begin.")})
    people = ChosenField(
        label=_("People"),
        queryset=Person.objects.all(),
        required=False,
        error_messages={
            "invalid_choice": _("Nobody has the number %(value)s. Choose from the people that are named."),
            "invalid_pk_value": _("“%(pk)s” is nobody's number. Choose from the people that are named."),
        },
    )
    plan = forms.ModelChoiceField(
        queryset=Plan.objects.all(),
        required=False,
        error_messages={"invalid_choice": _("There is no such plan. It may have been taken away; look at the list.")},
    )
    version = forms.IntegerField(required=False, min_value=0, max_value=2**31 - 1, widget=forms.HiddenInput)


class PlanOrNowField(forms.Field):
    """The record, said as "now", or the number of a plan that was worked out."""

    def __init__(self) -> None:
        super().__init__(required=False)

    def to_python(self, value: Any) -> Any:
        """Return None for the record, else the plan."""
        text = str(value or "").strip()
        if text in ("", "now"):
            return None
        plan = Plan.objects.filter(pk=row_number(text)).first()
        if plan is None:
            raise ValidationError(_("There is no plan %(number)s."), params={"number": text[:20]})
        return plan


class CompareForm(forms.Form):
    """Two plans side by side: each the record ("now") or a plan that was worked out."""

    left = PlanOrNowField()
    right = PlanOrNowField()


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
