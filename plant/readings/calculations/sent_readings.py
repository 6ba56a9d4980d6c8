"""Readings as other systems write them in JSON: read, checked one by one, and turned into arrays that can be taken in.

A reading is an object with ``channel``, ``at``, ``value`` and, where it is not the usual one, ``unit``. Every fault is
found and told with the place of its reading in the list; where there is one, nothing is given back.
"""

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from plant.readings.calculations.reading_units import to_kept

KEYS: Final = ("channel", "at", "value", "unit")
MOST_FAULTS: Final = 50
# From 2000 to 2100: everything else is a clock that was never set.
FIRST_S: Final = 946684800
END_S: Final = 4102444800
DAY_S: Final = 86400
MOST: Final = 1e12

# RFC 3339, section 5.6; Python's own reader takes more forms of ISO 8601 than that.
_RFC_3339: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_WITHOUT_OFFSET: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?")
_KINDS: Final = {dict: "an object", list: "a list", str: "a text", bool: "true or false", type(None): "null"}


class JsonFaultError(ValueError):
    """Text that is no JSON, or not the kind of JSON that can mean one thing only."""


class SentFaultsError(ValueError):
    """What is wrong with readings; ``faults`` are the first as (place in the list, what), ``count`` says how many."""

    def __init__(self, faults: Sequence[tuple[int, str]], count: int) -> None:
        super().__init__(f"{count} faults")
        self.faults = list(faults)
        self.count = count


@dataclass(frozen=True, slots=True)
class Named:
    """A channel under one of its names, and the unit it is written in there; empty is the unit in which it is kept."""

    channel_id: int
    quantity: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Sent:
    """Readings in the units in which they are kept; all three have shape (n,), ``at_s`` counts seconds since 1970."""

    channel_id: NDArray[np.int64]
    at_s: NDArray[np.int64]
    value: NDArray[np.float64]


def load_json(text: bytes) -> Any:
    """Read JSON (RFC 8259) strictly.

    Raises
    ------
    JsonFaultError
        If it is not UTF-8, is cut off or otherwise no JSON, nests too deep, names a key twice in one object, or holds
        NaN, Infinity or a number of thousands of digits.
    """
    try:
        return json.loads(text.decode(), object_pairs_hook=_unique, parse_constant=_refuse_constant)
    except UnicodeDecodeError as fault:
        raise JsonFaultError(f"It is not UTF-8: see byte {fault.start + 1}.") from None
    except json.JSONDecodeError as fault:
        where = f"line {fault.lineno}, column {fault.colno}"
        raise JsonFaultError(f"It is no JSON, or is cut off: {fault.msg} ({where}).") from None
    except RecursionError:
        raise JsonFaultError("It nests too deep.") from None
    except JsonFaultError:
        raise
    except ValueError:
        # Python reads no whole number of more than 4300 digits.
        raise JsonFaultError("It holds a number of thousands of digits.") from None


def read_sent(items: Sequence[Any], names: Mapping[str, Named], now_s: float) -> Sent:
    """Check readings and turn them into arrays.

    Parameters
    ----------
    items : sequence
        As JSON gives them.
    names : mapping
        Name -> channel, for each channel that may be sent.
    now_s : float
        The present, in seconds since 1970.

    Returns
    -------
    Sent
        In the order of the items; fractions of a second are cut off.

    Raises
    ------
    SentFaultsError
        If anything is wrong with one of them.
    """
    reader = _Reader(names, min(now_s + DAY_S, END_S - 1))
    for index, item in enumerate(items):
        reader.read(index, item)
    return reader.result()


def shown(text: str) -> str:
    """Return a text as a message shows it: short, and without what could be mistaken for the message."""
    return f"“{printable(text[:60])}{'…' if text[60:] else ''}”"


def printable(text: str) -> str:
    """Return a text with a question mark in place of each letter that cannot be printed, or kept by a database."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def kind_of(thing: Any) -> str:
    """Say what kind of JSON something is."""
    return _KINDS.get(type(thing), "a number")


class _Reader:
    """Reads one item after the other and remembers what many of them have in common."""

    def __init__(self, names: Mapping[str, Named], end_s: float) -> None:
        self.names = names
        self.end_s = end_s
        self.faults: list[tuple[int, str]] = []
        self.fault_count = 0
        # (name, unit as written) -> its number here, or what is wrong with it.
        self.ways: dict[tuple[str, str], int | str] = {}
        self.named: list[Named] = []
        # Many channels are read at the same instant.
        self.instants: dict[str, int | str] = {}
        self.way: list[int] = []
        self.at_s: list[int] = []
        self.value: list[float] = []

    def read(self, index: int, item: Any) -> None:
        """Keep a reading, or what is wrong with it."""
        if type(item) is not dict:
            self.note(index, f"It is {kind_of(item)}, not an object with channel, at and value.")
            return
        way = self.way_of(item.get("channel"), item.get("unit", ""))
        at_s = self.instant_of(item.get("at"))
        value: Any = item.get("value")
        is_number = (type(value) is float or type(value) is int) and -MOST < value < MOST
        if isinstance(way, str) or isinstance(at_s, str) or not is_number or len(item) != 3 + ("unit" in item):
            for fault in self.faults_of(item, way, at_s, is_number):
                self.note(index, fault)
            return
        self.way.append(way)
        self.at_s.append(at_s)
        self.value.append(value)

    def faults_of(self, item: dict[str, Any], way: int | str, at_s: int | str, is_number: bool) -> list[str]:
        """Say all that is wrong with a reading, in the order of its keys."""
        missing = [key for key in KEYS[:3] if key not in item]
        faults = [f"It lacks “{key}”." for key in missing]
        if isinstance(way, str) and "channel" not in missing:
            faults.append(way)
        if isinstance(at_s, str) and "at" not in missing:
            faults.append(at_s)
        if not is_number and "value" not in missing:
            faults.append(_why_no_value(item["value"]))
        faults += [f"{shown(key)} is not known: a reading has {', '.join(KEYS)}." for key in item if key not in KEYS]
        return faults

    def note(self, index: int, fault: str) -> None:
        """Keep a fault, if it is one of the first."""
        self.fault_count += 1
        if len(self.faults) < MOST_FAULTS:
            self.faults.append((index, fault))

    def way_of(self, name: Any, unit: Any) -> int | str:
        """Return the number of a channel in a unit, or what is wrong with the two."""
        if type(name) is not str:
            return f"Its channel is {kind_of(name)}, not a text."
        if type(unit) is not str:
            return f"Its unit is {kind_of(unit)}, not a text: leave it out where it is the usual one."
        way = self.ways.get((name, unit))
        if way is None:
            way = self.ways[name, unit] = self.new_way(name, unit)
        return way

    def new_way(self, name: str, unit: str) -> int | str:
        """Return the next number for a channel in a unit, or what is wrong with the two."""
        found = self.names.get(name)
        if found is None:
            return f"No channel in use is called {shown(name)} by this source."
        named = Named(found.channel_id, found.quantity, unit or found.unit)
        try:
            to_kept(named.quantity, 0.0, named.unit)
        except ValueError as fault:
            words = str(fault).replace(repr(unit), shown(unit)) if unit else str(fault)
            return f"{shown(name)}: {words[:200]}."
        self.named.append(named)
        return len(self.named) - 1

    def instant_of(self, at: Any) -> int | str:
        """Return the second of an instant, or what is wrong with it."""
        if type(at) is str:
            found = self.instants.get(at)
            if found is None:
                found = self.instants[at] = self.in_our_time(_second_of(at), shown(at))
            return found
        if type(at) is int or type(at) is float:
            is_known = -1e300 < at < 1e300
            return self.in_our_time(math.floor(at) if is_known else "Its time is no finite number.", f"{at!s:.20}")
        return f"Its time is {kind_of(at)}, neither a text such as 2026-11-25T06:00:00+01:00 nor seconds since 1970."

    def in_our_time(self, at_s: int | str, written: str) -> int | str:
        """Refuse what a clock shows that was never set, or goes ahead."""
        if isinstance(at_s, str) or FIRST_S <= at_s <= self.end_s:
            return at_s
        if FIRST_S <= at_s / 1000 < END_S:
            return f"Its time {written} looks like milliseconds: write seconds since 1970."
        if at_s < FIRST_S or at_s >= END_S:
            return f"Its time {written} is not between 2000 and 2100: set the clock of the source."
        return f"Its time {written} is more than a day ahead: set the clock of the source."

    def result(self) -> Sent:
        """Give the arrays in the units in which readings are kept. Raises SentFaultsError."""
        if self.fault_count:
            raise SentFaultsError(self.faults, self.fault_count)
        way = np.array(self.way, np.int64)
        value = np.array(self.value, np.float64)
        for number, named in enumerate(self.named):
            chosen = way == number
            value[chosen] = to_kept(named.quantity, value[chosen], named.unit)
        for index in np.flatnonzero(~(np.abs(value) < MOST)):
            self.note(int(index), f"Its value is too large to be a reading: {value[index]:.3g}.")
        if self.fault_count:
            raise SentFaultsError(self.faults, self.fault_count)
        channels = np.array([named.channel_id for named in self.named], np.int64)
        return Sent(channels[way], np.array(self.at_s, np.int64), value)


def _second_of(at: str) -> int | str:
    """Return the whole second of an instant written after RFC 3339, or what is wrong with it."""
    if not _RFC_3339.fullmatch(at):
        if _WITHOUT_OFFSET.fullmatch(at):
            return f"Its time {shown(at)} does not say its offset from UTC: write …+01:00, or …Z for UTC."
        return f"Its time {shown(at)} is not written as 2026-11-25T06:00:00+01:00 (RFC 3339) nor as seconds since 1970."
    try:
        return math.floor(datetime.fromisoformat(at.upper()).timestamp())
    except ValueError:
        return f"Its time {shown(at)} is not in the calendar."


def _why_no_value(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return f"Its value is {kind_of(value)}, not a number: leave out what was not measured."
    return "Its value is no finite number, or too large to be a reading."


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make an object of its pairs, unless a key stands twice: readers differ in which one they take."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise JsonFaultError(f"The key {shown(twice)} stands twice in one object.")
    return found


def _refuse_constant(name: str) -> NoReturn:
    raise JsonFaultError(f"It holds {name}, which is no number of JSON: leave out what was not measured.")
