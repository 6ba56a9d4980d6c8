"""Files to rows of text: CSV in any usual delimiter and encoding, and workbooks. Nothing is ever computed."""

import csv
import io
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any
from xml.etree.ElementTree import ParseError

from maintenance.loading.faults import Fault, FileFault, suggest

LARGEST_COLUMNS = 200
LARGEST_ROWS = 500_000
LARGEST_CELL = 10_000
# A workbook is a packed file; unpacked it may be this many times the limit for files, no more.
LARGEST_UNPACKED = 8
DELIMITERS = (",", ";", "\t")
SUFFIXES = (".csv", ".xlsx")
# What the reader of workbooks raises, here or there, when one is broken.
BROKEN_WORKBOOK = (KeyError, ValueError, TypeError, IndexError, EOFError, ParseError, zipfile.BadZipFile, zlib.error)

# Before these an apostrophe keeps text from being taken for a formula: it is no part of the text.
SHIELDED = frozenset("=+-@'\t\r\n ")

NONE: Mapping[str, str] = MappingProxyType({})


class Figure(str):
    """A cell of a workbook that is a number: its text always has a decimal point, whatever the mill's own mark is."""


@dataclass
class Sheet:
    """One file: its header as we name columns, and its rows that are not empty, each with its row number."""

    table: str
    file: str
    header: list[str]
    rows: list[tuple[int, dict[str, str]]]
    delimiter: str = ","
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def list_files(
    folder: Path,
    known: Collection[str],
    former: Mapping[str, str] = NONE,
    recognise: Callable[[Path], str | None] = lambda path: None,
    nearest: Callable[[Path], str] = lambda path: "",
) -> tuple[dict[str, Path], list[Fault]]:
    """Return table name -> file, and what is wrong with the folder itself.

    ``former`` has names from earlier versions; ``recognise`` tells the table of a file whose name says none, and
    ``nearest`` what it is nearest to where it is none.
    """
    if not folder.exists():
        raise FileFault(str(folder), "there is no such folder", "Write the path of the folder that holds the files.")
    if not folder.is_dir():
        raise FileFault(str(folder), "this is a file", "Give the folder in which the files lie.")
    found: dict[str, Path] = {}
    faults: list[Fault] = []
    for path in sorted(folder.iterdir()):
        if not path.is_file() or path.suffix.lower() not in SUFFIXES or path.name.startswith((".", "~$")):
            continue
        name = former.get(path.stem.lower(), path.stem.lower())
        name = name if name in known else recognise(path) or name
        if name not in known:
            remedy = nearest(path) or suggest(name, known) or f"Known are: {', '.join(sorted(known))}. "
            faults.append(
                Fault(path.name, 0, "", "", "no file of a mill has this name", remedy + "Rename or remove it.")
            )
        elif name in found:
            remedy = f"Keep either {found[name].name} or {path.name}."
            faults.append(Fault(path.name, 0, "", "", f"{found[name].name} holds the same table", remedy))
        else:
            found[name] = path
    if not found and not faults:
        raise FileFault(
            str(folder), "no CSV or XLSX file lies here", "Write empty ones with: manage.py templates FOLDER"
        )
    return found, faults


def read_sheet(
    path: Path, table: str, columns: Collection[str], limit_bytes: int, former: Mapping[str, str] = NONE
) -> Sheet:
    """Read one file; ``former`` has the names of columns in earlier versions.

    Raises
    ------
    FileFault
        where the file as a whole cannot be used.
    """
    size = path.stat().st_size
    if size > limit_bytes:
        raise FileFault(
            path.name,
            f"the file has {size / 1e6:.0f} MB, the limit is {limit_bytes / 1e6:.0f} MB",
            "Split it (the same folder can be loaded again with other rows) or raise KILNWARD_MAX_LOAD_MB.",
        )
    if path.suffix.lower() == ".xlsx":
        cells, delimiter = _workbook_rows(path, limit_bytes), ","
        notes: list[str] = []
    else:
        text, notes = _decode(path)
        delimiter = _find_delimiter(path.name, text, {*columns, *former})
        cells = _csv_rows(path.name, text, delimiter)
    return _to_sheet(path.name, table, _in_todays_words(cells, former), columns, delimiter, notes)


def read_head(path: Path) -> list[str]:
    """Return the first row of a file that is no larger than any may be. Raises FileFault, OSError."""
    if path.suffix.lower() == ".xlsx":
        return next(_workbook_rows(path, path.stat().st_size), [])
    text, _notes = _decode(path)
    line = text[: text.find("\n")] if "\n" in text else text
    delimiter = max(DELIMITERS, key=line.count)
    return next(_csv_rows(path.name, line, delimiter), [])


def _in_todays_words(rows: Iterator[list[str]], former: Mapping[str, str]) -> Iterator[list[str]]:
    for number, row in enumerate(rows):
        yield row if number else [former.get(plain_name(cell), cell) for cell in row]


def _to_sheet(
    file: str, table: str, cells: Iterator[list[str]], columns: Collection[str], delimiter: str, notes: list[str]
) -> Sheet:
    first = next(cells, None)
    if first is None or not any(cell.strip() for cell in first):
        raise FileFault(file, "the file is empty", "The first row must hold the names of the columns.")
    header, faults = _read_header(file, first, columns)
    rows = []
    for number, row in enumerate(cells, start=2):
        if number > LARGEST_ROWS + 1:
            raise FileFault(file, f"more than {LARGEST_ROWS} rows", "Split the file and load the parts in turn.")
        if not any(cell.strip() for cell in row):
            continue
        if any(cell.strip() for cell in row[len(header) :]):
            surplus = next(cell for cell in row[len(header) :] if cell.strip())
            faults.append(
                Fault(
                    file,
                    number,
                    "",
                    surplus,
                    f"the row has more cells than the {len(header)} columns of the header",
                    "Put text that holds the delimiter into double quotes.",
                )
            )
            continue
        long = next((cell for cell in row if len(cell) > LARGEST_CELL), None)
        if long is not None:
            remedy = f"Shorten it to {LARGEST_CELL} or less. A missing closing quote can cause this too."
            faults.append(Fault(file, number, "", long, f"a cell of {len(long)} characters", remedy))
            continue
        padded = row + [""] * (len(header) - len(row))
        rows.append((number, {name: _plain_text(cell) for name, cell in zip(header, padded, strict=False)}))
    return Sheet(table, file, header, rows, delimiter, faults, notes)


def plain_name(cell: str) -> str:
    """Return a column's name as we compare it: small letters, underscores."""
    return "_".join(cell.strip().strip("\ufeff").lower().replace("-", " ").replace("_", " ").split())


def _read_header(file: str, cells: list[str], columns: Collection[str]) -> tuple[list[str], list[Fault]]:
    """Return the names of the columns, and those that nobody knows as faults: the others are read all the same."""
    while cells and not cells[-1].strip():
        cells = cells[:-1]
    if len(cells) > LARGEST_COLUMNS:
        raise FileFault(file, f"more than {LARGEST_COLUMNS} columns", "Is this the right file? Keep the known columns.")
    header = [plain_name(cell) for cell in cells]
    for name, count in Counter(header).items():
        if not name:
            raise FileFault(file, "a column has no name", "Name it in the first row, or remove it.", row=1)
        if count > 1:
            raise FileFault(file, f"{count} columns are named so", "Keep one of them.", row=1, column=name, value=name)
    unknown = [name for name in header if name not in columns]
    faults = []
    for name in unknown:
        remedy = suggest(name, columns) or f"Known columns: {', '.join(columns)}. "
        faults.append(
            Fault(file, 1, name, name, "no column of this file has this name", f"{remedy}Rename or remove it.")
        )
    return header, faults


def _decode(path: Path) -> tuple[str, list[str]]:
    raw = path.read_bytes()
    if raw.startswith(b"PK\x03\x04"):
        raise FileFault(path.name, "this is a packed file, not CSV", "If it is a workbook, let its name end in .xlsx.")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return _refuse_nul(path.name, raw.decode("utf-16")), []
        except UnicodeDecodeError:
            raise FileFault(path.name, "broken UTF-16 text", "Save it again as CSV in UTF-8.") from None
    if b"\0" in raw:
        raise FileFault(
            path.name, "this is not a text file (it holds NUL bytes)", "Save it as CSV in UTF-8, or as XLSX."
        )
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    try:
        text = raw.decode("cp1252")
    except UnicodeDecodeError:
        raise FileFault(path.name, "the text is in no known encoding", "Save it as CSV in UTF-8, or as XLSX.") from None
    controls = sum(1 for letter in text[:4096] if ord(letter) < 32 and letter not in "\t\r\n")
    if controls:
        raise FileFault(path.name, "this is not a text file", "Save it as CSV in UTF-8, or as XLSX.")
    return text, [f"{path.name} is not UTF-8; it was read as Windows-1252. Look at letters like å, ö and ü."]


def _refuse_nul(file: str, text: str) -> str:
    if "\0" in text:
        raise FileFault(file, "the text holds NUL characters", "Save it again as CSV in UTF-8, or as XLSX.")
    return text


def _find_delimiter(file: str, text: str, columns: Collection[str]) -> str:
    """Take the delimiter under which most known columns appear in the header."""
    line = text[: text.find("\n")] if "\n" in text else text
    line = line.rstrip("\r")
    if max(line.count(mark) for mark in DELIMITERS) > 10 * LARGEST_COLUMNS:
        raise FileFault(file, f"more than {LARGEST_COLUMNS} columns", "Is this the right file? Keep the known columns.")

    def score(mark: str) -> tuple[int, int]:
        names = next(csv.reader([line], delimiter=mark), [])
        return sum(plain_name(name) in columns for name in names), len(names)

    return max(DELIMITERS, key=score)


def _csv_rows(file: str, text: str, delimiter: str) -> Iterator[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    while True:
        number += 1
        try:
            yield next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise FileFault(
                file,
                f"the row cannot be read as CSV ({error})",
                "Look for a double quote that is not closed.",
                row=number,
            ) from None


def _workbook_rows(path: Path, limit_bytes: int) -> Iterator[list[str]]:
    # Imported here: only folders with workbooks need it.
    from openpyxl import load_workbook

    not_workbook = FileFault(path.name, "this is no workbook (XLSX)", "Save it again as XLSX, or as CSV in UTF-8.")
    try:
        with zipfile.ZipFile(path) as packed:
            unpacked = sum(entry.file_size for entry in packed.infolist())
    except zipfile.BadZipFile:
        raise not_workbook from None
    if unpacked > LARGEST_UNPACKED * limit_bytes:
        raise FileFault(path.name, f"unpacked it has {unpacked / 1e6:.0f} MB", "Split it, or save it as CSV.")
    try:
        # data_only=False: a formula arrives as its text and is never evaluated.
        book = load_workbook(path, read_only=True, data_only=False, keep_links=False)
        with closing(book):
            yield from _sheet_rows(book.worksheets[0].iter_rows(max_col=LARGEST_COLUMNS + 1, values_only=True))
    except BROKEN_WORKBOOK:
        raise not_workbook from None


def _sheet_rows(rows: Iterable[tuple[Any, ...]]) -> Iterator[list[str]]:
    for row in rows:
        yield [_cell_text(value) for value in row]


def _cell_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        if value.time() == time():
            return value.date().isoformat()
        # Workbooks keep a day as a fraction: rounding undoes the last digit's error.
        return value.replace(microsecond=0).isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, float):
        # Workbooks keep 17 digits, of which people see 15 at most: 0.1 + 0.2 is meant as 0.3.
        return Figure(Decimal(f"{value:.15g}").normalize().__format__("f"))
    if isinstance(value, int):
        return Figure(value)
    return str(value)


def _plain_text(cell: str) -> str:
    """Return a cell without what stands around it; the apostrophe that keeps text from being a formula goes."""
    if isinstance(cell, Figure):
        return cell
    text = cell.strip()
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in SHIELDED else text
