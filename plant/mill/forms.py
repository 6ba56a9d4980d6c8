"""The mill's settings."""

import re
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from plant.frame.measures import InUnitField
from plant.frame.particulars import ParticularsForm
from plant.frame.units import height_scale, temperature_scale
from plant.models import Mill
from plant.physics.standard_atmosphere import HIGHEST_M, LOWEST_M

LEAST = {
    "horizon_days": 1,
    "drying_margin_per_m3": 0,
    "energy_price_per_kwh": 0,
    "labour_rate_per_h": 0,
    "weekly_crew_h": 0,
}
LIMIT_WORDS = {
    "min_value": _("That is too little: write %(limit_value)s or more."),
    "max_value": _("That is too much: write %(limit_value)s or less."),
}


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
            "entry_limit_c",
            "height_m",
            "drying_margin_per_m3",
            "energy_price_per_kwh",
            "labour_rate_per_h",
            "weekly_crew_h",
        ]
        labels = {"temperature_unit": _("Temperatures in"), "volume_unit": _("Volumes in")}
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
        for name in (*LEAST, "planned_notice_days", "entry_limit_c", "height_m"):
            self.fields[name].error_messages.update(LIMIT_WORDS)

    def clean_currency(self) -> str:
        """Take three letters, whatever their case."""
        currency = str(self.cleaned_data["currency"]).upper()
        if not re.fullmatch(r"[A-Z]{3}", currency):
            raise ValidationError(_now("%s is not a currency of three letters, such as EUR or SEK.") % currency)
        return currency
