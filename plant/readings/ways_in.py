"""What a source's page says about how its readings come: tokens and an example, or the broker that is listened to."""

import json
import shlex
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.timezone import localtime

from plant import clock
from plant.frame.site_address import absolute
from plant.models import ChannelName, ReadingSource, SourceToken
from plant.readings.channel_names import channels_in_use
from plant.readings.mqtt.listener import broker_password, password_variable

# Stands in the examples while a mill has no channels yet.
SOME_CHANNEL = "K1/wet_bulb:left"


def way_in(source: ReadingSource, request: HttpRequest) -> dict[str, Any]:
    """Return what the page shows about the way in."""
    if source.way == ReadingSource.Way.SENDS:
        tokens = SourceToken.objects.filter(source=source).select_related("made_by__person", "revoked_by__person")
        return {
            "tokens": tokens,
            "send_to": absolute(request, reverse("api:readings")),
            "document_at": reverse("api:openapi-json"),
            # As it stands in a command of a shell.
            "example": shlex.quote(json.dumps({"readings": [_a_reading(source)]}, ensure_ascii=False)),
        }
    if source.way == ReadingSource.Way.BROKER:
        return {
            "password_variable": password_variable(source.code),
            "has_password": broker_password(source.code) is not None,
            "example": json.dumps(_a_reading(source), ensure_ascii=False),
        }
    return {}


def _a_reading(source: ReadingSource) -> dict[str, Any]:
    at = localtime(clock.now()).isoformat(timespec="seconds")
    return {"channel": _a_channel(source), "at": at, "value": 41.5}


def _a_channel(source: ReadingSource) -> str:
    """Return a channel as this source may write it."""
    own = ChannelName.objects.filter(source=source, channel__in=channels_in_use()).first()
    if own:
        return own.name
    channel = channels_in_use().order_by("kiln__tag", "quantity", "place").first()
    return f"{channel.kiln.tag}/{channel.key}" if channel else SOME_CHANNEL
