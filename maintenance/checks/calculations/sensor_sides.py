"""On which sides of the stacks a reversing kiln is sensed.

When the fans reverse, the inlet side of the stacks changes. A kiln that is sensed on one side alone steers half of the
time by the air that has already passed the timber; each side therefore needs a thermometer and a humidity sensor of its
own (kiln trade, common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Quantity(StrEnum):
    """What is sensed."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"


class Side(StrEnum):
    """A side of the stacks."""

    LEFT = "left"
    RIGHT = "right"


#: Kind of component -> what it senses. A psychrometer holds a dry bulb beside the wet one.
SENSES: Final = {
    "thermometer": frozenset({Quantity.TEMPERATURE}),
    "psychrometer": frozenset({Quantity.TEMPERATURE, Quantity.HUMIDITY}),
    "humidity-sensor": frozenset({Quantity.HUMIDITY}),
    "emc-plate": frozenset({Quantity.HUMIDITY}),
}


@dataclass(frozen=True)
class Sensor:
    """A component that may sense the climate; ``side`` is left, right, both or empty (not recorded)."""

    kind_code: str
    side: str


@dataclass(frozen=True)
class MissingSensor:
    """A side on which a quantity is not sensed."""

    quantity: Quantity
    side: Side


def missing_sensors(sensors: Iterable[Sensor], is_reversing: bool) -> tuple[MissingSensor, ...]:
    """Name what a reversing kiln lacks: a quantity on a side; nothing for a kiln that does not reverse."""
    if not is_reversing:
        return ()
    sensed = {
        (quantity, side)
        for sensor in sensors
        for quantity in SENSES.get(sensor.kind_code, ())
        for side in Side
        if sensor.side in (side, "both")
    }
    return tuple(
        MissingSensor(quantity, side) for quantity in Quantity for side in Side if (quantity, side) not in sensed
    )
