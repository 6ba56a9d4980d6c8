"""What the words on the screens mean: read from the table that ships with the product."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured


class Origin(StrEnum):
    """Where a word comes from."""

    STANDARD = "standard"
    TRADE = "trade"
    OURS = "ours"


@dataclass(frozen=True, slots=True)
class Word:
    """A term in one context; ``clause`` names the standard's place where it comes from one."""

    term: str
    context: str
    meaning: str
    origin: Origin
    clause: str

    def tells_of(self, wanted: str) -> bool:
        """Say whether the term, its meaning or its context has a text in it."""
        return any(
            wanted.casefold() in text.casefold() for text in (self.term, self.meaning, self.context, self.clause)
        )


@lru_cache(maxsize=2)
def _read(path: Path) -> tuple[Word, ...]:
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    try:
        return tuple(
            Word(row["term"], row["context"], row["meaning"], Origin(row["origin"]), row["clause"]) for row in rows
        )
    except (KeyError, ValueError) as error:
        raise ImproperlyConfigured(
            f"{path.name}: {error}; columns are term, context, meaning, origin, clause."
        ) from error


def all_words() -> tuple[Word, ...]:
    """Return every word, in the order of the table."""
    return _read(settings.FIXTURES_DIR / "words" / "words.csv")


def by_context(words: Iterable[Word]) -> dict[str, list[Word]]:
    """Return context -> its words, contexts in the order in which they first come."""
    grouped: dict[str, list[Word]] = {}
    for word in words:
        grouped.setdefault(word.context, []).append(word)
    return grouped
