"""What is wanted each day: worked out from the mill's clock, so that a missed hour is made up for once."""

from plant import clock
from plant.background.queueing import enqueue
from plant.background.registry import dailies
from plant.models import Job, Mill


def want_what_is_due() -> list[Job]:
    """Want each daily task whose hour has come today; a second call on the same day changes nothing."""
    mill = Mill.objects.first()
    if mill is None:
        return []
    local = clock.now().astimezone(mill.zone)
    day = local.date().isoformat()
    return [
        enqueue(daily.name, key=f"{daily.name} {day}", arguments={"day": day})
        for daily in dailies()
        if local.hour >= daily.hour
    ]
