"""What the sensor of a main door says of a charge that nobody told to be opened: a hint for whoever tells it."""

from datetime import datetime

from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.models import Channel, Kiln, Reading


def open_since(kiln: Kiln, from_at: datetime, now: datetime) -> datetime | None:
    """Return since when a main door has read open without a break, looked for from an instant on; None where none does.

    Two queries for each door with a sensor.
    """
    found = []
    for channel in Channel.objects.filter(kiln=kiln, quantity=Channel.Quantity.DOOR_OPEN, is_active=True):
        readings = Reading.objects.filter(
            channel=channel, marks=0, at_s__gte=to_epoch_s(from_at), at_s__lte=to_epoch_s(now)
        )
        shut_s = readings.filter(value=0).order_by("-at_s").values_list("at_s", flat=True).first()
        after_s = to_epoch_s(from_at) if shut_s is None else shut_s
        open_s = readings.filter(value=1, at_s__gte=after_s).order_by("at_s").values_list("at_s", flat=True).first()
        if open_s is not None:
            found.append(from_epoch_s(open_s))
    return min(found, default=None)
