"""Which stretch of a kiln's climate is asked for, by charge or by the clock, and in which units."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from plant.basics.units import CELSIUS, FAHRENHEIT, Scale
from plant.frame.days import LocalInput
from plant.pictures.climate_chart.bands import MEASURES, Shown

SHORTEST: Final = timedelta(minutes=10)
LONGEST: Final = timedelta(days=5 * 366)
FIRST: Final = datetime(2000, 1, 1, tzinfo=UTC)
LAST: Final = datetime(2100, 1, 1, tzinfo=UTC)


class MomentField(forms.Field):
    """An instant as the mill's clock shows it, or with an offset from UTC, as links write it."""

    widget = LocalInput

    def __init__(self, *, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)
        self.zone = zone

    def to_python(self, value: Any) -> datetime | None:
        """Read what was typed."""
        if not value:
            return None
        try:
            at = datetime.fromisoformat(str(value).strip())
            moment = at.replace(tzinfo=self.zone) if at.tzinfo is None else at
            if not FIRST <= moment < LAST:
                raise ValueError
        except (ValueError, OverflowError):
            raise ValidationError(
                _("Write %(label)s as day and time, such as 2026-11-20 06:00, between 2000 and 2100."),
                code="invalid",
                params={"label": self.label},
            ) from None
        return moment.astimezone(UTC)

    def prepare_value(self, value: Any) -> Any:
        """Show an instant by the mill's clock; what cannot be read stays as it was typed."""
        try:
            moment = value if isinstance(value, datetime) else self.to_python(value)
        except ValidationError:
            return value
        return moment.astimezone(self.zone).strftime("%Y-%m-%dT%H:%M") if moment else value


class ClimateForm(forms.Form):
    """What the address of the climate page asks for."""

    charge = forms.CharField(required=False, max_length=20)
    t = forms.ChoiceField(required=False, choices=[("c", CELSIUS.unit), ("f", FAHRENHEIT.unit)])
    humidity = forms.ChoiceField(required=False, choices=list(MEASURES.items()))
    table = forms.BooleanField(required=False)

    def __init__(self, data: Mapping[str, Any], *, zone: ZoneInfo, scale: Scale, pressure_pa: float) -> None:
        super().__init__(data)
        self.scale, self.pressure_pa = scale, pressure_pa
        self.fields["from"] = MomentField(label=_("From"), zone=zone)
        self.fields["until"] = MomentField(label=_("Until"), zone=zone)

    def clean(self) -> dict[str, Any]:
        """Refuse a stretch that ends before it begins, or is too short or too long to be drawn."""
        found: dict[str, Any] = super().clean() or {}
        begin_at, end_at = found.get("from"), found.get("until")
        if begin_at and end_at and not SHORTEST <= end_at - begin_at <= LONGEST:
            raise ValidationError(
                _("Choose an end that is at least 10 minutes and at most 5 years after the beginning."), code="span"
            )
        if bool(begin_at) != bool(end_at) and not self.errors:
            raise ValidationError(_("Say both from when and until when."), code="half")
        return found

    @property
    def shown(self) -> Shown:
        """Return the units that are asked for, else the mill's own and EMC."""
        typed = getattr(self, "cleaned_data", {})
        scale = {"c": CELSIUS, "f": FAHRENHEIT}.get(typed.get("t", ""), self.scale)
        return Shown(scale, typed.get("humidity") or "emc", self.pressure_pa)
