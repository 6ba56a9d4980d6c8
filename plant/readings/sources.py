"""Changes of sources of readings and of the channels of kilns."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant.access import require
from plant.frame.particulars import refuse_stale, save_changed
from plant.models import Change, Channel, ChannelName, Kiln, ReadingSource, User
from plant.readings.files.folders import folder_below

COMMON_FIELDS = ("name", "time_zone", "is_active")
WAY_FIELDS: Mapping[str, tuple[str, ...]] = {
    ReadingSource.Way.FILES: ("folder",),
    ReadingSource.Way.SENDS: (),
    ReadingSource.Way.BROKER: ("broker_host", "broker_port", "broker_topic", "broker_user", "is_broker_encrypted"),
}
CHANNEL_FIELDS = ("component", "every_s", "is_active")


def source_fields(way: str) -> tuple[str, ...]:
    """Return what may be changed of a source that brings its readings in this way."""
    return (*COMMON_FIELDS, *WAY_FIELDS[way])


@transaction.atomic
def add_source(values: dict[str, Any], *, by: User | None) -> ReadingSource:
    """Put a source on record."""
    require(by, "edit sources")
    source = ReadingSource(**values)
    _check_folder(source)
    source.save()
    Change.record(source, "put on record", by=by, after={name: str(value) for name, value in values.items()})
    return source


@transaction.atomic
def edit_source(source: ReadingSource, values: dict[str, Any], *, seen: str, by: User | None) -> ReadingSource:
    """Change a source unless somebody else changed it meanwhile."""
    require(by, "edit sources")
    source = ReadingSource.objects.select_for_update().get(pk=source.pk)
    refuse_stale(source, values, seen)
    changed = ReadingSource(**{"pk": source.pk, "is_active": source.is_active, **values})
    _check_folder(changed)
    if save_changed(source, values, "particulars changed", by=by):
        source.version += 1
        source.save(update_fields=["version"])
    return source


def _check_folder(source: ReadingSource) -> None:
    """Refuse a folder that cannot be watched, or that another source watches. Raises ValidationError."""
    if not source.folder:
        return
    wanted = folder_below(source.folder)
    others = ReadingSource.objects.filter(is_active=True).exclude(folder="").exclude(pk=source.pk)
    if source.is_active and any(folder_below(other.folder, must_be_there=False) == wanted for other in others):
        raise ValidationError({"folder": _("Another source watches this folder already: give each its own.")})


@transaction.atomic
def add_channels(kiln: Kiln, quantity: str, places: Sequence[str], every_s: int, *, by: User | None) -> list[Channel]:
    """Give a kiln a channel for each place (one without a place where none is named)."""
    require(by, "edit sources")
    Kiln.objects.select_for_update().get(pk=kiln.pk)
    known = set(Channel.objects.filter(kiln=kiln, quantity=quantity).values_list("place", flat=True))
    wanted = list(dict.fromkeys(places)) or [""]
    double = [place for place in wanted if place in known]
    if double:
        where = ", ".join(place or _("without a position") for place in double)
        raise ValidationError({"places": _("The kiln has this channel already: %(where)s.") % {"where": where}})
    made = [Channel(kiln=kiln, quantity=quantity, place=place, every_s=every_s) for place in wanted]
    return _make(made, by)


@transaction.atomic
def copy_channels(kiln: Kiln, other: Kiln, *, by: User | None) -> list[Channel]:
    """Give a kiln the channels in use of another one that it does not have."""
    require(by, "edit sources")
    Kiln.objects.select_for_update().get(pk=kiln.pk)
    known = set(Channel.objects.filter(kiln=kiln).values_list("quantity", "place"))
    made = [
        Channel(kiln=kiln, quantity=one.quantity, place=one.place, every_s=one.every_s)
        for one in Channel.objects.filter(kiln=other, is_active=True)
        if (one.quantity, one.place) not in known
    ]
    return _make(made, by)


def _make(channels: Sequence[Channel], by: User | None) -> list[Channel]:
    for channel in channels:
        channel.save()
        after = {"quantity": channel.quantity, "place": channel.place, "every_s": channel.every_s}
        Change.record(channel, "put on record", by=by, after=after)
    return list(channels)


@transaction.atomic
def edit_channel(channel: Channel, values: dict[str, Any], *, seen: str, by: User | None) -> Channel:
    """Change a channel, or switch it off, unless somebody else changed it meanwhile; what it measures stays."""
    require(by, "edit sources")
    channel = Channel.objects.select_for_update(of=("self",)).select_related("kiln").get(pk=channel.pk)
    refuse_stale(channel, values, seen)
    component = values.get("component")
    if component is not None and component.kiln_id != channel.kiln_id:
        raise ValidationError({"component": _("This component belongs to another kiln.")})
    save_changed(channel, values, "particulars changed", by=by)
    return channel


@transaction.atomic
def name_channel(source: ReadingSource, name: str, channel: Channel, unit: str, *, by: User | None) -> ChannelName:
    """Say how a source calls a channel and in which unit it writes it."""
    require(by, "edit sources")
    source = ReadingSource.objects.select_for_update().get(pk=source.pk)
    known = ChannelName.objects.filter(source=source, name=name).select_related("channel__kiln").first()
    before = {"channel": str(known.channel), "unit": known.unit} if known else {}
    named, _is_new = ChannelName.objects.update_or_create(
        source=source, name=name, defaults={"channel": channel, "unit": unit}
    )
    after = {"name": name, "channel": str(channel), "unit": unit}
    Change.record(source, "name given", by=by, before=before, after=after)
    return named


@transaction.atomic
def drop_name(named: ChannelName, *, by: User | None) -> None:
    """Take a name off a source; the history keeps it."""
    require(by, "edit sources")
    before = {"name": named.name, "channel": str(named.channel), "unit": named.unit}
    Change.record(named.source, "name taken off", by=by, before=before)
    named.delete()
