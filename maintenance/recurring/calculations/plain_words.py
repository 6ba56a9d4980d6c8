"""Days, months and places in a row as parts of a sentence."""

from collections.abc import Sequence
from typing import Final

from plant.basics.sentences import Sentence

MONTHS: Final = (
    Sentence.of("recur.january"),
    Sentence.of("recur.february"),
    Sentence.of("recur.march"),
    Sentence.of("recur.april"),
    Sentence.of("recur.may"),
    Sentence.of("recur.june"),
    Sentence.of("recur.july"),
    Sentence.of("recur.august"),
    Sentence.of("recur.september"),
    Sentence.of("recur.october"),
    Sentence.of("recur.november"),
    Sentence.of("recur.december"),
)
DAYS: Final = (
    Sentence.of("recur.monday"),
    Sentence.of("recur.tuesday"),
    Sentence.of("recur.wednesday"),
    Sentence.of("recur.thursday"),
    Sentence.of("recur.friday"),
    Sentence.of("recur.saturday"),
    Sentence.of("recur.sunday"),
)


def say_list(items: Sequence[Sentence]) -> Sentence:
    """Join items, of which there is one at least: Monday, Wednesday and Friday."""
    *first, last = items
    return Sentence.of("recur.and", first=_with_commas(first), last=last) if first else last


def say_choice(items: Sequence[Sentence]) -> Sentence:
    """Join items, of which there is one at least: Monday, Wednesday or Friday."""
    *first, last = items
    return Sentence.of("recur.or", first=_with_commas(first), last=last) if first else last


def say_after(first: Sentence, then: Sentence) -> Sentence:
    """Put one part of a sentence after another."""
    return Sentence.of("recur.after", first=first, then=then)


def with_comma(first: Sentence, then: Sentence) -> Sentence:
    """Put one part of a sentence after another, with a comma."""
    return Sentence.of("recur.comma", first=first, then=then)


def _with_commas(items: Sequence[Sentence]) -> Sentence:
    first, *others = items
    for one in others:
        first = with_comma(first, one)
    return first


def say_ordinal(number: int) -> Sentence:
    """Say a place in a row: 1st, 22nd, 13th; from the end: last, 2nd to last."""
    if number == -1:
        return Sentence.of("recur.last")
    if number < 0:
        return Sentence.of("recur.to_last", nth=say_ordinal(-number))
    if not 11 <= number % 100 <= 13:
        match number % 10:
            case 1:
                return Sentence.of("recur.st", number=number)
            case 2:
                return Sentence.of("recur.nd", number=number)
            case 3:
                return Sentence.of("recur.rd", number=number)
    return Sentence.of("recur.th", number=number)
