"""A kiln's particulars."""

from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _

from plant.frame.days import DayInput
from plant.frame.measures import InUnitField
from plant.frame.particulars import ParticularsForm
from plant.frame.units import volume_scale
from plant.models import Kiln


class KilnForm(ParticularsForm):
    """What the mill may change of a kiln; its tag is its name in all records and stays."""

    class Meta:
        model = Kiln
        fields = [
            "name",
            "usable_m3",
            "heating_medium",
            "humidifying",
            "climate_sensing",
            "is_reversing",
            "is_inner_skin_visible",
            "built_on",
            "lock_out_minutes",
            "restore_minutes",
            "max_people_inside",
            "is_active",
        ]
        widgets = {"built_on": DayInput}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        scale = volume_scale(self.instance.mill)
        least = max(Decimal("0.001"), scale.kept(Decimal(1).scaleb(-scale.decimals)))
        self.fields["usable_m3"] = InUnitField(
            scale=scale,
            label=_("Usable volume in %(unit)s") % {"unit": scale.unit},
            least=least,
            present=self.instance.usable_m3,
        )
