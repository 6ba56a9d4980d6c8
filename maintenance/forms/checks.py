"""What is typed on a round."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.actions.checks import Answer
from maintenance.forms.fields import KeyField, TickField
from maintenance.models import CheckItem, CheckPoint, Defect, Finding
from plant.models import FailureMode


class SittingForm(forms.Form):
    """Start to look."""

    kiln_state = forms.ChoiceField(
        choices=[(state.value, state.label) for state in (CheckPoint.SeenIn.RUNNING, CheckPoint.SeenIn.OPEN_EMPTY)],
        widget=forms.HiddenInput,
    )
    is_cautions_read = TickField(_("I have read all cautions, and what must be so before I start is so."))
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, has_door: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if has_door:
            # The door has a note of its own.
            del self.fields["note"]


class FindingForm(forms.Form):
    """Enter what was found at a point."""

    key = KeyField()
    result = forms.ChoiceField(choices=Finding.Result.choices)
    failure_mode = forms.ModelChoiceField(
        FailureMode.objects.none(),
        label=_("What is wrong?"),
        required=False,
        widget=forms.RadioSelect,
        empty_label=None,
    )
    likelihood = forms.ChoiceField(
        label=_("How soon it gets worse"),
        choices=Defect.Likelihood.choices,
        initial=Defect.Likelihood.SOON,
        required=False,
    )
    note = forms.CharField(label=_("Note"), max_length=1000, widget=forms.Textarea(attrs={"rows": 2}), required=False)
    reason = forms.CharField(label=_("Why it could not be seen"), max_length=200, required=False)

    def __init__(self, *args: Any, item: CheckItem, reason: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["failure_mode"].queryset = FailureMode.objects.filter(kind=item.point.kind_id)  # type: ignore[attr-defined]
        self.fields["reason"].initial = reason

    def answer(self) -> Answer:
        """Return what was found; a fault belongs to what is worn or defect alone."""
        said = self.cleaned_data
        is_fault = said["result"] in (Finding.Result.WORN, Finding.Result.DEFECT)
        return Answer(
            result=said["result"],
            failure_mode=said["failure_mode"] if is_fault else None,
            note=said["note"],
            reason=said["reason"],
            likelihood=said["likelihood"] or Defect.Likelihood.SOON,
        )


class ReasonForm(forms.Form):
    """Give a reason."""

    why = forms.CharField(label=_("Why"), max_length=200)
