"""Two languages that nobody speaks: what is translated is written in letters of another alphabet.

What is marked for translation shows none of its English letters. What was put into words while the mill was set up in
one of the two, and is read in the other, shows letters of the first: it was stored as text.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from gettext import NullTranslations
from string import ascii_letters
from typing import Any, Final

import pytest
from django.utils import translation
from django.utils.translation import trans_real

LATIN: Final = "áƀćďéƒǵĥíĵķĺḿńóṕɋŕśťúṽẃẋýź"
GREEK: Final = "αβψδεφγηιξκλμνοπϙρσθωϝχυζϟ"

# What a translator leaves as it is: gaps for values, marks of HTML.
LEFT: Final = re.compile(r"%(?:\(\w+\))?[-+#0]*[\d.]*[a-z%]|\{\w*\}|</?[a-z][^<>]*>|&#?\w+;")
CONTEXT: Final = "\x04"


class Pseudo(NullTranslations):
    """A language in other letters; it has every text there is."""

    def __init__(self, code: str, letters: str) -> None:
        super().__init__()
        self.code = code
        self.letters = letters + letters.upper()
        self._said = cache(self._say)

    def gettext(self, message: str) -> str:
        """Write a text in the letters of this language, but for its gaps."""
        return self._said(message.rpartition(CONTEXT)[2])

    def ngettext(self, one: str, many: str, count: float) -> str:
        """Write the singular or the plural in the letters of this language."""
        return self.gettext(one if count == 1 else many)

    def _say(self, text: str) -> str:
        others = str.maketrans(ascii_letters, self.letters)
        said, at = "", 0
        for left in LEFT.finditer(text):
            said += text[at : left.start()].translate(others) + left.group()
            at = left.end()
        return said + text[at:].translate(others)

    def writes(self, word: str) -> bool:
        """Say whether a word has letters of this language alone."""
        return set(word) <= set(self.letters)

    def language(self) -> str:
        """Return the code by which Django knows the language."""
        return self.code

    to_language = language


WRITTEN: Final = Pseudo("grc", GREEK)
READ: Final = Pseudo("la", LATIN)


@contextmanager
def spoken(language: Pseudo, settings: Any) -> Iterator[None]:
    """Let the program speak only this language."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(trans_real, "translation", lambda code: language)
        settings.LANGUAGE_CODE = language.code
        settings.LANGUAGES = [(language.code, language.code)]
        with translation.override(language.code):
            yield
