"""The files of what a mill wrote itself: its own task sheets and check points. A known one stays as it is."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from maintenance.loading.base import BATCH, Load, Row, Table
from maintenance.loading.catalogue_tables import (
    CatalogueTable,
    CatalogueUnit,
    CheckPointTable,
    OfSheetTable,
    TaskPartTable,
    TaskSheetTable,
    TaskStepTable,
)
from maintenance.loading.columns import Choice, Column, Moment, Ref, Text, Whole
from maintenance.loading.faults import CellFault, Counts
from maintenance.models import CheckPoint, StandingDefault
from maintenance.models.versions import OWN

ACT = "edit task sheets"
EXAMPLES: Mapping[str, str] = {
    "code": "own-grease-hinges",
    "sheet": "own-grease-hinges",
    "title": "Grease the door's hinges",
    "component_kind": "main-door",
    "needs_state": "any",
    "hours": "0.5",
    "crew": "1",
    "no": "1",
    "text": "Wipe the old grease off.",
    "part_kind": "bearing-grease",
    "quantity": "0.1",
    "end_view_no": "2",
    "what": "Hinges",
    "seen_in": "open_empty",
    "method": "Swing the door",
    "criterion": "It swings without a sound",
    "per": "component",
    "interval_is": "own_choice",
}
LIFE: tuple[Column, ...] = (
    Moment("withdrawn_at", "when it was withdrawn; empty: in use", ""),
    Text("withdrawn_why", "why it was withdrawn", ""),
)


def with_examples(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Return columns with examples of a mill's own."""
    return tuple(replace(column, example=EXAMPLES.get(column.name, column.example)) for column in columns)


class OwnTable(CatalogueTable):
    """What a mill wrote itself: new ones are kept; a known one changes on its page, where its versions are kept."""

    act = ACT

    def prepare(self, row: Row, load: Load) -> None:
        """Ask for a code of the mill's own."""
        if not row.values["code"].startswith(OWN):
            raise CellFault(f"the mill's own have codes that begin with {OWN}", f"Write {OWN} before it.", "code")

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Say that it is the mill's own, and which version was copied."""
        copied = row.values["copied_from"]
        return super().fields(row, load) | {
            "is_own": True,
            "copied_version": copied.version if copied else None,
        }

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Leave those that are known alone."""
        known = load.index(self.kind)
        new = [row for row in rows if row.values["code"] not in known]
        counts = super().write(new, load)
        load.fresh |= {row.values["code"] for row in new}
        counts.unchanged += len(rows) - len(new)
        return counts


class OwnTaskSheetTable(OwnTable, TaskSheetTable):
    """The mill's own task sheets."""

    name = "own_task_sheets"
    meaning = (
        "Task sheets that the mill wrote or copied itself; their codes begin with own-. Steps and parts have files of "
        "their own. A known one stays as it is: change it on its page, where its versions are kept."
    )
    columns = with_examples(
        (
            *TaskSheetTable.columns,
            Whole("every", "how often it usually recurs: every so many …", least="1"),
            Choice("every_unit", "… of these", default="", options=CatalogueUnit),
            Ref("copied_from", "code of the task sheet of the catalogue that was copied", to="sheet"),
            *LIFE,
        )
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Ask for what belongs together."""
        super().prepare(row, load)
        v = row.values
        if bool(v["every"]) != bool(v["every_unit"]):
            raise CellFault("every and every_unit belong together", "Fill in both, or neither.", "every_unit")
        codes = [skill.code for skill in v["skills"]]
        if many := next((code for code in codes if codes.count(code) > v["crew"]), None):
            reason = f"{codes.count(many)} people with {many}, and {v['crew']} in all"
            raise CellFault(reason, "Raise one, or lower the other.", "crew")

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Keep how often it usually recurs."""
        touched = set(super().after(rows, load))
        usual = {"reset_early": "completion", "reset_inside": "anchored", "reset_late": "completion"}
        StandingDefault.objects.bulk_create(
            [
                StandingDefault(
                    sheet=row.obj,
                    every=row.values["every"],
                    every_unit=row.values["every_unit"],
                    interval_is=CheckPoint.IntervalIs.OWN_CHOICE,
                    **usual,
                )
                for row in rows
                if row.values["every"]
            ],
            batch_size=BATCH,
        )
        load.forget("sheet")
        return touched


class OfOwnSheetTable(OfSheetTable):
    """What belongs to the mill's own task sheets: it comes with them."""

    act = ACT

    def prepare(self, row: Row, load: Load) -> None:
        """Leave the product's own sheets alone."""
        if not row.values["sheet"].is_own:
            raise CellFault(
                "this task sheet comes with the product", "Copy it on its page, and change the copy.", "sheet"
            )

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Write what belongs to sheets that came with this load."""
        new = [row for row in rows if row.values["sheet"].code in load.fresh]
        counts = super().write(new, load)
        counts.unchanged += len(rows) - len(new)
        return counts


class OwnTaskStepTable(OfOwnSheetTable, TaskStepTable):
    """Steps of the mill's own task sheets."""

    name = "own_task_steps"
    meaning = "Steps of the mill's own task sheets, which come together with their sheet."
    columns = with_examples(TaskStepTable.columns)


class OwnTaskPartTable(OfOwnSheetTable, TaskPartTable):
    """Parts of the mill's own task sheets."""

    name = "own_task_parts"
    meaning = "What the mill's own task sheets use up; it comes together with the sheet."
    columns = with_examples(TaskPartTable.columns)


class OwnCheckPointTable(OwnTable, CheckPointTable):
    """The mill's own check points."""

    name = "own_check_points"
    meaning = (
        "Points of the function check that the mill wrote or copied itself; their codes begin with own-. A known one "
        "stays as it is: change it on its page, where its versions are kept."
    )
    columns = with_examples(
        (
            *CheckPointTable.columns,
            Ref("copied_from", "code of the check point of the catalogue that was copied", to="check_point"),
            *LIFE,
        )
    )


OWN_TABLES: tuple[type[Table], ...] = (OwnTaskSheetTable, OwnTaskStepTable, OwnTaskPartTable, OwnCheckPointTable)
