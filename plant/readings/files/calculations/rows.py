"""Text of a logger's file to rows of cells, from its head on."""

import csv
import io
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Final, TypeVar

from plant.basics.sentences import Sentence
from plant.readings.files.calculations.faults import FaultyFileError, FileFault, OtherHeadError, refuse
from plant.readings.files.calculations.form import MOST_HEAD_LINES, FileForm

MOST_COLUMNS: Final = 300
CHUNK_ROWS: Final = 8192
NOT_CLOSED: Final = Sentence.of("mend.not_closed")


def head_lines(text: str, count: int = MOST_HEAD_LINES) -> list[str]:
    """Return the first lines of a text, with their ends."""
    return list(islice(io.StringIO(text, newline=""), count))


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, blanks around them taken off."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error:
        return []


def refuse_many_columns(lines: Sequence[str], delimiters: Sequence[str]) -> None:
    """Refuse a table that is wider than any logger's. Raises FaultyFileError."""
    for number, line in enumerate(lines, 1):
        columns = max(line.count(mark) for mark in delimiters) + 1
        if columns > MOST_COLUMNS:
            raise refuse(
                Sentence.of("file.many_columns", columns=columns, most=MOST_COLUMNS),
                Sentence.of("mend.file_each"),
                number,
            )


def different_names(cells: Sequence[str]) -> tuple[str, ...]:
    """Return names of columns, none empty and no two alike; empty columns at the end are no columns."""
    names: list[str] = []
    last = max((place for place, cell in enumerate(cells) if cell), default=-1)
    for number, cell in enumerate(cells[: last + 1], 1):
        plain = " ".join(cell.split()) or f"column {number}"
        name, again = plain, 2
        while name in names:
            name, again = f"{plain} ({again})", again + 1
        names.append(name)
    return tuple(names)


def find_head(text: str, form: FileForm) -> int:
    """Return the line of the head in a file, 1 the first.

    Raises
    ------
    OtherHeadError
        Where the file has other columns than the form.
    """
    lines = head_lines(text, MOST_HEAD_LINES + 2)
    if not form.head_rows:
        first = lines[form.head_line - 1] if len(lines) >= form.head_line else ""
        if len(split_line(first, form.delimiter)) >= len(form.header):
            return form.head_line
        raise _other_head(form, first, form.head_line)
    for number, line in enumerate(lines, 1):
        cells = split_line(line, form.delimiter)
        if different_names(cells) == form.header and _has_units(lines, number, form):
            return number
    raise _other_head(form, lines[form.head_line - 1] if len(lines) >= form.head_line else "", form.head_line)


def _has_units(lines: Sequence[str], number: int, form: FileForm) -> bool:
    if not form.units:
        return True
    if number >= len(lines):
        return False
    return tuple(split_line(lines[number], form.delimiter)[: len(form.units)]) == form.units


def _other_head(form: FileForm, line: str, number: int) -> OtherHeadError:
    names = different_names(split_line(line, form.delimiter))
    new = [name for name in names if name not in form.header]
    gone = [name for name in form.header if name not in names]
    told = [Sentence.of("head.new", names=new[:5])] if new else []
    told.append(Sentence.of("head.gone", names=gone[:5]) if gone else Sentence.of("head.changed"))
    return OtherHeadError(
        [
            FileFault(
                Sentence.of("head.other", why=told),
                Sentence.of("mend.confirm_reading"),
                number,
            )
        ]
    )


class Chunk:
    """Some rows of a file, one below the other."""

    def __init__(self, rows: list[list[str]]) -> None:
        self._rows = rows

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self._rows)

    def rows(self) -> list[list[str]]:
        """Return the rows; an empty line has no cell."""
        return self._rows

    def columns(self, width: int) -> Sequence[Sequence[str]] | None:
        """Return the cells by column where every row has so many, else None."""
        return list(zip(*self._rows, strict=True)) if set(map(len, self._rows)) == {width} else None


class PlainChunk(Chunk):
    """Lines in which no quote stands: a cell ends where the delimiter is, and nothing needs a closer look."""

    def __init__(self, lines: list[str], delimiter: str) -> None:
        self.lines, self.delimiter = lines, delimiter

    def __len__(self) -> int:
        """Return the number of lines."""
        return len(self.lines)

    def rows(self) -> list[list[str]]:
        """Split each line."""
        plain = (line.rstrip("\r\n") for line in self.lines)
        return [line.split(self.delimiter) if line else [] for line in plain]

    def columns(self, width: int) -> Sequence[Sequence[str]] | None:
        """Split all lines at once, several times as fast as one by one."""
        delimiter = self.delimiter
        if {line.count(delimiter) for line in self.lines} != {width - 1}:
            return None
        block = "".join(self.lines).replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n")
        cells = block.replace("\n", delimiter).split(delimiter)
        # An empty line inside a table of one column would shift the cells.
        return [cells[no::width] for no in range(width)] if len(cells) == width * len(self.lines) else None


class Rows:
    """The rows of a file below its head, in chunks; knows the line of each."""

    def __init__(self, text: str, form: FileForm) -> None:
        self.form = form
        self.head_line = find_head(text, form)
        stream = io.StringIO(text, newline="")
        for _ in range(self.head_line - 1):
            stream.readline()
        self.body_at = stream.tell()
        self.text = text
        # Where no quote stands in the file a row is a line.
        self.has_quotes = '"' in text
        self.ends_with_line = text.endswith(("\n", "\r"))

    def chunks(self, most_rows: int | None = None) -> Iterator[Chunk]:
        """Yield the rows below the head, many at a time. Raises FaultyFileError."""
        if not self.has_quotes:
            lines = islice(self._body(), self.form.head_rows, None)
            for some in _portions(lines, most_rows):
                yield PlainChunk(some, self.form.delimiter)
            return
        rows = islice(self._reader(), self.form.head_rows, None)
        try:
            for portion in _portions(rows, most_rows):
                yield Chunk(portion)
        except csv.Error as fault:
            raise self._not_csv(str(fault)) from None

    def _body(self) -> io.StringIO:
        return io.StringIO(self.text[self.body_at :], newline="")

    def _reader(self) -> Iterator[list[str]]:
        return csv.reader(self._body(), delimiter=self.form.delimiter, strict=True)

    def _not_csv(self, reason: str) -> FaultyFileError:
        """Find the line on which the row that cannot be read begins."""
        reader = csv.reader(self._body(), delimiter=self.form.delimiter, strict=True)
        begun = 0
        try:
            for _row in reader:
                begun = reader.line_num
        except csv.Error:
            return refuse(Sentence.of("file.line_unread", reason=reason), NOT_CLOSED, self.head_line + begun)
        return refuse(Sentence.of("file.unread", reason=reason), NOT_CLOSED)

    def lines_of(self, places: Sequence[int]) -> list[int]:
        """Return the lines on which rows begin; rows count from 0 below the head."""
        first = self.form.head_rows
        if not self.has_quotes:
            return [self.head_line + first + place for place in places]
        reader = csv.reader(self._body(), delimiter=self.form.delimiter, strict=True)
        begins, wanted = {}, max(places, default=-1) + first
        begun = 0
        for number, _row in enumerate(reader):
            begins[number] = self.head_line + begun
            begun = reader.line_num
            if number >= wanted:
                break
        return [begins[place + first] for place in places]


Row = TypeVar("Row")


def _portions(rows: Iterator[Row], most_rows: int | None) -> Iterator[list[Row]]:
    some = rows if most_rows is None else islice(rows, most_rows)
    while portion := list(islice(some, CHUNK_ROWS)):
        yield portion
