"""What goes over the wire, as the OpenAPI document tells it."""

from typing import Any

from ninja import Schema
from pydantic import Field

from plant.readings.calculations.sent_readings import END_S, FIRST_S, MOST

DESCRIPTION = """Loggers and controllers send their readings here, each with a token of its source; programs that
plan or drive the kilns send and take charges with a token of their own kind. Both are made on the page of the source.

A channel is named as the source calls it, or as Kilnward does: kiln, quantity and position, such as `K1/wet_bulb:left`.
Errors are told in JSON, with the place of each faulty reading; then nothing of the body was stored."""


class TakenIn(Schema):
    """How many readings were new, known already, and known with another value (the first one is kept)."""

    new: int = Field(ge=0)
    known: int = Field(ge=0)
    differing: int = Field(ge=0)


class Fault(Schema):
    """What is wrong with one reading; ``index`` is its place in the list, counted from 0."""

    index: int | None = Field(ge=0)
    message: str


class Faults(Schema):
    """Why nothing was done; ``faults`` lists the first fifty, ``fault_count`` says how many there are."""

    message: str
    faults: list[Fault] = Field(max_length=50)
    fault_count: int = Field(ge=0)


class Name(Schema):
    """What the source calls a channel, and the unit in which it writes it; empty is the channel's own."""

    name: str
    unit: str


class ChannelInUse(Schema):
    """A channel that readings may be sent for."""

    channel: str = Field(examples=["K1/wet_bulb:left"])
    quantity: str
    unit: str = Field(description="The unit in which its readings are kept.")
    every_s: int = Field(ge=1, description="Seconds from one reading to the next.")
    names: list[Name]


class Channels(Schema):
    """The channels in use, and what this source calls them."""

    source: str
    channels: list[ChannelInUse]


def faults(*statuses: int) -> dict[int, type[Faults]]:
    """Return that these statuses are answered by faults."""
    return dict.fromkeys(statuses, Faults)


def readings_body(most_readings: int) -> dict[str, Any]:
    """Return the body of readings in words of OpenAPI 3.1.

    Written by hand: a hundred thousand readings are checked by our own reader, several times as fast as by models.
    """
    instant = {
        "description": "RFC 3339 with its offset from UTC, or seconds since 1970; fractions are cut off. "
        "Between 2000 and 2100, at most a day ahead.",
        "oneOf": [
            {"type": "string", "format": "date-time"},
            {"type": "number", "minimum": FIRST_S, "exclusiveMaximum": END_S},
        ],
    }
    reading = {
        "type": "object",
        "required": ["channel", "at", "value"],
        "additionalProperties": False,
        "properties": {
            "channel": {"type": "string", "maxLength": 200},
            "at": instant,
            "value": {"type": "number", "exclusiveMinimum": -MOST, "exclusiveMaximum": MOST},
            "unit": {"type": "string", "maxLength": 20, "description": "Only where it is not the usual one."},
        },
    }
    body = {
        "type": "object",
        "required": ["readings"],
        "additionalProperties": False,
        "properties": {"readings": {"type": "array", "maxItems": most_readings, "items": reading}},
    }
    example = {
        "readings": [
            {"channel": "K1/air_temperature:left", "at": "2026-11-25T06:00:00+01:00", "value": 61.5},
            {"channel": "K1/wet_bulb:left", "at": 1795582800, "value": 132.4, "unit": "degF"},
        ]
    }
    return {"required": True, "content": {"application/json": {"schema": body, "example": example}}}
