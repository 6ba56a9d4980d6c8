"""Forms of recurring tasks: what recurs, where, how often, and what the next one is counted from."""

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator
from django.utils.translation import gettext_lazy as _

from maintenance.frame.fields import MeasureField, VersionField
from maintenance.models import StandingTask, TaskSheet
from maintenance.recurring.calculations.resets import PRACTICES
from maintenance.recurring.editing import EDITED, METER_WINDOWS, RESET_FIELDS, interval_of_default
from maintenance.recurring.rolling_on import METERS, RESETS, schedule_of
from plant.frame.days import Day
from plant.frame.saying import say
from plant.models import Component, Kiln

OWN = "own"
# Beyond these nothing sensible can be meant.
LARGEST = {
    "every_running_h": 1_000_000,
    "every_charges": 100_000,
    "window_before_days": 3650,
    "window_after_days": 3650,
    "window_before_running_h": 1_000_000,
    "window_after_running_h": 1_000_000,
    "window_before_charges": 100_000,
    "window_after_charges": 100_000,
}
RECORD_OF_RESET = {reset: record for record, reset in RESETS.items()}


class StandingTaskFilter(forms.Form):
    """What the list shows."""

    kiln = forms.ModelChoiceField(
        label=_("Kiln"), queryset=Kiln.objects.all(), to_field_name="tag", required=False, empty_label=_("all")
    )
    q = forms.CharField(label=_("Find"), max_length=80, required=False, widget=forms.TextInput({"type": "search"}))
    withdrawn = forms.BooleanField(label=_("those that recur no longer"), required=False)


class SheetAndKilnForm(forms.Form):
    """The first step: which sheet recurs on which kiln."""

    sheet = forms.ModelChoiceField(
        label=_("Task sheet"), queryset=TaskSheet.objects.in_use().select_related("kind"), to_field_name="code"
    )
    kiln = forms.ModelChoiceField(label=_("Kiln"), queryset=Kiln.objects.in_use(), to_field_name="tag")


def practice_of(task: StandingTask) -> str:
    """Return the published practice that a task's resets are, or that they are the mill's own."""
    resets = tuple(RESETS[StandingTask.Reset(getattr(task, name))] for name in RESET_FIELDS)
    for practice in PRACTICES:
        if (practice.resets.early, practice.resets.inside, practice.resets.late) == resets:
            return practice.key
    return OWN


class StandingTaskForm(forms.ModelForm):  # type: ignore[type-arg]
    """A recurring task; the rule is checked by following it."""

    anchor_on = Day(
        label=_("First date"), help_text=_("The series is counted from it; only for rules of the calendar.")
    )
    practice = forms.ChoiceField(
        label=_("The next date is counted"),
        choices=lambda: [
            *((one.key, f"{say(one.words)} ({one.source})") for one in PRACTICES),
            (OWN, _("As chosen for each case below.")),
        ],
        widget=forms.RadioSelect,
        help_text=_("The first four are published practice."),
    )
    cost_of_delay_per_day = MeasureField(
        label=_("Cost of a day's delay"), decimal_places=2, min_value=0, required=False
    )
    version = VersionField()

    class Meta:
        model = StandingTask
        fields = EDITED
        labels = {
            "component": _("Component"),
            "every": _("Every"),
            "every_unit": _("Unit"),
            "rrule": _("Or a calendar rule"),
            "every_running_h": _("Every so many running hours"),
            "every_charges": _("Every so many charges"),
            "window_before_days": _("May be done so many days before"),
            "window_after_days": _("And so many days after"),
            "window_before_running_h": _("May be done so many running hours before"),
            "window_after_running_h": _("And so many running hours after"),
            "window_before_charges": _("May be done so many charges before"),
            "window_after_charges": _("And so many charges after"),
        }
        help_texts = {
            "component": _("Empty: the kiln as a whole."),
            "every_running_h": _("With a calendar rule as well, whichever comes first."),
            "month_end": _("The 29th, 30th, 31st, and 29 February."),
            "window_after_days": _("For safety work the safety date is the end of this window."),
            "window_before_running_h": _("Only where running hours count; fewer than the hours from one to the next."),
            "window_before_charges": _("Only where charges count; fewer than the charges from one to the next."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        resets_at = self.Meta.fields.index(RESET_FIELDS[0])
        self.order_fields([*self.Meta.fields[:resets_at], "practice", *self.Meta.fields[resets_at:], "version"])
        component = self.fields["component"]
        assert isinstance(component, forms.ModelChoiceField)  # noqa: S101  narrows the type
        kiln_id, kind_id = self.instance.kiln_id, self.instance.sheet.kind_id
        component.queryset = Component.objects.filter(kiln=kiln_id, kind=kind_id, is_active=True)
        component.label_from_instance = lambda one: one.name  # type: ignore[method-assign, assignment]
        for name, most in LARGEST.items():
            self.fields[name].validators.append(MaxValueValidator(most))
        self.initial.setdefault("version", self.instance.version)
        self.initial.setdefault("practice", practice_of(self.instance))
        for name in RESET_FIELDS:
            self.fields[name].required = False

    @property
    def asked(self) -> list[forms.BoundField]:
        """Return the fields that matter: where, from when, and how often by the measure in which it is counted."""
        counted = [name for name in ("every_running_h", "every_charges") if self[name].value()]
        names = ["component", "anchor_on", *counted]
        if self["rrule"].value():
            names.append("rrule")
        elif self["every"].value() or not counted:
            names += ["every", "every_unit"]
        return [self[name] for name in names]

    @property
    def folded(self) -> list[forms.BoundField]:
        """Return the other fields."""
        asked = {one.name for one in self.asked}
        return [one for one in self.visible_fields() if one.name not in asked]

    @property
    def is_folded_at_fault(self) -> bool:
        """Say whether something that is folded must be looked at."""
        return self.is_bound and any(one.errors for one in self.folded)

    def clean(self) -> dict[str, Any]:
        """Set the resets of the practice, and follow the rule once: what it cannot do is said here."""
        values: dict[str, Any] = super().clean() or {}
        practice = next((one for one in PRACTICES if one.key == values.get("practice")), None)
        for name, when in zip(RESET_FIELDS, ("early", "inside", "late"), strict=True):
            if practice:
                values[name] = RECORD_OF_RESET[getattr(practice.resets, when)]
            elif not values.get(name):
                values[name] = getattr(self.instance, name)
        for name in METER_WINDOWS:
            values[name] = values.get(name) or 0
        self._check_meter_windows(values)
        values["cost_of_delay_per_day"] = values.get("cost_of_delay_per_day") or 0
        if values.get("every") and not values.get("every_unit"):
            self.add_error("every_unit", _("Every so many what? Choose days, weeks or months."))
        if not values.get("every"):
            values["every_unit"] = ""
        if self.errors:
            return values
        if not any(values.get(name) for name in ("every", "rrule", "every_running_h", "every_charges")):
            self.add_error("every", _("Say how often: an interval, a calendar rule, running hours or charges."))
            return values
        try:
            schedule_of(self.as_task(values))
        except ValueError as fault:
            self.add_error("rrule" if values.get("rrule") else None, _sentence(str(fault)))
        return values

    def _check_meter_windows(self, values: dict[str, Any]) -> None:
        """Refuse a window of a meter that is not counted, and one as long as its interval."""
        for meter in METERS:
            before, after, every = (values.get(f"{n}_{meter}") for n in ("window_before", "window_after", "every"))
            if (before or after) and not every:
                side = "before" if before else "after"
                self.add_error(f"window_{side}_{meter}", _("Say every how many above, or leave this window empty."))
            elif before and every and before >= every:
                self.add_error(f"window_before_{meter}", _("It must be shorter than from one work to the next."))

    def as_task(self, values: dict[str, Any]) -> StandingTask:
        """Return the task as it would be, not stored."""
        task = self.instance
        copy = StandingTask(
            **{field.attname: getattr(task, field.attname) for field in StandingTask._meta.concrete_fields}
        )
        copy.kiln, copy.sheet = task.kiln, task.sheet
        for name in EDITED:
            setattr(copy, name, values[name])
        return copy

    def _post_clean(self) -> None:
        """Leave the instance as it is on record: the action changes it, under a lock."""


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")


def proposed(sheet: TaskSheet, kiln: Kiln, component: Component | None) -> StandingTask:
    """Return a new task as the catalogue proposes it; without a proposal, only what and where."""
    task = StandingTask(sheet=sheet, kiln=kiln, component=component, is_safety=sheet.is_safety)
    default = getattr(sheet, "standing_default", None)
    if default is None:
        return task
    for name, value in interval_of_default(default).items():
        setattr(task, name, value)
    if task.every:
        task.window_before_days, task.window_after_days = default.window_before, default.window_after
    for name in RESET_FIELDS:
        if getattr(default, name) in StandingTask.Reset.values:
            setattr(task, name, getattr(default, name))
    return task


class WithdrawForm(forms.Form):
    """Why a task recurs no longer."""

    why = forms.CharField(label=_("Why it recurs no longer"), max_length=200, widget=forms.Textarea({"rows": 2}))
    version = VersionField()
