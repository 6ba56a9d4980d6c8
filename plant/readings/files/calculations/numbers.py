"""Cells that hold numbers, many at once."""

import re
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.basics.sentences import Sentence

NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
SPACES: Final = str.maketrans({"\u00a0": None, "\u202f": None, "\u2009": None, " ": None, "\u2212": "-"})
TOO_LARGE: Final = 1e12


def read_numbers(
    texts: Sequence[str], decimal: str, silent: frozenset[str]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Read a column of numbers.

    Parameters
    ----------
    texts : Sequence[str]
        The cells, (n,).
    decimal : str
        The decimal sign, ``.`` or ``,``; the other one is refused.
    silent : frozenset[str]
        Texts in small letters that mean: no reading.

    Returns
    -------
    NDArray[float64]
        The numbers, (n,); NaN where there is no reading and where there is a fault.
    NDArray[int64]
        The places of the faults, ascending.
    """
    quick = _quick(texts, decimal)
    if quick is not None:
        return quick, np.empty(0, np.int64)
    values, faulty = np.full(len(texts), np.nan), []
    for place, text in enumerate(texts):
        # An empty cell, the most frequent case, is over at once.
        if not text:
            continue
        number = read_number(text, decimal)
        if number is not None:
            values[place] = number
        elif text.strip().casefold() not in silent:
            faulty.append(place)
    return values, np.array(faulty, np.int64)


def _quick(texts: Sequence[str], decimal: str) -> NDArray[np.float64] | None:
    """Read cells that hold plain numbers or nothing; None where any other is among them."""
    together = "\n".join(texts)
    # What float() takes and a logger does not mean.
    if "_" in together or not together.isascii() or (decimal == "," and "." in together):
        return None
    if decimal == ",":
        texts = together.replace(",", ".").split("\n")
    try:
        values = np.fromiter(map(float, texts), np.float64, len(texts))
    except ValueError:
        try:
            values = np.fromiter((float(text) if text else np.nan for text in texts), np.float64, len(texts))
        except ValueError:
            return None
        is_empty = np.fromiter((not text for text in texts), np.bool_, len(texts))
        return values if (np.abs(values[~is_empty]) < TOO_LARGE).all() else None
    return values if (np.abs(values) < TOO_LARGE).all() else None


def read_number(text: str, decimal: str) -> float | None:
    """Read one number; None where it is none, or too large to be a reading."""
    number = any_number(text, decimal)
    return number if number is not None and abs(number) < TOO_LARGE else None


def any_number(text: str, decimal: str) -> float | None:
    """Read one number of any size, such as a count of milliseconds; None where it is none."""
    plain = text.strip().translate(SPACES) if not text.isascii() else text.strip()
    if decimal == ",":
        if "." in plain:
            return None
        plain = plain.replace(",", ".")
    return float(plain) if NUMBER.fullmatch(plain) else None


def why_no_number(text: str, decimal: str) -> tuple[Sentence, Sentence]:
    """Say what is wrong with a cell that is no number, and how to mend it."""
    other = "," if decimal == "." else "."
    plain = text.strip()
    if read_number(plain, other) is not None:
        what = Sentence.of("number.has_comma" if other == "," else "number.has_point")
        return what, Sentence.of("mend.decimal")
    if re.fullmatch(r"[+-]?(inf(inity)?|\d[\d.,]*([eE][+-]?\d+)?)", plain, re.IGNORECASE):
        if plain.count(".") + plain.count(",") > 1:
            return Sentence.of("number.signs"), Sentence.of("mend.thousands")
        return Sentence.of("number.large"), Sentence.of("mend.cell_or_name")
    return Sentence.of("number.none"), Sentence.of("mend.cell_or_silent")
