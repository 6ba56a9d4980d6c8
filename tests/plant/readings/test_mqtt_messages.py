"""Messages of a broker: what is read out of them, and that one that cannot be read never stops the others."""

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from plant.frame.saying import say
from plant.models import Channel, ChannelName, FileIntake, Reading, ReadingSource
from plant.readings.mqtt import listener as mqtt_listener
from plant.readings.mqtt.listener import store
from plant.readings.mqtt.messages import MOST_FAULTS_KEPT, MOST_KEPT, MOST_KEPT_AT_ONCE, Message
from plant.readings.taking_in import ReadingFault, Taken, take_in
from tests.plant.sending import BEGIN_S, WET, reading, sending_mill, stored

pytestmark = pytest.mark.django_db
NOW_S = float(BEGIN_S + 600)


@pytest.fixture
def source() -> ReadingSource:
    """Give a source that listens; what it calls mill/db1 is the dry bulb in °F."""
    sending_mill()
    found = ReadingSource.objects.create(code="loggers", name="Loggers", way="broker")
    channel = Channel.objects.get(quantity="air_temperature")
    ChannelName.objects.create(source=found, name="mill/db1", channel=channel, unit="degF")
    return found


def message(topic: str, payload: Any, *, is_retained: bool = False) -> Message:
    """Return a message, JSON of whatever it holds, or bytes as they are."""
    text = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return Message(topic, text, NOW_S, 1, is_retained)


def hear(source: ReadingSource, *messages: Message) -> None:
    """Store messages as both connections do that hear them."""
    store(source, messages, with_time=True)
    store(source, messages, with_time=False)


def refused() -> list[tuple[str, str]]:
    """Return (topic, first fault) of what is kept."""
    return [
        (topic, say(faults[:1]))
        for topic, faults in FileIntake.objects.order_by("id").values_list("file_name", "faults")
    ]


def test_what_says_its_time_is_stored_by_the_channel_of_its_topic_or_its_own(source: ReadingSource) -> None:
    hear(
        source,
        message("mill/db1", {"at": BEGIN_S, "value": 212}),
        message("mill/db1", {"at": "2025-11-25T06:01:00Z", "value": 50, "unit": "°C"}),
        message(f"mill/kilns/{WET}", {"at": BEGIN_S, "value": 40}),
        message("mill/any", {"channel": WET, "at": BEGIN_S + 60, "value": 41}),
        message("mill/any", {"readings": [reading(2), reading(3, "mill/db1", value=32)]}),
        message("mill/any", {"readings": []}),
    )
    assert stored() == [
        ("air_temperature", 0, 100),
        ("air_temperature", 1, 50),
        ("air_temperature", 3, 0),
        ("wet_bulb", 0, 40),
        ("wet_bulb", 1, 41),
        ("wet_bulb", 2, 40.2),
    ]
    assert refused() == []
    source.refresh_from_db()
    assert source.last_heard_at is not None


def test_what_does_not_say_its_time_was_measured_when_it_came_and_is_stored_once(source: ReadingSource) -> None:
    hear(source, message("mill/db1", b" 212.0\n"), message("mill/any", {"channel": WET, "value": 41}))
    assert stored() == [("air_temperature", 10, 100), ("wet_bulb", 10, 41)]
    assert refused() == []


def test_a_number_that_the_broker_retained_is_nobody_knows_how_old(source: ReadingSource) -> None:
    hear(source, message("mill/db1", b"212", is_retained=True))
    assert stored() == []
    hear(source, message("mill/db1", {"at": BEGIN_S, "value": 212}, is_retained=True))
    assert stored() == [("air_temperature", 0, 100)]


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        (b"", "neither a number nor an object. It is no JSON"),
        (b"61,5", "neither a number nor an object. It is no JSON"),
        (b"\xff\x00", "It is not UTF-8"),
        (b"NaN", "It holds NaN"),
        (b"1e400", "no finite number"),
        (b'"61.5"', "The message is a text"),
        (b"[61.5]", "The message is a list"),
        (b"true", "The message is true or false"),
        (b"{", "is cut off"),
        (b"[" * 100_000, "nests too deep"),
        (b'{"value": 1, "value": 2}', "stands twice"),
        (b"{}", "It lacks “value”"),
        (b'{"value": 1, "time": 5}', "“time” is not known"),
        (b'{"value": 1, "at": 0}', "not between 2000 and 2100"),
        (b'{"value": 1, "at": null}', "Its time is null"),
        (b'{"value": 1, "channel": "K9/emc"}', "No channel in use is called “K9/emc”"),
        (b'{"readings": 5}', "It lacks “value”"),
        (b'{"readings": [{"value": 1}, 7]}', "Reading 1: It lacks “channel”"),
        (b'{"value": 1, "unit": "bar"}', "unit “bar” is not known"),
    ],
)
def test_a_message_that_cannot_be_read_is_kept_with_its_reason_and_the_others_are_stored(
    source: ReadingSource, payload: bytes, said: str
) -> None:
    hear(source, message("mill/db1", payload), message("x", reading()))
    assert stored() == [("wet_bulb", 0, 40)]
    [(topic, fault)] = refused()
    assert topic == "mill/db1"
    assert said in fault


def test_an_unknown_topic_is_refused_by_its_name(source: ReadingSource) -> None:
    hear(source, message("mill/xx" + "y" * 300, b"5"), message("a/b", {"at": BEGIN_S, "value": 5}))
    assert [fault[:48] for _, fault in refused()] == [
        "No channel in use is called “a/b” by this source",
        "No channel in use is called “mill/xxyyyyyyyyyyyy",
    ]


def test_a_stream_of_bad_messages_does_not_fill_the_database(source: ReadingSource) -> None:
    for round_no in range(8):
        hear(source, *(message(f"topic/{round_no}/{number % 30}", b"x") for number in range(600)))
    kept = FileIntake.objects.order_by("id")
    assert kept.count() == MOST_KEPT
    assert kept.filter(file_name__startswith="topic/7/").count() == MOST_KEPT_AT_ONCE
    assert kept.last().read == 20  # type: ignore[union-attr]
    hear(source, message("z", {"readings": [7] * 40}), message("z", {"readings": [{"at": 1}] * 40}))
    assert len(kept.last().faults) == MOST_FAULTS_KEPT + 1  # type: ignore[union-attr]


def test_what_only_the_store_refuses_is_refused_alone(source: ReadingSource, monkeypatch: pytest.MonkeyPatch) -> None:
    def picky(channel_id: Any, at_s: Any, value: Any, **options: Any) -> Taken:
        if 41 in value:
            raise ReadingFault(["reading 1: 41 is not liked here"])
        return take_in(channel_id, at_s, value, **options)

    monkeypatch.setattr(mqtt_listener, "take_in", picky)
    hear(source, *(message("x", reading(number, value=39 + number)) for number in range(4)))
    assert [row[1:] for row in stored()] == [(0, 39), (1, 40), (3, 42)]
    assert refused() == [("x", "reading 1: 41 is not liked here")]


@given(st.binary(max_size=40) | st.text(max_size=30).map(str.encode), st.text(max_size=20))
@example(b'{"value": 5, "channel": "\\ud800\\u0000"}', "a\x01")
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_message_whatever_stops_the_stream(source: ReadingSource, payload: bytes, topic: str) -> None:
    Reading.objects.all().delete()
    hear(source, message(topic, payload), message("x", reading()))
    assert ("wet_bulb", 0, 40) in stored()
