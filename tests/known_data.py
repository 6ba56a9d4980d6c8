"""What a mill has put into its database: names, numbers, what people typed. It is the same in every language."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Any, Final

from django.apps import apps
from django.db.models import CharField, JSONField, TextField

from plant.basics.sentences import Sentence
from plant.fields import SentencesField

# Letters alone: figures that stand high, as in m³, are none.
WORD: Final = re.compile(r"[^\W\d_¹²³]+")
#: Where a list of words is kept as one text, where a text has a gap for a number, and where a long text was cut.
PARTED: Final = re.compile(r";|\{\w+\}")
CUT: Final = "…"
#: Columns of codes that have no choices.
CODES: Final = frozenset({"plant.Change.act"})


def stored_texts() -> Iterator[tuple[str, str]]:
    """Yield (model.field, text) of every text that is stored, in JSON too, but for the program's own codes."""
    for field in _fields():
        for value in _values(field):
            for text in _texts_in(value):
                yield f"{field.model._meta.label}.{field.name}", " ".join(text.split())


def known_texts() -> Iterator[str]:
    """Yield every text that is no code of the program: those in columns of their own, and the values of sentences."""
    for field in _fields():
        is_code = f"{field.model._meta.label}.{field.name}" in CODES
        if not is_code and (not isinstance(field, JSONField) or isinstance(field, SentencesField)):
            for value in _values(field):
                for text in _texts_in(value):
                    yield " ".join(text.split())
                    yield from (" ".join(one.split()) for one in PARTED.split(text))


def _fields() -> Iterator[Any]:
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if isinstance(field, CharField | TextField | JSONField) and not field.choices and not field.is_relation:
                yield field


def _values(field: Any) -> Iterable[Any]:
    values: Iterable[Any] = field.model._default_manager.values_list(field.attname, flat=True).order_by()
    return values


def _texts_in(value: Any) -> Iterator[str]:
    match value:
        case str():
            yield value
        case Sentence():
            yield from _texts_in([one for _name, one in value.values])
        case {"code": _, "values": dict(values)}:
            yield from _texts_in(values)
        case dict():
            yield from _texts_in(list(value.values()))
        case list() | tuple():
            for one in value:
                yield from _texts_in(one)


class Known:
    """Texts that are known, to be told from others."""

    def __init__(self, known: Iterable[str]) -> None:
        self.by_word: dict[str, set[str]] = defaultdict(set)
        for text in known:
            if word := WORD.search(text):
                self.by_word[word.group()].add(text)

    @cached_property
    def longest_first(self) -> dict[str, list[tuple[str, int]]]:
        """Return the first word -> the texts, each with the place of that word in it."""
        return {
            word: [(text, text.index(word)) for text in sorted(known, key=len, reverse=True)]
            for word, known in self.by_word.items()
        }

    def other_words(self, text: str) -> list[str]:
        """Return the words of a text that are in none of the known ones."""
        left, at = [], 0
        for word in WORD.finditer(text):
            if word.start() < at:
                continue
            at = self._end_of_known(text, word)
            if not at:
                left.append(word.group())
        return left

    def _end_of_known(self, text: str, word: re.Match[str]) -> int:
        """Return where the known text ends that a word begins; 0 where none does."""
        for known, before in self.longest_first.get(word.group(), ()):
            begin = word.start() - before
            end = begin + len(known)
            if begin >= 0 and text.startswith(known, begin) and not text[end : end + 1].isalnum():
                return end
            if begin >= 0 and text.endswith(CUT) and known.startswith(text[begin : -len(CUT)].rstrip()):
                return len(text)
        return 0
