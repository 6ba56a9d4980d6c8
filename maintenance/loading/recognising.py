"""Which table a file holds, where its name does not say it plainly: by the words of its name, then by its columns."""

import re
from collections.abc import Mapping
from pathlib import Path

from maintenance.loading.base import Table
from maintenance.loading.faults import FileFault
from maintenance.loading.reading import plain_name, read_head

# What programs and people put behind a name: “charges (2)”, “charges-2026-11”, “charges copy”.
BEHIND = re.compile(r"[_.(]*(copy|\d[\d_.:]*)\)*$")


def recognise(path: Path, known: Mapping[str, type[Table]]) -> str | None:
    """Return the table of a file; None where its name and its columns fit none, or several."""
    name = plain_name(path.stem)
    while name not in known and (shorter := BEHIND.sub("", name).strip("_ ")) not in ("", name):
        name = shorter
    return name if name in known else by_columns(path, known)


def nearest(path: Path, known: Mapping[str, type[Table]]) -> str:
    """Say which table a file's columns are nearest to, and what keeps it from being that table; or nothing."""
    head = head_of(path)
    name = max(known, key=lambda name: len(head & set(known[name].column_names())), default="")
    if not name or len(head & set(known[name].column_names())) < max(2, (len(head) + 1) // 2):
        return ""
    table = known[name]
    missing = [column.name for column in table.columns if column.is_required and column.name not in head]
    said = f"Its columns are nearest to those of {name}"
    return f"{said}, without {' and '.join(missing)}. " if missing else f"{said}: name it {name}. "


def by_columns(path: Path, known: Mapping[str, type[Table]]) -> str | None:
    """Return the one table that has all columns of a file, and whose columns that must be there all are."""
    head = head_of(path)
    fitting = [
        name
        for name, table in known.items()
        if head <= set(table.column_names()) and {column.name for column in table.columns if column.is_required} <= head
    ]
    return fitting[0] if head and len(fitting) == 1 else None


def head_of(path: Path) -> set[str]:
    """Return the names of a file's columns; none where it cannot be read."""
    try:
        return {plain_name(cell) for cell in read_head(path)} - {""}
    except (FileFault, OSError):
        return set()
