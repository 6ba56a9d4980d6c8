"""A whole file of a logger, read by a form that somebody confirmed."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.basics.sentences import Sentence
from plant.readings.files.calculations.decoding import decode
from plant.readings.files.calculations.faults import MOST_SHOWN, FaultyFileError, FileFault, OtherHeadError, refuse
from plant.readings.files.calculations.form import IN_THE_TEXT, LONG, FileForm
from plant.readings.files.calculations.instants import Seconds, read_times, why_no_time
from plant.readings.files.calculations.numbers import read_numbers, why_no_number
from plant.readings.files.calculations.rows import MOST_COLUMNS, Chunk, Rows
from plant.readings.files.calculations.wall_clock import say_local, to_instants

# From 2000 to 2100: everything else is a clock that was never set.
EARLIEST_S: Final = 946_684_800
LATEST_S: Final = 4_102_444_800
MOST_NAMES: Final = MOST_COLUMNS
Columns = Sequence[Sequence[str]]
# After so many faults the rest of a file is no longer looked at.
MOST_FAULTS: Final = 1000


@dataclass(frozen=True, slots=True)
class FileReadings:
    """What a file holds; reading ``i`` is of ``names[name_no[i]]``, with its value as the file writes it."""

    names: tuple[str, ...]
    # The unit that the file itself gives a name, empty where it gives none.
    units: Mapping[str, str]
    name_no: NDArray[np.int32]
    at_s: Seconds
    value: NDArray[np.float64]

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.at_s)


@dataclass
class _Faults:
    """Faults as they are found, by row; lines are worked out for those that are shown."""

    rows: Rows
    found: list[tuple[int, FileFault]] = field(default_factory=list)
    count: int = 0
    # Names of channels that nobody assigned: where nothing else is wrong, somebody must only say what they are.
    unknown: int = 0

    def add(self, row: int, what: Sentence, mend: Sentence, column: str = "", text: str = "") -> None:
        self.count += 1
        if len(self.found) < MOST_FAULTS:
            self.found.append((row, FileFault(what, mend, 0, column, text)))

    def raise_any(self) -> None:
        """Refuse the file where anything is wrong with it. Raises FaultyFileError."""
        if not self.count:
            return
        shown = sorted(self.found, key=lambda pair: pair[0])[:MOST_SHOWN]
        lines = self.rows.lines_of([row for row, _fault in shown])
        raise (OtherHeadError if self.unknown == self.count else FaultyFileError)(
            (FileFault(f.what, f.mend, line, f.column, f.text) for (_, f), line in zip(shown, lines, strict=True)),
            self.count,
        )


@dataclass
class _Parts:
    """The chunks read so far."""

    rows: list[NDArray[np.int64]] = field(default_factory=list)
    local_s: list[Seconds] = field(default_factory=list)
    ahead_s: list[Seconds | None] = field(default_factory=list)
    name_no: list[NDArray[np.int32]] = field(default_factory=list)
    values: list[NDArray[np.float64]] = field(default_factory=list)


def read_all(
    raw: bytes,
    form: FileForm,
    wanted: Collection[str] | None = None,
    left_out: Collection[str] = (),
    *,
    latest_s: int = LATEST_S,
    most_rows: int | None = None,
) -> FileReadings:
    """Read a file; all of it or nothing.

    Parameters
    ----------
    raw : bytes
        The whole file.
    form : FileForm
        How it is written; complete.
    wanted : Collection[str], optional
        Names of the columns or channels that are read; all where it is None.
    left_out : Collection[str]
        Names that the user wants left out. In a long file, a name that is in neither is a fault.
    latest_s : int
        Instants later than this (seconds since 1970, UTC) are faults.
    most_rows : int, optional
        Read only so many rows: for a look at the beginning.

    Returns
    -------
    FileReadings
        In the order of the file within each name; cells that mean “no reading” are left out.

    Raises
    ------
    OtherHeadError
        Where the columns are not those of the form.
    FaultyFileError
        Lists what is wrong, with line, column and remedy.
    """
    if not form.is_complete:
        raise ValueError("the form is not complete: order of the date, or zone")
    text, _encoding = decode(raw, form.encoding)
    rows = Rows(text, form)
    reader = (_LongReader if form.shape == LONG else _WideReader)(rows, form, wanted, left_out)
    return reader.read(latest_s, most_rows)


class _Reader:
    """What both shapes share: rows that fit, their times, and from times to instants."""

    def __init__(self, rows: Rows, form: FileForm, wanted: Collection[str] | None, left_out: Collection[str]) -> None:
        self.rows, self.form = rows, form
        self.wanted = None if wanted is None else frozenset(wanted)
        self.left_out = frozenset(left_out)
        self.faults = _Faults(rows)
        self.parts = _Parts()
        self.width = len(form.header)
        self.seen = 0

    def read(self, latest_s: int, most_rows: int | None) -> FileReadings:
        for chunk in self.rows.chunks(most_rows):
            columns, places = self._columns(chunk)
            if columns:
                self._take(columns, places)
            self.seen += len(chunk)
            if self.faults.count >= MOST_FAULTS:
                break
        if not self.parts.rows and not self.faults.count:
            raise refuse(Sentence.of("file.no_readings"), Sentence.of("mend.look_recorded"))
        if not self.parts.rows:
            self.faults.raise_any()
        at_s = self._instants(latest_s)
        self.faults.raise_any()
        return self._result(at_s)

    def _columns(self, chunk: Chunk) -> tuple[Columns, NDArray[np.int64]]:
        """Return the cells by column, and the number of the row of each place; rows that do not fit are faults."""
        columns = chunk.columns(self.width)
        if columns is not None:
            return columns, np.arange(self.seen, self.seen + len(chunk))
        sound, places = [], []
        for number, row in enumerate(chunk.rows(), self.seen):
            if len(row) != self.width:
                if not any(map(str.strip, row)):
                    continue
                if len(row) < self.width or any(map(str.strip, row[self.width :])):
                    self._ragged(number, row, is_last=number == self.seen + len(chunk) - 1)
                    continue
            sound.append(row[: self.width])
            places.append(number)
        return list(zip(*sound, strict=True)), np.array(places, np.int64)

    def _ragged(self, number: int, row: list[str], *, is_last: bool) -> None:
        has = Sentence.of("file.cells", count=len(row), head=self.width)
        if len(row) < self.width and is_last and not self.rows.ends_with_line:
            mend = Sentence.of("mend.send_whole")
            self.faults.add(number, Sentence.of("file.cut_off", why=has), mend)
        elif len(row) < self.width:
            mend = Sentence.of("mend.complete")
            self.faults.add(number, has, mend)
        else:
            mend = Sentence.of("mend.quotes")
            self.faults.add(number, has, mend)

    def _times(self, columns: Columns) -> tuple[Sequence[str], Seconds, Seconds | None, Seconds]:
        form = self.form
        texts: Sequence[str] = columns[form.time_columns[0]]
        if len(form.time_columns) > 1:
            texts = [
                f"{day.strip()} {clock.strip()}"
                for day, clock in zip(texts, columns[form.time_columns[1]], strict=True)
            ]
        times = read_times(texts, form.date_order, form.decimal)
        return texts, times.local_s, times.ahead_s, times.faulty

    def _time_faults(self, texts: Sequence[str], faulty: Seconds, places: NDArray[np.int64]) -> None:
        column = self.form.header[self.form.time_columns[0]]
        for place in faulty.tolist():
            what, mend = why_no_time(texts[place], self.form.date_order)
            self.faults.add(int(places[place]), what, mend, column, texts[place].strip())

    def _numbers(self, cells: Sequence[str], places: NDArray[np.int64], column: str) -> NDArray[np.float64]:
        values, faulty = read_numbers(cells, self.form.decimal, self.form.silent_texts)
        for place in faulty.tolist():
            what, mend = why_no_number(cells[place], self.form.decimal)
            self.faults.add(int(places[place]), what, mend, column, cells[place].strip())
        return values

    def _take(self, columns: Columns, places: NDArray[np.int64]) -> None:
        raise NotImplementedError

    def _series(self) -> Seconds | None:
        return None

    def _result(self, at_s: Seconds) -> FileReadings:
        raise NotImplementedError

    def _instants(self, latest_s: int) -> Seconds:
        """Turn all times of the file into instants; what cannot be one is a fault."""
        local_s = np.concatenate(self.parts.local_s)
        rows = np.concatenate(self.parts.rows)
        column, zone = self.form.header[self.form.time_columns[0]], self.form.zone

        def amiss(places: Seconds, what: Sentence, mend: Sentence) -> None:
            for place in places.tolist():
                self.faults.add(int(rows[place]), what, mend, column, say_local(int(local_s[place])))

        told = [ahead for ahead in self.parts.ahead_s if ahead is not None]
        if told:
            if len(told) < len(self.parts.ahead_s):
                self.faults.add(
                    int(rows[0]),
                    Sentence.of("time.some_utc"),
                    Sentence.of("mend.every_or_none"),
                    column,
                )
                self.faults.raise_any()
            at_s = local_s - np.concatenate(told)
        elif zone == IN_THE_TEXT:
            amiss(
                np.zeros(1, np.int64),
                Sentence.of("time.no_utc"),
                Sentence.of("mend.choose_zone"),
            )
            self.faults.raise_any()
        else:
            instants = to_instants(local_s, zone, self._series(), self.form.doubled_hour)
            at_s = instants.at_s
            amiss(
                instants.missing,
                Sentence.of("time.missing", zone=zone),
                Sentence.of("mend.fixed_zone"),
            )
            amiss(
                instants.doubtful,
                Sentence.of("time.twice", zone=zone),
                Sentence.of("mend.fixed_or_which"),
            )
        amiss(
            np.flatnonzero((at_s < EARLIEST_S) | (at_s >= LATEST_S)),
            Sentence.of("time.outside"),
            Sentence.of("mend.set_clock"),
        )
        amiss(
            np.flatnonzero((at_s > latest_s) & (at_s < LATEST_S)),
            Sentence.of("time.ahead", latest_at=datetime.fromtimestamp(latest_s, UTC)),
            Sentence.of("mend.look_order"),
        )
        return at_s


class _WideReader(_Reader):
    """One line for each time, one column for each channel."""

    def __init__(self, rows: Rows, form: FileForm, wanted: Collection[str] | None, left_out: Collection[str]) -> None:
        super().__init__(rows, form, wanted, left_out)
        self.columns = [no for no in form.value_columns if self.wanted is None or form.header[no] in self.wanted]
        self.values: dict[int, list[NDArray[np.float64]]] = {no: [] for no in self.columns}

    def _take(self, columns: Columns, places: NDArray[np.int64]) -> None:
        texts, local_s, ahead_s, faulty = self._times(columns)
        if len(faulty):
            # A line of delimiters alone is an empty line.
            empty = {place for place in faulty.tolist() if not any(column[place].strip() for column in columns)}
            self._time_faults(texts, np.array([p for p in faulty.tolist() if p not in empty], np.int64), places)
            sound = np.ones(len(places), np.bool_)
            sound[faulty] = False
        else:
            sound = np.ones(len(places), np.bool_)
        self.parts.rows.append(places[sound])
        self.parts.local_s.append(local_s[sound])
        self.parts.ahead_s.append(None if ahead_s is None else ahead_s[sound])
        for no in self.columns:
            self.values[no].append(self._numbers(columns[no], places, self.form.header[no])[sound])

    def _result(self, at_s: Seconds) -> FileReadings:
        name_no, at, value = [], [], []
        for number, no in enumerate(self.columns):
            column = np.concatenate(self.values.pop(no))
            known = ~np.isnan(column)
            name_no.append(np.full(int(known.sum()), number, np.int32))
            at.append(at_s[known])
            value.append(column[known])
        names = tuple(self.form.header[no] for no in self.columns)
        units = {self.form.header[no]: self.form.units[no] for no in self.columns if no < len(self.form.units)}
        return FileReadings(
            names,
            units,
            np.concatenate([*name_no, np.empty(0, np.int32)]),
            np.concatenate([*at, np.empty(0, np.int64)]),
            np.concatenate([*value, np.empty(0, np.float64)]),
        )


class _LongReader(_Reader):
    """One line for each reading: time, name of the channel, value, and perhaps its unit."""

    def __init__(self, rows: Rows, form: FileForm, wanted: Collection[str] | None, left_out: Collection[str]) -> None:
        super().__init__(rows, form, wanted, left_out)
        self.numbers: dict[str, int] = {}
        self.names: list[str] = []
        self.units: dict[str, str] = {}
        # -1: left out; -2: nobody knows it.
        self.kept: dict[str, int] = {}

    def _take(self, columns: Columns, places: NDArray[np.int64]) -> None:
        texts, local_s, ahead_s, faulty = self._times(columns)
        spelled = columns[self.form.name_column]
        try:
            name_no = np.fromiter(map(self.kept.__getitem__, spelled), np.int32, len(spelled))
        except KeyError:
            for name in set(spelled) - self.kept.keys():
                self.kept[name] = self._number(name.strip())
            name_no = np.fromiter(map(self.kept.__getitem__, spelled), np.int32, len(spelled))
        if self.form.unit_column >= 0:
            self._note_units(spelled, columns[self.form.unit_column], places)
        sound = name_no >= 0
        self._refuse_unknown(columns, name_no, places)
        values = np.full(len(places), np.nan)
        cells = columns[self.form.value_column]
        if sound.all():
            values = self._numbers(cells, places, self.form.header[self.form.value_column])
        elif sound.any():
            chosen = np.flatnonzero(sound)
            some = [cells[place] for place in chosen.tolist()]
            values[chosen] = self._numbers(some, places[chosen], self.form.header[self.form.value_column])
        if len(faulty):
            told = [place for place in faulty.tolist() if any(column[place].strip() for column in columns)]
            self._time_faults(texts, np.array(told, np.int64), places)
            sound[faulty] = False
        # The order of the file, and with it the clock's, is told by all lines of a channel, empty ones included.
        self.parts.rows.append(places[sound])
        self.parts.local_s.append(local_s[sound])
        self.parts.ahead_s.append(None if ahead_s is None else ahead_s[sound])
        self.parts.name_no.append(name_no[sound])
        self.parts.values.append(values[sound])

    def _number(self, name: str) -> int:
        if name in self.left_out:
            return -1
        if self.wanted is not None and name not in self.wanted:
            return -2
        if not name:
            return -2
        if name not in self.numbers:
            if len(self.names) >= MOST_NAMES:
                raise refuse(
                    Sentence.of("file.many_channels", most=MOST_NAMES),
                    Sentence.of("mend.name_column"),
                )
            self.numbers[name] = len(self.names)
            self.names.append(name)
        return self.numbers[name]

    def _refuse_unknown(self, columns: Columns, name_no: NDArray[np.int32], places: NDArray[np.int64]) -> None:
        told: set[str] = set()
        for place in np.flatnonzero(name_no == -2).tolist():
            name = columns[self.form.name_column][place].strip()
            if name in told or not any(column[place].strip() for column in columns):
                continue
            told.add(name)
            what = Sentence.of("name.unknown" if name else "name.missing")
            mend = Sentence.of("mend.give_channel")
            self.faults.add(int(places[place]), what, mend, self.form.header[self.form.name_column], name)
            self.faults.unknown += bool(name)

    def _note_units(self, spelled: Sequence[str], units: Sequence[str], places: NDArray[np.int64]) -> None:
        """Note the unit of each name; one that changes within the file is a fault."""
        for name, unit in set(zip(spelled, units, strict=True)):
            plain = name.strip()
            if self.kept[name] < 0:
                continue
            known = self.units.setdefault(plain, unit.strip())
            if known != unit.strip():
                place = next(
                    p
                    for p, pair in enumerate(zip(spelled, units, strict=True))
                    if pair[1].strip() != known and pair[0].strip() == plain
                )
                self.faults.add(
                    int(places[place]),
                    Sentence.of("unit.changes", name=plain, known=known, told=units[place].strip()),
                    Sentence.of("mend.split_unit"),
                    self.form.header[self.form.unit_column],
                )

    def _series(self) -> Seconds | None:
        return np.concatenate(self.parts.name_no).astype(np.int64)

    def _result(self, at_s: Seconds) -> FileReadings:
        value, name_no = np.concatenate(self.parts.values), np.concatenate(self.parts.name_no)
        known = ~np.isnan(value)
        if not known.all():
            value, name_no, at_s = value[known], name_no[known], at_s[known]
        return FileReadings(tuple(self.names), self.units, name_no, at_s, value)
