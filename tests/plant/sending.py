"""A mill whose controller sends readings: two channels, a source, and its token."""

import json
from dataclasses import dataclass
from typing import Any

from django.test import Client

from plant.models import Channel, ChannelName, Reading, ReadingSource, SourceToken
from plant.readings.source_tokens import make_token
from tests.factories import KilnFactory

DRY = "K1/air_temperature:left"
WET = "K1/wet_bulb:left"
# 25 November 2025: long past for every clock that a test may stand in.
BEGIN_S = 1764050400


@dataclass(frozen=True)
class Sender:
    """A system with a token."""

    source: ReadingSource
    token: SourceToken
    text: str

    def post(self, body: Any, **headers: str) -> Any:
        """Send a body: JSON of whatever it is, or bytes as they are."""
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        sent = {"content_type": "application/json", "Authorization": f"Bearer {self.text}"} | headers
        content_type = sent.pop("content_type")
        # Not ``post``: that would write the bytes anew in the charset of the content type.
        return Client().generic("POST", "/api/readings", data, content_type=content_type, headers=sent)

    def send(self, *readings: Any) -> Any:
        """Send readings."""
        return self.post({"readings": list(readings)})


def sending_mill() -> Sender:
    """Set up the mill; its controller calls the dry bulb DB1, in °F."""
    kiln = KilnFactory(tag="K1")
    dry = Channel.objects.create(kiln=kiln, quantity="air_temperature", place="left")
    Channel.objects.create(kiln=kiln, quantity="wet_bulb", place="left")
    source = ReadingSource.objects.create(code="controller", name="Controller of K1", way="sends")
    ChannelName.objects.create(source=source, name="DB1", channel=dry, unit="degF")
    token, text = make_token(source, by=None)
    return Sender(source, token, text)


def reading(number: int = 0, channel: str = WET, **others: Any) -> dict[str, Any]:
    """Return a sound reading, a minute after the one before."""
    return {"channel": channel, "at": BEGIN_S + 60 * number, "value": 40 + number % 100 / 10, **others}


def stored() -> list[tuple[str, int, float]]:
    """Return (quantity, minutes since the first, value) of all that is stored."""
    rows = Reading.objects.order_by("channel__quantity", "at_s").values_list("channel__quantity", "at_s", "value")
    return [(quantity, (at_s - BEGIN_S) // 60, round(value, 6)) for quantity, at_s, value in rows]
