"""What is said at a chamber's door."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from maintenance.actions.entry import EntryAnswers
from maintenance.forms.fields import KeyField, TickField
from plant.calculations.units import CELSIUS
from plant.forms.measures import InUnitField
from plant.models import Mill, Person
from plant.templatetags.units import temperature_in
from plant.units import temperature_scale

COLDEST_C = Decimal(-60)
HOTTEST_C = Decimal(200)


class PermitForm(forms.Form):
    """Open a chamber for entry."""

    permit_key = KeyField()
    is_locked_out = TickField(_("Fans, heat and spray are locked out, and the attempt to start them has failed."))
    is_open = TickField(_("The main doors are open and held open."))
    is_escape_door_tried = TickField(
        _("The escape door was tried from inside and opens, with the main door held open and a second person outside.")
    )
    temperature = InUnitField(scale=CELSIUS)
    locked_out_by = forms.ModelChoiceField(
        Person.objects.none(), label=_("Locked out by"), empty_label=_("choose a person")
    )
    watch_outside = forms.ModelChoiceField(
        Person.objects.none(), label=_("Stays outside and watches"), empty_label=_("choose a person")
    )
    permit_note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, mill: Mill, person: Person | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.working_here()
        self.fields["locked_out_by"].queryset = people  # type: ignore[attr-defined]
        self.fields["watch_outside"].queryset = people  # type: ignore[attr-defined]
        self.fields["locked_out_by"].initial = person
        scale = temperature_scale(mill)
        self.fields["temperature"] = InUnitField(
            scale=scale,
            least=COLDEST_C,
            most=HOTTEST_C,
            label=_("Temperature inside in %(unit)s") % {"unit": scale.unit},
            help_text=_("The mill's limit for entry: %(limit)s.") % {"limit": temperature_in(mill.entry_limit_c, mill)},
        )

    def answers(self) -> EntryAnswers:
        """Return what was said, the temperature in °C."""
        said = self.cleaned_data
        return EntryAnswers(
            locked_out_by=said["locked_out_by"],
            watch_outside=said["watch_outside"],
            temperature_c=said["temperature"],
            is_open=said["is_open"],
            is_locked_out=said["is_locked_out"],
            is_escape_door_tried=said["is_escape_door_tried"],
            note=said["permit_note"],
        )


class ClosePermitForm(forms.Form):
    """Close it again."""

    key = KeyField()
    is_everybody_out = TickField(_("I counted: everybody is out."))
