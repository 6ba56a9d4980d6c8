"""The mill's settings."""

import re
from collections.abc import Iterator
from datetime import time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from plant.basics.yard_hours import YardHours
from plant.frame.measures import InUnitField
from plant.frame.particulars import ParticularsForm
from plant.frame.units import height_scale, temperature_scale
from plant.models import Mill
from plant.models.mill import PLAN_PRICES
from plant.physics.standard_atmosphere import HIGHEST_M, LOWEST_M

UTC_ZONE = ZoneInfo("UTC")
LEAST = {
    "horizon_days": 1,
    "drying_margin_per_m3": 0,
    "energy_price_per_kwh": 0,
    "labour_rate_per_h": 0,
    "weekly_crew_h": 0,
    **{name: least for name, (least, _most) in PLAN_PRICES.items()},
}
LIMIT_WORDS = {
    "min_value": _("That is too little: write %(limit_value)s or more."),
    "max_value": _("That is too much: write %(limit_value)s or less."),
}


SPAN_OF_DAY = re.compile(r"(\d{1,2})(?:[:.](\d{2}))?\s*[-–—]\s*(\d{1,2})(?:[:.](\d{2}))?")


class WeekInput(forms.Widget):
    """A line a weekday, each "6:00–14:00" or empty."""

    use_fieldset = True

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[str]:
        """Return what was typed, Monday first."""
        return [data.get(f"{name}_{day}", "") for day in range(7)]

    def subwidgets(self, name: str, value: Any, attrs: Any = None) -> Iterator[dict[str, Any]]:
        """Give each weekday an input with its name."""
        for day, words in WEEKDAYS.items():
            context = forms.TextInput().get_context(f"{name}_{day}", value[day] if value else "", {"size": 12})
            context["widget"]["attrs"]["id"] = f"id_{name}_{day}"
            yield {**context["widget"], "label": words}


class WeekField(forms.Field):
    """From when to when the yard works on each weekday; all empty: at any hour."""

    widget = WeekInput

    def prepare_value(self, value: Any) -> list[str]:
        """Show what is kept as people write it; what was typed stays as typed."""
        return [f"{day[0]}–{day[1]}" if isinstance(day, list) else day or "" for day in value or [""] * 7]

    def clean(self, value: Any) -> list[list[str] | None]:
        """Return [from, to] or None for each weekday; an empty list where no day has hours."""
        days = [self._day(number, text) for number, text in enumerate(value)]
        return days if any(days) else []

    def _day(self, number: int, text: str) -> list[str] | None:
        if not text.strip():
            return None
        found = SPAN_OF_DAY.fullmatch(text.strip())
        try:
            if found is None:
                raise ValueError(text)
            begin, end = _time(found[1], found[2]), _time(found[3], found[4])
            YardHours(UTC_ZONE, ((begin, end),) * 7)
        except ValueError:
            raise ValidationError(
                _now("%(day)s: write from when to when, such as 6:00–14:00; empty where the yard does not work."),
                code="hours",
                params={"day": WEEKDAYS[number]},
            ) from None
        return [f"{begin:%H:%M}", f"{end:%H:%M}"]


def _time(hour: str, minute: str | None) -> time:
    """Return a time of the day; 24:00 is midnight. Raises ValueError."""
    return time(0) if (int(hour), int(minute or 0)) == (24, 0) else time(int(hour), int(minute or 0))


class MillForm(ParticularsForm):
    """What a mill sets for itself."""

    class Meta:
        model = Mill
        fields = [
            "name",
            "time_zone",
            "currency",
            "temperature_unit",
            "volume_unit",
            "horizon_days",
            "planned_notice_days",
            "charges_end_by_programme",
            "tells_by_readings",
            "entry_limit_c",
            "height_m",
            "drying_margin_per_m3",
            "energy_price_per_kwh",
            "labour_rate_per_h",
            "weekly_crew_h",
            "yard_hours",
            *PLAN_PRICES,
        ]
        labels = {
            "temperature_unit": _("Temperatures in"),
            "volume_unit": _("Volumes in"),
            "overtime_factor": _("An hour of overtime, times the labour rate"),
        }
        help_texts = {
            "time_zone": _("An area and a city, such as Europe/Stockholm: every page shows this clock."),
            "currency": _("Three letters, such as EUR."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["weekly_crew_h"] = f"{self.instance.weekly_crew_h.normalize():f}"
        for name, least in LEAST.items():
            field = self.fields[name]
            # One limit below is enough to be told of.
            others = [check for check in field.validators if not isinstance(check, MinValueValidator)]
            field.validators = [*others, MinValueValidator(least)]
        self.fields["horizon_days"].validators.append(MaxValueValidator(730))
        for name, (_least, most) in PLAN_PRICES.items():
            self.fields[name].validators.append(MaxValueValidator(most))
            if name != "overtime_factor":
                facts = {"price": self.fields[name].label, "currency": self.instance.currency}
                self.fields[name].label = _("%(price)s, %(currency)s") % facts
        # The unit in which the form was shown, even where the same form chooses another.
        scale = temperature_scale(self.instance)
        self.fields["entry_limit_c"] = InUnitField(
            scale=scale,
            label=_("Entry limit in %(unit)s") % {"unit": scale.unit},
            least=Decimal(10),
            most=Decimal(60),
            present=self.instance.entry_limit_c,
            help_text=_("Nobody enters a chamber that is warmer. The mill's own limit; local rules come first."),
        )

        height = height_scale(self.instance)
        self.fields["height_m"] = InUnitField(
            scale=height,
            label=_("Height above the sea in %(unit)s") % {"unit": height.unit},
            least=Decimal(int(LOWEST_M)),
            most=Decimal(int(HIGHEST_M)),
            present=self.instance.height_m,
            help_text=_("It sets the air pressure by which humidity, EMC and lost heat are worked out (ISO 2533)."),
        )
        self.fields["yard_hours"] = WeekField(
            label=_("Hours in which the yard loads"),
            help_text=_("Kilns are loaded and unloaded then, such as 6:00–14:00. All empty: at any hour."),
        )
        for name in (*LEAST, "planned_notice_days", "entry_limit_c", "height_m"):
            self.fields[name].error_messages.update(LIMIT_WORDS)

    def main_fields(self) -> list[forms.BoundField]:
        """Return what is not folded away."""
        return [field for field in self.visible_fields() if field.name not in PLAN_PRICES]

    def plan_prices(self) -> list[forms.BoundField]:
        """Return the prices of a plan."""
        return [self[name] for name in PLAN_PRICES]

    def has_faulty_prices(self) -> bool:
        """Whether something is to be mended among the prices of a plan."""
        return any(name in self.errors for name in PLAN_PRICES)

    def clean_currency(self) -> str:
        """Take three letters, whatever their case."""
        currency = str(self.cleaned_data["currency"]).upper()
        if not re.fullmatch(r"[A-Z]{3}", currency):
            raise ValidationError(_now("%s is not a currency of three letters, such as EUR or SEK.") % currency)
        return currency
