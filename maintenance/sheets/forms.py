"""Forms of task sheets and check points: the four things that matter, and the rest, which is proposed."""

from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.models import PartKind
from maintenance.frame.fields import KeyField, MeasureField, VersionField
from maintenance.models import Caution, CheckPoint, TaskSheet
from maintenance.models.catalogue import NeedsState
from maintenance.sheets.content import POINT_FIELDS, Content, plain
from plant.models import ComponentKind, Skill

# A job is 1 h for one person until somebody says otherwise; shown beside the fold, so that it is no secret.
USUAL_HOURS = "1"
INTERVAL_UNITS = (
    ("day", _("days")),
    ("week", _("weeks")),
    ("month", _("months")),
    ("running_hour", _("running hours")),
    ("charge", _("charges")),
)


def _kinds() -> "forms.ModelChoiceField[ComponentKind]":
    return forms.ModelChoiceField(
        label=_("On which kind of component"),
        queryset=ComponentKind.objects.order_by("end_view_no", "name"),
        to_field_name="code",
    )


class KindForm(forms.Form):
    """The first step of a new one: what it is for; the rest is proposed from it."""

    kind = _kinds()


class FilterForm(forms.Form):
    """What the list shows."""

    q = forms.CharField(label=_("Find"), max_length=80, required=False, widget=forms.TextInput({"type": "search"}))
    whose = forms.ChoiceField(
        label=_("Whose"),
        choices=[("", _("all")), ("own", _("the mill's own")), ("shipped", _("comes with the program"))],
        required=False,
    )
    withdrawn = forms.BooleanField(label=_("those that are withdrawn"), required=False)


class ContentForm(forms.Form):
    """What task sheets and check points have in common."""

    #: The fields that are asked for; all others are folded.
    ASKED: ClassVar[tuple[str, ...]] = ()

    kind = _kinds()
    cautions = forms.ModelMultipleChoiceField(
        label=_("Cautions"),
        queryset=Caution.objects.order_by("title"),
        to_field_name="code",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_(
            "What the state of the kiln asks for comes by itself: lock-out, the warm or the running chamber. Take none "
            "away that was there, unless the work really lacks that danger: electricity, steam, gas and fuel are work "
            "for licensed trades, as local codes say."
        ),
    )
    source = forms.CharField(label=_("Where it comes from"), max_length=300, required=False)
    source_status = forms.CharField(label=_("How sure that is"), max_length=120, required=False)
    why = forms.CharField(label=_("Why it is changed"), max_length=200, required=False)
    key = KeyField()
    version = VersionField()

    def __init__(self, *args: Any, row: TaskSheet | CheckPoint, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.row = row
        self.fields["version"].initial = row.version
        if not row.pk:
            del self.fields["why"]

    @property
    def asked(self) -> list[forms.BoundField]:
        """Return the fields that are always shown."""
        return [self[name] for name in self.ASKED]

    @property
    def folded(self) -> list[forms.BoundField]:
        """Return the other fields, as far as no group of their own shows them."""
        return [one for one in self.visible_fields() if one.name not in (*self.ASKED, "cautions", "why")]

    def common(self) -> Content:
        """Return what both have in common, as their content says it."""
        said = self.cleaned_data
        return {
            "kind": said["kind"].code,
            "cautions": sorted(one.code for one in said["cautions"]),
            "source": said["source"],
            "source_status": said["source_status"],
        }


class SheetForm(ContentForm):
    """A task sheet; its steps and parts are forms of their own."""

    ASKED = ("title", "kind", "needs_state")

    title = forms.CharField(label=_("What is to be done"), max_length=160)
    needs_state = forms.ChoiceField(label=_("Needs the kiln"), choices=[("", "–"), *NeedsState.choices])
    hours = MeasureField(label=_("Hours"), min_value=Decimal("0.1"), max_value=Decimal(500), initial=USUAL_HOURS)
    crew = forms.IntegerField(label=_("People"), min_value=1, max_value=20, initial=1)
    purpose = forms.CharField(label=_("Purpose"), max_length=4000, required=False, widget=forms.Textarea({"rows": 2}))
    is_safety = forms.BooleanField(
        label=_("Safety work: life or health hangs on it"), required=False, help_text=_("It is never put off.")
    )
    is_proof_test = forms.BooleanField(
        label=_("Proof test of something that fails unseen"), required=False, help_text=_("It ends with a seal number.")
    )
    every = forms.IntegerField(
        label=_("Usually recurs every"),
        min_value=1,
        max_value=100_000,
        required=False,
        help_text=_("What its recurring tasks begin with; each kiln may have another interval."),
    )
    every_unit = forms.ChoiceField(label=_("Of what"), choices=[("", "–"), *INTERVAL_UNITS], required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        needed: dict[str, int] = self.initial.get("skills", {})
        self.skills = {f"skill-{one.code}": one for one in Skill.objects.order_by("name")}
        for name, skill in self.skills.items():
            self.fields[name] = forms.IntegerField(
                label=skill.name, min_value=0, max_value=20, required=False, initial=needed.get(skill.code)
            )

    @property
    def skill_fields(self) -> list[forms.BoundField]:
        """Return how many people of each skill it asks for."""
        return [self[name] for name in self.skills]

    @property
    def folded(self) -> list[forms.BoundField]:
        """Return the other fields without the skills, which have a group of their own."""
        return [one for one in super().folded if one.name not in self.skills]

    def clean(self) -> dict[str, Any]:
        """Check what belongs together."""
        said = super().clean() or self.cleaned_data
        if bool(said.get("every")) != bool(said.get("every_unit")):
            missing = "every_unit" if said.get("every") else "every"
            self.add_error(missing, _("Every how many of what? Fill in both, or neither."))
        crew = said.get("crew") or 0
        for name, skill in self.skills.items():
            if (said.get(name) or 0) > crew > 0:
                words = _now("%(count)d people with %(skill)s, and %(crew)d in all: raise one, or lower the other.")
                self.add_error("crew", words % {"count": said[name], "skill": skill.name, "crew": crew})
        return said

    def content(self, steps: list[Content], parts: dict[str, str]) -> Content:
        """Return the sheet's content."""
        said = self.cleaned_data
        names = ("title", "needs_state", "crew", "is_proof_test", "is_safety", "purpose", "every_unit")
        return {
            **self.common(),
            **{name: said[name] for name in names},
            "hours": plain(said["hours"]),
            "every": str(said["every"] or ""),
            "skills": {one.code: said[name] for name, one in self.skills.items() if said[name]},
            "steps": steps,
            "parts": parts,
        }


class StepForm(forms.Form):
    """A step; one without words is left out."""

    no = forms.DecimalField(
        label=_("No."),
        required=False,
        max_digits=5,
        decimal_places=1,
        min_value=0,
        widget=forms.TextInput({"inputmode": "decimal"}),
    )
    text = forms.CharField(
        label=_("Step"), max_length=4000, required=False, widget=forms.Textarea({"rows": 1, "class": "line"})
    )
    reading_name = forms.CharField(label=_("Reading"), max_length=80, required=False)
    reading_unit = forms.CharField(label=_("Unit"), max_length=20, required=False)
    low = MeasureField(label=_("Not below"), required=False)
    high = MeasureField(label=_("Not above"), required=False)
    is_optional = forms.BooleanField(label=_("may be left out"), required=False)

    @property
    def reading_fields(self) -> list[forms.BoundField]:
        """Return what is folded below the step."""
        return [self[name] for name in ("reading_name", "reading_unit", "low", "high", "is_optional")]

    @property
    def has_reading(self) -> bool:
        """Say whether what is folded holds something, or is at fault."""
        names = ("reading_name", "reading_unit", "low", "high", "is_optional")
        return any(self[name].value() or self[name].errors for name in names)

    def clean(self) -> dict[str, Any]:
        """Check what belongs together."""
        said = super().clean() or self.cleaned_data
        filled = any(said.get(name) not in (None, "") for name in ("reading_name", "reading_unit", "low", "high"))
        if filled and not said.get("text"):
            self.add_error("text", _("Say what is to be done here, or empty its reading."))
        if filled and not said.get("reading_name"):
            self.add_error("reading_name", _("Say what is read, or empty unit and limits."))
        low, high = said.get("low"), said.get("high")
        if low is not None and high is not None and low > high:
            self.add_error("high", _("The upper limit is below the lower one: exchange them, or correct one."))
        return said


class StepForms(forms.BaseFormSet):  # type: ignore[type-arg]
    """The steps of a task sheet, in the order of their numbers."""

    def clean(self) -> None:
        """A sheet without a step tells nobody what to do."""
        if not any(self.errors) and not self.steps():
            raise forms.ValidationError(_("Write at least one step: what is to be done first?"))

    def steps(self) -> list[Content]:
        """Return the steps as the content has them, numbered anew from 1."""
        filled = [
            (form.cleaned_data.get("no"), place, form.cleaned_data)
            for place, form in enumerate(self.forms)
            if form.cleaned_data.get("text")
        ]
        # One without a number follows the one above it.
        last, ordered = Decimal(0), []
        for no, place, said in filled:
            last = no if no is not None else last
            ordered.append((last, place, said))
        return [
            {
                "no": number,
                "text": said["text"],
                "reading_name": said["reading_name"],
                "reading_unit": said["reading_unit"],
                "is_required": not said["is_optional"],
                "low": plain(said["low"]),
                "high": plain(said["high"]),
            }
            for number, (_no, _place, said) in enumerate(sorted(ordered, key=lambda one: one[:2]), start=1)
        ]


class SheetPartForm(forms.Form):
    """A kind of part that the work uses up."""

    part_kind = forms.ModelChoiceField(
        label=_("Part"), queryset=PartKind.objects.order_by("name"), to_field_name="code", required=False
    )
    quantity = MeasureField(label=_("How many"), required=False, min_value=Decimal("0.001"))

    def clean(self) -> dict[str, Any]:
        """Check what belongs together."""
        said = super().clean() or self.cleaned_data
        if "quantity" in said and bool(said.get("part_kind")) != (said.get("quantity") is not None):
            self.add_error(
                "quantity" if said.get("part_kind") else "part_kind", _("Fill in part and quantity, or neither.")
            )
        return said


class SheetPartForms(forms.BaseFormSet):  # type: ignore[type-arg]
    """The parts of a task sheet."""

    def clean(self) -> None:
        """Refuse one part twice."""
        codes = [form.cleaned_data["part_kind"].code for form in self.forms if form.cleaned_data.get("part_kind")]
        if len(codes) != len(set(codes)):
            raise forms.ValidationError(_("One part stands there twice: add the two quantities up."))

    def parts(self) -> dict[str, str]:
        """Return code -> quantity."""
        return {
            form.cleaned_data["part_kind"].code: plain(form.cleaned_data["quantity"])
            for form in sorted(self.forms, key=lambda one: str(one.cleaned_data.get("part_kind") or ""))
            if form.cleaned_data.get("part_kind")
        }


class PointForm(ContentForm):
    """A check point."""

    ASKED = ("what", "kind", "seen_in", "method", "criterion")

    what = forms.CharField(label=_("What is looked at"), max_length=200)
    seen_in = forms.ChoiceField(label=_("Can be seen with the kiln"), choices=[("", "–"), *CheckPoint.SeenIn.choices])
    method = forms.CharField(label=_("How to look"), max_length=4000, widget=forms.Textarea({"rows": 2}))
    criterion = forms.CharField(
        label=_("Sound when"),
        max_length=4000,
        widget=forms.Textarea({"rows": 2}),
        help_text=_("With its limits, where something is measured."),
    )
    per = forms.ChoiceField(
        label=_("Is asked for"), choices=CheckPoint.Per.choices, initial=CheckPoint.Per.COMPONENT.value
    )
    end_view_no = forms.IntegerField(label=_("Number in the end view"), min_value=1, max_value=12, required=False)
    blocks_entry = forms.BooleanField(
        label=_("A fault keeps everybody out of the chamber"), required=False, help_text=_("As with a way out.")
    )
    substitute = forms.ModelChoiceField(
        label=_("Where it cannot be seen, look at"),
        queryset=CheckPoint.objects.in_use().order_by("what"),
        to_field_name="code",
        required=False,
        empty_label=_("nothing else"),
    )
    substitute_when = forms.CharField(label=_("When that is"), max_length=200, required=False)
    interval_text = forms.CharField(label=_("How often"), max_length=200, required=False)
    interval_days = forms.IntegerField(
        label=_("At the latest after so many days"), min_value=1, max_value=10_000, required=False
    )
    interval_is = forms.ChoiceField(
        label=_("That interval is"),
        choices=CheckPoint.IntervalIs.choices,
        initial=CheckPoint.IntervalIs.OWN_CHOICE.value,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["substitute"]
        field.queryset = field.queryset.exclude(pk=self.row.pk)  # type: ignore[attr-defined]

    def content(self) -> Content:
        """Return the point's content."""
        said = self.cleaned_data
        substitute = said["substitute"]
        return {
            **self.common(),
            **{name: said[name] for name in POINT_FIELDS if name not in ("source", "source_status")},
            "end_view_no": said["end_view_no"] or said["kind"].end_view_no,
            "substitute": substitute.code if substitute else "",
        }


class WithdrawForm(forms.Form):
    """Why no new work comes from it any more, and by which sheet its recurring tasks go on."""

    instead = forms.ModelChoiceField(
        label=_("What recurs by it goes on by"),
        queryset=TaskSheet.objects.none(),
        to_field_name="code",
        required=False,
        empty_label=_("nothing: it recurs no longer"),
    )
    why = forms.CharField(label=_("Why"), max_length=200, widget=forms.Textarea({"rows": 2}))

    def __init__(self, *args: Any, row: TaskSheet | CheckPoint, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if isinstance(row, TaskSheet) and (row.standing_tasks.filter(is_active=True).exists() or row.watches.exists()):
            others = TaskSheet.objects.in_use().filter(kind=row.kind_id, is_proof_test=row.is_proof_test)
            self.fields["instead"].queryset = others.exclude(pk=row.pk)  # type: ignore[attr-defined]
        else:
            del self.fields["instead"]
