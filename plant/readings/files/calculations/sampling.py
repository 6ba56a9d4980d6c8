"""The names in a logger's file, each with its unit and the first cells that hold anything."""

from dataclasses import dataclass, field
from typing import Final

from plant.basics.sentences import Sentence
from plant.readings.files.calculations.decoding import decode
from plant.readings.files.calculations.faults import refuse
from plant.readings.files.calculations.form import LONG, FileForm
from plant.readings.files.calculations.looks import unit_in_name
from plant.readings.files.calculations.reading import MOST_NAMES
from plant.readings.files.calculations.rows import Rows

EXAMPLES: Final = 3
# So many rows are looked at for examples of wide columns; in a long file all, because a name may come late.
EXAMPLE_ROWS: Final = 200


@dataclass
class NameLook:
    """A column (wide) or a channel's name (long): its unit as the file says it, and cells as they are written."""

    name: str
    unit: str
    examples: list[str] = field(default_factory=list)

    def add(self, cell: str) -> None:
        """Keep an example, if it is one more."""
        if cell.strip() and len(self.examples) < EXAMPLES:
            self.examples.append(cell.strip()[:20])


def look_at_names(raw: bytes, form: FileForm) -> list[NameLook]:
    """Return what a file names, in its order. Raises FaultyFileError."""
    text, _encoding = decode(raw, form.encoding)
    rows = Rows(text, form)
    return _in_long(rows, form) if form.shape == LONG else _in_wide(rows, form)


def _in_wide(rows: Rows, form: FileForm) -> list[NameLook]:
    looks = {}
    for no in form.value_columns:
        unit = form.units[no] if no < len(form.units) else ""
        looks[no] = NameLook(form.header[no], unit.strip("[]() ") or unit_in_name(form.header[no]))
    for chunk in rows.chunks(EXAMPLE_ROWS):
        for row in chunk.rows():
            for no, look in looks.items():
                if no < len(row):
                    look.add(row[no])
    return list(looks.values())


def _in_long(rows: Rows, form: FileForm) -> list[NameLook]:
    looks: dict[str, NameLook] = {}
    last = max(form.name_column, form.value_column, form.unit_column)
    for chunk in rows.chunks():
        for row in chunk.rows():
            if len(row) <= last:
                continue
            name = row[form.name_column].strip()
            look = looks.get(name)
            if look is None and name:
                unit = row[form.unit_column].strip() if form.unit_column >= 0 else unit_in_name(name)
                look = looks[name] = NameLook(name, unit)
            if look is not None and len(look.examples) < EXAMPLES:
                look.add(row[form.value_column])
        if len(looks) > MOST_NAMES:
            raise refuse(
                Sentence.of("file.many_channels", most=MOST_NAMES),
                Sentence.of("mend.name_column"),
            )
    return list(looks.values())
