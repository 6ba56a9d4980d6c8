"""What the ground storey tells of readings, made into work for the watches."""

from typing import Any
from uuid import uuid4

from plant.background.queueing import enqueue
from plant.models import Kiln

LOOK_TASK = "look at readings"


def look_when_settled(sender: Any, kiln: Kiln, from_s: int, until_s: int, **rest: Any) -> None:
    """Want the watches to look at a span; it is wanted together with the settling, and done after it.

    A watch that cannot do its work must not keep readings from being settled, so that it is a job of its own.
    """
    key = f"{LOOK_TASK} {kiln.tag} {from_s} {until_s} {uuid4().hex[:8]}"
    enqueue(LOOK_TASK, key, {"kiln": kiln.pk, "from_s": from_s, "until_s": until_s})
