"""What is said of files and messages that cannot be taken in; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns, Worded
from plant.readings.files.words import say_fault
from plant.readings.running_signs import say_reading

#: What is wrong with a logger's file; before it stands the line, behind it how to mend it.
FILES: Final[Patterns] = {
    "file.fault": Worded(say_fault, frozenset({"what", "mend", "line", "column", "text"})),
    "file.more": _("And %(count)s more of the kind."),
    "file.no_table": ngettext_lazy(
        "its only line does not hold a time and a value beside it",
        "none of the first %(count)s lines holds a time and a value beside it",
        "count",
    ),
    "file.cells": ngettext_lazy(
        "this line has %(count)s cell, the head has %(head)s",
        "this line has %(count)s cells, the head has %(head)s",
        "count",
    ),
    "file.packed": _("a workbook or a packed file"),
    "file.pdf": _("a PDF"),
    "file.workbook": _("a workbook"),
    "file.empty": _("the file is empty"),
    "file.no_text": _("this is %(kind)s, not a text file"),
    "file.nul": _("a character of no value (NUL) stands here: this is no sound text file"),
    "file.bad_byte": _("byte %(byte)s of the file cannot be read as %(encoding)s"),
    "file.no_line": _("below its head the file holds no line"),
    "file.no_names": _("the line of names is empty"),
    "file.no_time_column": _("the column of the time that was chosen is not there"),
    "file.one_column": _("beside the time there is one column only"),
    "file.no_readings": _("below its head the file holds no readings"),
    "file.cut_off": _("the last line is cut off: %(why)s"),
    "file.many_channels": _("the file names more than %(most)s channels"),
    "file.many_columns": _("this line has %(columns)s columns, %(most)s are read"),
    "file.line_unread": _("the line cannot be read (%(reason)s)"),
    "file.unread": _("the file cannot be read (%(reason)s)"),
    "file.large": _("the file has %(size_mb)s MB, the limit is %(most_mb)s MB"),
    "file.no_value": _("no column with a channel holds a value"),
    "file.unconfirmed": _("nobody has confirmed yet how files of this source are read"),
}

#: What is wrong with a cell, which stands before it.
CELLS: Final[Patterns] = {
    "time.some_utc": _("some times say their distance from UTC and some do not"),
    "time.no_utc": _("does not say its distance from UTC, as it did in the file that was confirmed"),
    "time.missing": _("does not exist in %(zone)s: the clock is put forward over it in spring"),
    "time.twice": _(
        "comes twice in %(zone)s, where the clock is put back, and the lines do not tell which one is meant"
    ),
    "time.outside": _("lies outside the years 2000 to 2099: the logger's clock was not set"),
    "time.ahead": _("lies ahead of the present (later than %(latest_at)s)"),
    "name.unknown": _("is a name that nobody gave a channel yet"),
    "name.missing": _("the name of the channel is missing"),
    "unit.changes": _("the unit of “%(name)s” changes within the file, from “%(known)s” to “%(told)s”"),
    "head.new": _("new: %(names)s"),
    "head.gone": _("missing: %(names)s"),
    "head.changed": _("or the units or their order changed"),
    "head.other": _("the head of the file is not the one that was confirmed (%(why)s)"),
    "number.has_comma": _("has a decimal comma, but the file is read with a decimal point"),
    "number.has_point": _("has a decimal point, but the file is read with a decimal comma"),
    "number.signs": _("has more than one decimal sign"),
    "number.large": _("is too large for a reading"),
    "number.none": _("is no number"),
    "time.none": _("the time is missing"),
    "time.not_utc": _("does not say its distance from UTC, other lines do"),
    "time.no_calendar": _("is no day or time of the calendar"),
    "time.other_order": _("is a date in another order"),
    "time.unread": _("is no time that can be read"),
    "unit.wrong": _("%(reason)s"),
    "reading.wrong": _("%(reason)s"),
    "unit.other": _("says “%(told)s”, it said “%(before)s” before"),
}

#: How to mend it.
MENDING: Final[Patterns] = {
    "mend.send_again": _("Look whether the logger wrote anything, and send the file again"),
    "mend.export_csv": _("Let the logger's program export it as CSV"),
    "mend.export_again": _("Export it again"),
    "mend.export_utf8": _(
        "Export the file again, as UTF-8 if there is a choice; a file that was cut off or mended by hand breaks so"
    ),
    "mend.look_recorded": _("Look whether the logger recorded anything"),
    "mend.choose_names": _("Choose the line in which the names of the columns stand"),
    "mend.choose_anew": _("Choose it anew"),
    "mend.column_each": _("Choose one column for each channel instead"),
    "mend.table": _(
        "The file must have a column of times (or of days and of times) and values; comma, semicolon or tab between"
    ),
    "mend.send_whole": _("The file was cut off while it was written or sent: send the whole file"),
    "mend.complete": _("Complete the line or take it out; a closing line that holds no readings is taken out"),
    "mend.quotes": _("A text or a decimal comma that is also the delimiter must stand in double quotes"),
    "mend.every_or_none": _("Let the logger write it on every line, or on none"),
    "mend.choose_zone": _("Look at the file on the page of the source and choose its time zone"),
    "mend.fixed_zone": _("The logger does not change its clock: choose its fixed distance from UTC, such as +01:00"),
    "mend.fixed_or_which": _(
        "If the logger does not change its clock, choose its fixed distance from UTC, such as +01:00; "
        "if it does, say whether the earlier or the later hour is meant"
    ),
    "mend.set_clock": _("Set the logger's clock; take these lines out, or correct their times"),
    "mend.look_order": _("Look at the order of day and month, the time zone, and the logger's clock"),
    "mend.name_column": _("Look whether the column of the channel's name is the right one, or split the file by kiln"),
    "mend.give_channel": _("Look at the file on the page of the source, and give it a channel or leave it out"),
    "mend.split_unit": _("Split the file where the unit changes"),
    "mend.not_closed": _(
        "Look for a double quote that is not closed, or that stands inside a text without being doubled"
    ),
    "mend.file_each": _("Let the logger write one file for each kiln, or one line for each reading"),
    "mend.confirm_reading": _("Look at the file on the page of the source and confirm how it is read"),
    "mend.decimal": _("Choose the other decimal sign for the file, or correct the cell"),
    "mend.thousands": _("Let the logger write numbers without signs between thousands"),
    "mend.cell_or_name": _("Correct the cell; if it means “no reading”, name the text as such"),
    "mend.cell_or_silent": _("Correct the cell, or name the text among those that mean “no reading”"),
    "mend.write_time": _("Write the time, or take the line out"),
    "mend.cell_or_order": _("Correct the cell, or choose another order of day and month"),
    "mend.order": _("Choose the order of day, month and year that the file has"),
    "mend.cell_or_line": _("Correct the cell; take out lines that hold no readings, such as a closing line"),
    "mend.split": _("Split it, or let whoever keeps the server raise KILNWARD_MAX_LOAD_MB"),
    "mend.unit": _("Choose a unit that fits what the channel measures"),
    "mend.give_column": _("Give a column a channel, or look at the file"),
    "mend.file": _("Correct the file"),
    "mend.confirm": _("Look at the file on the page of the source and confirm it"),
    "mend.confirm_units": _("Look at the file on the page of the source and confirm its units"),
}

#: What is wrong with a message of a broker.
MESSAGES: Final[Patterns] = {
    "message.fault": _("%(reason)s"),
    "message.reading": _("Reading %(number)s: %(reason)s"),
    "message.large": _("The message is too large: at most %(most_mib)s MiB."),
    "message.unread": _("The message is neither a number nor an object. %(reason)s"),
    "message.other_kind": _("The message is %(kind)s, neither a number nor an object."),
    "message.was": _("The message: %(text)s"),
}

SIGNS: Final[Patterns] = {
    "sign.fans": _("the fans turn (%(readings)s)"),
    "sign.heat": _("heat is on (%(readings)s)"),
    "sign.spray": _("the spray is on (%(readings)s)"),
    "sign.hot": _("it is hotter than the entry limit (%(readings)s)"),
    "sign.warming": _("it gets warmer as if it were heated (%(readings)s)"),
    "sign.reading": Worded(say_reading, frozenset({"quantity", "place", "value", "read_at"})),
}

#: Why something is thought to have happened to a charge.
CLIMATE: Final[Patterns] = {
    "climate.rose": _("the air rose from %(from_c)s (%(since_at)s) to %(to_c)s (%(seen_clock)s)"),
    "climate.held": _("the air holds %(to_c)s since %(since_at)s"),
    "climate.fell": _("the air fell from %(from_c)s (%(since_at)s) to %(to_c)s (%(seen_clock)s)"),
    "climate.door_open": _("a main door reads open since %(since_at)s"),
    "climate.heat_on": _("the heating is on"),
    "climate.heat_off": _("the heating is off"),
    "climate.fans_on": _("the fans turn"),
    "climate.set_up": _("its set point was raised"),
    "climate.set_down": _("its set point was lowered"),
    "climate.set_reached": _("that is its set point"),
    "climate.above_outside": _("it is no warmth from outside"),
    "climate.moister": _("the air took up more than twice its moisture"),
    "climate.drier": _("its moisture went with it"),
    "climate.in_a_gap": _("it began while no readings came"),
    "climate.alone": _("the temperature alone says so"),
}

PATTERNS: Final[Patterns] = {**CLIMATE, **SIGNS, **FILES, **CELLS, **MENDING, **MESSAGES}
