"""What is said at a chamber's door."""

from collections.abc import Collection
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Case, When
from django.utils.translation import gettext_lazy as _

from maintenance.actions.entry import EntryAnswers, escape_doors, may_lock_out, may_watch_outside, needs_air_check
from maintenance.forms.fields import KeyField, TickField
from plant import clock
from plant.calculations.units import CELSIUS
from plant.forms.measures import InUnitField
from plant.models import Kiln, Mill, Person
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
    is_air_checked = TickField(
        _("The air inside was checked for gas (carbon monoxide, oxygen) against the mill's own limit.")
    )
    temperature = InUnitField(scale=CELSIUS)
    locked_out_by = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Locked out by"),
        empty_label=_("choose a person"),
        help_text=_("Only people whose leave to lock out is valid today."),
        error_messages={"invalid_choice": _("Name somebody who is on record as authorised to lock out today.")},
    )
    watch_outside = forms.ModelChoiceField(
        Person.objects.none(), label=_("Stays outside and watches"), empty_label=_("choose a person")
    )
    permit_note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(
        self,
        *args: Any,
        mill: Mill,
        kiln: Kiln | None = None,
        person: Person | None = None,
        crew: Collection[int] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        day = clock.today(mill.zone)
        lockers = may_lock_out(day)
        self.fields["locked_out_by"].queryset = lockers  # type: ignore[attr-defined]
        self.fields["locked_out_by"].initial = lockers.filter(pk=person.pk).first() if person else None
        watchers = may_watch_outside(day)
        if crew:
            watchers = watchers.order_by(
                Case(When(pk__in=crew, then=0), default=1), *Person._meta.ordering or ("name",)
            )
        self.fields["watch_outside"].queryset = watchers  # type: ignore[attr-defined]
        self._fit_to(kiln)
        scale = temperature_scale(mill)
        self.fields["temperature"] = InUnitField(
            scale=scale,
            least=COLDEST_C,
            most=HOTTEST_C,
            label=_("Temperature inside in %(unit)s") % {"unit": scale.unit},
            help_text=_("The mill's limit for entry: %(limit)s.") % {"limit": temperature_in(mill.entry_limit_c, mill)},
        )

    def _fit_to(self, kiln: Kiln | None) -> None:
        """Ask what this chamber asks for: its air where a flame burns in it, and every one of its escape doors."""
        if kiln is None or not needs_air_check(kiln):
            del self.fields["is_air_checked"]
        doors = escape_doors(kiln) if kiln else []
        if len(doors) > 1:
            self.fields["is_escape_door_tried"].label = _(
                "Every escape door was tried from inside and opens, with the main door held open and a second person "
                "outside: %(doors)s."
            ) % {"doors": ", ".join(doors)}

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
            is_air_checked=said.get("is_air_checked", False),
        )


class ClosePermitForm(forms.Form):
    """Close it again."""

    key = KeyField()
    is_everybody_out = TickField(_("I counted: everybody is out."))
