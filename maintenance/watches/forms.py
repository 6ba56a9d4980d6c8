"""Forms of watches: what the list shows, the numbers of a rule in the mill's units, a trial, a word of judgement."""

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, get_args, get_type_hints

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from maintenance.frame.fields import VersionField
from maintenance.models import Firing, Watch
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rows import RULES, WatchSpec, rule_from, rule_parameters
from maintenance.watches.settings import own_name
from maintenance.watches.words import unit_for
from plant.models import Kiln, Mill, Phase
from plant.readings.calculations.climate_frame import PHASE_CODES

TRIAL_DAYS: Final = (30, 60, 90)
SENTENCE_HELP: Final = _(
    "In braces: {place}, {value}, {limit}, {unit}, {since}; over charges also {charges} and {day}."
)
PHASES: Final = [(code, {**dict(Phase.Kind.choices), "between": _("between charges")}[code]) for code in PHASE_CODES]
"""The phases in which a watch may look, as a form offers them."""
# Most watches are silent for years: the list begins with those that have something to tell.
SHOWN: Final = [
    ("", _("those that have spoken")),
    ("silent", _("those that never spoke")),
    ("all", _("all")),
    ("on", _("switched on")),
    ("off", _("switched off")),
]


class WatchFilter(forms.Form):
    """What the list shows."""

    kiln = forms.ModelChoiceField(
        label=_("Kiln"), queryset=Kiln.objects.in_use(), to_field_name="tag", required=False, empty_label=_("all")
    )
    state = forms.ChoiceField(label=_("Show"), choices=SHOWN, required=False)
    q = forms.CharField(label=_("Find"), max_length=80, required=False, widget=forms.TextInput({"type": "search"}))


class KilnWithoutWatchesForm(forms.Form):
    """Which kiln gets the watches that ship."""

    kiln = forms.ModelChoiceField(label=_("Kiln"), queryset=Kiln.objects.in_use(), to_field_name="tag")


@dataclass(frozen=True, slots=True)
class Wording:
    """What a number of a rule is called, what it does, and how it is measured.

    ``measure`` is ``level`` or ``difference`` for what is in the unit of what the watch looks at, else the word of a
    unit of its own.
    """

    label: Any
    help: Any = ""
    measure: Any = ""


# Each number that a rule can have; a test holds this complete.
WORDINGS: Final[dict[str, Wording]] = {
    "side": Wording(_("It speaks up when the value is")),
    "limit": Wording(_("Limit"), _("Beyond it the watch begins to count."), "level"),
    "clear": Wording(_("Over at"), _("Back from here it is over: a little inside the limit."), "level"),
    "hold_minutes": Wording(_("Holds for"), _("So long it must last before the watch speaks up."), _("min")),
    "forget_hours": Wording(_("Begins anew after"), _("A silence of so long starts the count again."), _("h")),
    "k": Wording(_("So many readings beyond")),
    "n": Wording(_("of the last"), "", _("readings")),
    "per_hour": Wording(_("Change in an hour"), _("Faster than this the watch begins to count."), "level"),
    "clear_per_hour": Wording(_("Over at a change of"), _("Slower than this it is over."), "level"),
    "most_gap_minutes": Wording(_("Readings at most apart"), _("Further apart they tell no rate."), _("min")),
    "minutes": Wording(_("Silent for"), _("So long without a usable reading."), _("min")),
    "numbers": Wording(_("Message numbers"), _("Whole numbers with a space between them.")),
    "hours": Wording(_("Running hours since the last work"), _("Leave empty where charges count."), _("h")),
    "charges": Wording(_("Charges"), _("Looked at for a trend, or counted since the last work.")),
    "chart": Wording(_("Chart")),
    "baseline_charges": Wording(_("Charges that tell what is usual"), _("The kiln's own first ones after a reset.")),
    "least_charges": Wording(_("Silent below"), _("With fewer charges it says nothing."), _("charges")),
    "slack": Wording(_("Slack"), _("Of the sum (CUSUM): what is let pass at each charge."), _("standard deviations")),
    "decision": Wording(_("Decision limit"), _("Of the sum (CUSUM): here it speaks up."), _("standard deviations")),
    "weight": Wording(_("Weight of the last charge"), _("Of the mean (EWMA), 0 to 1.")),
    "width": Wording(_("Width of the limits"), _("Of the mean (EWMA)."), _("standard deviations")),
    "least_sd": Wording(_("Spread taken at least"), _("A kiln may be quiet by chance."), "difference"),
    "least_shift": Wording(_("Shift worth a word"), _("Smaller ones are passed over."), "difference"),
    "most_z": Wording(_("One charge counts at most"), "", _("standard deviations")),
    "confidence": Wording(_("Confidence of the bounds"), _("As a share, such as 0.95.")),
    "horizon_days": Wording(_("Looks ahead"), _("Later crossings are passed over."), _("days")),
}
SIDES: Final[dict[str, Any]] = {
    "above": _("above"),
    "below": _("below"),
    "both": _("off on either side"),
    "rise": _("rising"),
    "fall": _("falling"),
    "either": _("rising or falling"),
    "ewma": _("weighted mean (EWMA)"),
    "cusum": _("cumulative sum (CUSUM)"),
}


class RuleForm(forms.Form):
    """The numbers of one rule, in the mill's units; `parameters` gives them as they are kept."""

    def __init__(
        self, *args: Any, spec: WatchSpec, mill: Mill, changed: Mapping[str, Any] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.spec, self.unit = spec, unit_for(spec, mill)
        kept = {**rule_parameters(spec.rule), **(changed or {})}
        hints = get_type_hints(RULES[spec.rule_name])
        self.rule_names = [field.name for field in dataclasses.fields(spec.rule)]
        for field in dataclasses.fields(spec.rule):
            made = self._field(field.name, hints[field.name], is_required=field.default is dataclasses.MISSING)
            made.initial = self._typed(field.name, kept.get(field.name))
            self.fields[field.name] = made

    @property
    def rule_fields(self) -> list[forms.BoundField]:
        """Return the fields of the rule alone."""
        return [self[name] for name in self.rule_names]

    def parameters(self) -> dict[str, Any]:
        """Return the numbers as they are kept; of a valid form."""
        found = ((name, self._kept(name, self.cleaned_data.get(name))) for name in self.rule_names)
        return {name: value for name, value in found if value not in (None, "")}

    def clean(self) -> dict[str, Any]:
        """Refuse numbers that the rule cannot work with, in its own words."""
        found: dict[str, Any] = super().clean() or {}
        if not any(name in self.errors for name in self.rule_names):
            try:
                rule_from(self.spec.rule_name, self.parameters())
            except ValueError as refusal:
                raise ValidationError(self._in_words(str(refusal)), code="rule") from None
        return found

    def _in_words(self, refusal: str) -> str:
        """Say a refusal with the labels of the fields instead of their names."""
        names = "|".join(map(re.escape, self.rule_names))
        refusal = re.sub(rf"\b({names})\b", lambda found: f"“{WORDINGS[found[1]].label}”", refusal)
        return refusal[:1].upper() + refusal[1:] + ("" if refusal.endswith(".") else ".")

    def _field(self, name: str, hint: Any, *, is_required: bool) -> forms.Field:
        wording, choices = WORDINGS[name], get_args(hint)
        label = f"{wording.label}, {word}" if (word := self._unit_word(wording)) else wording.label
        common: dict[str, Any] = {"label": label, "help_text": wording.help, "required": is_required}
        if choices and all(isinstance(choice, str) for choice in choices):
            return forms.ChoiceField(choices=[(choice, SIDES[choice]) for choice in choices], **common)
        if hint == tuple[int, ...]:
            return forms.CharField(max_length=400, **common)
        if hint is int or int in choices:
            return forms.IntegerField(min_value=0, max_value=1_000_000, **common)
        widget = forms.NumberInput(attrs={"step": "any"})
        return forms.FloatField(min_value=-1e9, max_value=1e9, widget=widget, **common)

    def _unit_word(self, wording: Wording) -> str:
        return self.unit.word if wording.measure in ("level", "difference") else str(wording.measure)

    def _scale(self, name: str) -> tuple[float, float] | None:
        """Return factor and offset of a number in the mill's unit; None for one that has no such unit."""
        measure = WORDINGS[name].measure
        if measure not in ("level", "difference"):
            return None
        # A drift looks at a figure's own values: only their differences are numbers of its rule.
        is_difference = measure == "difference" or isinstance(self.spec.rule, Drift)
        return self.unit.factor, 0.0 if is_difference else self.unit.offset

    def _typed(self, name: str, value: Any) -> Any:
        if isinstance(value, list | tuple):
            return " ".join(map(str, value))
        if not isinstance(value, float):
            return value
        factor, offset = self._scale(name) or (1.0, 0.0)
        shown = round(value * factor + offset, 6)
        return int(shown) if shown.is_integer() else shown

    def _kept(self, name: str, value: Any) -> Any:
        scale = self._scale(name)
        if value in (None, "") or scale is None:
            return value
        return round((float(value) - scale[1]) / scale[0], 9)


class OwnWatchForm(RuleForm):
    """A watch of one's own: its name, its rule, when it looks, and what comes of it when it fires."""

    name = forms.CharField(label=_("Name"), max_length=120)
    severity = forms.ChoiceField(label=_("When it speaks up it"), choices=Watch.Severity.choices)
    sentence = forms.CharField(
        label=_("What it says"),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=SENTENCE_HELP,
    )
    phases = forms.MultipleChoiceField(
        label=_("Looks in these phases"),
        choices=PHASES,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_("None ticked: in all of them."),
    )
    due_days = forms.IntegerField(label=_("Days until the work is due"), min_value=0, max_value=3650)

    OWN: tuple[str, ...] = ("severity", "due_days", "phases")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.spec.is_per_charge:
            # Figures of charges have no phase.
            del self.fields["phases"]

    @property
    def other_fields(self) -> list[forms.BoundField]:
        """Return the fields beside those of the rule."""
        return [field for field in self.visible_fields() if field.name not in self.rule_names]

    def changes(self) -> dict[str, Any]:
        """Return what is said beside name and numbers."""
        return {name: self.cleaned_data[name] for name in self.OWN if name in self.fields}

    def kin(self) -> QuerySet[Watch]:
        """Return the other watches of its kiln."""
        raise NotImplementedError

    def clean_name(self) -> str:
        """Refuse a name that another watch of the kiln has: two could not be told apart."""
        name: str = self.cleaned_data["name"].strip()
        if self.kin().filter(name__iexact=name).exists():
            raise ValidationError(_("A watch of this kiln is called so already. Choose another name."), code="taken")
        return name


class WatchForm(OwnWatchForm):
    """Another watch's numbers and words, to be changed or copied."""

    safety_days = forms.IntegerField(label=_("Days until the safety date"), min_value=0, max_value=3650, required=False)
    agrees_within_days = forms.IntegerField(
        label=_("A second watch agrees within days"),
        min_value=0,
        max_value=3650,
        help_text=_("Two hints about the same component within so many days become a work order."),
    )
    version = VersionField()

    OWN = ("severity", "sentence", "phases", "due_days", "safety_days", "agrees_within_days")

    def __init__(self, *args: Any, watch: Watch, is_copy: bool = False, **kwargs: Any) -> None:
        initial = {name: getattr(watch, name) for name in (*self.OWN, "version")}
        initial["name"] = own_name(watch.name) if is_copy else watch.name
        kwargs["initial"] = {**initial, **kwargs.get("initial", {})}
        super().__init__(*args, mill=watch.kiln.mill, **kwargs)
        self.watch, self.is_copy = watch, is_copy

    def kin(self) -> QuerySet[Watch]:
        """Return the other watches of its kiln."""
        return Watch.objects.filter(kiln=self.watch.kiln).exclude(pk=self.watch.pk)


class CopyForm(WatchForm):
    """A copy of a watch, for its own kiln or another."""

    kiln = forms.ModelChoiceField(label=_("For kiln"), queryset=Kiln.objects.in_use(), to_field_name="tag")

    field_order = ("kiln", "name")

    def __init__(self, *args: Any, watch: Watch, **kwargs: Any) -> None:
        kwargs["initial"] = {"kiln": watch.kiln.tag, **kwargs.get("initial", {})}
        super().__init__(*args, watch=watch, is_copy=True, **kwargs)
        self.order_fields(self.field_order)

    def kin(self) -> QuerySet[Watch]:
        """Return the watches of the kiln that the copy is for; where none is chosen, of its model's."""
        return Watch.objects.filter(kiln=self.cleaned_data.get("kiln") or self.watch.kiln)


class TrialForm(RuleForm):
    """A trial on the past: over how many days, and with which numbers."""

    days = forms.TypedChoiceField(
        label=_("Days"),
        choices=lambda: [(days, gettext("the last %d days") % days) for days in TRIAL_DAYS],
        coerce=int,
        initial=TRIAL_DAYS[-1],
    )


class JudgeForm(forms.Form):
    """Say whether a watch was right."""

    verdict = forms.ChoiceField(choices=Firing.Verdict.choices, required=False)
    why = forms.CharField(label=_("Why"), max_length=200, required=False)
