"""What tests of readings share: channels of a kiln, and batches written in few words."""

from collections.abc import Sequence

import numpy as np

from plant.models import Channel, Kiln, Reading, ReadingSource
from plant.readings.taking_in import Taken, take_in
from tests.factories import MONDAY, KilnFactory

MONDAY_S = int(MONDAY.timestamp())


def channel(key: str, every_s: int = 60, kiln: Kiln | None = None) -> Channel:
    """Give a kiln the channel of a key, once."""
    quantity, _, place = key.partition(":")
    made, _ = Channel.objects.get_or_create(
        kiln=kiln or KilnFactory(), quantity=quantity, place=place, defaults={"every_s": every_s}
    )
    return made


def bring(
    where: Channel, values: Sequence[float], from_s: int = MONDAY_S, every_s: int = 60, **options: ReadingSource
) -> Taken:
    """Bring readings of one channel, evenly spaced."""
    at_s = from_s + every_s * np.arange(len(values))
    return take_in(np.full(len(values), where.pk), at_s, np.array(values, float), **options)


def kept(where: Channel) -> list[tuple[int, float, int]]:
    """Return what is kept of a channel: seconds after Monday, value, marks."""
    rows = Reading.objects.filter(channel=where).order_by("at_s").values_list("at_s", "value", "marks")
    return [(at_s - MONDAY_S, value, marks) for at_s, value, marks in rows]
