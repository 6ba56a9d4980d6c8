"""Sources of readings, the channels of kilns, and what a source calls them."""

import re
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from plant.frame.particulars import ParticularsForm
from plant.models import Channel, Component, Kiln, ReadingSource
from plant.readings.calculations.reading_units import to_kept
from plant.readings.sources import CHANNEL_FIELDS, source_fields
from plant.readings.unit_labels import UNIT_LABELS

if TYPE_CHECKING:
    _ChannelChoice = forms.ModelChoiceField[Channel]
    _KilnChoice = forms.ModelChoiceField[Kiln]
else:
    _ChannelChoice = forms.ModelChoiceField
    _KilnChoice = forms.ModelChoiceField

MOST_PLACES = 30


class SourceForm(ParticularsForm):
    """A source; which fields it has depends on the way its readings come, which stays."""

    class Meta:
        model = ReadingSource
        fields = [
            "code",
            "name",
            "folder",
            "broker_host",
            "broker_port",
            "broker_topic",
            "broker_user",
            "is_broker_encrypted",
            "time_zone",
            "is_active",
        ]
        help_texts = {
            "code": _("Short and for good: it names the source in commands and addresses."),
            "folder": _(
                "Below the folder that the server watches, such as kiln-1. Whole files in it are taken in by "
                "themselves and left where they are. Empty: none is watched."
            ),
            "broker_topic": _("Such as mill/kilns/#."),
            "broker_user": _("Its password comes from the server's environment, never from here."),
        }

    def __init__(self, *args: Any, way: str, **kwargs: Any) -> None:
        self.way = way
        super().__init__(*args, **kwargs)
        wanted = {*self.names(), "seen"}
        if self.instance.pk is None:
            wanted = (wanted | {"code"}) - {"seen", "is_active"}
        for name in list(self.fields):
            if name not in wanted:
                del self.fields[name]
        for name in ("broker_host", "broker_topic"):
            if name in self.fields:
                self.fields[name].required = True

    def names(self) -> tuple[str, ...]:
        """Return what may be changed of a source of its way."""
        return source_fields(self.way)


class NewChannelForm(forms.Form):
    """One thing that is measured in a kiln, at one or several positions."""

    quantity = forms.ChoiceField(label=_("Quantity"), choices=Channel.Quantity.choices)
    places = forms.CharField(
        label=_("Positions"),
        required=False,
        max_length=200,
        help_text=_("left, right or numbers, commas between: one channel each. Empty where there is one only."),
    )
    every_s = forms.IntegerField(
        label=_("Seconds from one reading to the next"), initial=60, min_value=1, max_value=86_400
    )

    def clean_places(self) -> list[str]:
        """Take the positions apart."""
        places = [place for place in re.split(r"[,;\s]+", str(self.cleaned_data["places"]).casefold()) if place]
        for place in places:
            if not re.fullmatch(r"[a-z0-9_-]{1,12}", place):
                raise ValidationError(
                    _now("“%s” is no position: write letters a to z and digits, at most twelve.") % place[:40]
                )
        if len(places) > MOST_PLACES:
            raise ValidationError(_now("These are more than %d positions.") % MOST_PLACES)
        return places


class ChannelForm(ParticularsForm):
    """What may be changed of a channel; what it measures, and where, stays."""

    class Meta:
        model = Channel
        fields = list(CHANNEL_FIELDS)
        labels = {"component": _("Component that measures it")}
        help_texts = {"is_active": _("Switched off, its readings stay and no more are taken in.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        components = Component.objects.filter(kiln=self.instance.kiln).select_related("kind")
        self.fields["component"].queryset = components  # type: ignore[attr-defined]


class CopyChannelsForm(forms.Form):
    """Another kiln whose channels this one has as well."""

    other = _KilnChoice(label=_("Kiln"), queryset=Kiln.objects.none())

    def __init__(self, *args: Any, kiln: Kiln, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        others = Kiln.objects.filter(channels__is_active=True).exclude(pk=kiln.pk).distinct()
        self.fields["other"].queryset = others  # type: ignore[attr-defined]


class ChannelNameForm(forms.Form):
    """What a source calls a channel."""

    name = forms.CharField(label=_("Name at the source"), max_length=200)
    channel = _ChannelChoice(label=_("Channel"), queryset=Channel.objects.none())
    unit = forms.ChoiceField(label=_("Unit at the source"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        channels = Channel.objects.filter(is_active=True, kiln__is_active=True).select_related("kiln")
        self.fields["channel"].queryset = channels  # type: ignore[attr-defined]
        self.fields["unit"].choices = [("", _("as it is kept")), *UNIT_LABELS.items()]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Refuse a unit that the channel cannot be written in."""
        cleaned = super().clean() or {}
        channel, unit = cleaned.get("channel"), cleaned.get("unit", "")
        if channel is not None and unit:
            try:
                to_kept(channel.quantity, [0.0], unit)
            except ValueError as fault:
                self.add_error("unit", f"{str(fault)[:1].upper()}{str(fault)[1:]}.")
        return cleaned
