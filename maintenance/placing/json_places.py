"""Read JSON so that every fault is named with its place in the file, and nothing is dropped in silence."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field

#: Beyond this no minute and no price makes sense, and sums could leave 64 bits.
MOST = 10**9


@dataclass(frozen=True)
class Fault:
    """What is wrong, and where in the file."""

    place: str
    text: str

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


class FaultyFileError(Exception):
    """A file that cannot be used; `faults` has all that was found."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


class _Object(dict[str, object]):
    """A JSON object that remembers keys that were there more than once."""

    def __init__(self, pairs: list[tuple[str, object]]) -> None:
        super().__init__(pairs)
        seen: set[str] = set()
        self.twice: list[str] = []
        for key, _ in pairs:
            if key in seen:
                self.twice.append(key)
            seen.add(key)


@dataclass
class Reader:
    """Collects faults and remarks while a file is read; what is faulty is answered with something harmless."""

    faults: list[Fault] = field(default_factory=list)
    remarks: list[Fault] = field(default_factory=list)
    most: int = MOST
    #: Whether a field that the form does not know is a fault, and not only remarked upon.
    knows_all: bool = False

    def wrong(self, place: str, text: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(place, text))

    def parse(self, content: bytes) -> dict[str, object]:
        """Read the text of the file as one JSON object.

        Raises
        ------
        FaultyFileError
            for text that is no JSON object at all.
        """
        try:
            found = json.loads(content.decode("utf-8-sig"), object_pairs_hook=_Object)
        except UnicodeDecodeError as error:
            raise FaultyFileError([Fault(f"byte {error.start}", "is not UTF-8")]) from None
        except json.JSONDecodeError as error:
            raise FaultyFileError([Fault(f"line {error.lineno}, column {error.colno}", error.msg)]) from None
        except (ValueError, RecursionError) as error:
            raise FaultyFileError([Fault("file", f"cannot be read: {error}")]) from None
        if not isinstance(found, dict):
            raise FaultyFileError([Fault("file", "is not a JSON object")])
        return found

    def fields(
        self, value: object, place: str, names: tuple[str, ...], may_have: tuple[str, ...] = ()
    ) -> dict[str, object] | None:
        """Give an object that has all the fields, or None; those it has too many are remarked upon, or wrong."""
        found = self.keyed(value, place)
        if found is None:
            return None
        for name in names:
            if name not in found:
                self.wrong(dotted(place, name), "is missing")
        for name in found:
            if name not in names and name not in may_have:
                if self.knows_all:
                    self.wrong(dotted(place, name), "is no field of this form")
                else:
                    self.remarks.append(Fault(dotted(place, name), "is no field of this form and is passed over"))
        return found

    def keyed(self, value: object, place: str) -> dict[str, object] | None:
        """Give an object whose keys are there once each, or None."""
        if not isinstance(value, dict):
            self.wrong(place or "file", "is not an object")
            return None
        for key in getattr(value, "twice", []):
            self.wrong(dotted(place, key), "is there more than once")
        return value

    def items(self, holder: dict[str, object], name: str, place: str) -> Iterator[tuple[str, object]]:
        """Yield place and value of each item of a list; nothing where the field is missing."""
        if name not in holder:
            return
        value, where = holder[name], dotted(place, name)
        if not isinstance(value, list):
            self.wrong(where, "is not a list")
            return
        for index, item in enumerate(value):
            yield f"{where}[{index}]", item

    def number(self, holder: dict[str, object], name: str, place: str, least: int = -MOST) -> int:
        """Give a whole number."""
        return self.whole(holder[name], dotted(place, name), least) if name in holder else max(least, 0)

    def whole(self, value: object, place: str, least: int = -MOST) -> int:
        """Give the value if it is a whole number (600.0 is none) not below `least`, else say so."""
        if type(value) is not int:
            self.wrong(place, f"{_shown(value)} is not a whole number")
        elif value < least:
            self.wrong(place, f"{value} is below {least}" if least > -MOST else f"{value} is too small")
        elif value > self.most:
            self.wrong(place, f"{value} is too large")
        else:
            return value
        return max(least, 0)

    def text(self, holder: dict[str, object], name: str, place: str) -> str:
        """Give a text that is not empty."""
        return self.word(holder[name], dotted(place, name)) if name in holder else ""

    def word(self, value: object, place: str) -> str:
        """Give the value if it is a text that is not empty, else say so."""
        if isinstance(value, str) and value:
            return value
        self.wrong(place, f"{_shown(value)} is not a text, or an empty one")
        return ""

    def words(self, holder: dict[str, object], name: str, place: str) -> list[tuple[str, str]]:
        """Give place and text of each item of a list of texts, no text twice."""
        found: list[tuple[str, str]] = []
        seen: set[str] = set()
        for where, item in self.items(holder, name, place):
            word = self.word(item, where)
            if word in seen:
                self.wrong(where, f"{word!r} is there twice")
            elif word:
                seen.add(word)
                found.append((where, word))
        return found

    def pair(self, value: object, place: str) -> list[object] | None:
        """Give a list of two, or None."""
        if isinstance(value, list) and len(value) == 2:
            return value
        self.wrong(place, f"{_shown(value)} is not a list of two")
        return None


def dotted(place: str, name: str) -> str:
    """Name a field of what stands at a place."""
    return f"{place}.{name}" if place else name


def _shown(value: object) -> str:
    shown = json.dumps(value, default=str)
    return shown if len(shown) <= 40 else shown[:37] + "..."
