"""What is typed on a round."""

import time
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from maintenance.checks.checks import Answer
from maintenance.frame.fields import KeyField, TickField
from maintenance.models import CheckItem, CheckPoint, Defect, Finding
from plant.models import FailureMode
from plant.pictures.marks import FAULTS


class SittingForm(forms.Form):
    """Start to look."""

    kiln_state = forms.ChoiceField(
        choices=[(state.value, state.label) for state in (CheckPoint.SeenIn.RUNNING, CheckPoint.SeenIn.OPEN_EMPTY)],
        widget=forms.HiddenInput,
    )
    is_cautions_read = TickField(_("I have read all cautions, and what must be so before I start is so."))
    is_own_lock_on = TickField(_("I go in now, and my own lock is on."))
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, goes_in: bool = False, has_door: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not goes_in:
            del self.fields["is_own_lock_on"]
        state = self["kiln_state"].value()
        if state == CheckPoint.SeenIn.RUNNING:
            self.fields["is_cautions_read"].label = _(
                "I have read all cautions. I stay outside, and what must be so beside a running kiln is so."
            )
        if has_door:
            # The door has a note of its own.
            del self.fields["note"]


# A point is looked at before it is answered: what comes sooner is a tap that was meant for the point before.
# Our own choice; kilnward.js and work.css keep the buttons at rest as long.
LEAST_LOOK_S = 0.6


class FindingForm(forms.Form):
    """Enter what was found at a point.

    At a point where a fault bars entry a second act at another place says the result again (``said_again``).
    """

    # Set by the view that shows the second act.
    asks_again = False

    key = KeyField()
    shown_at = forms.FloatField(widget=forms.HiddenInput, initial=time.time, required=False)
    said_again = forms.CharField(widget=forms.HiddenInput, max_length=8, required=False)
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
        self.item = item
        self.fields["failure_mode"].queryset = FailureMode.objects.filter(kind=item.point.kind_id)  # type: ignore[attr-defined]
        self.fields["reason"].initial = reason

    def clean(self) -> None:
        """Refuse what was sent before anybody can have looked, whatever the page's own rest did."""
        shown_at = self.cleaned_data.get("shown_at")
        if shown_at is not None and 0 <= time.time() - shown_at < LEAST_LOOK_S:
            raise ValidationError(_now("That tap came before this point could be looked at. Nothing was entered."))

    def shown_anew(self) -> "FindingForm":
        """Return it with what was said, shown as of now."""
        said = self.data.copy()  # type: ignore[attr-defined]
        said[self.add_prefix("shown_at")] = str(time.time())
        self.data = said
        return self

    @property
    def is_to_be_said_again(self) -> bool:
        """Say whether the answer is sound but waits for the second act."""
        said = self.cleaned_data
        return self.item.point.blocks_entry and said["said_again"] != said["result"]

    def answer(self) -> Answer:
        """Return what was found; a fault belongs to what is worn or defect alone."""
        said = self.cleaned_data
        is_fault = said["result"] in FAULTS
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


class DecisionForm(forms.Form):
    """Say which of two findings holds."""

    key = KeyField()
    finding = forms.ModelChoiceField(Finding.objects.none(), widget=forms.HiddenInput)
    why = forms.CharField(label=_("Why this one holds"), max_length=200)

    def __init__(self, *args: Any, item: CheckItem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["finding"].queryset = item.findings.all()  # type: ignore[attr-defined]


class TakeBackForm(forms.Form):
    """Take back what was entered by mistake."""

    key = KeyField()
