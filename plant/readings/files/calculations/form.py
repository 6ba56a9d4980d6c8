"""How a logger writes its files, as somebody confirmed it; kept as JSON with the source."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Final, Self

WIDE, LONG = "wide", "long"
DELIMITERS: Final[dict[str, str]] = {",": "comma", ";": "semicolon", "\t": "tab"}
DECIMALS: Final[dict[str, str]] = {".": "point", ",": "comma"}
# Texts in which day and month stand in an order, and counts from a fixed moment.
TEXT_ORDERS: Final = ("ymd", "dmy", "mdy")
EPOCH_ORDERS: Final = ("epoch_s", "epoch_ms")
SERIAL: Final = "serial"
DATE_ORDERS: Final[dict[str, str]] = {
    "ymd": "year, month, day",
    "dmy": "day, month, year",
    "mdy": "month, day, year",
    "epoch_s": "seconds since 1970 (UTC)",
    "epoch_ms": "milliseconds since 1970 (UTC)",
    "serial": "days since 30 December 1899, as spreadsheets count",
}
ENCODINGS: Final[dict[str, str]] = {"utf-8": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}
# The times say themselves how far they are from UTC.
IN_THE_TEXT: Final = "text"
DOUBLED_HOUR: Final[dict[str, str]] = {
    "order": "by the order of the lines",
    "first": "the earlier one (still summer time)",
    "second": "the later one (winter time already)",
}
_SILENT: Final = ["", "-", "--", "---", "----", "nan", "#n/a", "#nv", "n/a", "na", "null", "none", "nil", "#value!"]
_OVERFLOWN: Final = ["ovfl", "+ovfl", "-ovfl", "ovl", "ol", "over", "under", "overflow", "underflow", "err", "error"]
NO_READING: Final = frozenset([*_SILENT, *_OVERFLOWN, "#####", "*****"])
"""Texts (in small letters) in place of a value that always mean: no reading."""
MOST_HEAD_LINES: Final = 100


@dataclass(frozen=True, slots=True)
class FileForm:
    """How a file is to be read.

    Columns are counted from 0. ``header`` holds the names of the columns, made different from each other; ``head_rows``
    counts the rows from the names to the first reading (1: names; 2: names and units; 0: the file has no names) and
    ``head_line`` is the line of the names in the file that was looked at, 1 the first. ``date_order`` and ``zone`` are
    empty as long as nobody said what they are.
    """

    header: tuple[str, ...]
    units: tuple[str, ...] = ()
    head_line: int = 1
    head_rows: int = 1
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal: str = "."
    shape: str = WIDE
    time_columns: tuple[int, ...] = (0,)
    date_order: str = ""
    zone: str = ""
    doubled_hour: str = "order"
    name_column: int = -1
    value_column: int = -1
    unit_column: int = -1
    no_reading: tuple[str, ...] = ()

    @property
    def is_complete(self) -> bool:
        """Say whether nothing is left to be decided."""
        return bool(self.date_order and self.zone)

    @property
    def value_columns(self) -> tuple[int, ...]:
        """Return the columns that can hold values of a channel each (wide)."""
        return tuple(no for no in range(len(self.header)) if no not in self.time_columns)

    @property
    def silent_texts(self) -> frozenset[str]:
        """Return the texts, in small letters, that mean: no reading."""
        return NO_READING | {text.strip().casefold() for text in self.no_reading}

    def to_json(self) -> dict[str, Any]:
        """Return plain values."""
        return {name: list(value) if isinstance(value, tuple) else value for name, value in asdict(self).items()}

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Self:
        """Return the form that was kept; entries of other names are left alone.

        Raises
        ------
        ValueError
            Where what was kept is no form.
        """
        values: dict[str, Any] = {}
        for field in fields(cls):
            if field.name in kept:
                value = kept[field.name]
                values[field.name] = tuple(value) if isinstance(value, list) else value
        if not isinstance(values.get("header"), tuple) or not values["header"]:
            raise ValueError("the form of the file has no columns")
        return cls(**values)
