"""A kiln's particulars, its components, and what sits in them."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from plant import clock
from plant.frame.days import DayInput, Moment
from plant.frame.measures import InUnitField
from plant.frame.particulars import ParticularsForm
from plant.frame.units import volume_scale
from plant.kilns.components import COMPONENT_FIELDS
from plant.models import Component, ComponentKind, FailureMode, Fitting, Kiln, Mill


def usable_volume(mill: Mill, present: Decimal | None = None) -> InUnitField:
    """Return the field of a kiln's volume, in the mill's unit: more than nothing."""
    scale = volume_scale(mill)
    return InUnitField(
        scale=scale,
        label=_("Usable volume in %(unit)s") % {"unit": scale.unit},
        least=max(Decimal("0.001"), scale.kept(Decimal(1).scaleb(-scale.decimals))),
        present=present,
    )


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
        self.fields["usable_m3"] = usable_volume(self.instance.mill, present=self.instance.usable_m3)


class NewComponentForm(forms.ModelForm):  # type: ignore[type-arg]
    """A position that is to be put on record."""

    kind = forms.ModelChoiceField(label=_("Kind"), queryset=ComponentKind.objects.all(), to_field_name="code")

    class Meta:
        model = Component
        fields = ["kind", "name", "side"]
        help_texts = {"name": _("What people call it, such as Fan 3.")}


class ComponentForm(ParticularsForm):
    """What a component is called and where it sits."""

    class Meta:
        model = Component
        fields = list(COMPONENT_FIELDS)


class ExchangeForm(forms.Form):
    """What sits there from now on, and why what sat there came out."""

    at = Moment(label=_("When"))
    removal = forms.ChoiceField(label=_("Why the former came out"), choices=[("", "–"), *Fitting.Removal.choices])
    failure_mode = forms.ModelChoiceField(
        label=_("How it failed"),
        queryset=FailureMode.objects.none(),
        required=False,
        to_field_name="code",
        help_text=_("Where it failed or was worn: it teaches how long the next one lasts."),
    )
    part_code = forms.SlugField(
        label=_("Part that went in"),
        max_length=40,
        required=False,
        help_text=_("Its code in the stores, as on the shelf; empty where it has none."),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, component: Component, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"at": timezone.localtime(clock.now())})
        super().__init__(*args, **kwargs)
        modes = self.fields["failure_mode"]
        assert isinstance(modes, forms.ModelChoiceField)  # noqa: S101  narrows the type
        modes.queryset = FailureMode.objects.filter(kind=component.kind_id)
        self.fields["failure_mode"].help_text = _(
            "Where it failed or was worn: it teaches how long the next one lasts."
        )
        self.fields["part_code"].help_text = _("Its code in the stores, as on the shelf; empty where it has none.")

    def clean(self) -> dict[str, Any]:
        """Ask how something failed where it is said to have failed, and only there."""
        values: dict[str, Any] = super().clean() or {}
        has_modes = self.fields["failure_mode"].queryset.exists()  # type: ignore[attr-defined]
        if values.get("removal") == Fitting.Removal.FAILED and has_modes and not values.get("failure_mode"):
            self.add_error("failure_mode", _("Say how it failed."))
        return values


class RetireForm(forms.Form):
    """Why a position goes out of use."""

    why = forms.CharField(label=_("Why it goes out of use"), max_length=200)
