"""What a chamber's readings measure: the quantities, their units and what no sensor in a kiln can truly read.

A channel of a kiln is named by its key: the quantity, and the place where there are several
(``air_temperature:left``, ``fan_current:2``, ``wood_moisture:3``). Readings are kept in the unit given here.

Conventions: ``fan_direction`` is +1 while air enters the stack on the left, -1 while it enters on the right, 0 while
the fans stand. Valves, flaps and speeds are in percent of full stroke; ``door_open`` is 1 while a main door is not
shut. ``message`` is the number of a message of the controller.

The spans are ours: wide enough for every kiln that dries timber (USDA Agriculture Handbook 188 names schedules up to
116 °C), narrow enough to tell a broken cable, which most transmitters show as their end of scale.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that a channel can measure; ``low`` and ``high`` are the ends of what is possible, in ``unit``."""

    code: str
    unit: str
    low: float
    high: float
    # The longest that a live sensor keeps the very same value in a running kiln; None where standing still is natural.
    still_h: float | None = None
    # The longest that it keeps to two values which differ by no more than a last digit; None where that is natural.
    flicker_h: float | None = None
    # The largest true change from one minute to the next; None where jumps are natural.
    jump_per_minute: float | None = None


QUANTITIES: Final[dict[str, Quantity]] = {
    quantity.code: quantity
    for quantity in (
        Quantity("air_temperature", "degC", -40, 180, still_h=6, flicker_h=12, jump_per_minute=12),
        Quantity("wet_bulb", "degC", -40, 120, still_h=6, flicker_h=12, jump_per_minute=12),
        Quantity("relative_humidity", "percent", 0, 100, still_h=12, flicker_h=24, jump_per_minute=40),
        Quantity("emc", "percent", 0, 35, still_h=12, jump_per_minute=8),
        Quantity("wood_moisture", "percent", 2, 200),
        Quantity("wood_temperature", "degC", -40, 180, still_h=24, jump_per_minute=8),
        Quantity("set_air_temperature", "degC", -40, 180),
        Quantity("set_wet_bulb", "degC", -40, 120),
        Quantity("set_relative_humidity", "percent", 0, 100),
        Quantity("set_emc", "percent", 0, 35),
        Quantity("heating_valve", "percent", 0, 100),
        Quantity("spray_valve", "percent", 0, 100),
        Quantity("flap_position", "percent", 0, 100),
        Quantity("fan_direction", "one", -1, 1),
        Quantity("fan_speed", "percent", 0, 120),
        Quantity("fan_current", "ampere", 0, 2000),
        Quantity("heat_power", "kilowatt", 0, 20000),
        Quantity("heating_supply_temperature", "degC", -40, 350),
        Quantity("outside_temperature", "degC", -60, 60),
        Quantity("outside_humidity", "percent", 0, 100),
        Quantity("door_open", "one", 0, 1),
        Quantity("message", "number", 0, 1_000_000),
    )
}


def channel_key(quantity: str, place: str = "") -> str:
    """Return the key of a kiln's channel, such as ``wet_bulb:left``.

    Raises
    ------
    ValueError
        Where the quantity is not one of `QUANTITIES`.
    """
    if quantity not in QUANTITIES:
        raise ValueError(f"quantity {quantity!r} is not known; known are {', '.join(QUANTITIES)}")
    return f"{quantity}:{place}" if place else quantity
