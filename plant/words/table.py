"""What the words on the screens mean: read from the tables that ship with the product."""

import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils.text import slugify

OTHER = "Other words"


class Origin(StrEnum):
    """Where a word comes from."""

    STANDARD = "standard"
    TRADE = "trade"
    OURS = "ours"


@dataclass(frozen=True, slots=True)
class Word:
    """A term in one context; ``clause`` names the standard's place where it comes from one.

    ``also`` is what the trade calls it besides, ``is_linked`` whether its first use on a page leads here.
    """

    term: str
    context: str
    meaning: str
    origin: Origin
    clause: str
    group: str = OTHER
    also: tuple[str, ...] = ()
    is_linked: bool = False

    @property
    def anchor(self) -> str:
        """Where it stands on the page of words."""
        return f"{slugify(self.term.replace('…', 'n')) or 'word'}-{slugify(self.context)}"

    def tells_of(self, wanted: str) -> bool:
        """Say whether the term, another name of it, its meaning or its context has a text in it."""
        told = (self.term, self.meaning, self.context, self.clause, *self.also)
        return any(wanted.casefold() in text.casefold() for text in told)

    def is_called(self, wanted: str) -> bool:
        """Say whether a word of the term or of another name of it begins with a text."""
        begins = re.compile(rf"(?<!\w){re.escape(wanted)}", re.IGNORECASE)
        return any(begins.search(text) for text in (self.term, *self.also))


def _rows(path: Path, columns: str) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        reader = csv.DictReader(stream)
        rows = list(reader)
    if set(reader.fieldnames or ()) != set(columns.split()):
        raise ImproperlyConfigured(f"{path.name}: columns are {', '.join(columns.split())}.")
    return rows


def _split(cell: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in cell.split(";") if part.strip())


@lru_cache(maxsize=2)
def _read(path: Path) -> tuple[Word, ...]:
    """Read the words; the tables of groups and of other names lie beside them."""
    try:
        groups = _groups(_rows(path.with_name("groups.csv"), "group context terms"))
        also = {
            (row["term"], row["context"]): row
            for row in _rows(path.with_name("also_called.csv"), "term context also is_linked")
        }
        return tuple(_words(_rows(path, "term context meaning origin clause"), groups, also))
    except (KeyError, ValueError) as error:
        raise ImproperlyConfigured(f"{path.name}: {error}") from error


def _groups(rows: Iterable[Mapping[str, str]]) -> dict[tuple[str, str], str]:
    """Return (context, term) -> group; the empty term stands for all that are not named."""
    return {(row["context"], term): row["group"] for row in rows for term in _split(row["terms"]) or ("",)}


def _words(
    rows: Iterable[Mapping[str, str]],
    groups: Mapping[tuple[str, str], str],
    also: Mapping[tuple[str, str], Mapping[str, str]],
) -> Iterator[Word]:
    for row in rows:
        term, context = row["term"], row["context"]
        called = also.get((term, context), {"also": "", "is_linked": ""})
        yield Word(
            term,
            context,
            row["meaning"],
            Origin(row["origin"]),
            row["clause"],
            groups.get((context, term)) or groups.get((context, "")) or OTHER,
            _split(called["also"]),
            called["is_linked"] == "yes",
        )


def all_words() -> tuple[Word, ...]:
    """Return every word, in the order of the table."""
    return _read(settings.FIXTURES_DIR / "words" / "words.csv")


def by_group(words: Iterable[Word]) -> dict[str, list[Word]]:
    """Return what a reader looks for -> its words by the alphabet; groups in the order of their table."""
    order = {row["group"]: None for row in _rows(settings.FIXTURES_DIR / "words" / "groups.csv", "group context terms")}
    grouped: dict[str, list[Word]] = {group: [] for group in (*order, OTHER)}
    for word in sorted(words, key=lambda word: word.term.lstrip("… ").casefold()):
        grouped[word.group].append(word)
    return {group: found for group, found in grouped.items() if found}
