"""What the files look like, for the documentation and the templates: both come from the tables themselves."""

import csv
import io
from pathlib import Path

from maintenance.loading.base import Table
from maintenance.loading.loader import TABLES

INTRODUCTION = """# The files of a mill

`manage.py load FOLDER` reads every file below that lies in the folder, as CSV or as XLSX (its first sheet), and keeps
all of it or nothing; `--check` only looks. `manage.py templates FOLDER` writes all files with one example row each. A
first load needs `mill`, `kilns` and `components`; later any of them may come alone. Loading the same files twice
changes nothing. Rows that are no longer in a file stay as they are; a column that a file does not have is left alone.

`manage.py files_out FOLDER` writes all tables of a mill as CSV and as XLSX, and so does the page “Files”: loaded into
an empty database they are the same mill again. What does not leave by these files:

- who is inside a kiln, permits and alarms: they are true of one place only;
- passwords, tokens and the ways in of readings; the readings, and what watches said of them;
- work that is under way, the places of work ahead, plans;
- who changed or told what and when, dates that were missed, earlier versions of the mill's own task sheets;
- sign-ins of nobody on record, and phases of no length.

The same files can be dropped on the page “Files”, also packed in a ZIP: there they are shown as understood before
anything is kept, and what a role may not change by a page it does not change by a file. A file whose name says no table
is known by its columns.

- **Columns** are named in the first row, in any order; capitals, spaces and hyphens do not matter. An unknown column is
  refused, with the nearest known one; the others are looked at all the same. **Bold** columns must be there and
  filled.
- **CSV** may be delimited by comma, semicolon or tab, in UTF-8, UTF-16 with its mark, or Windows-1252 (said in the
  output).
- **Numbers** have a decimal point or comma. Where `1,234` could mean two things it is refused until `mill` states
  `decimal_mark`. A cell of a workbook that is a number is one, whatever the mark.
- **Days** are written `2026-12-31` or `31.12.2026`; `31/12/2026` where day and month cannot be exchanged, or `mill`
  states `date_order`.
- **Instants** are local times of the mill, `2026-12-31 14:30`. A time that the change of clocks leaves out is refused;
  one that comes twice needs its distance from UTC: `2026-10-25 02:30+02:00`.
- **Yes or no** is written yes, no, true, false, 1, 0 or x. **Lists** have semicolons between.
- A **formula** is text and is never computed. An apostrophe before `=`, `+`, `-`, `@` or another apostrophe at the
  beginning of a cell shields it from spreadsheets and is no part of the text.
- Codes of component kinds, failure modes, task sheets, skills and check points are those of the catalogue
  (`fixtures/catalogue`), which is loaded first.
- A file may have up to 50 MB (`KILNWARD_MAX_LOAD_MB`), 500,000 rows and 200 columns.

Every row that cannot be kept is listed with file, row, column, value, reason and remedy.
"""


def describe() -> str:
    """Return the documentation of all files as Markdown."""
    parts = [INTRODUCTION]
    for table in TABLES:
        heading = "| column | meaning | example |\n| --- | --- | --- |\n"
        parts.append(f"## {table.name}\n\n{table.meaning}\n\n{heading}{_lines(table)}")
    return "\n".join(parts)


def _lines(table: type[Table]) -> str:
    lines = ""
    for column in table.columns:
        name = f"**{column.name}**" if column.is_required else column.name
        example = f"`{column.example}`" if column.example else ""
        lines += f"| {name} | {column.meaning.replace('|', '/')} | {example} |\n"
    return lines


def template(table: type[Table]) -> str:
    """Return a file with header and example row."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([column.name for column in table.columns])
    writer.writerow([column.example for column in table.columns])
    return buffer.getvalue()


def write_templates(folder: Path) -> list[Path]:
    """Write all templates.

    Raises
    ------
    FileExistsError
        where one of the files is there already; then none is written.
    """
    paths = [(folder / f"{table.name}.csv", table) for table in TABLES]
    there = [path.name for path, _ in paths if path.exists()]
    if there:
        raise FileExistsError(f"{', '.join(there)} in {folder}")
    folder.mkdir(parents=True, exist_ok=True)
    for path, table in paths:
        # The mark at the start lets spreadsheets see that it is UTF-8.
        path.write_text(template(table), encoding="utf-8-sig", newline="")
    return [path for path, _ in paths]
