"""What a source calls the channels of the mill."""

from django.db.models import QuerySet

from plant.models import Channel, ChannelName, ReadingSource
from plant.physics.quantities import channel_key
from plant.readings.calculations.sent_readings import Named


def channels_in_use() -> QuerySet[Channel]:
    """Return the channels that readings may be sent for, with their kilns."""
    return Channel.objects.filter(is_active=True, kiln__is_active=True).select_related("kiln")


def names_of(source: ReadingSource) -> dict[str, Named]:
    """Return every name of a channel in use: ``K1/wet_bulb:left`` for all, and what this source calls them.

    Where a source calls a channel by what is another one's name, the source's meaning counts. Two queries.
    """
    # Plain rows: it is asked for with every body that is sent.
    channels = channels_in_use().values_list("pk", "kiln__tag", "quantity", "place")
    names = {f"{tag}/{channel_key(quantity, place)}": Named(pk, quantity) for pk, tag, quantity, place in channels}
    own = ChannelName.objects.filter(source=source, channel__in=channels_in_use())
    for name, unit, pk, quantity in own.values_list("name", "unit", "channel_id", "channel__quantity"):
        names[name] = Named(pk, quantity, unit)
    return names
