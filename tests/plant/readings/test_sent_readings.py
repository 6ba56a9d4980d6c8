"""Readings written in JSON by other systems: what is read, and what is said of each that cannot be."""

import json
import math
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.readings.calculations.sent_readings import (
    DAY_S,
    JsonFaultError,
    Named,
    SentFaultsError,
    load_json,
    read_sent,
)

NOW_S = datetime(2026, 11, 25, 7, tzinfo=UTC).timestamp()
NAMES = {
    "K1/wet_bulb:left": Named(1, "wet_bulb"),
    "T12": Named(2, "air_temperature", "degF"),
    "RH": Named(3, "relative_humidity", "fraction"),
}
SOUND = {"channel": "K1/wet_bulb:left", "at": 1764000000, "value": 41.5}


def faults_of(*items: Any) -> list[tuple[int, str]]:
    with pytest.raises(SentFaultsError) as caught:
        read_sent(items, NAMES, NOW_S)
    return caught.value.faults


def test_readings_keep_their_order_and_take_the_unit_they_are_kept_in() -> None:
    sent = read_sent(
        [
            SOUND,
            {"channel": "T12", "at": "2026-11-25T06:00:00+01:00", "value": 212},
            {"channel": "T12", "at": "2026-11-25T05:00:00Z", "value": 50, "unit": "°C"},
            {"channel": "RH", "at": 1764000000.9, "value": 0.5},
        ],
        NAMES,
        NOW_S,
    )
    five = int(datetime(2026, 11, 25, 5, tzinfo=UTC).timestamp())
    assert sent.channel_id.tolist() == [1, 2, 2, 3]
    assert sent.at_s.tolist() == [1764000000, five, five, 1764000000]
    assert sent.value.tolist() == pytest.approx([41.5, 100, 50, 50])


def test_no_readings_are_none() -> None:
    sent = read_sent([], NAMES, NOW_S)
    assert len(sent.channel_id) == len(sent.at_s) == len(sent.value) == 0


@given(
    at=st.datetimes(datetime(2000, 1, 2), datetime(2026, 11, 24)),
    offset=st.integers(-23 * 60, 23 * 60),
    tee=st.sampled_from("Tt "),
    fraction=st.sampled_from(["", ".5", ".999999999"]),
)
@settings(max_examples=60)
def test_an_instant_is_the_same_in_whatever_offset_it_is_written(
    at: datetime, offset: int, tee: str, fraction: str
) -> None:
    moment = at.replace(microsecond=0, tzinfo=timezone(timedelta(minutes=offset)))
    written = moment.isoformat().replace("T", tee)
    written = f"{written[:19]}{fraction}{written[19:]}"
    expected = int((moment - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds())
    as_text = read_sent([{**SOUND, "at": written}], NAMES, NOW_S)
    as_number = read_sent([{**SOUND, "at": expected}], NAMES, NOW_S)
    assert as_text.at_s.tolist() == as_number.at_s.tolist() == [expected]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"channel": "K9/wet_bulb"}, "No channel in use is called “K9/wet_bulb”"),
        ({"channel": 12}, "Its channel is a number, not a text"),
        ({"channel": None}, "Its channel is null, not a text"),
        ({"channel": "\ud800\n" + "x" * 100}, "“??xxxx"),
        ({"unit": "bar"}, "unit “bar” is not known"),
        ({"unit": "percent"}, "not written in percent"),
        ({"unit": 1}, "Its unit is a number, not a text"),
        ({"at": "2026-11-25T06:00:00"}, "does not say its offset from UTC"),
        ({"at": "25.11.2026 06:00"}, "not written as 2026-11-25T06:00:00+01:00"),
        ({"at": "20261125T060000Z"}, "not written as"),
        ({"at": "2026-W48-3T06:00:00Z"}, "not written as"),
        ({"at": "2026-02-30T06:00:00Z"}, "not in the calendar"),
        ({"at": "2026-02-20T06:00:00+99:00"}, "not in the calendar"),
        ({"at": "1970-01-01T00:00:00Z"}, "not between 2000 and 2100"),
        ({"at": 0}, "not between 2000 and 2100"),
        ({"at": -1e308}, "Its time is no finite number"),
        ({"at": math.inf}, "Its time is no finite number"),
        ({"at": 10**400}, "Its time is no finite number"),
        ({"at": "2200-01-01T00:00:00Z"}, "not between 2000 and 2100"),
        ({"at": 1764000000000}, "looks like milliseconds"),
        ({"at": NOW_S + DAY_S + 1}, "more than a day ahead"),
        ({"at": True}, "Its time is true or false"),
        ({"at": ["2026"]}, "Its time is a list"),
        ({"value": "41,5"}, "Its value is a text, not a number"),
        ({"value": None}, "Its value is null, not a number"),
        ({"value": True}, "Its value is true or false, not a number"),
        ({"value": {"v": 1}}, "Its value is an object, not a number"),
        ({"value": math.inf}, "no finite number"),
        ({"value": math.nan}, "no finite number"),
        ({"value": 10**400}, "no finite number"),
        ({"value": -1e12}, "too large to be a reading"),
        ({"units": "degC"}, "“units” is not known"),
    ],
)
def test_each_thing_that_cannot_be_read_is_said(change: dict[str, Any], said: str) -> None:
    assert [(index, said in what) for index, what in faults_of(SOUND, {**SOUND, **change})] == [(1, True)]


def test_all_that_is_wrong_with_a_reading_is_said_at_once() -> None:
    assert [what[:20] for _, what in faults_of({"time": 1, "unit": 3})] == [
        "It lacks “channel”.",
        "It lacks “at”.",
        "It lacks “value”.",
        "“time” is not known:",
    ]
    assert len(faults_of({"channel": 1, "at": None, "value": "x", "colour": "red"})) == 4
    assert [what for _, what in faults_of(7, [], None)] == [
        f"It is {kind}, not an object with channel, at and value." for kind in ("a number", "a list", "null")
    ]


def test_only_the_first_fifty_faults_are_listed_but_all_are_counted() -> None:
    with pytest.raises(SentFaultsError) as caught:
        read_sent([SOUND, *[{**SOUND, "value": None}] * 80], NAMES, NOW_S)
    assert caught.value.count == 80
    assert [index for index, _ in caught.value.faults] == list(range(1, 51))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "is no JSON, or is cut off"),
        (b'{"readings": [{"channel": "K1/w', "is no JSON, or is cut off"),
        (b"{'a': 1}", "is no JSON"),
        (b"[NaN]", "It holds NaN"),
        (b"[-Infinity]", "It holds -Infinity"),
        ('{"a": "°"}'.encode("latin-1"), "It is not UTF-8: see byte 8"),
        ("{}".encode("utf-16"), "It is not UTF-8: see byte 1"),
        ("\ufeff{}".encode(), "is no JSON"),
        (b"[" * 200_000, "nests too deep"),
        (b'{"a":' * 200_000, "nests too deep"),
        (b"[" + b"9" * 5000 + b"]", "a number of thousands of digits"),
        (b'{"at": 1, "value": 2, "at": 3}', "The key “at” stands twice"),
        (b'{"a": {"b": 1, "\\u0062": 2}}', "The key “b” stands twice"),
    ],
)
def test_text_that_can_mean_nothing_or_two_things_is_refused(text: bytes, said: str) -> None:
    with pytest.raises(JsonFaultError, match=said):
        load_json(text)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@given(st.lists(anything | st.fixed_dictionaries(dict.fromkeys(SOUND, anything), optional={"unit": anything})))
@settings(max_examples=150)
def test_whatever_json_is_sent_is_read_or_refused_and_nothing_else(items: list[Any]) -> None:
    try:
        sent = read_sent(items, NAMES, NOW_S)
    except SentFaultsError as fault:
        assert fault.count >= len(fault.faults) > 0
    else:
        assert len(sent.value) == len(items)


@given(anything)
@settings(max_examples=60)
def test_what_json_can_say_once_is_read_as_it_is(thing: Any) -> None:
    try:
        text = json.dumps(thing, allow_nan=False).encode()
    except ValueError:
        with pytest.raises(JsonFaultError):
            load_json(json.dumps(thing).encode())
    else:
        assert load_json(text) == thing
