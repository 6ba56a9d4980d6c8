"""Tables of a logger, written in any of the forms that loggers use, for tests."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FORMATS = {
    "ymd": ("%Y-%m-%d %H:%M:%S", "%Y/%m/%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y%m%d%H%M%S"),
    "dmy": ("%d.%m.%Y %H:%M:%S", "%d/%m/%Y %H:%M:%S", "%d.%m.%y %H:%M:%S", "%d-%b-%Y %H:%M:%S"),
    "mdy": ("%m/%d/%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p"),
    "epoch_s": ("",),
    "epoch_ms": ("",),
}


@dataclass(frozen=True)
class Written:
    """How a table is written."""

    order: str = "ymd"
    time_format: str = "%Y-%m-%d %H:%M:%S"
    zone: str = "UTC"
    is_offset_told: bool = False
    is_apart: bool = False
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    is_long: bool = False
    preamble: tuple[str, ...] = ()
    has_units: bool = False
    line_end: str = "\r\n"
    ends: bool = True
    silent: str = ""
    quotes_all: bool = False


def time_cells(at_s: int, form: Written) -> list[str]:
    """Write an instant."""
    if form.order == "epoch_s":
        return [str(at_s)]
    if form.order == "epoch_ms":
        return [str(at_s * 1000)]
    local = (EPOCH + timedelta(seconds=at_s)).astimezone(zone_of(form.zone))
    text = local.strftime(form.time_format)
    if form.is_offset_told:
        text += local.strftime("%z")
    return text.split(" ", 1) if form.is_apart else [text]


def zone_of(zone: str) -> ZoneInfo | None:
    return ZoneInfo(zone)


def number_cell(value: float | None, form: Written) -> str:
    """Write a value; None as what means no reading."""
    return form.silent if value is None else repr(value).replace(".", form.decimal)


def write_table(
    moments: Sequence[int], columns: dict[str, Sequence[float | None]], units: dict[str, str], form: Written
) -> bytes:
    """Write values of named columns at some moments."""
    buffer = io.StringIO(newline="")
    for line in form.preamble:
        buffer.write(line + form.line_end)
    quoting = csv.QUOTE_ALL if form.quotes_all else csv.QUOTE_MINIMAL
    writer = csv.writer(buffer, delimiter=form.delimiter, lineterminator=form.line_end, quoting=quoting)
    times = ["Date", "Time"] if form.is_apart else ["Time"]
    if form.is_long:
        writer.writerow([*times, "Channel", "Value", *(["Unit"] if form.has_units else [])])
        for number, at_s in enumerate(moments):
            for name, values in columns.items():
                unit = [units[name]] if form.has_units else []
                writer.writerow([*time_cells(at_s, form), name, number_cell(values[number], form), *unit])
    else:
        writer.writerow([*times, *columns])
        if form.has_units:
            writer.writerow([*([""] * len(times)), *(units[name] for name in columns)])
        for number, at_s in enumerate(moments):
            values = (number_cell(column[number], form) for column in columns.values())
            writer.writerow([*time_cells(at_s, form), *values])
    text = buffer.getvalue()
    if not form.ends:
        text = text.removesuffix(form.line_end)
    return text.encode(form.encoding)
