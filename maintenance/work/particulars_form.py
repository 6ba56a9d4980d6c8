"""What may be changed of a job that has not begun."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.frame.fields import MeasureField, VersionField
from maintenance.models import WorkOrder
from maintenance.work.particulars import Particulars
from plant.frame.days import Moment

MOMENTS = ("due_at", "earliest_at", "safety_at")


class ParticularsForm(forms.Form):
    """Change a job that has not begun."""

    version = VersionField()
    title = forms.CharField(label=_("What is to be done"), max_length=160)
    due_at = Moment(label=_("Due"))
    earliest_at = Moment(
        label=_("Not before"), required=False, help_text=_("Empty: it may start as soon as all it needs is there.")
    )
    safety_at = Moment(
        label=_("Safety date"), help_text=_("Life or health hangs on it: later only where waiting is safe.")
    )
    hours = MeasureField(label=_("Hours"), min_value=Decimal("0.1"), max_value=Decimal(500))
    crew = forms.IntegerField(label=_("People"), min_value=1, max_value=20)
    cost_of_delay_per_day = MeasureField(
        label=_("Cost of delay per day"),
        required=False,
        decimal_places=2,
        min_value=0,
        max_value=Decimal(10_000_000),
        help_text=_("What each day costs that it is not done."),
    )
    why = forms.CharField(label=_("Why it is changed"), max_length=200, help_text=_("The history keeps the reason."))

    def __init__(self, *args: Any, order: WorkOrder, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order = order
        for name in ("version", "title", "crew", *MOMENTS):
            self.fields[name].initial = getattr(order, name)
        for name in ("hours", "cost_of_delay_per_day"):
            self.fields[name].initial = f"{getattr(order, name).normalize():f}"
        if order.is_safety and order.safety_at is None:
            # Without a date of its own safety work must be done by when it is due.
            self.fields["safety_at"].initial = order.due_at
        elif not order.is_safety and order.safety_at is None:
            del self.fields["safety_at"]

    def wanted(self) -> Particulars:
        """Return what the job is to be."""
        said = self.cleaned_data
        return Particulars(
            title=said["title"],
            due_at=self._moment("due_at"),  # type: ignore[arg-type]
            earliest_at=self._moment("earliest_at"),
            hours=said["hours"],
            crew=said["crew"],
            cost_of_delay_per_day=said["cost_of_delay_per_day"] or Decimal(0),
            safety_at=self._moment("safety_at"),
        )

    def _moment(self, name: str) -> datetime | None:
        """Return an instant; one that was left as shown keeps its seconds, which the form does not show."""
        said: datetime | None = self.cleaned_data.get(name)
        was: datetime | None = getattr(self.order, name)
        return was if said and was and said == was.replace(second=0, microsecond=0) else said
