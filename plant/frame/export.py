"""Tables to take away: CSV that no spreadsheet program mistakes for formulas."""

import csv
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TypeVar

from django.http import HttpResponse
from django.utils import timezone

Row = TypeVar("Row")
# What a spreadsheet program takes for the beginning of a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
PLAIN_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")


def csv_cell(value: object) -> str:
    """Write a value so that it is read as what it is: text that looks like a formula gets an apostrophe in front.

    Instants are written in the active time zone, numbers with a point and without grouping, None as nothing.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return timezone.localtime(value).strftime("%Y-%m-%d %H:%M")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value:f}"
    text = str(value)
    if text.startswith(FORMULA_STARTS) and not PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def csv_response(filename: str, header: Sequence[object], rows: Iterable[Sequence[object]]) -> HttpResponse:
    """Answer with a CSV file: comma, UTF-8 with a byte-order mark so that spreadsheets read every letter."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{filename}"'
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow([csv_cell(cell) for cell in header])
    writer.writerows([csv_cell(cell) for cell in row] for row in rows)
    return response


def csv_of(filename: str, columns: Mapping[str, Callable[[Row], object]], rows: Iterable[Row]) -> HttpResponse:
    """Answer with a CSV file of columns, each with its heading and what stands in it of a row."""
    return csv_response(filename, list(columns), ([cell(row) for cell in columns.values()] for row in rows))
