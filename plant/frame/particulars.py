"""An object's particulars as they stood when a form was opened: what changed since, and what somebody else changed."""

import hashlib
import json
from collections.abc import Callable, Iterable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.http import HttpRequest
from django.utils.translation import gettext as _

from plant.frame.requests import refusal_on, renew, user_of
from plant.models import Change, User


def particulars(row: models.Model, names: Iterable[str]) -> dict[str, Any]:
    """Return the named fields as the history keeps them."""
    return dict(json.loads(json.dumps(_raw(row, names), cls=DjangoJSONEncoder)))


def _raw(row: models.Model, names: Iterable[str]) -> dict[str, Any]:
    return {name: row._meta.get_field(name).value_from_object(row) for name in names}  # type: ignore[union-attr]


def digest(row: models.Model, names: Iterable[str]) -> str:
    """Return a short mark of the named fields, to be carried by a form."""
    told = json.dumps(particulars(row, names), sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:20]


def refuse_stale(row: models.Model, names: Iterable[str], seen: str) -> None:
    """Refuse a change that was typed over an older state than the present one."""
    if seen == digest(row, names):
        return
    last = Change.objects.about(row).last()
    who = str(last.by) if last and last.by else _("somebody")
    raise ValidationError(
        _(
            "%(who)s changed this meanwhile. What you typed is kept below; look at the present state in another "
            "window, then send the form again to write yours over it."
        )
        % {"who": who},
        code="stale",
    )


def save_changed(row: models.Model, values: dict[str, Any], act: str, *, by: User | None, note: str = "") -> bool:
    """Save what differs and put it in the history; say whether anything did. Runs in the caller's transaction."""
    names = list(values)
    had, before = _raw(row, names), particulars(row, names)
    for name, value in values.items():
        setattr(row, name, value)
    # Compared as values: the same instant or amount may be written in two ways.
    changed = [name for name, value in _raw(row, names).items() if value != had[name]]
    after = particulars(row, names)
    if changed:
        row.save(update_fields=changed)
        told_before, told_after = ({name: told[name] for name in changed} for told in (before, after))
        Change.record(row, act, by=by, before=told_before, after=told_after, note=note)
    return bool(changed)


def renew_seen(form: forms.BaseForm, row: models.Model, names: Iterable[str]) -> None:
    """Let a form that was refused as stale go through when it is sent again: its sender was told."""
    renew(form, seen=digest(row, names))


class ParticularsForm(forms.ModelForm):  # type: ignore[type-arg]
    """Changes particulars of a row, and carries what its editor saw of them."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seen"].initial = digest(self.instance, self.names())

    def names(self) -> tuple[str, ...]:
        """Return the fields that may be changed."""
        return tuple(self._meta.fields or ())

    def keep(self, request: HttpRequest, edit: Callable[..., object], told: str) -> bool:
        """Change the row by the act as a sound form says, and tell it; False where the form is to be shown.

        The act takes the row, the values by name, ``seen`` and ``by``.
        """
        if not self.is_valid():
            return False
        values = {name: self.cleaned_data[name] for name in self.names()}
        with refusal_on(self):
            edit(self.instance, values, seen=self.cleaned_data["seen"], by=user_of(request))
            messages.success(request, told)
            return True
        renew_seen(self, type(self.instance)._default_manager.get(pk=self.instance.pk), values)
        return False
