"""What is said about an alarm."""

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.frame.fields import KeyField


class AnswerForm(forms.Form):
    """Say what was done."""

    key = KeyField()
    what = forms.CharField(
        label=_("What did you do? Who is out, what is switched off and locked?"),
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
