"""The watches that ship: their file is read like the rest of the catalogue, and kept in the kilns that they suit."""

from collections.abc import Mapping
from typing import Any, ClassVar

from maintenance.loading.base import Load, Row
from maintenance.loading.catalogue_tables import SOURCE, CatalogueTable
from maintenance.loading.columns import Code, Ref, Refs, Text
from maintenance.loading.faults import CellFault, Counts
from maintenance.models import Watch
from maintenance.watches.calculations.rows import parse_watch


class WatchTable(CatalogueTable):
    """Watches; a row becomes a watch where a kiln is given the set (maintenance.watches.settings)."""

    name = "watches"
    meaning = "Conditions on readings, and what they suspect."
    model = Watch
    key = ("code",)
    texts: ClassVar[Mapping[str, str]] = {
        "rule": "rule",
        "parameters": "its numbers",
        "phases": "phases in which it looks",
        "severity": "notice or work_order",
        "agrees_within_days": "days within which a second watch agrees",
        "loss_kind": "kind of loss",
        "due_days": "days until the work is due",
        "safety_days": "days until the safety date",
    }
    columns = (
        Code("code", "code", is_required=True, largest=48),
        Text("name", "name", is_required=True, largest=100),
        Text("signal", "what it looks at", is_required=True, largest=70),
        Ref("component_kind", "kind of component", is_required=True, to="component_kind"),
        Refs("failure_modes", "failure modes, the likeliest first", to="failure_mode"),
        Ref("task_sheet", "task sheet", to="sheet"),
        Text("sentence", "what it says", is_required=True, largest=1000),
        *(Text(name, meaning, largest=1000) for name, meaning in texts.items()),
        *SOURCE,
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Read the watch as a whole: the rule, its numbers and the sentence must fit together."""
        try:
            parse_watch({name: row.text.get(name, "") for name in self.column_names()})
        except ValueError as refusal:
            raise CellFault(str(refusal), "Correct the row.", _column_of(str(refusal))) from None

    def write(self, rows: list[Row], load: Load) -> Counts:
        """Leave the kilns alone: a mill chooses its watches."""
        return Counts(unchanged=len(rows))

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return nothing: no row is kept by itself."""
        return {}


def _column_of(refusal: str) -> str:
    """Return the column that a refusal begins with, if it does."""
    first = refusal.split(" ", 1)[0]
    return first if first in WatchTable.column_names() else ""
