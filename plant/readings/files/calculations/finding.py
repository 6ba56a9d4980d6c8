"""Finding out how a logger's file is written, and saying what is not sure."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import islice
from typing import Any, Final

from plant.basics.sentences import Sentence
from plant.readings.calculations.reading_units import known_unit
from plant.readings.files.calculations.decoding import decode
from plant.readings.files.calculations.faults import FaultyFileError, refuse
from plant.readings.files.calculations.form import (
    DATE_ORDERS,
    DELIMITERS,
    ENCODINGS,
    EPOCH_ORDERS,
    IN_THE_TEXT,
    LONG,
    SERIAL,
    TEXT_ORDERS,
    WIDE,
    FileForm,
)
from plant.readings.files.calculations.instants import STAMPS, read_time, read_times
from plant.readings.files.calculations.looks import (
    EPOCH_S,
    NAME_WORDS,
    SERIAL_DAYS,
    TIME_WORDS,
    UNIT_WORDS,
    VALUE_WORDS,
    ColumnLook,
    is_units_row,
    kind_of,
    look_at,
)
from plant.readings.files.calculations.rows import (
    MOST_COLUMNS,
    different_names,
    head_lines,
    refuse_many_columns,
    split_line,
)
from plant.readings.files.calculations.wall_clock import to_instants

LOOKED_AT_LINES: Final = 500
STRANGERS_SHOWN: Final = 5


@dataclass(frozen=True, slots=True)
class Point:
    """One thing that was found out: whether it is sure, and the reason in words."""

    code: str
    is_sure: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Found:
    """How a file seems to be written; where ``form`` is not complete, somebody must say what is missing."""

    form: FileForm
    points: tuple[Point, ...]

    def point(self, code: str) -> Point:
        """Return a point by its code."""
        return next(point for point in self.points if point.code == code)


def find_form(raw: bytes, fixed: Mapping[str, Any] | None = None, zone_hint: str = "") -> Found:
    """Find out how a file is written.

    Parameters
    ----------
    raw : bytes
        The whole file.
    fixed : Mapping[str, Any], optional
        Fields of `FileForm` that somebody has said; they are taken as they are and the rest is found to fit.
    zone_hint : str
        The zone in which the logger probably stands; it is held against the times, never taken by itself.

    Raises
    ------
    FaultyFileError
        Where no table of times and values can be seen in the file.
    """
    return _Finder(raw, fixed or {}, zone_hint).find()


class _Finder:
    def __init__(self, raw: bytes, fixed: Mapping[str, Any], zone_hint: str) -> None:
        self.fixed, self.zone_hint = fixed, zone_hint
        self.points: list[Point] = []
        self.text, self.encoding = decode(raw, fixed.get("encoding", ""))
        self.lines = head_lines(self.text, LOOKED_AT_LINES)

    def find(self) -> Found:
        """Find one thing after the other; each rests on those before."""
        self._say_encoding()
        refuse_many_columns(self.lines, list(DELIMITERS))
        delimiter = self._delimiter()
        rows = [split_line(line, delimiter) for line in self.lines]
        form = self._head(rows, delimiter)
        data = [row for row in rows[form.head_line - 1 + form.head_rows :] if any(row)]
        if not data:
            raise refuse(Sentence.of("file.no_line"), Sentence.of("mend.look_recorded"))
        looks = look_at(data, form.header)
        form = self._times(form, looks)
        form = self._shape(form, looks)
        form = self._decimal(form, looks)
        form = self._date_order(form, looks)
        form = self._zone(form, looks)
        form = self._no_reading(form, looks)
        return Found(replace(form, doubled_hour=self.fixed.get("doubled_hour", "order")), tuple(self.points))

    def _say(self, code: str, reason: str, *, is_sure: bool = True) -> None:
        self.points.append(Point(code, is_sure or code in self.fixed, reason))

    def _say_encoding(self) -> None:
        if self.encoding == "cp1252" and "encoding" not in self.fixed:
            reason = "The bytes are not UTF-8. Look at letters such as ° and ö in the names."
            self._say("encoding", reason, is_sure=False)
        else:
            self._say("encoding", f"The bytes are sound as {ENCODINGS[self.encoding]}.")

    def _delimiter(self) -> str:
        if "delimiter" in self.fixed:
            self._say("delimiter", "Chosen.")
            return str(self.fixed["delimiter"])
        scores = {mark: _score([split_line(line, mark) for line in self.lines]) for mark in DELIMITERS}
        best = max(scores, key=lambda mark: scores[mark])
        if scores[best] == (0, 0):
            raise _no_table(self.lines)
        rivals = [mark for mark in DELIMITERS if mark != best and scores[mark][0] >= 0.9 * scores[best][0]]
        reason = f"With it lines hold a time and values ({scores[best][0]} of the first {len(self.lines)})."
        self._say("delimiter", reason, is_sure=not rivals)
        return best

    def _head(self, rows: Sequence[Sequence[str]], delimiter: str) -> FileForm:
        first = self._first_data_row(rows)
        line, head_rows = self._names_above(rows, first)
        width = Counter(len(row) for row in rows[first:] if any(row)).most_common(1)[0][0]
        names = rows[line - 1] if head_rows else [f"column {number}" for number in range(1, width + 1)]
        header = different_names(names)
        if len(header) > MOST_COLUMNS:
            refuse_many_columns(self.lines, [delimiter])
        if head_rows and not header:
            raise refuse(Sentence.of("file.no_names"), Sentence.of("mend.choose_names"), line)
        units: tuple[str, ...] = ()
        if head_rows > 1 and is_units_row(rows[line]):
            units = tuple(rows[line][: len(header)])
        return FileForm(header, units, line, head_rows, self.encoding, delimiter)

    def _first_data_row(self, rows: Sequence[Sequence[str]]) -> int:
        """Return the place of the first row with a time and a value."""
        start = int(self.fixed.get("head_line", 0))
        first = next((place for place in range(start, len(rows)) if _is_data(rows[place])), None)
        if first is None:
            raise _no_table(self.lines)
        # Lines right above it that hold figures as well are readings too, if faulty ones.
        while first > start and _holds_figures(rows[first - 1]) and len(rows[first - 1]) == len(rows[first]):
            first -= 1
        return first

    def _names_above(self, rows: Sequence[Sequence[str]], first: int) -> tuple[int, int]:
        """Return the line of the names, and how many rows stand from there to the first reading."""
        fixed = self.fixed.get("head_line")
        if fixed:
            self._say("head", "Chosen.")
            return int(fixed), _head_rows(rows, int(fixed) - 1, first)
        if fixed == 0:
            self._say("head", "The columns are numbered.")
            return first + 1, 0
        above = [place for place in range(first) if any(rows[place])]
        # Below the names may stand units, and below those a further line of words.
        for names, units in zip(above[-2:-4:-1], above[-1:-3:-1], strict=False):
            if is_units_row(rows[units]) and len(rows[names]) > 1:
                self._say("head", f"Line {names + 1} holds names, line {units + 1} units.")
                return names + 1, _head_rows(rows, names, first)
        if above and len(rows[above[-1]]) > 1 and not _holds_figures(rows[above[-1]]):
            self._say("head", f"Line {above[-1] + 1} is the last before the readings and holds no number.")
            return above[-1] + 1, _head_rows(rows, above[-1], first)
        self._say("head", "No line of names stands above the readings: the columns are numbered.", is_sure=False)
        return first + 1, 0

    def _times(self, form: FileForm, looks: Sequence[ColumnLook]) -> FileForm:
        if "time_columns" in self.fixed:
            columns = tuple(int(no) for no in self.fixed["time_columns"])
            if not all(0 <= no < len(looks) for no in columns):
                raise refuse(Sentence.of("file.no_time_column"), Sentence.of("mend.choose_anew"))
            self._say("times", "Chosen.")
            return replace(form, time_columns=columns, date_order=_time_columns([looks[no] for no in columns])[1])
        columns, order, reason = _time_columns(looks)
        if not columns:
            raise _no_table(self.lines)
        others = [look for look in looks if look.is_mostly("stamp") and look.no not in columns]
        self._say("times", reason, is_sure=not others)
        return replace(form, time_columns=columns, date_order=order)

    def _shape(self, form: FileForm, looks: Sequence[ColumnLook]) -> FileForm:
        rest = [look for look in looks if look.no not in form.time_columns]
        times = _time_texts(form, looks)
        long = _long_columns(rest, do_times_repeat=len(set(times)) < len(times))
        wanted = self.fixed.get("shape")
        if wanted == WIDE or (wanted is None and long is None):
            count = "One column" if len(rest) == 1 else f"{len(rest)} columns"
            reason = f"{count} beside the time, a time on each line." if wanted is None else "Chosen."
            # A column of texts may name channels after all.
            self._say("shape", reason, is_sure=not any(look.is_mostly("text") for look in rest))
            return replace(form, shape=WIDE)
        if long is None:
            spare = [look.no for look in rest]
            long = (spare[0], spare[-1], -1, True) if len(spare) > 1 else None
        if long is None:
            raise refuse(Sentence.of("file.one_column"), Sentence.of("mend.column_each"))
        name, value, unit, is_sure = long
        reason = f"“{looks[name].name}” holds names that come again, “{looks[value].name}” the values."
        self._say("shape", reason if wanted is None else "Chosen.", is_sure=is_sure)
        return replace(
            form,
            shape=LONG,
            name_column=int(self.fixed.get("name_column", name)),
            value_column=int(self.fixed.get("value_column", value)),
            unit_column=int(self.fixed.get("unit_column", unit)),
        )

    def _values(self, form: FileForm, looks: Sequence[ColumnLook]) -> list[ColumnLook]:
        columns = (form.value_column,) if form.shape == LONG else form.value_columns
        return [looks[no] for no in columns if no < len(looks)]

    def _decimal(self, form: FileForm, looks: Sequence[ColumnLook]) -> FileForm:
        cells = [cell.strip() for look in self._values(form, looks) for cell in look.cells]
        points = [cell for cell in cells if re.fullmatch(r"[+-]?\d*\.\d+", cell)]
        commas = [cell for cell in cells if re.fullmatch(r"[+-]?\d*,\d+", cell)]
        usual = "," if form.delimiter == ";" else "."
        decimal = self.fixed.get("decimal") or usual
        if "decimal" in self.fixed:
            self._say("decimal", "Chosen.")
        elif not points and not commas:
            self._say("decimal", "No number that was looked at has a fraction.", is_sure=False)
        else:
            if len(commas) != len(points):
                decimal = "," if len(commas) > len(points) else "."
            mine = commas if decimal == "," else points
            # 1,234 may be one and a bit, or a thousand.
            could_be_thousands = all(re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", cell) for cell in mine)
            reason = f"Numbers have it, such as {mine[0]}."
            if could_be_thousands:
                reason += " They may be thousands as well: three digits follow each."
            self._say("decimal", reason, is_sure=not could_be_thousands and not (points and commas))
        return replace(form, decimal=decimal)

    def _date_order(self, form: FileForm, looks: Sequence[ColumnLook]) -> FileForm:
        if "date_order" in self.fixed:
            self._say("date_order", "Chosen.")
            return replace(form, date_order=str(self.fixed["date_order"]))
        if form.date_order:
            self._say("date_order", f"They count {DATE_ORDERS[form.date_order]}.", is_sure=form.date_order != SERIAL)
            return form
        texts = _time_texts(form, looks)
        fitting = [order for order in TEXT_ORDERS if all(read_time(text, order) is not None for text in texts)]
        if len(fitting) > 1:
            # Whole days may lie beyond what was looked at: one day above the twelfth decides.
            fitting = [order for order in fitting if self._fits_all(form, order)] or fitting
        if len(fitting) == 1:
            self._say("date_order", f"Only so all times are in the calendar, such as {texts[0]}.")
            return replace(form, date_order=fitting[0])
        if not fitting:
            counts = {order: sum(read_time(text, order) is not None for text in texts) for order in TEXT_ORDERS}
            best = max(counts, key=lambda order: counts[order])
            if not counts[best]:
                raise _no_table(self.lines)
            self._say("date_order", f"{counts[best]} of {len(texts)} times can be read so.", is_sure=False)
            return replace(form, date_order=best)
        if all("." in text.split()[0] for text in texts) and "dmy" in fitting:
            self._say("date_order", f"Between points the day stands before the month, as in {texts[0]}.")
            return replace(form, date_order="dmy")
        self._say("date_order", _both_ways(texts, fitting), is_sure=False)
        return replace(form, date_order="")

    def _fits_all(self, form: FileForm, order: str) -> bool:
        """Hold an order of the date against every line of the file."""
        for row in _all_rows(self.text, form):
            parts = [row[no] for no in form.time_columns if no < len(row)]
            text = " ".join(part.strip() for part in parts).strip()
            # Lines that are faulty either way decide nothing.
            if read_time(text, order) is None and any(read_time(text, other) is not None for other in TEXT_ORDERS):
                return False
        return True

    def _zone(self, form: FileForm, looks: Sequence[ColumnLook]) -> FileForm:
        texts = _time_texts(form, looks)
        names = " ".join(looks[no].name for no in form.time_columns)
        units = " ".join(form.units[no] for no in form.time_columns if no < len(form.units))
        if form.date_order in EPOCH_ORDERS:
            self._say("zone", "Seconds since 1970 count in UTC.")
            return replace(form, zone="UTC")
        if form.date_order in STAMPS:
            order = form.date_order
        else:
            order = next((one for one in TEXT_ORDERS if read_time(texts[0], one) is not None), "")
        if (
            order
            and (times := [read_time(text, order) for text in texts])
            and all(t and t[1] is not None for t in times)
        ):
            self._say("zone", f"Each time says its distance from UTC itself, such as {texts[0]}.")
            return replace(form, zone=IN_THE_TEXT)
        if self.fixed.get("zone"):
            self._say("zone", "Chosen.")
            return replace(form, zone=str(self.fixed["zone"]))
        if re.search(r"\b(utc|gmt)\b(?! ?[+-])", f"{names} {units}", re.IGNORECASE):
            self._say("zone", f"The head says so: “{names.strip()}”.")
            return replace(form, zone="UTC")
        self._say("zone", f"The times do not say it.{self._against_hint(form, texts)}", is_sure=False)
        return replace(form, zone="")

    def _against_hint(self, form: FileForm, texts: Sequence[str]) -> str:
        """Say where the times cannot be those of the zone in which the logger probably stands."""
        if not self.zone_hint or not form.date_order:
            return ""
        local_s = read_times(texts, form.date_order, form.decimal).local_s
        if len(to_instants(local_s, self.zone_hint, doubled_hour="first").missing):
            return f" Some of them do not exist in {self.zone_hint}: the logger does not change its clock in spring."
        return ""

    def _no_reading(self, form: FileForm, looks: Sequence[ColumnLook]) -> FileForm:
        named = tuple(self.fixed.get("no_reading", ()))
        silent = {text.casefold() for text in named}
        counts: Counter[str] = Counter()
        for look in self._values(form, looks):
            # A column of remarks holds no channel: its texts are no gaps in it.
            if form.shape == WIDE and look.is_mostly("text"):
                continue
            counts.update(cell for cell in look.cells if kind_of(cell) == "text" and cell.casefold() not in silent)
        if counts:
            told = ", ".join(f"“{text}”" for text, _count in counts.most_common(STRANGERS_SHOWN))
            reason = f"Among the values stands {told}: name it here if it means that there was no reading."
            self._say("no_reading", reason, is_sure=False)
        else:
            self._say("no_reading", "Empty cells and the usual texts, such as --- and NaN, count as no reading.")
        return replace(form, no_reading=named)


def _score(rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Return how many rows are data under a delimiter, of the width that most of them have, and that width."""
    widths = Counter(len(row) for row in rows if _is_data(row))
    if not widths:
        return 0, 0
    width, count = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
    return count, width


def _is_data(row: Sequence[str]) -> bool:
    """Say whether a row begins with something like a time and holds something like a value."""
    if len(row) < 2:
        return False
    kinds = [kind_of(cell) for cell in row]
    values = kinds.count("number")
    if "stamp" in kinds or "date" in kinds or "clock" in kinds:
        return values > 0 or "silent" in kinds
    return (values > 1 or "silent" in kinds) and any(_could_count(cell) for cell in row[:3])


def _holds_figures(row: Sequence[str]) -> bool:
    return any(kind_of(cell) in ("number", "stamp", "date", "clock") for cell in row)


def _head_rows(rows: Sequence[Sequence[str]], head: int, first: int) -> int:
    """Count the rows from the names on that hold no figures: what holds any is a reading, if perhaps a faulty one."""
    count = 1
    while head + count < first and not _holds_figures(rows[head + count]):
        count += 1
    return count


def _could_count(cell: str) -> bool:
    """Say whether a number may be a count of seconds, milliseconds or days that stands for a time."""
    plain = cell.strip().replace(",", ".")
    if re.fullmatch(r"\d{5}\.\d+", plain, re.ASCII):
        return SERIAL_DAYS[0] <= float(plain) < SERIAL_DAYS[1]
    if not re.fullmatch(r"\d{10}(\.\d+)?|\d{13}", plain, re.ASCII):
        return False
    return EPOCH_S[0] <= float(plain) / (1000 if len(plain) == 13 and "." not in plain else 1) < EPOCH_S[1]


def _no_table(lines: Sequence[str]) -> FaultyFileError:
    return refuse(Sentence.of("file.no_table", count=len(lines)), Sentence.of("mend.table"))


def _time_columns(looks: Sequence[ColumnLook]) -> tuple[tuple[int, ...], str, str]:
    """Return the columns of the time, the way they count where they are numbers, and the reason."""
    for look in looks:
        if look.is_mostly("stamp"):
            return (look.no,), "", f"“{look.name}” holds day and time."
    clock = next((look for look in looks if look.is_mostly("clock")), None)
    day = next((look for look in looks if look.is_mostly("date") or _is_plain_date(look)), None)
    if day is not None and clock is not None:
        return (day.no, clock.no), "", f"“{day.name}” holds the day, “{clock.name}” the time."
    if day is not None:
        return (day.no,), "", f"“{day.name}” holds the day; no column holds a time of day."
    for look in sorted(looks, key=lambda one: not TIME_WORDS.search(one.name)):
        if not look.is_mostly("number"):
            continue
        for order, factor in (("epoch_s", 1), ("epoch_ms", 1000)):
            if look.lies_in((EPOCH_S[0] * factor, EPOCH_S[1] * factor)):
                return (look.no,), order, f"“{look.name}” holds {DATE_ORDERS[order]}."
        if look.lies_in(SERIAL_DAYS) and any(not number.is_integer() for number in look.numbers()):
            return (look.no,), SERIAL, f"“{look.name}” holds numbers that may be {DATE_ORDERS[SERIAL]}."
    return (), "", ""


def _is_plain_date(look: ColumnLook) -> bool:
    """Say whether a column named like a date holds eight digits."""
    dates = [cell for cell in look.cells if cell]
    is_named = bool(re.search(r"date|datum|day", look.name, re.IGNORECASE))
    return is_named and bool(dates) and all(len(cell) == 8 and read_time(cell, "ymd") is not None for cell in dates)


def _long_columns(rest: Sequence[ColumnLook], *, do_times_repeat: bool) -> tuple[int, int, int, bool] | None:
    """Return the columns of name, value and unit (-1: none) of a long table and whether that is sure; None: wide."""
    # Channels may be called by numbers; then the same time stands on several lines.
    numbered = [look for look in rest if do_times_repeat and NAME_WORDS.search(look.name) and look.holds_whole_numbers]
    numbers = [look for look in rest if look.is_mostly("number") and look not in numbered]
    values = [look for look in numbers if VALUE_WORDS.search(look.name)] or numbers
    texts = [look for look in rest if look.is_mostly("text") or look in numbered]
    units = [look for look in texts if UNIT_WORDS.search(look.name) or _holds_units(look)]
    names = [look for look in texts if look not in units]
    if len(values) != 1 or not names:
        return None
    name = next((look for look in names if NAME_WORDS.search(look.name)), names[0])
    different = {cell for cell in name.cells if cell}
    is_named = bool(NAME_WORDS.search(name.name))
    # One text on every line is a remark, unless its column says that it names something.
    if not is_named and (len(different) < 2 or len(different) > len(name.cells) / 2):
        return None
    unit = units[0].no if units else -1
    return name.no, values[0].no, unit, is_named and len(names) == 1


def _holds_units(look: ColumnLook) -> bool:
    told = [cell for cell in look.cells if cell]
    return bool(told) and all(known_unit(cell) is not None for cell in told)


def _time_texts(form: FileForm, looks: Sequence[ColumnLook]) -> list[str]:
    cells = zip(*(looks[no].cells for no in form.time_columns), strict=True)
    texts = [" ".join(part.strip() for part in parts).strip() for parts in cells]
    return [text for text in texts if text] or [""]


def _all_rows(text: str, form: FileForm) -> Iterator[list[str]]:
    body = io.StringIO(text, newline="")
    for _ in islice(body, form.head_line - 1):
        pass
    reader = csv.reader(body, delimiter=form.delimiter)
    try:
        yield from islice(reader, form.head_rows, None)
    except csv.Error:
        # What cannot be read is told when the file is read as a whole.
        return


def _both_ways(texts: Sequence[str], fitting: Sequence[str]) -> str:
    """Say what the first date would be in each order."""
    told = []
    for order in fitting:
        read = read_time(texts[0], order)
        if read is not None:
            day = datetime.fromtimestamp(read[0], UTC)
            told.append(f"{day.day} {day:%B %Y} ({DATE_ORDERS[order]})")
    return f"{texts[0]} can be {' or '.join(told)}, and so can all others. Please say which is meant."
