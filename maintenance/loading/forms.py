"""Sending files."""

from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _


class ManyFilesInput(forms.ClearableFileInput):
    """Takes several files, also dropped onto it."""

    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """Several files, at least one."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        """Return each of them cleaned."""
        if not data:
            return [super().clean(data, initial)]
        return [super(ManyFilesField, self).clean(one, initial) for one in data]


class FilesForm(forms.Form):
    """A mill's files."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    sent = ManyFilesField(
        label=_("Files"),
        help_text=_("CSV or XLSX, one or several, or a ZIP of them. Drop them here, or choose them."),
        widget=ManyFilesInput(attrs={"accept": ".csv,.xlsx,.zip", "class": "drop"}),
    )
