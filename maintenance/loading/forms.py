"""Sending files."""

from typing import Any
from uuid import uuid4

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _


class ManyFilesInput(forms.ClearableFileInput):
    """Takes several files, also dropped onto it."""

    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """Several files, at least one."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        """Return each of them cleaned. Raises ValidationError, which names every file that cannot be taken."""
        if not data:
            return [super().clean(data, initial)]
        cleaned, faults = [], []
        for one in data:
            try:
                cleaned.append(super().clean(one, initial))
            except ValidationError as fault:
                why = " ".join(fault.messages)
                faults.append(_now("%(file)s: %(why)s") % {"file": one.name, "why": why})
        if faults:
            raise ValidationError(
                [*faults, _now("Nothing was taken in: mend or leave out what is named here, and send the files again.")]
            )
        return cleaned


class FilesForm(forms.Form):
    """A mill's files."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    sent = ManyFilesField(
        label=_("Files"),
        help_text=_("CSV or XLSX, one or several, or a ZIP of them. Drop them here, or choose them."),
        widget=ManyFilesInput(attrs={"accept": ".csv,.xlsx,.zip", "class": "drop"}),
        error_messages={"empty": _("The file is empty.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        limit = settings.MAX_LOAD_BYTES
        words = _now("Together they have more than %d MB: send them one by one, or packed in a ZIP.") % (
            limit // 1024**2
        )
        self.fields["sent"].widget.attrs |= {"data-most-bytes": limit, "data-too-large": words}
