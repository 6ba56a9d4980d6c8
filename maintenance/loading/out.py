"""Everything out again: the tables of a mill as CSV and as XLSX, which load into an empty database as the same mill."""

import csv
import io
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from django.db import transaction
from django.utils.translation import override

from maintenance.loading.base import Table
from maintenance.loading.cells import Cell, shielded, told_row
from maintenance.loading.columns import Customs
from maintenance.loading.loader import TABLES
from maintenance.loading.rows_out import rows_out
from plant.access import require
from plant.models import Mill, User

#: The forms in which tables leave, each in a folder of its own where there are both.
FORMS = ("csv", "xlsx")
#: Tables that leave with their heading even where they are empty: a first load asks for them.
ALWAYS = ("mill", "kilns", "components")

Told = tuple[list[str], list[list[Cell]]]


def tables_out() -> Iterator[tuple[str, Told]]:
    """Yield (name, (heading, rows)) of every table that holds something. Raises Mill.DoesNotExist without a mill."""
    customs = Customs(Mill.objects.current().zone)
    # Words of the program are told in the language of the columns.
    with override("en"):
        for table in TABLES:
            rows = [told_row(table.columns, row, customs) for row in rows_out(table)]
            if rows or table.name in ALWAYS:
                yield table.name, (_heading(table), rows)


def _heading(table: type[Table]) -> list[str]:
    return [column.name for column in table.columns]


def write_folder(folder: Path) -> list[Path]:
    """Write every table as CSV and as XLSX into two folders, and return the files.

    Raises
    ------
    FileExistsError
        where one of the two folders holds something already; then nothing is written.
    Mill.DoesNotExist
        where there is no mill.
    """
    places = {form: folder / form for form in FORMS}
    there = [str(place) for place in places.values() if place.exists() and any(place.iterdir())]
    if there:
        raise FileExistsError(", ".join(there))
    Mill.objects.current()
    paths = []
    for place in places.values():
        place.mkdir(parents=True, exist_ok=True)
    with transaction.atomic():
        for name, told in tables_out():
            for form, place in places.items():
                path = place / f"{name}.{form}"
                path.write_bytes(WRITERS[form](told))
                paths.append(path)
    return paths


def write_archive(stream: IO[bytes], forms: tuple[str, ...] = FORMS, *, by: User) -> None:
    """Write every table into one archive; with two forms, each in a folder of its own.

    Raises Mill.DoesNotExist where there is no mill.
    """
    require(by, "take files out")
    with transaction.atomic(), zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, told in tables_out():
            for form in forms:
                path = f"{form}/{name}.{form}" if len(forms) > 1 else f"{name}.{form}"
                packed.writestr(path, WRITERS[form](told))


def as_csv(told: Told) -> bytes:
    """Return a table as CSV: comma, UTF-8 with its mark, and nothing that a spreadsheet takes for a formula."""
    heading, rows = told
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(heading)
    writer.writerows([shielded(cell) for cell in row] for row in rows)
    return ("\ufeff" + buffer.getvalue()).encode()


def as_xlsx(told: Told) -> bytes:
    """Return a table as a workbook of one sheet, in which numbers are numbers."""
    # Imported here: only this needs it.
    from openpyxl import Workbook

    heading, rows = told
    book = Workbook(write_only=True)
    sheet: Any = book.create_sheet()
    sheet.append(heading)
    for row in rows:
        sheet.append([_workbook_cell(cell) for cell in row])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _workbook_cell(cell: Cell) -> Cell | None:
    return (shielded(cell) or None) if isinstance(cell, str) else cell


WRITERS = {"csv": as_csv, "xlsx": as_xlsx}
