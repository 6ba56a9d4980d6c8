"""What a calculation or an act has to say: a code with values, put into words when somebody reads it.

What is stored or handed on is a :class:`Sentence`; ``plant.frame.saying`` has its words, in the reader's language and
the mill's time zone and units. What somebody typed is a sentence too: :func:`typed`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Union

#: A number comes in the unit that its name ends in (see ``plant.frame.saying``); sentences may hold sentences.
Value = Union[str, int, float, Decimal, date, datetime, "Sentence", tuple["Value", ...]]

#: The code of what somebody typed, and of what earlier versions kept as text.
TYPED = "text"


@dataclass(frozen=True)
class Sentence:
    """A code, and the values that its pattern names, in the order of their names."""

    code: str
    values: tuple[tuple[str, Value], ...] = ()

    @classmethod
    def of(cls, code: str, /, **values: Any) -> Sentence:
        """Make a sentence; lists become tuples. Raises TypeError for a value that could not be kept."""
        return cls(code, tuple((name, _frozen(name, values[name])) for name in sorted(values)))

    def __getitem__(self, name: str) -> Value:
        return dict(self.values)[name]

    def __str__(self) -> str:
        # Only for whoever looks for a fault: what people read is said by plant.frame.saying.
        return " ".join([self.code, *(f"{name}={value}" for name, value in self.values)])


#: Several sentences, one after the other.
Sentences = tuple[Sentence, ...]


def typed(text: str) -> Sentences:
    """Keep what somebody typed as it is; nothing where nothing was typed."""
    return (Sentence.of(TYPED, text=text),) if text else ()


def sentences(told: Sentence | Iterable[Sentence] | None) -> Sentences:
    """Return one, several or no sentences as a tuple. Raises TypeError for anything else: text is to be ``typed``."""
    if told is None:
        return ()
    if isinstance(told, Sentence):
        return (told,)
    several = (told,) if isinstance(told, str) else tuple(told)
    for one in several:
        if not isinstance(one, Sentence):
            raise TypeError(f"{one!r} is no Sentence.")
    return several


def _frozen(name: str, value: Any) -> Value:
    if isinstance(value, list | tuple):
        return tuple(_frozen(name, one) for one in value)
    if isinstance(value, datetime) and value.tzinfo is None:
        raise TypeError(f"{name} has no time zone: {value}.")
    # The plain types themselves: str() takes the parts of an enumeration, float() a number of numpy's.
    for kind in (bool, str, int, float):
        if isinstance(value, kind):
            return kind(value)
    if isinstance(value, Decimal | date | Sentence):
        return value
    raise TypeError(f"{name} cannot be kept in a sentence: {value!r}.")


# --- as JSON --------------------------------------------------------------------------------------


def to_json(told: Sentence) -> dict[str, Any]:
    """Give a sentence as JSON: instants as {"at": ISO}, days as {"on": ISO}, exact numbers as {"number": text}."""
    return {"code": told.code, "values": {name: _value_to_json(value) for name, value in told.values}}


def from_json(kept: Mapping[str, Any]) -> Sentence:
    """Read a sentence from what :func:`to_json` gave. Raises KeyError and ValueError for anything else."""
    return Sentence.of(kept["code"], **{name: _value_from_json(one) for name, one in kept["values"].items()})


def all_to_json(told: Sentence | Iterable[Sentence] | None) -> list[dict[str, Any]]:
    """Give several sentences as JSON."""
    return [to_json(one) for one in sentences(told)]


def all_from_json(kept: Iterable[Mapping[str, Any] | str] | str) -> Sentences:
    """Read several sentences; texts, which earlier versions kept, come as they are."""
    several = [kept] if isinstance(kept, str) else kept
    return tuple(said for one in several for said in (typed(one) if isinstance(one, str) else (from_json(one),)))


def _value_to_json(value: Value) -> Any:
    match value:
        case Sentence():
            return to_json(value)
        case datetime():
            return {"at": value.isoformat()}
        case date():
            return {"on": value.isoformat()}
        case Decimal():
            return {"number": str(value)}
        case tuple():
            return [_value_to_json(one) for one in value]
    return value


def _value_from_json(kept: Any) -> Any:
    match kept:
        case {"at": instant}:
            return datetime.fromisoformat(instant)
        case {"on": day}:
            return date.fromisoformat(day)
        case {"number": number}:
            return Decimal(number)
        case {"code": _, "values": _}:
            return from_json(kept)
        case list():
            return tuple(_value_from_json(one) for one in kept)
    return kept
