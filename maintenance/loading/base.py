"""What every file's table shares: reading its rows into values, finding what they refer to, and writing them."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, ClassVar

from django.db import models

from inventory.models import Bin, Part, PartKind, PurchaseOrder, Supplier
from maintenance.loading.columns import Column, Customs, Ref, Values
from maintenance.loading.faults import (
    MOST_CHANGES_TOLD,
    CellFault,
    Counts,
    Fault,
    Follows,
    Report,
    RowChange,
    suggest,
)
from maintenance.loading.reading import Sheet
from maintenance.models import Caution, CheckPoint, FunctionCheck, StandingTask, TaskSheet, WorkOrder
from plant import clock
from plant.models import (
    Change,
    Component,
    ComponentKind,
    FailureMode,
    Kiln,
    Mill,
    NumberSeries,
    Person,
    Shift,
    Skill,
    User,
)

BATCH = 400
# After so many rows it is told how far the reading is.
TOLD_EVERY = 200


@dataclass(frozen=True)
class Known:
    """How a kind of thing is called, in which file it stands, and how all of them are found by code."""

    noun: str
    file: str
    fetch: Callable[[], dict[Any, Any]]


def _by(model: type[models.Model], name: str, *related: str) -> Callable[[], dict[Any, Any]]:
    def fetch() -> dict[Any, Any]:
        found = model._default_manager.all()
        return {getattr(obj, name): obj for obj in (found.select_related(*related) if related else found)}

    return fetch


def _components() -> dict[Any, Any]:
    return {(found.kiln_id, found.tag): found for found in Component.objects.select_related("kiln", "kind")}


KNOWN: Mapping[str, Known] = {
    "component_kind": Known("kind of component of the catalogue", "the catalogue", _by(ComponentKind, "code")),
    "failure_mode": Known("failure mode of the catalogue", "the catalogue", _by(FailureMode, "code")),
    "part_kind": Known("kind of part of the catalogue", "the catalogue", _by(PartKind, "code")),
    "skill": Known("skill of the catalogue", "the catalogue", _by(Skill, "code")),
    "caution": Known("caution of the catalogue", "the catalogue", _by(Caution, "code")),
    "sheet": Known("task sheet of the catalogue", "the catalogue", _by(TaskSheet, "code", "kind", "standing_default")),
    "check_point": Known("check point of the catalogue", "the catalogue", _by(CheckPoint, "code")),
    "kiln": Known("kiln", "kilns", _by(Kiln, "tag")),
    "component": Known("component of this kiln", "components", _components),
    "shift": Known("shift", "shifts", _by(Shift, "code")),
    "person": Known("person", "crew", _by(Person, "code", "user")),
    "supplier": Known("supplier", "suppliers", _by(Supplier, "code")),
    "bin": Known("bin", "bins", _by(Bin, "code")),
    "part": Known("part", "parts", _by(Part, "code", "bin")),
    "order": Known("order", "orders", _by(PurchaseOrder, "number")),
    "standing_task": Known("recurring task", "recurring_tasks", _by(StandingTask, "code")),
    "work_order": Known("work order", "work_done", _by(WorkOrder, "number", "kiln")),
    "check": Known("function check", "function_checks", _by(FunctionCheck, "number", "kiln")),
}
# Things whose code counts within a kiln only.
WITHIN_KILN = frozenset({"component"})


@dataclass
class Row:
    """One row of a file with its text, the values read from it, and the object that came of it."""

    number: int
    text: dict[str, str]
    values: dict[str, Any] = field(default_factory=dict)
    obj: Any = None
    is_new: bool = False


@dataclass(frozen=True)
class Span:
    """Two columns that are the start and the end of something."""

    start: str
    end: str
    reason: str
    # Whether both may be the same instant.
    may_be_empty: bool = False


class Load:
    """One load under way: what was found, and what rows can refer to."""

    def __init__(self, report: Report, *, needs_mill: bool = True, by: User | None = None, source: str = "") -> None:
        self.report = report
        self.needs_mill = needs_mill
        # Who brings the files; None is the program itself.
        self.by = by
        # By which way they come where nobody brings them: then what people said of charges is left alone.
        self.source = source
        self.customs = Customs()
        self.mill: Mill | None = None
        # What is to be of charges that were taken out of the programme: "leave", "anew", or a fault each.
        self.taken_out = ""
        # Told how many rows of the table under way are read.
        self.rows_read: Callable[[int], None] = lambda count: None
        # Codes of the mill's own task sheets and check points that came with this load.
        self.fresh: set[str] = set()
        self.sheets: dict[str, Sheet] = {}
        self.unreadable: set[str] = set()
        self._at_fault: set[tuple[str, str]] = set()
        self._index: dict[str, dict[Any, Any]] = {}

    def index(self, kind: str) -> dict[Any, Any]:
        """Return code -> object of a kind; one query the first time."""
        if kind not in self._index:
            self._index[kind] = KNOWN[kind].fetch()
        return self._index[kind]

    def forget(self, kind: str) -> None:
        """Read a kind anew when it is asked for next."""
        self._index.pop(kind, None)

    def find(self, kind: str, code: str, values: Values) -> Any:
        """Return what a code refers to.

        Raises
        ------
        CellFault
            where nothing has the code.
        Follows
            where its own row, or its kiln's cell, is at fault.
        """
        key: Any = code
        if kind in WITHIN_KILN:
            if _kiln_of(values) is None:
                raise Follows
            key = (_kiln_of(values).pk, code)
        found = self.index(kind).get(key)
        if found is None:
            self._refuse_code(kind, code, values)
        return found

    def _refuse_code(self, kind: str, code: str, values: Values) -> None:
        known = KNOWN[kind]
        if known.file in self.unreadable or (kind, self._scoped(kind, code, values)) in self._at_fault:
            raise Follows
        if kind in WITHIN_KILN:
            codes = [key[1] for key in self.index(kind) if key[0] == _kiln_of(values).pk]
        else:
            codes = list(self.index(kind))
        where = (
            "correct the code" if known.file == "the catalogue" else f"add it to {known.file}.csv or correct the code"
        )
        hint = suggest(code, codes)
        if hint or len(codes) > 15 or not codes:
            raise CellFault(
                f"no {known.noun} has this code", f"{hint}Otherwise {where}." if hint else f"{where.capitalize()}."
            )
        raise CellFault(f"no {known.noun} has this code", f"Known are {', '.join(sorted(codes))}: {where}.")

    @staticmethod
    def _scoped(kind: str, code: str, values: Values) -> str:
        return f"{_kiln_of(values).tag}/{code}" if kind in WITHIN_KILN else code

    def mark_at_fault(self, kind: str, code: str) -> None:
        """Keep rows that refer to a faulty row from being listed too."""
        self._at_fault.add((kind, code))

    def fault(self, table: "Table", row: Row, column: str, reason: str, remedy: str) -> None:
        """List a fault of a row."""
        self.report.faults.append(self._about(table, row, column, reason, remedy))

    def warn(self, table: "Table", row: Row, column: str, reason: str, remedy: str) -> None:
        """List something that does not keep a row from being loaded."""
        self.report.warnings.append(self._about(table, row, column, reason, remedy))

    def _about(self, table: "Table", row: Row, column: str, reason: str, remedy: str) -> Fault:
        return Fault(self.sheets[table.name].file, row.number, column, row.text.get(column, ""), reason, remedy)


class Table:
    """One file: its columns, its key, and how its rows become objects.

    Column names are field names of the model, so that a file without a column leaves that field alone.
    """

    name: ClassVar[str]
    meaning: ClassVar[str]
    model: ClassVar[type[models.Model]]
    columns: ClassVar[Sequence[Column]]
    key: ClassVar[tuple[str, ...]]
    # What file and columns were called in earlier versions: a mill's files from then still load.
    former_name: ClassVar[str] = ""
    former_columns: ClassVar[Mapping[str, str]] = {}
    # The kind under which other rows refer to these.
    kind: ClassVar[str] = ""
    # What has happened is only added to: a row whose key is known stays as it is.
    is_record: ClassVar[bool] = False
    # Columns with several codes: the column -> what its through model calls the other side.
    links: ClassVar[Mapping[str, str]] = {}
    # Pairs of columns, start and end, and what is said where the end does not come after the start.
    spans: ClassVar[Sequence["Span"]] = ()
    # What somebody must be allowed to do to bring this file, and the columns that need more: column -> act.
    act: ClassVar[str] = "bring files in"
    acts: ClassVar[Mapping[str, str]] = {}
    # Figures of the catalogue come with the product; their changes are in its own history.
    keeps_history: ClassVar[bool] = True

    @classmethod
    def column_names(cls) -> list[str]:
        """Return the known header."""
        return [column.name for column in cls.columns]

    def read(self, load: Load, sheet: Sheet) -> list[Row]:
        """Read every row; those without fault are returned, the others listed."""
        sound: list[Row] = []
        seen: dict[tuple[Any, ...], int] = {}
        for count, (number, text) in enumerate(sheet.rows):
            if count % TOLD_EVERY == 0:
                load.rows_read(count)
            row = Row(number, text)
            if self._read_row(load, row) and self._is_first(load, row, seen):
                sound.append(row)
            elif self.kind:
                load.mark_at_fault(self.kind, self.code_text(text))
        return sound

    def _read_row(self, load: Load, row: Row) -> bool:
        is_sound = True
        for column in self.columns:
            try:
                row.values[column.name] = column.read(
                    row.text.get(column.name, ""), load.customs, row.values, load.find
                )
            except CellFault as refusal:
                load.fault(self, row, column.name, refusal.reason, refusal.remedy)
                is_sound = False
            except Follows:
                is_sound = False
        if self._refuse_reversed(load, row):
            return False
        if is_sound:
            try:
                self.prepare(row, load)
            except CellFault as refusal:
                load.fault(self, row, refusal.column, refusal.reason, refusal.remedy)
                is_sound = False
        return is_sound

    def _refuse_reversed(self, load: Load, row: Row) -> bool:
        """List ends before their starts, beside whatever else is wrong in the row."""
        is_reversed = False
        for span in self.spans:
            start, end = row.values.get(span.start), row.values.get(span.end)
            if start is not None and end is not None and (end < start or (end == start and not span.may_be_empty)):
                load.fault(self, row, span.end, span.reason, f"Correct {span.start} or {span.end}.")
                is_reversed = True
        return is_reversed

    def _is_first(self, load: Load, row: Row, seen: dict[tuple[Any, ...], int]) -> bool:
        if not self.key:
            return True
        key = self.key_of(row.values)
        if key in seen:
            said = " and ".join(self.key)
            load.fault(self, row, self.key[0], f"row {seen[key]} has the same {said}", "Keep one of the two rows.")
            return False
        seen[key] = row.number
        return True

    def code_text(self, text: Mapping[str, str]) -> str:
        """Return the text by which other rows refer to this one."""
        return "/".join(text.get(name, "") for name in self.key)

    def key_of(self, values: Values) -> tuple[Any, ...]:
        """Return what tells a row from the others."""
        return tuple(_plain(values[name]) for name in self.key)

    def prepare(self, row: Row, load: Load) -> None:
        """Check what several columns say together, and fill in what follows from them."""

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Check rows against one another and what is kept; return those that can be written."""
        return rows

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return key -> object of what is kept already."""
        if self.kind:
            return {key if isinstance(key, tuple) else (key,): obj for key, obj in load.index(self.kind).items()}
        names = [self.model._meta.get_field(name).attname for name in self.key]  # type: ignore[union-attr]
        return {tuple(getattr(obj, name) for name in names): obj for obj in self.model._default_manager.all()}

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Return the model's fields; every column that is a field, unless a table says otherwise."""
        known = {found.name for found in self.model._meta.concrete_fields}
        return {name: value for name, value in row.values.items() if name in known}

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Write the rows, those alike not at all."""
        counts, existing = Counts(), self.existing(rows, load)
        new: list[Any] = []
        changed: list[tuple[Row, dict[str, Any], dict[str, Any]]] = []
        touched: dict[int, str] = {}
        for row in rows:
            fields = self.fields(row, load)
            row.obj = existing.get(self.key_of(row.values))
            if row.obj is None:
                row.obj, row.is_new = self.model(**fields), True
                new.append(row.obj)
                touched[row.number] = "new"
            elif not self.is_record and (differing := self._differing(row, fields)):
                before = {name: getattr(row.obj, name) for name in differing}
                for name in differing:
                    setattr(row.obj, name, fields[name])
                changed.append((row, before, {name: fields[name] for name in differing}))
                touched[row.number] = "changed"
        self._store(new, changed, load)
        self.tell_changes(changed, load)
        if self.kind:
            load.forget(self.kind)
        for number in self.after(rows, load):
            touched.setdefault(number, "changed")
        counts.new = sum(how == "new" for how in touched.values())
        counts.changed = len(touched) - counts.new
        counts.unchanged = len(rows) - len(touched)
        return counts

    def _differing(self, row: Row, fields: Mapping[str, Any]) -> list[str]:
        """Name the fields that the file changes; a column that the file does not have changes nothing."""
        names = set(self.column_names())
        return [
            name
            for name, value in fields.items()
            if (name not in names or name in row.text) and getattr(row.obj, name) != value
        ]

    def tell_changes(self, changed: list[tuple[Row, dict[str, Any], dict[str, Any]]], load: Load) -> None:
        """List what rows change, of one row all together, and of no more rows than anybody reads."""
        told = {one.row: one for one in load.report.changes if one.table == self.name}
        for row, was, now in changed:
            before, after = ({name: as_shown(value, load) for name, value in side.items()} for side in (was, now))
            if row.number in told:
                told[row.number].before.update(before)
                told[row.number].after.update(after)
            elif len(told) < MOST_CHANGES_TOLD:
                told[row.number] = RowChange(self.name, row.number, self.code_text(row.text), before, after)
                load.report.changes.append(told[row.number])

    def _store(self, new: list[Any], changed: list[tuple[Row, dict[str, Any], dict[str, Any]]], load: Load) -> None:
        if changed:
            self.update([row.obj for row, _, _ in changed], sorted({name for _, _, after in changed for name in after}))
        self.model._default_manager.bulk_create(new, batch_size=BATCH)
        if self.keeps_history:
            record_changes([(row.obj, before, after) for row, before, after in changed], load.by)

    def update(self, objects: list[Any], names: list[str]) -> None:
        """Store changed objects."""
        self.model._default_manager.bulk_update(objects, names, batch_size=BATCH)

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Write what hangs on the rows; return the numbers of rows in which that changed something."""
        return {number for column, other in self.links.items() for number in self._write_links(rows, column, other)}

    def _write_links(self, rows: list[Row], column: str, other: str) -> Iterable[int]:
        through: Any = getattr(self.model, column).through
        mine = f"{self.model._meta.model_name}_id"
        kept: dict[int, set[int]] = defaultdict(set)
        for own_id, other_id in through.objects.values_list(mine, other):
            kept[own_id].add(other_id)
        new = []
        for row in rows:
            wanted, had = {linked.pk for linked in row.values[column]}, kept[row.obj.pk]
            if column not in row.text or wanted == had:
                continue
            yield row.number
            through.objects.filter(**{mine: row.obj.pk, f"{other}__in": had - wanted}).delete()
            new += [through(**{mine: row.obj.pk, other: pk}) for pk in sorted(wanted - had)]
        through.objects.bulk_create(new, batch_size=BATCH)


def record_changes(
    changes: Iterable[tuple[models.Model, Mapping[str, Any], Mapping[str, Any]]], by: User | None
) -> None:
    """Add what files changed to the history, in one statement."""
    at = clock.now()
    Change.objects.bulk_create(
        [
            Change(
                at=at,
                by=by,
                subject_kind=subject._meta.label_lower,
                subject_key=str(subject.pk),
                act="changed by a file",
                before={name: as_told(value) for name, value in before.items()},
                after={name: as_told(value) for name, value in after.items()},
            )
            for subject, before, after in changes
        ],
        batch_size=BATCH,
    )


def raise_series(series_name: str, prefix: str, numbers: Iterable[str]) -> None:
    """Let the program's own numbers go on after those of the files."""
    used = [
        int(number[len(prefix) :])
        for number in numbers
        if number.startswith(prefix) and number[len(prefix) :].isdigit()
    ]
    if used:
        series, _ = NumberSeries.objects.get_or_create(name=series_name)
        if series.last < max(used):
            NumberSeries.objects.filter(pk=series.pk).update(last=max(used))


def as_told(value: Any) -> Any:
    """Return a value as the history keeps it."""
    if value is None or isinstance(value, bool | int | str):
        return value
    return value.isoformat() if isinstance(value, datetime | date) else str(value)


def as_shown(value: Any, load: Load) -> str:
    """Return a value as somebody reads it: instants in the mill's time."""
    if isinstance(value, datetime):
        return f"{value.astimezone(load.customs.zone):%Y-%m-%d %H:%M}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def _kiln_of(values: Values) -> Any:
    """Return the row's kiln, or that of the check it belongs to."""
    return values.get("kiln") or getattr(values.get("check"), "kiln", None)


def _plain(value: Any) -> Any:
    return value.pk if isinstance(value, models.Model) else value


KILN = Ref("kiln", "tag of the kiln", "K1", is_required=True, to="kiln")


def refuse_other_kind(values: dict[str, Any]) -> None:
    """Refuse a failure mode that belongs to another kind of component."""
    component, mode = values.get("component"), values.get("failure_mode")
    if component is not None and mode is not None and component.kind_id != mode.kind_id:
        raise CellFault(
            f"this is a failure mode of another kind of component than {component.tag}",
            f"Write one of the kind {component.kind.code}, or correct the component.",
            "failure_mode",
        )
