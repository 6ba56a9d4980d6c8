"""The page on which somebody confirms how a logger's file is read: what was found, the columns, the first rows."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from pathlib import PurePath
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.basics.periods import from_epoch_s
from plant.basics.sentences import Sentences
from plant.frame.typed_numbers import row_number
from plant.models import Channel, Mill, ReadingSource
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.reading_marks import out_of_range
from plant.readings.calculations.reading_units import from_kept, known_unit, to_kept, units_of
from plant.readings.channel_names import channels_in_use
from plant.readings.files.calculations.column_guess import Candidate, guess_channels
from plant.readings.files.calculations.decoding import decode
from plant.readings.files.calculations.faults import FaultyFileError, OtherHeadError
from plant.readings.files.calculations.finding import Found, find_form
from plant.readings.files.calculations.form import LONG, FileForm
from plant.readings.files.calculations.reading import FileReadings, read_all
from plant.readings.files.calculations.rows import find_head, head_lines
from plant.readings.files.calculations.sampling import NameLook, look_at_names
from plant.readings.files.calculations.wall_clock import is_zone
from plant.readings.files.file_intake import Assigned, assigned_of, latest_s, remembered, to_kept_units
from plant.readings.files.forms import NONE, FormOfFileForm, fixed_of, fixed_times
from plant.readings.unit_labels import UNIT_LABELS, kept_unit_label, unit_label

PREVIEW_TIMES = 6
HEAD_LINES_OFFERED = 30
# So many rows are read for the first look: a long table has a row for each channel.
ROWS_LOOKED_AT = {True: 4000, False: 400}
# With more channels than this the lists of all columns are limited to one kiln.
MANY_CHANNELS = 150
# Which fields say a point of what was found.
GROUPS: tuple[tuple[str, str | Promise, tuple[str, ...]], ...] = (
    ("times", gettext_lazy("Time"), ("time_column", "clock_column")),
    ("date_order", gettext_lazy("Day and month"), ("date_order",)),
    ("zone", gettext_lazy("Clock"), ("zone", "doubled_hour")),
    ("decimal", gettext_lazy("Decimal sign"), ("decimal",)),
    ("delimiter", gettext_lazy("Delimiter"), ("delimiter",)),
    ("head", gettext_lazy("Head"), ("head_line",)),
    ("shape", gettext_lazy("Table"), ("shape", "name_column", "value_column", "unit_column")),
    ("encoding", gettext_lazy("Letters"), ("encoding",)),
    ("no_reading", gettext_lazy("No reading"), ("no_reading",)),
)


@dataclass
class Column:
    """A name of the file: what it is to be, and what speaks against it."""

    number: int
    look: NameLook
    channel: Channel | None = None
    unit: str = ""
    trouble: str = ""
    hint: str = ""

    @property
    def is_unit_known(self) -> bool:
        """Say whether the unit of the file is one that readings can have."""
        return known_unit(self.look.unit) is not None


@dataclass(frozen=True)
class Preview:
    """The first rows as they will be understood: a column for each channel, a row for each time."""

    heads: list[tuple[str, str]]
    rows: list[tuple[datetime, list[float | None]]]


@dataclass
class IntakePage:
    """Everything the page shows, worked out from the file and from what was sent with the form."""

    source: ReadingSource
    raw: bytes
    file_name: str
    mill: Mill
    data: Mapping[str, str] | None = None
    faults: Sentences = ()

    @cached_property
    def hint(self) -> str:
        """Return the zone in which the logger probably stands."""
        known = remembered(self.source)
        if known is not None and is_zone(known.form.zone):
            return known.form.zone
        return self.source.time_zone or self.mill.time_zone

    @cached_property
    def fixed(self) -> dict[str, Any]:
        """Return what somebody has said of the file, now or, where its head is the same, the last time."""
        if self.data is None:
            return self._remembered_fixed()
        fixed = fixed_of(dict(self.data.items()))
        if "zone" in fixed and not is_zone(fixed["zone"]):
            del fixed["zone"]
        return fixed

    def _remembered_fixed(self) -> dict[str, Any]:
        known = remembered(self.source)
        if known is None:
            return {}
        form = known.form
        try:
            head_line = find_head(decode(self.raw, form.encoding)[0], form)
        except OtherHeadError:
            return {}
        except FaultyFileError:
            # What is broken is told when the file is looked at.
            return {}
        names = ["decimal", "date_order", "delimiter", "encoding", "shape", "time_columns"]
        if form.shape == LONG:
            names += ["name_column", "value_column", "unit_column"]
        said = {name: getattr(form, name) for name in names}
        said["head_line"] = head_line if form.head_rows else 0
        if is_zone(form.zone):
            said["zone"] = form.zone
        if form.no_reading:
            said["no_reading"] = form.no_reading
        return said

    @cached_property
    def found(self) -> Found:
        """Return what was found out. Raises FaultyFileError."""
        found = find_form(self.raw, self.fixed, self.hint)
        if self.data is not None and (times := fixed_times(dict(self.data.items()), found.form)) is not None:
            found = find_form(self.raw, {**self.fixed, "time_columns": times}, self.hint)
        if not found.form.zone:
            # Taken for now and said to be unsure: the page asks for it.
            found = replace(found, form=replace(found.form, zone=self.hint))
        return found

    @property
    def form(self) -> FileForm:
        """Return the form of the file as it stands now."""
        return self.found.form

    @cached_property
    def looks(self) -> list[NameLook]:
        """Return the names in the file."""
        return look_at_names(self.raw, self.form)

    @cached_property
    def shown(self) -> str:
        """Return a mark of what the columns rest on: what was chosen for other columns does not count."""
        told = json.dumps([self.form.to_json(), [look.name for look in self.looks]], sort_keys=True)
        return hashlib.sha256(told.encode()).hexdigest()[:20]

    @property
    def is_as_shown(self) -> bool:
        """Say whether the form was sent from a page that understood the file as it is understood now."""
        return self.data is not None and self.data.get("shown") == self.shown

    @cached_property
    def channels(self) -> dict[int, Channel]:
        """Return the channels that a column may be."""
        found = channels_in_use().order_by("kiln__tag", "quantity", "place")
        return {channel.pk: channel for channel in found}

    @cached_property
    def kiln_choices(self) -> list[str]:
        """Return the kilns by which long lists of channels are limited; none where they are short."""
        if len(self.channels) <= MANY_CHANNELS:
            return []
        return sorted({channel.kiln.tag for channel in self.channels.values()})

    @cached_property
    def kiln(self) -> str:
        """Return the kiln to which the lists are limited."""
        asked = self.data.get("kiln", "") if self.data is not None else ""
        return asked if asked in self.kiln_choices else next(iter(self.kiln_choices), "")

    def offered(self, column: Column) -> list[tuple[str, list[Channel]]]:
        """Return the channels that a column's list offers, by kiln."""
        groups: dict[str, list[Channel]] = {}
        for channel in self.channels.values():
            if not self.kiln or channel.kiln.tag == self.kiln or channel == column.channel:
                groups.setdefault(channel.kiln.tag, []).append(channel)
        return list(groups.items())

    @cached_property
    def columns(self) -> list[Column]:
        """Return the columns with what they are to be: as sent, as remembered, or as their names suggest."""
        columns = [Column(number, look) for number, look in enumerate(self.looks)]
        if self.is_as_shown and self.data is not None:
            for column in columns:
                self._as_sent(column, self.data)
        else:
            self._as_suggested(columns)
        for column in columns:
            self._check(column)
        return columns

    def _as_sent(self, column: Column, data: Mapping[str, str]) -> None:
        chosen = data.get(f"channel-{column.number}", "")
        if chosen:
            column.channel = self.channels.get(row_number(chosen))
            if column.channel is None:
                column.trouble = _("This channel is no longer in use: choose another, or leave the column out.")
        unit = data.get(f"unit-{column.number}", "")
        column.unit = unit if unit in UNIT_LABELS else ""

    def _as_suggested(self, columns: list[Column]) -> None:
        names, _idle = assigned_of(self.source)
        known = remembered(self.source)
        left_out = set(known.left_out) if known else set()
        said_units = known.said_units if known else {}
        candidates = [Candidate(pk, one.kiln.tag, one.quantity, one.place) for pk, one in self.channels.items()]
        open_looks = [c.look for c in columns if c.look.name not in names and c.look.name not in left_out]
        guessed = guess_channels(
            [look.name for look in open_looks],
            [look.unit for look in open_looks],
            candidates,
            PurePath(self.file_name).stem,
        )
        taken = {one.channel.pk for one in names.values()}
        for column in columns:
            name = column.look.name
            if name in names:
                column.channel = names[name].channel
                # What was confirmed of one unit says nothing of another that the file has now.
                if said_units.get(name, column.look.unit) == column.look.unit:
                    column.unit = known_unit(names[name].unit) or ""
            elif name in guessed and guessed[name].key not in taken:
                column.channel = self.channels[guessed[name].key]
            if column.channel is not None and not column.unit:
                told = known_unit(column.look.unit)
                fits = told is not None and told in units_of(column.channel.quantity)
                column.unit = told if told is not None and fits else ""

    def _check(self, column: Column) -> None:
        if column.channel is None or not column.unit:
            return
        try:
            to_kept(column.channel.quantity, [0.0], column.unit)
        except ValueError:
            fitting = ", ".join(unit_label(unit) for unit in units_of(column.channel.quantity))
            column.trouble = _("%(channel)s cannot be written in %(unit)s: choose %(fitting)s.") % {
                "channel": column.channel,
                "unit": unit_label(column.unit),
                "fitting": fitting,
            }

    @property
    def assigned(self) -> dict[str, Assigned]:
        """Return what each name is, but for those left out."""
        return {c.look.name: Assigned(c.channel, c.unit) for c in self.columns if c.channel is not None}

    @property
    def left_out(self) -> list[str]:
        """Return the names that are left out."""
        return [column.look.name for column in self.columns if column.channel is None]

    @cached_property
    def sample(self) -> FileReadings | None:
        """Return the readings of the first rows, None where they cannot be read; then `faults` says why."""
        if not self.form.is_complete or not self.assigned or any(column.trouble for column in self.columns):
            return None
        most_rows = ROWS_LOOKED_AT[self.form.shape == LONG]
        # Which of two hours is meant is seen from the whole file only.
        doubled = "first" if self.form.doubled_hour == "order" else self.form.doubled_hour
        form = replace(self.form, doubled_hour=doubled)
        try:
            readings = read_all(self.raw, form, self.assigned, self.left_out, latest_s=latest_s(), most_rows=most_rows)
            return to_kept_units(readings, self.assigned)
        except FaultyFileError as fault:
            self.faults = self.faults or fault.told()
            return None

    def look(self) -> None:
        """Look at all that rests on the file. Raises FaultyFileError."""
        if self.columns and self.sample is not None:
            self._add_hints(self.sample)

    def _add_hints(self, sample: FileReadings) -> None:
        """Say of columns whose values their unit makes impossible which other unit would make them possible."""
        for number, name in enumerate(sample.names):
            column = next(one for one in self.columns if one.look.name == name)
            values = sample.value[sample.name_no == number]
            if column.channel is None or not len(values):
                continue
            quantity = column.channel.quantity
            outside = int((out_of_range(quantity, values) != 0).sum())
            if 2 * outside <= len(values):
                continue
            unit = column.unit or QUANTITIES[quantity].unit
            column.hint = _("Read in %(unit)s, %(count)d of the first %(all)d values are impossible for it.") % {
                "unit": unit_label(unit),
                "count": outside,
                "all": len(values),
            }
            others = [other for other in units_of(quantity) if other != unit and _would_fit(column, sample, other)]
            if others:
                column.hint += " " + _("In %s they would fit.") % unit_label(others[0])

    @property
    def preview(self) -> Preview | None:
        """Return the first rows as they will be understood."""
        if self.sample is None or not len(self.sample):
            return None
        sample = self.sample
        moments = sorted(set(sample.at_s.tolist()))[:PREVIEW_TIMES]
        heads = [
            (str(self.assigned[name].channel), kept_unit_label(self.assigned[name].channel.quantity))
            for name in sample.names
        ]
        rows = []
        for at_s in moments:
            here = sample.at_s == at_s
            values = dict(zip(sample.name_no[here].tolist(), sample.value[here].tolist(), strict=True))
            rows.append((from_epoch_s(at_s), [values.get(number) for number in range(len(sample.names))]))
        return Preview(heads, rows)

    def corrections(self) -> FormOfFileForm:
        """Return the form of selects by which each point can be corrected."""
        zones = dict.fromkeys([self.mill.time_zone, self.source.time_zone, self.hint, "UTC"])
        data = dict(self.data.items()) if self.data is not None else self._initial()
        lines = head_lines(decode(self.raw, self.fixed.get("encoding", ""))[0], HEAD_LINES_OFFERED)
        named = [zone for zone in zones if zone and zone[0] not in "+-"]
        return FormOfFileForm(data, found=self.found, lines=lines, zones=named)

    def _initial(self) -> dict[str, str]:
        """Return what was remembered, as the fields of the page write it."""
        said = {name: str(value) for name, value in self.fixed.items() if isinstance(value, str | int)}
        if "no_reading" in self.fixed:
            said["no_reading"] = " ".join(self.fixed["no_reading"])
        if "time_columns" in self.fixed:
            first, *others = self.fixed["time_columns"]
            said |= {"time_column": str(first), "clock_column": str(others[0]) if others else NONE}
        if said.get("unit_column") == "-1":
            said["unit_column"] = NONE
        return said

    def groups(self) -> list[dict[str, Any]]:
        """Return the points in the order of the page, the unsure ones first, each with its fields."""
        form = self.corrections()
        groups = []
        for code, title, names in GROUPS:
            point = self.found.point(code)
            fields = [form[name] for name in names if name in form.fields]
            groups.append({"code": code, "title": title, "point": point, "fields": fields})
        return sorted(groups, key=lambda group: group["point"].is_sure)


def _would_fit(column: Column, sample: FileReadings, unit: str) -> bool:
    """Say whether nearly all values of a column would be possible in another unit."""
    if column.channel is None:
        return False
    quantity = column.channel.quantity
    kept = sample.value[sample.name_no == sample.names.index(column.look.name)]
    written = from_kept(quantity, kept, column.unit)
    return bool((out_of_range(quantity, to_kept(quantity, written, unit)) == 0).mean() > 0.9)
