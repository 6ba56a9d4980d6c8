"""Forms of the first hour: the mill, and a new kiln by questions."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.setting_up.calculations.make_up import Answers
from plant.frame.days import DayInput
from plant.kilns.forms import usable_volume
from plant.mill.forms import MillForm
from plant.models import Kiln, Mill

COUNTS = ("main_doors", "escape_doors", "fans", "electrode_groups")
MORE = ("steam_bar", "has_air_drives", "is_loaded_on_cars")
MOST_OF_A_KIND = 40


class NewMillForm(forms.ModelForm):  # type: ignore[type-arg]
    """What a mill must say before anything else; the rest of its settings have a usual value."""

    class Meta:
        model = Mill
        fields = ["name", "time_zone", "currency", "temperature_unit", "volume_unit"]
        labels = MillForm.Meta.labels
        help_texts = MillForm.Meta.help_texts

    clean_currency = MillForm.clean_currency


def _count(label: Any, initial: int, help_text: Any = "") -> forms.IntegerField:
    return forms.IntegerField(label=label, min_value=0, max_value=MOST_OF_A_KIND, initial=initial, help_text=help_text)


class NewKilnForm(forms.ModelForm):  # type: ignore[type-arg]
    """What must be asked of a kiln so that the rest can be proposed."""

    main_doors = _count(_("Main doors"), 1)
    escape_doors = _count(
        _("Escape doors"), 1, _("Without one the main door is the only way out: local codes say what must be.")
    )
    fans = _count(_("Fans"), 4)
    electrode_groups = _count(_("Groups of wood-moisture electrodes"), 4)
    steam_bar = forms.DecimalField(
        label=_("Steam pressure before the traps, bar"),
        min_value=0,
        max_value=60,
        decimal_places=1,
        required=False,
        help_text=_("Only where steam heats it: how often traps are surveyed depends on it."),
    )
    has_air_drives = forms.BooleanField(label=_("Flaps or valves are driven by compressed air"), required=False)
    is_loaded_on_cars = forms.BooleanField(label=_("Timber goes in on kiln cars"), required=False)

    class Meta:
        model = Kiln
        fields = [
            "tag",
            "name",
            "usable_m3",
            "heating_medium",
            "humidifying",
            "climate_sensing",
            "is_reversing",
            "is_inner_skin_visible",
            "built_on",
        ]
        widgets = {"built_on": DayInput}
        help_texts = {"tag": _("Short, such as K1: it is the kiln's name in all records and stays.")}

    def __init__(self, *args: Any, mill: Mill, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.mill = mill
        self.fields["usable_m3"] = usable_volume(mill)
        self.order_fields([*self.Meta.fields[:-2], *COUNTS, *MORE, *self.Meta.fields[-2:]])

    def answers(self) -> Answers:
        """Return what was answered, of a form that is valid."""
        said = self.cleaned_data
        kiln_says = ("heating_medium", "humidifying", "climate_sensing", "is_reversing")
        return Answers(**{name: said[name] for name in (*kiln_says, *COUNTS, *MORE)})
