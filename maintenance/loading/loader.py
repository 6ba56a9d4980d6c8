"""Load a folder: every table in the order in which they refer to one another, all or nothing."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, connection, transaction

from maintenance.loading.ahead_table import WorkAheadTable
from maintenance.loading.base import Load, Table
from maintenance.loading.catalogue_tables import CATALOGUE
from maintenance.loading.channel_table import ChannelTable
from maintenance.loading.charge_tables import ChargeTable, DowntimeTable
from maintenance.loading.check_tables import CheckFindingTable, CheckItemTable, FunctionCheckTable
from maintenance.loading.columns import Customs
from maintenance.loading.crew_tables import AbsenceTable, CrewTable, DayOffTable, ShiftDutyTable, ShiftTable
from maintenance.loading.dates_table import ChangedDateTable
from maintenance.loading.faults import Counts, Fault, FileFault, Report
from maintenance.loading.kiln_watch_table import KilnWatchTable
from maintenance.loading.own_tables import OWN_TABLES
from maintenance.loading.plant_tables import ComponentTable, FittingTable, KilnTable, MeterReadingTable, MillTable
from maintenance.loading.reading import Sheet, list_files, read_sheet
from maintenance.loading.recognising import nearest, recognise
from maintenance.loading.stock_tables import StockMoveTable, StockTable
from maintenance.loading.store_tables import BinTable, OrderTable, PartTable, SupplierTable, TermsTable
from maintenance.loading.watch_table import WatchTable
from maintenance.loading.work_tables import DefectTable, ProofTestTable, StandingTaskTable, WorkDoneTable
from maintenance.sheets.catalogue_changes import keep_versions, shipped_until_now
from plant.background.registry import Progress
from plant.basics.sentences import Sentence
from plant.models import Change, Component, Kiln, Mill, User

# One of PostgreSQL's advisory locks: one load at a time. SQLite has one writer anyway.
LOADING_LOCK = 7_130_013
TABLES: tuple[type[Table], ...] = (
    MillTable,
    *OWN_TABLES,
    KilnTable,
    ComponentTable,
    ChannelTable,
    ShiftTable,
    CrewTable,
    ShiftDutyTable,
    DayOffTable,
    AbsenceTable,
    SupplierTable,
    BinTable,
    PartTable,
    TermsTable,
    MeterReadingTable,
    ChargeTable,
    DowntimeTable,
    FittingTable,
    StandingTaskTable,
    KilnWatchTable,
    WorkDoneTable,
    ChangedDateTable,
    OrderTable,
    # Counts come first: the oldest is what a mill starts from.
    StockTable,
    StockMoveTable,
    ProofTestTable,
    FunctionCheckTable,
    CheckItemTable,
    CheckFindingTable,
    DefectTable,
    WorkAheadTable,
)


class _Undo(Exception):  # noqa: N818 (leaves a transaction, tells of nothing wrong)
    """Leave the transaction without keeping anything."""


def load_catalogue(folder: Path | None = None) -> Report:
    """Bring the product's catalogue into the database; what is there already is brought up to date.

    What it changes of task sheets and check points is kept as their earlier versions, and told in the report's notes.
    """
    folder = folder or Path(settings.FIXTURES_DIR) / "catalogue"
    with transaction.atomic():
        before = shipped_until_now()
        report = _load(folder, (*CATALOGUE, WatchTable))
        if report.is_sound and report.has_changes:
            report.notes += keep_versions(before)
    return report


def no_progress(done: int, total: int, note: object = ()) -> None:
    """Tell nobody."""


def load_folder(
    folder: Path,
    *,
    is_check: bool = False,
    by: User | None = None,
    agreed: str = "",
    progress: Progress = no_progress,
    source: str = "",
    taken_out: str = "",
) -> Report:
    """Load a mill's files, or only look whether they could be loaded.

    Nothing is kept unless every row of every file is sound. The catalogue is brought up to date first. Somebody (`by`)
    changes only what their role allows; the program itself (None) all. Where somebody looked and agreed, `agreed` is
    the digest of the report that they saw: if the load would do anything else by now, nothing is kept. Files that
    nobody brought name their `source`: what people said of charges they leave alone. Charges that were taken out of the
    programme are faults until it is said what is to be of them: `taken_out` is "leave" or "anew".
    """
    report = Report()
    try:
        with transaction.atomic():
            _one_at_a_time()
            catalogue = load_catalogue()
            if not catalogue.is_sound:
                return catalogue
            report = _load(folder, TABLES, by, progress, source, taken_out)
            if is_check or not report.is_sound or (agreed and report.digest != agreed):
                raise _Undo
            report.is_kept = True
    except _Undo:
        pass
    return report


def _one_at_a_time() -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOADING_LOCK])


def _load(
    folder: Path,
    tables: Sequence[type[Table]],
    by: User | None = None,
    progress: Progress = no_progress,
    source: str = "",
    taken_out: str = "",
) -> Report:
    report = Report()
    load = Load(report, needs_mill=tables is TABLES, by=by, source=source)
    load.taken_out = taken_out
    try:
        with transaction.atomic():
            _read_files(folder, tables, load)
            if not load.sheets:
                raise _Undo
            load.mill = Mill.objects.first()
            if load.needs_mill and load.mill is None and "mill" not in load.sheets and "mill" not in load.unreadable:
                remedy = "Add it: manage.py templates FOLDER writes one with an example row."
                report.faults.append(Fault("mill.csv", 0, "", "", "the file of the mill is missing", remedy))
                raise _Undo
            if load.mill is not None:
                load.customs = Customs(ZoneInfo(load.mill.time_zone))
            total, done = sum(len(sheet.rows) for sheet in load.sheets.values()), 0
            for table in tables:
                sheet = load.sheets.get(table.name)
                if sheet is None:
                    continue
                load.rows_read = partial(_tell, progress, done, total, Sentence.of("files.rows_of", file=sheet.file))
                _load_table(table(), load, sheet)
                done += len(sheet.rows)
            if load.needs_mill:
                _refuse_bare_kilns(load)
            if not report.is_sound:
                raise _Undo
            if load.needs_mill and report.has_changes:
                told = {name: str(counts) for name, counts in report.counts.items() if counts.new or counts.changed}
                Change.record(Mill.objects.current(), "files loaded", by=by, after=told)
    except _Undo:
        pass
    except FileFault as refusal:
        report.faults.append(refusal.fault)
    return report


def _read_files(folder: Path, tables: Sequence[type[Table]], load: Load) -> None:
    known = {table.name: table for table in tables}
    former = {table.former_name: table.name for table in tables if table.former_name}
    files, faults = list_files(folder, known, former, partial(recognise, known=known), partial(nearest, known=known))
    load.report.faults += faults
    load.report.files = {name: path.name for name, path in files.items()}
    for name, path in files.items():
        try:
            sheet = read_sheet(
                path, name, known[name].column_names(), settings.MAX_LOAD_BYTES, known[name].former_columns
            )
        except FileFault as refusal:
            load.report.faults.append(refusal.fault)
            load.unreadable.add(name)
            continue
        except OSError as refusal:
            remedy = "Close it elsewhere, and see to it that it may be read."
            load.report.faults.append(Fault(path.name, 0, "", "", f"the file cannot be opened ({refusal})", remedy))
            load.unreadable.add(name)
            continue
        load.report.faults += sheet.faults
        missing = [
            column.name for column in known[name].columns if column.is_required and column.name not in sheet.header
        ]
        if missing:
            load.report.faults.append(
                Fault(
                    sheet.file,
                    1,
                    missing[0],
                    "",
                    "the column is missing",
                    f"Add it: {', '.join(sheet.header)} are there.",
                )
            )
            load.unreadable.add(name)
            continue
        if fault := _refusal_of_right(known[name], sheet, load.by):
            load.report.faults.append(fault)
            load.unreadable.add(name)
            continue
        load.sheets[name] = sheet
        load.report.notes += sheet.notes


def _refusal_of_right(table: type[Table], sheet: Sheet, by: User | None) -> Fault | None:
    """Say what somebody may not change by a file because they may not change it by a page."""
    if by is None:
        return None
    if not by.may(table.act):
        remedy = f"Leave the file out, or let somebody take it in whose role allows to {table.act}."
        return Fault(sheet.file, 0, "", "", "your role does not allow you to change what this file holds", remedy)
    for column, act in table.acts.items():
        if column in sheet.header and not by.may(act):
            remedy = f"Leave the column out, or let somebody take the file in whose role allows to {act}."
            return Fault(sheet.file, 1, column, "", "your role does not allow you to change this", remedy)
    return None


def _tell(progress: Progress, done: int, total: int, note: Sentence, count: int) -> None:
    progress(done + count, total, note)


def _load_table(table: Table, load: Load, sheet: Sheet) -> None:
    load.customs = replace(load.customs, is_semicolon=sheet.delimiter == ";")
    rows = table.read(load, sheet)
    if load.needs_mill and load.mill is None and table.name != "mill":
        # The mill's own row is at fault: without it no kiln can be kept, and everything hangs on kilns.
        load.unreadable.add(table.name)
        return
    sound = table.check(rows, load)
    if table.kind:
        for row in rows:
            if row not in sound:
                load.mark_at_fault(table.kind, table.code_text(row.text))
    try:
        with transaction.atomic():
            load.report.counts[table.name] = table.write(sound, load)
    except IntegrityError as refusal:
        load.report.counts[table.name] = Counts()
        load.report.faults.append(
            Fault(
                sheet.file,
                0,
                "",
                "",
                f"the database refuses these rows ({refusal})",
                "Somebody may have changed the same things meanwhile: load once more. If it stays, look for that rule.",
            )
        )


def _refuse_bare_kilns(load: Load) -> None:
    """A kiln in use without components can neither be checked nor kept up."""
    sheet = load.sheets.get("kilns")
    if sheet is None or "components" in load.unreadable:
        return
    bare = set(Kiln.objects.in_use().exclude(pk__in=Component.objects.values("kiln")).values_list("tag", flat=True))
    components = load.sheets.get("components")
    tried = {text.get("kiln", "") for _, text in components.rows} if components else set()
    for number, text in sheet.rows:
        if text.get("tag", "") in bare - tried:
            load.report.faults.append(
                Fault(
                    sheet.file,
                    number,
                    "tag",
                    text["tag"],
                    "the kiln has no components",
                    "Add them to components.csv, or say is_active = no until they are known.",
                )
            )
