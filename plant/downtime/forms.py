"""Downtime as people type it: local times, a share in per cent."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from plant import clock
from plant.downtime.keeping import FIELDS, DowntimeFacts
from plant.frame.days import Moment
from plant.frame.particulars import digest
from plant.models import Charge, Component, Downtime, Kiln


class DowntimeForm(forms.Form):
    """A report of downtime, or its correction where a record is given."""

    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=Downtime.Kind.choices,
        help_text=_(
            "A cause outside the kiln is what no work on it could have prevented: a power cut, no crew, no heat from "
            "the plant; write it below. No timber is not downtime: the kiln could dry, but there is nothing to dry."
        ),
    )
    start_at = Moment(label=_("Start"))
    end_at = Moment(label=_("End"), required=False, help_text=_("Leave it empty while it goes on."))
    expected_end_at = Moment(
        label=_("May last until"),
        required=False,
        help_text=_("While it goes on. Where nobody knows, leave it empty: then such stops on record tell."),
    )
    share_lost_pct = forms.DecimalField(
        label=_("Share of capacity lost in %"),
        min_value=Decimal("0.1"),
        max_value=Decimal(100),
        decimal_places=1,
        initial=100,
        error_messages={
            "min_value": _("Write a share above 0: a kiln that loses nothing is not stopped."),
            "max_value": _("Write a share of at most 100: that is a stop."),
        },
        help_text=_("100 % is a stop; less means that the kiln dries, but slowed."),
    )
    component = forms.ModelChoiceField(
        label=_("Component"), queryset=Component.objects.none(), required=False, empty_label=_("none in particular")
    )
    cause = forms.CharField(label=_("Cause"), max_length=200, required=False)
    announced_at = Moment(
        label=_("Announced"),
        required=False,
        help_text=_("When a planned stop was announced; the mill's notice decides whether it counts as planned."),
    )
    why = forms.CharField(label=_("Why it is corrected"), max_length=300, required=False)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, *, kiln: Kiln, record: Downtime | None = None) -> None:
        super().__init__(data, initial=_told(record) if record else _usual())
        self.fields["component"].queryset = kiln.components.in_use()  # type: ignore[attr-defined]
        if record is None:
            del self.fields["why"]

    def facts(self) -> DowntimeFacts:
        """Return what a valid form says."""
        data = dict(self.cleaned_data)
        facts = {name: data[name] for name in FIELDS if name != "share_lost"}
        if facts["end_at"]:
            facts["expected_end_at"] = None
        return DowntimeFacts(share_lost=data["share_lost_pct"] / 100, **facts)


def _usual() -> dict[str, Any]:
    """Return what is reported most often: that a kiln has just stopped."""
    return {"kind": Downtime.Kind.UNPLANNED, "start_at": timezone.localtime(clock.now())}


def _told(record: Downtime) -> dict[str, Any]:
    told = {name: getattr(record, name) for name in FIELDS if name not in ("share_lost", "component")}
    return {
        **told,
        "component": record.component_id,
        "share_lost_pct": Decimal(record.share_lost) * 100,
        "seen": digest(record, FIELDS),
    }


class ReportForm(DowntimeForm):
    """A report of downtime, and when the charge that is in the kiln will be out."""

    charge_end_at = Moment(
        required=False,
        help_text=_("Where nobody knows, leave it empty: then it comes later by as long as the kiln stands."),
    )
    # Made when the page is: sent twice, it is reported once.
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4, required=False)

    def __init__(self, data: Any = None, *, kiln: Kiln, inside: Charge | None) -> None:
        super().__init__(data, kiln=kiln)
        self.order_fields(["kind", "start_at", "end_at", "expected_end_at", "charge_end_at"])
        if inside is None:
            del self.fields["charge_end_at"]
        else:
            label = _now("Charge %(number)s is now expected out at") % {"number": inside.number}
            self.fields["charge_end_at"].label = label


class TakeBackForm(forms.Form):
    """Why a record is taken back."""

    why = forms.CharField(label=_("Why it is taken back"), max_length=300)


class EndDowntimeForm(forms.Form):
    """The end of a downtime that goes on."""

    end_at = Moment(label=_("Able to dry again since"))
