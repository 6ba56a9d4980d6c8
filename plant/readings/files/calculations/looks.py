"""What the columns of a table look like, judged by some of its rows."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from plant.readings.calculations.reading_units import known_unit
from plant.readings.files.calculations.form import NO_READING
from plant.readings.files.calculations.instants import CLOCK, STAMPS, read_time
from plant.readings.files.calculations.numbers import any_number

# Years 2000 to 2099, in seconds and in days of spreadsheets.
EPOCH_S: Final = (946_684_800, 4_102_444_800)
SERIAL_DAYS: Final = (36_526, 73_051)
MOSTLY: Final = 0.9
TIME_WORDS: Final = re.compile(r"time|date|zeit|datum|tid|timestamp|utc|epoch|stamp|uhr|heure", re.IGNORECASE)
NAME_WORDS: Final = re.compile(
    r"channel|sensor|name|tag|point|signal|probe|kanal|fühler|messstelle|series|variable", re.IGNORECASE
)
VALUE_WORDS: Final = re.compile(r"value|reading|wert|värde|measure|result", re.IGNORECASE)
UNIT_WORDS: Final = re.compile(r"unit|einheit|enhet", re.IGNORECASE)
# What stands in a row of units above the times.
TIME_UNITS: Final = re.compile(r"[ymdhs:./\- T]+|utc|local|date|time|s|ms|min|units?|\(?text\)?", re.IGNORECASE)
BRACKETED: Final = re.compile(r"[\[(]\s*([^\[\]()]{1,12})\s*[\])]\s*$")


def kind_of(text: str) -> str:
    """Return what a cell looks like: silent, number, stamp (day and time), date, clock or text."""
    plain = text.strip()
    if plain.casefold() in NO_READING:
        return "silent"
    for order in STAMPS:
        found = STAMPS[order].fullmatch(plain)
        if found and read_time(plain, order) is not None:
            if found["h"] is not None or found["h2"] is not None:
                return "stamp"
            # Eight digits may be a date or any number; a date has something between its parts.
            if not plain.isdigit() and any_number(plain, ".") is None:
                return "date"
    if any_number(plain, ".") is not None or any_number(plain, ",") is not None:
        return "number"
    found = CLOCK.fullmatch(plain)
    if found and ":" in plain and int(found["h"] or 99) <= 24:
        return "clock"
    return "text"


@dataclass(frozen=True)
class ColumnLook:
    """A column: its name, its cells in the rows looked at, and how many look like what."""

    no: int
    name: str
    cells: Sequence[str]
    kinds: Counter[str]

    @property
    def told(self) -> int:
        """Return the number of cells that hold anything."""
        return sum(count for kind, count in self.kinds.items() if kind != "silent")

    def is_mostly(self, kind: str) -> bool:
        """Say whether nearly all cells that hold anything look so."""
        # Of a few lines one may be a closing line, or faulty.
        others = max((1 - MOSTLY) * self.told, 1 if self.told > 3 else 0)
        return self.told > 0 and self.told - self.kinds[kind] <= others

    def numbers(self) -> list[float]:
        """Return the numbers in it, with either decimal sign."""
        read = (any_number(cell, "," if "," in cell else ".") for cell in self.cells)
        return [number for number in read if number is not None]

    @property
    def holds_whole_numbers(self) -> bool:
        """Say whether every cell that holds anything is a whole number."""
        return self.told > 0 and all(cell.strip().isdigit() for cell in self.cells if cell.strip())

    def lies_in(self, span: tuple[float, float]) -> bool:
        """Say whether its numbers all lie in a span and never fall."""
        numbers = self.numbers()
        inside = all(span[0] <= number < span[1] for number in numbers)
        return bool(numbers) and inside and all(a <= b for a, b in pairwise(numbers))


def look_at(rows: Sequence[Sequence[str]], names: Sequence[str]) -> list[ColumnLook]:
    """Return the look of each named column."""
    found = []
    for no, name in enumerate(names):
        cells = [row[no] if no < len(row) else "" for row in rows]
        found.append(ColumnLook(no, name, cells, Counter(map(kind_of, cells))))
    return found


def unit_in_name(name: str) -> str:
    """Return the unit that a column's name ends with, such as “T1 [°C]” or “RH %”; empty where there is none."""
    found = BRACKETED.search(name)
    if found:
        return found[1].strip() if known_unit(found[1]) else ""
    last = name.replace(",", " ").replace("_", " ").rsplit(maxsplit=1)
    is_unit = len(last) == 2 and known_unit(last[1]) is not None and not last[1].isdigit()
    return last[1] if is_unit else ""


def is_units_row(cells: Sequence[str]) -> bool:
    """Say whether a row holds units: one at least is known, and nothing else stands there but a form of time."""
    told = [BRACKETED.sub(r"\1", cell).strip() for cell in cells if cell.strip()]
    known = [cell for cell in told if known_unit(cell) is not None and not cell.isdigit()]
    return bool(known) and all(cell in known or TIME_UNITS.fullmatch(cell) for cell in told)
