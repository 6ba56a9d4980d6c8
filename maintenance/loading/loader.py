"""Load a folder: every table in the order in which they refer to one another, all or nothing."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction

from maintenance.loading.base import Load, Table
from maintenance.loading.catalogue_tables import CATALOGUE
from maintenance.loading.channel_table import ChannelTable
from maintenance.loading.charge_tables import ChargeTable, DowntimeTable
from maintenance.loading.check_tables import CheckFindingTable, FunctionCheckTable
from maintenance.loading.columns import Customs
from maintenance.loading.crew_tables import AbsenceTable, CrewTable, ShiftTable
from maintenance.loading.faults import Counts, Fault, FileFault, Report
from maintenance.loading.plant_tables import ComponentTable, FittingTable, KilnTable, MeterReadingTable, MillTable
from maintenance.loading.reading import list_files, read_sheet
from maintenance.loading.stock_tables import StockMoveTable, StockTable
from maintenance.loading.store_tables import BinTable, OrderTable, PartTable, SupplierTable, TermsTable
from maintenance.loading.watch_table import WatchTable
from maintenance.loading.work_tables import DefectTable, ProofTestTable, StandingTaskTable, WorkDoneTable
from plant.models import Change, Component, Kiln, Mill

TABLES: tuple[type[Table], ...] = (
    MillTable,
    KilnTable,
    ComponentTable,
    ChannelTable,
    ShiftTable,
    CrewTable,
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
    WorkDoneTable,
    OrderTable,
    # Counts come first: the oldest is what a mill starts from.
    StockTable,
    StockMoveTable,
    ProofTestTable,
    FunctionCheckTable,
    CheckFindingTable,
    DefectTable,
)


class _Undo(Exception):  # noqa: N818 (leaves a transaction, tells of nothing wrong)
    """Leave the transaction without keeping anything."""


def load_catalogue(folder: Path | None = None) -> Report:
    """Bring the product's catalogue into the database; what is there already is brought up to date."""
    folder = folder or Path(settings.FIXTURES_DIR) / "catalogue"
    return _load(folder, (*CATALOGUE, WatchTable))


def load_folder(folder: Path, *, is_check: bool = False) -> Report:
    """Load a mill's files, or only look whether they could be loaded.

    Nothing is kept unless every row of every file is sound. The catalogue is brought up to date first.
    """
    report = Report()
    try:
        with transaction.atomic():
            catalogue = load_catalogue()
            if not catalogue.is_sound:
                return catalogue
            report = _load(folder, TABLES)
            if is_check or not report.is_sound:
                raise _Undo
    except _Undo:
        pass
    return report


def _load(folder: Path, tables: Sequence[type[Table]]) -> Report:
    report = Report()
    load = Load(report, needs_mill=tables is TABLES)
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
            for table in tables:
                _load_table(table(), load)
            if load.needs_mill:
                _refuse_bare_kilns(load)
            if not report.is_sound:
                raise _Undo
            if load.needs_mill and report.has_changes:
                told = {name: str(counts) for name, counts in report.counts.items() if counts.new or counts.changed}
                Change.record(Mill.objects.current(), "files loaded", by=None, after=told)
    except _Undo:
        pass
    except FileFault as refusal:
        report.faults.append(refusal.fault)
    return report


def _read_files(folder: Path, tables: Sequence[type[Table]], load: Load) -> None:
    known = {table.name: table for table in tables}
    former = {table.former_name: table.name for table in tables if table.former_name}
    files, faults = list_files(folder, known, former)
    load.report.faults += faults
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
        load.sheets[name] = sheet
        load.report.notes += sheet.notes


def _load_table(table: Table, load: Load) -> None:
    sheet = load.sheets.get(table.name)
    if sheet is None:
        return
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
