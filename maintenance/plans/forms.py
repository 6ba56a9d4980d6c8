"""Forms of plans: how long to look, what is supposed to be otherwise, and a wish for one job."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.formats import date_format
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.models import Part
from maintenance.frame.fields import DayField, MeasureField, MomentField, VersionField
from maintenance.models import WorkOrder
from maintenance.orders.supply import missing_parts
from maintenance.plans.suppositions import Kind
from plant import clock
from plant.models import Charge, Kiln, Mill, Person

SECONDS = (
    (10, _("10 seconds: a first impression")),
    (30, _("half a minute: a few kilns")),
    (60, _("a minute: a mill of a dozen kilns")),
    (300, _("five minutes: a large mill, or to be sure")),
)
MOST_LINES = 12
#: Of what a form sends as lines, so many are looked at.
MOST_READ = 50
MOST_HOURS = 720
LINE = re.compile(r"^(\d{1,3}):([a-z_]{1,20})$")


class PlanForm(forms.Form):
    """What a plan is called, and how long to look for better ones."""

    name = forms.CharField(
        label=_("Name"), max_length=120, required=False, help_text=_("For you to know it by; else its day and time.")
    )
    seconds = forms.TypedChoiceField(
        label=_("How long to look for better ones"),
        coerce=int,
        choices=SECONDS,
        initial=60,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose how long to look.")},
    )


class LineForm(forms.Form):
    """One thing that is supposed to be otherwise."""

    kind: Kind
    number: int = 0

    @property
    def title(self) -> str:
        """Say what is supposed."""
        return str(self.kind.label)

    @property
    def mark(self) -> str:
        """Return what names the line in the form."""
        return f"{self.number}:{self.kind.value}"

    def supposition(self) -> dict[str, Any]:
        """Return it as it is kept with the plan."""
        raise NotImplementedError


class _ChargeField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, obj: Any) -> str:
        zone = obj.kiln.mill.zone
        facts = {
            "kiln": obj.kiln.tag,
            "charge": obj.number,
            "begin": date_format(obj.begin_at.astimezone(zone), "D j M"),
            "end": date_format(obj.end_at.astimezone(zone), "D j M, H:i"),
        }
        return _now("%(kiln)s, charge %(charge)s, %(begin)s to %(end)s") % facts


class SlipForm(LineForm):
    """A charge takes longer."""

    kind = Kind.CHARGE_SLIPS
    charge = _ChargeField(
        label=_("Charge"),
        queryset=Charge.objects.none(),
        empty_label=_("choose a charge"),
        error_messages={"required": _("Choose the charge that takes longer.")},
    )
    hours = MeasureField(
        label=_("Longer by (h)"),
        min_value=Decimal("0.25"),
        max_value=MOST_HOURS,
        decimal_places=2,
        error_messages={"required": _("Say by how many hours it takes longer.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        now, mill = clock.now(), Mill.objects.current()
        charges = Charge.objects.filter(
            kiln__is_active=True, end_at__gt=now, begin_at__lt=now + timedelta(days=mill.horizon_days)
        ).exclude(basis=Charge.Basis.DONE)
        self.fields["charge"].queryset = charges.select_related("kiln__mill").order_by(  # type: ignore[attr-defined]
            "kiln__tag", "begin_at"
        )

    def supposition(self) -> dict[str, Any]:
        """Return charge and hours."""
        said = self.cleaned_data
        return {"kind": self.kind.value, "charge": said["charge"].pk, "hours": float(said["hours"])}


class _SpanForm(LineForm):
    """Something from an instant to another."""

    from_at = MomentField(label=_("From"), error_messages={"required": _("Say from when.")})
    until_at = MomentField(label=_("Until"), error_messages={"required": _("Say until when.")})

    def clean(self) -> dict[str, Any]:
        """The time must end after it begins, and not be over."""
        said = super().clean() or {}
        from_at, until_at = said.get("from_at"), said.get("until_at")
        if from_at and until_at and until_at <= from_at:
            self.add_error("until_at", _("It must end after it begins: choose a later end."))
        elif until_at and until_at <= clock.now():
            self.add_error("until_at", _("That is over: choose a time that is to come."))
        return said

    def span(self) -> dict[str, str]:
        """Return the time as it is kept."""
        return {
            "from": self.cleaned_data["from_at"].isoformat(),
            "until": self.cleaned_data["until_at"].isoformat(),
        }


class AwayForm(_SpanForm):
    """Somebody is away."""

    kind = Kind.AWAY
    field_order = ("person", "from_at", "until_at")
    person = forms.ModelChoiceField(
        label=_("Who"),
        queryset=Person.objects.none(),
        empty_label=_("choose somebody"),
        error_messages={"required": _("Choose who is away.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = Person.objects.working_here()  # type: ignore[attr-defined]

    def supposition(self) -> dict[str, Any]:
        """Return the person and the time."""
        return {"kind": self.kind.value, "person": self.cleaned_data["person"].pk, **self.span()}


class KeptForm(_SpanForm):
    """A kiln is kept for work."""

    kind = Kind.KILN_KEPT
    field_order = ("kiln", "from_at", "until_at")
    kiln = forms.ModelChoiceField(
        label=_("Kiln"),
        queryset=Kiln.objects.none(),
        empty_label=_("choose a kiln"),
        error_messages={"required": _("Choose the kiln that is kept.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kiln"].queryset = Kiln.objects.in_use()  # type: ignore[attr-defined]

    def supposition(self) -> dict[str, Any]:
        """Return the kiln and the time."""
        return {"kind": self.kind.value, "kiln": self.cleaned_data["kiln"].pk, **self.span()}


class LateForm(LineForm):
    """A part comes late."""

    kind = Kind.PART_LATE
    part = forms.ModelChoiceField(
        label=_("Part that a job waits for"),
        queryset=Part.objects.none(),
        empty_label=_("choose a part"),
        error_messages={"required": _("Choose the part that comes late.")},
    )
    arrives_on = DayField(label=_("Arrives on"), error_messages={"required": _("Say on which day it arrives.")})

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unfinished = WorkOrder.objects.unfinished()
        waited_for = {one.part.pk for short in missing_parts(unfinished).values() for one in short}
        self.fields["part"].queryset = Part.objects.filter(pk__in=waited_for)  # type: ignore[attr-defined]

    def supposition(self) -> dict[str, Any]:
        """Return the part and the day."""
        said = self.cleaned_data
        return {"kind": self.kind.value, "part": said["part"].pk, "arrives_on": said["arrives_on"].isoformat()}


LINES: Mapping[str, type[LineForm]] = {form.kind.value: form for form in (SlipForm, AwayForm, KeptForm, LateForm)}


class WhatIfs:
    """The lines of a form: added and taken away without a script, and kept as they were typed."""

    def __init__(self, data: Mapping[str, Any] | None = None, kept: Sequence[Mapping[str, Any]] = ()) -> None:
        """Read the lines from what was sent, or from what was kept with another plan."""
        self.data = data
        self.marks: list[tuple[int, str]] = []
        self.kept: dict[int, Mapping[str, Any]] = {}
        if data is not None:
            sent = data.getlist("lines") if hasattr(data, "getlist") else []
            found = [match for one in sent[:MOST_READ] if (match := LINE.match(one)) and match[2] in LINES]
            self.marks = list({int(match[1]): match[2] for match in found}.items())[:MOST_LINES]
        for number, one in enumerate(kept):
            if one.get("kind") in LINES:
                self.marks.append((number, one["kind"]))
                self.kept[number] = one
        self.is_bound = data is not None

    def add(self, kind: str) -> None:
        """Put another line of a kind at the end."""
        if kind in LINES and len(self.marks) < MOST_LINES:
            self.marks.append((max((number for number, _kind in self.marks), default=-1) + 1, kind))

    def remove(self, number: str) -> None:
        """Take a line away."""
        self.marks = [mark for mark in self.marks if str(mark[0]) != number]

    def leave_unread(self) -> None:
        """Show what was typed without looking for faults in it yet."""
        self.is_bound = False

    @cached_property
    def forms(self) -> list[LineForm]:
        """Return the form of each line."""
        return [self._form(number, kind) for number, kind in self.marks]

    def _form(self, number: int, kind: str) -> LineForm:
        made = LINES[kind]
        prefix = f"w{number}"
        if self.is_bound:
            form = made(self.data, prefix=prefix)
        elif self.data is not None:
            typed = {name: self.data.get(f"{prefix}-{name}") for name in made.base_fields}
            form = made(prefix=prefix, initial={name: value for name, value in typed.items() if value is not None})
        else:
            form = made(prefix=prefix, initial=_initial(self.kept[number]) if number in self.kept else {})
        form.number = number
        return form

    @property
    def may_add(self) -> bool:
        """Say whether there is room for another line."""
        return len(self.marks) < MOST_LINES

    def is_valid(self) -> bool:
        """Say whether every line can be read; the page shows the faults of all of them."""
        return all(form.is_valid() for form in self.forms)

    def suppositions(self) -> list[dict[str, Any]]:
        """Return what is supposed, as it is kept."""
        return [form.supposition() for form in self.forms]


def _initial(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Give the fields of a line what was kept with a plan."""
    found = {name: value for name, value in kept.items() if name != "kind"}
    for name in ("from", "until"):
        if name in found:
            found[f"{name}_at"] = datetime.fromisoformat(found.pop(name))
    return found


class WishForm(forms.Form):
    """A wish for one job: when it is to be done."""

    WAYS = (
        ("by", _("done by")),
        ("at", _("begun at")),
        ("from", _("not before")),
    )
    way = forms.ChoiceField(label=_("Wish"), choices=WAYS, initial="by")
    at = MomentField(label=_("Day and time"), error_messages={"required": _("Say by, at, or from when.")})

    def clean_at(self) -> datetime:
        """Refuse what lies behind or far away."""
        at: datetime = self.cleaned_data["at"]
        if at <= clock.now():
            raise ValidationError(_("That is over: choose a time that is to come."))
        return at


class DecisionForm(forms.Form):
    """The version of the plan that was on the screen."""

    version = VersionField()
