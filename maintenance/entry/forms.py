"""What is said at a chamber's door."""

from collections.abc import Collection
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Case, When
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from maintenance.entry.door import Measured
from maintenance.entry.now import EntryNow
from maintenance.entry.permits import EntryAnswers, escape_doors, may_lock_out, may_watch_outside, needs_air_check
from maintenance.frame.fields import KeyField, MeasureField, TickField
from plant import clock
from plant.basics.units import CELSIUS
from plant.frame.measures import InUnitField
from plant.frame.units import temperature_in, temperature_scale
from plant.models import Kiln, Mill, Person

COLDEST_C = Decimal(-60)
HOTTEST_C = Decimal(200)


# What is asked of the air where a flame burns in it.
GAS_FIELDS = ("is_air_checked", "oxygen_pct", "carbon_monoxide_ppm")
HOURS = (1, 2, 3, 4, 6, 8, 12)


class HoursField(forms.TypedChoiceField):
    """For how long a chamber stays open for entry."""

    # It always says something: no word at the door that a limit of time may stay empty.
    is_asked = True

    def __init__(self, *, empty: Any = None, **kwargs: Any) -> None:
        def choices() -> list[tuple[str, Any]]:
            hours = [(str(n), ngettext("%d hour from now", "%d hours from now", n) % n) for n in HOURS]
            return [("", empty), *hours] if empty else hours

        super().__init__(choices=choices, coerce=int, empty_value=None, label=_("By when is everybody out?"), **kwargs)


def until_at(hours: int | None) -> datetime | None:
    """Return the instant so many hours from now."""
    return clock.now() + timedelta(hours=hours) if hours else None


def temperature_field(mill: Mill) -> InUnitField:
    """Ask for the temperature inside, in the mill's unit."""
    scale = temperature_scale(mill)
    return InUnitField(
        scale=scale,
        least=COLDEST_C,
        most=HOTTEST_C,
        label=_("Temperature inside in %(unit)s") % {"unit": scale.unit},
        help_text=_("The mill's limit for entry: %(limit)s.") % {"limit": temperature_in(mill.entry_limit_c, mill)},
    )


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
    oxygen_pct = MeasureField(label=_("Oxygen in %"), required=False, min_value=0, max_value=100, decimal_places=1)
    carbon_monoxide_ppm = forms.IntegerField(
        label=_("Carbon monoxide in ppm"), required=False, min_value=0, max_value=100000
    )
    temperature = InUnitField(scale=CELSIUS)
    hours = HoursField(initial="4", required=False)
    locked_out_by = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Locked out by"),
        empty_label=_("choose a person"),
        help_text=_("Only people whose leave to lock out is valid today."),
        error_messages={"invalid_choice": _("Name somebody who is on record as authorised to lock out today.")},
    )
    watch_outside = forms.ModelChoiceField(
        Person.objects.none(), label=_("Stays outside at the main door"), empty_label=_("choose a person")
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
        self.fields["temperature"] = temperature_field(mill)

    def _fit_to(self, kiln: Kiln | None) -> None:
        """Ask what this chamber asks for: its air where a flame burns in it, and every one of its escape doors."""
        if kiln is None or not needs_air_check(kiln):
            for name in GAS_FIELDS:
                del self.fields[name]
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
            oxygen_pct=said.get("oxygen_pct"),
            carbon_monoxide_ppm=said.get("carbon_monoxide_ppm"),
            until_at=until_at(said["hours"]),
        )


class InForm(forms.Form):
    """Somebody goes in."""

    key = KeyField()
    person = forms.ModelChoiceField(
        Person.objects.working_here(), label=_("Who goes in"), empty_label=_("choose a person")
    )
    is_own_lock_on = TickField(_("Their own lock is on."))

    def __init__(self, *args: Any, without: Collection[Person] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Whoever is in or stays outside is not offered; sent all the same, the door says why not.
        people = Person.objects.working_here().exclude(pk__in=[one.pk for one in without])
        self.fields["person"].queryset = people  # type: ignore[attr-defined]


class OutForm(forms.Form):
    """Somebody comes out."""

    key = KeyField()
    person = forms.ModelChoiceField(Person.objects.all())
    is_lock_kept = forms.BooleanField(required=False)


class RelieveForm(forms.Form):
    """Somebody else stays outside."""

    key = KeyField()
    person = forms.ModelChoiceField(
        Person.objects.none(), label=_("Stays outside from now on"), empty_label=_("choose a person")
    )

    def __init__(self, *args: Any, mill: Mill, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "relief-%s", **kwargs})
        self.fields["person"].queryset = may_watch_outside(clock.today(mill.zone))  # type: ignore[attr-defined]


class MeasureForm(forms.Form):
    """What was measured again."""

    key = KeyField()
    temperature = InUnitField(scale=CELSIUS)
    is_air_checked = forms.BooleanField(
        label=_("The air inside was checked for gas (carbon monoxide, oxygen) against the mill's own limit."),
        required=False,
    )
    oxygen_pct = MeasureField(label=_("Oxygen in %"), required=False, min_value=0, max_value=100, decimal_places=1)
    carbon_monoxide_ppm = forms.IntegerField(
        label=_("Carbon monoxide in ppm"), required=False, min_value=0, max_value=100000
    )
    hours = HoursField(required=False, empty=_("as before"))

    def __init__(self, *args: Any, mill: Mill, asks_air: bool, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "measured-%s", **kwargs})
        self.fields["temperature"] = temperature_field(mill)
        if not asks_air:
            for name in GAS_FIELDS:
                del self.fields[name]

    def measured(self) -> Measured:
        """Return what was measured, the temperature in °C."""
        said = self.cleaned_data
        return Measured(
            temperature_c=said["temperature"],
            is_air_checked=said.get("is_air_checked"),
            oxygen_pct=said.get("oxygen_pct"),
            carbon_monoxide_ppm=said.get("carbon_monoxide_ppm"),
            until_at=until_at(said["hours"]),
        )


class TakeBackForm(forms.Form):
    """What was entered by mistake."""

    key = KeyField()
    why = forms.CharField(label=_("What was wrong?"), max_length=200)


class ClosePermitForm(forms.Form):
    """Close it again: each sitting and job that goes on inside is confirmed by name."""

    key = KeyField()
    is_everybody_out = TickField(_("I counted: everybody is out."))

    def __init__(self, *args: Any, stand: EntryNow | None, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "close-%s", **kwargs})
        named = {}
        for sitting in stand.sittings if stand else ():
            who = sitting.by or _("somebody")
            label = _("%(who)s has ended the sitting of %(number)s.") % {"who": who, "number": sitting.check_up}
            named[f"sitting-{sitting.pk}"] = TickField(label)
        for order in stand.jobs if stand else ():
            label = _("%(number)s is paused: %(title)s.") % {"number": order.number, "title": order.title}
            named[f"job-{order.pk}"] = TickField(label)
        self.fields = {"key": self.fields["key"], **named, "is_everybody_out": self.fields["is_everybody_out"]}

    def named(self, kind: str) -> list[int]:
        """Return the ids of what was confirmed."""
        names = [name for name, is_so in self.cleaned_data.items() if is_so and name.startswith(f"{kind}-")]
        return [int(name.partition("-")[2]) for name in names]


class ForceForm(forms.Form):
    """Close it although its list cannot be completed."""

    key = KeyField()
    why = forms.CharField(
        label=_("How do you know that nobody is inside, and why is the list not complete?"),
        max_length=200,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class LetInForm(forms.Form):
    """Say why people may go in despite what was found, or why that no longer holds."""

    key = KeyField()
    why = forms.CharField(label=_("Why"), max_length=300, widget=forms.Textarea(attrs={"rows": 3}))
