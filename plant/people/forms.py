"""People, their skills, turns, absences and sign-ins."""

from typing import Any

from django import forms
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import ValidationError
from django.utils.dates import WEEKDAYS as WEEKDAY_NAMES
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from plant.access import Role
from plant.frame.days import Day, Moment
from plant.frame.particulars import ParticularsForm
from plant.models import DayOff, Person, Shift, Skill, User
from plant.models.people import WEEKDAYS
from plant.people.keeping import PERSON_FIELDS, SHIFT_FIELDS


class NewPersonForm(forms.ModelForm):  # type: ignore[type-arg]
    """Somebody who is to be put on record."""

    class Meta:
        model = Person
        fields = ["code", "name", "email", "phone"]
        help_texts = {"code": _("Short and for good: it names the person in files and addresses.")}

    skills = forms.ModelMultipleChoiceField(
        label=_("Skills"),
        queryset=Skill.objects.all(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Those that run out get their last day on the person's page."),
    )
    shift = forms.ModelChoiceField(
        label=_("Shift"),
        queryset=Shift.objects.all(),
        required=False,
        help_text=_("From today on; other days on the person's page."),
    )


class PersonForm(ParticularsForm):
    """A person's particulars; the code stays."""

    class Meta:
        model = Person
        fields = list(PERSON_FIELDS)


class QualificationForm(forms.Form):
    """A skill and the last day on which it counts."""

    skill = forms.ModelChoiceField(label=_("Skill"), queryset=Skill.objects.all())
    valid_until = Day(
        label=_("Valid until"),
        required=False,
        help_text=_("The last day; empty where it does not run out."),
    )


class DutyForm(forms.Form):
    """A turn on a shift."""

    shift = forms.ModelChoiceField(label=_("Shift"), queryset=Shift.objects.all())
    from_on = Day(label=_("First day"))
    until_on = Day(label=_("Last day"), required=False, help_text=_("Empty until further notice."))
    every_weeks = forms.TypedChoiceField(
        label=_("Weeks"),
        choices=lambda: [(1, _("every week")), *((n, gettext("one week in %d") % n) for n in range(2, 7))],
        coerce=int,
        initial=1,
        required=False,
        empty_value=1,  # type: ignore[arg-type]
        help_text=_("Whoever changes shifts has a turn on each: one week in two, the second from the week after."),
    )


class DayOffForm(forms.ModelForm):  # type: ignore[type-arg]
    """A day on which no shift begins."""

    on = Day(label=_("Day"))

    class Meta:
        model = DayOff
        fields = ["on", "name"]


class EndDutyForm(forms.Form):
    """The last day of a turn."""

    until_on = Day(label=_("Last day"))


class AbsenceForm(forms.Form):
    """A time in which somebody is not there."""

    start_at = Moment(label=_("From"))
    end_at = Moment(label=_("Until"))
    reason = forms.CharField(label=_("Reason"), max_length=80, required=False)


class WeekdaysField(forms.MultipleChoiceField):
    """Days of the week, kept as a shift has them: MO,TU,WE."""

    widget = forms.CheckboxSelectMultiple

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=list(zip(WEEKDAYS, WEEKDAY_NAMES.values(), strict=True)), **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Tick the days that are kept."""
        return [name.strip() for name in value.split(",")] if isinstance(value, str) else value

    def clean(self, value: Any) -> Any:
        """Give them in the order of the week."""
        return ",".join(super().clean(value))


def _weekdays() -> WeekdaysField:
    return WeekdaysField(label=_("Weekdays"), error_messages={"required": _("Tick at least one day.")})


def _clock() -> forms.TimeInput:
    return forms.TimeInput(format="%H:%M", attrs={"type": "time"})


class ShiftForm(ParticularsForm):
    """A working time; its code stays. One that ends before it starts ends on the next day."""

    weekdays = _weekdays()

    class Meta:
        model = Shift
        fields = list(SHIFT_FIELDS)
        widgets = {"start_time": _clock(), "end_time": _clock()}
        help_texts = {"end_time": _("Before the start: on the next day."), "weekdays": ""}

    def clean(self) -> dict[str, Any]:
        """Refuse a shift of no length: it would be one of no time or of a whole day, nobody knows which."""
        values: dict[str, Any] = super().clean() or {}
        start = values.get("start_time")
        if start is not None and start == values.get("end_time"):
            self.add_error("end_time", _("It ends when it starts: write another time."))
        return values


class NewShiftForm(ShiftForm):
    """A working time that is to be put on record."""

    def clean_code(self) -> str:
        """Leave the one name that is an address of its own."""
        code = str(self.cleaned_data["code"])
        if code in ("new", "days-off"):
            raise ValidationError(_("This name is taken by a page of its own: choose another."))
        return code

    class Meta(ShiftForm.Meta):
        fields = ["code", *SHIFT_FIELDS]
        labels = {"code": _("Code")}
        help_texts = ShiftForm.Meta.help_texts | {"code": _("Short and for good, such as early.")}


class RolesForm(forms.Form):
    """What somebody is at the mill, and whether they may sign in."""

    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=Role.choices, widget=forms.CheckboxSelectMultiple, required=False
    )
    is_active = forms.BooleanField(label=_("May sign in"), required=False)


def _password() -> forms.CharField:
    return forms.CharField(
        label=_("First password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("At least ten letters or figures. Tell it in person; it must be changed at the next sign-in."),
    )


class FirstPasswordForm(forms.Form):
    """A new first password for somebody who cannot sign in any more."""

    password = _password()


class OwnPasswordForm(PasswordChangeForm):
    """One's own new password; nobody who chose the first one knows it."""

    def clean_new_password1(self) -> str:
        """Refuse the first password once more."""
        password = str(self.cleaned_data["new_password1"])
        if self.user.has_first_password and self.user.check_password(password):
            raise ValidationError(_("Whoever gave you this password knows it: choose another."), code="same_as_first")
        return password

    def save(self, commit: bool = True) -> User:
        """Keep the password, and that it is one's own."""
        self.user.has_first_password = False
        return super().save(commit)


class SignInForm(forms.Form):
    """A sign-in for a person."""

    username = forms.CharField(label=_("Name to sign in with"), max_length=150, validators=[UnicodeUsernameValidator()])
    password = _password()
    roles = forms.MultipleChoiceField(label=_("Roles"), choices=Role.choices, widget=forms.CheckboxSelectMultiple)
