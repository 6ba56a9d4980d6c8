"""Downtime as people type it: local times, a share in per cent."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from plant import clock
from plant.downtime.keeping import FIELDS, DowntimeFacts
from plant.frame.days import Moment
from plant.frame.particulars import digest
from plant.models import Component, Downtime, Kiln


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
        return DowntimeFacts(
            share_lost=data["share_lost_pct"] / 100,
            **{name: data[name] for name in FIELDS if name != "share_lost"},
        )


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


class EndDowntimeForm(forms.Form):
    """The end of a downtime that goes on."""

    end_at = Moment(label=_("Able to dry again since"))
