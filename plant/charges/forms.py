"""What is told of a charge, as people type it."""

from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from plant.frame.days import LocalInput, Moment


class TellForm(forms.Form):
    """When it happened, or is expected; the time now stands there."""

    at = Moment(label=_("When"), widget=LocalInput())
    why = forms.CharField(label=_("Note"), max_length=300, required=False)
    # Made when the page is: sent twice, it is told once.
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


class CorrectForm(TellForm):
    """The right instant of what was told, and why the former one was wrong."""

    why = forms.CharField(label=_("Why it is put right"), max_length=300)


class TakeBackForm(forms.Form):
    """Why what was told is taken back."""

    why = forms.CharField(label=_("Why it is taken back"), max_length=300)
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
