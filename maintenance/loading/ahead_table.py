"""The file of work that is wanted and that nobody has begun."""

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from maintenance.loading.base import KILN, Load, Row, Span, Table, raise_series
from maintenance.loading.columns import Choice, Day, Flag, Moment, Number, Ref, Refs, Text, Whole
from maintenance.loading.faults import CellFault
from maintenance.loading.work_tables import take_from_sheet
from maintenance.models import Defect, WorkOrder
from maintenance.models.catalogue import NeedsState
from maintenance.orders.raising import equip
from plant.basics.sentences import typed

SETTLED = (WorkOrder.State.SIGNED_OFF, WorkOrder.State.WITHDRAWN)


class WorkAheadTable(Table):
    """Work ahead."""

    name = "work_ahead"
    meaning = (
        "Work orders that nobody has begun. Steps, skills and parts come from the task sheet, and the parts are set "
        "aside; where and by whom it is done is planned anew. Known work stays as it is."
    )
    model = WorkOrder
    act = "raise work"
    key = ("number",)
    is_record = True
    spans = (Span("earliest_at", "due_at", "it is due before it may be done", may_be_empty=True),)
    columns = (
        Text("number", "number of the work order", "WO-0002", is_required=True, largest=20),
        Ref("sheet", "code of the task sheet", "escape-door-proof-test", to="sheet"),
        Text("title", "the job; empty: as the task sheet", "", largest=160),
        KILN,
        Ref("component", "tag of the component; empty: the kiln, or several", "escape-door-1", to="component"),
        Refs("covers", "tags of the components where it is for several; semicolons between", "", to="component"),
        Choice(
            "origin",
            "recurring task, finding, watch or asked for",
            "asked_for",
            default="asked_for",
            options=WorkOrder.Origin,
        ),
        Ref("recurring_task", "code of the recurring task", "", to="standing_task"),
        Day("occurrence_on", "date of the recurring task that it settles", ""),
        Moment("defect_found_at", "when the defect was found that it mends", ""),
        Text("defect_what", "what is wrong, as the defect says it", ""),
        Ref("check", "number of the function check that it is part of", "", to="check"),
        Choice("needs_state", "state of the kiln it needs; empty: as the task sheet", "", options=NeedsState),
        Number("hours", "hours; empty: as the task sheet", "", above="0", most="10000"),
        Whole("crew", "people; empty: as the task sheet", "", least="1", most="100"),
        Moment("raised_at", "when it was raised", "2026-11-20 07:00", is_required=True),
        Moment("earliest_at", "not before", ""),
        Moment("due_at", "when it is due", "2026-12-03 15:00", is_required=True),
        Moment("safety_at", "when it must be done for safety", ""),
        Flag("is_safety", "safety work? empty: as the task sheet says", "", default=None),
        Number("cost_of_delay_per_day", "cost of a day's delay", "0", default=0, decimals=2, least="0"),
        Text("why", "why it is wanted", "Its spring is weak.", largest=10_000),
        Day("not_before_on", "not wanted before; then left_out_why says why", ""),
        Moment("left_out_at", "since when it is left out of the plan", ""),
        Text("left_out_why", "why it is left out or not wanted before", ""),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Take from the task sheet what the row leaves open, and ask for what belongs together."""
        v, sheet = row.values, row.values["sheet"]
        take_from_sheet(v)
        if bool(v["defect_found_at"]) != bool(v["defect_what"]):
            raise CellFault("defect_found_at and defect_what belong together", "Fill in both.", "defect_what")
        if (v["not_before_on"] or v["left_out_at"]) and not v["left_out_why"]:
            raise CellFault("the reason is missing", "Say why it is left out or not wanted before.", "left_out_why")
        v["is_safety"] = v["is_safety"] or bool(sheet and sheet.is_safety)

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Find the defects, and refuse a second order for what another settles."""
        known = load.index("work_order")
        defects = {(one.kiln_id, one.found_at, one.what): one for one in Defect.objects.all()}
        open_orders = WorkOrder.objects.exclude(state=WorkOrder.State.WITHDRAWN).order_by("pk")
        taken: dict[tuple[Any, ...], str] = {}
        for order in open_orders:
            taken |= dict.fromkeys(_settles(vars(order).get), order.number)
            if order.state not in SETTLED and order.check_up_id:
                taken["check", order.check_up_id, order.needs_state] = order.number
        sound = []
        for row in rows:
            v = row.values
            v["defect"] = defects.get((v["kiln"].pk, v["defect_found_at"], v["defect_what"]))
            if v["defect_found_at"] and v["defect"] is None:
                remedy = "Correct instant or words, or add the defect to defects.csv."
                load.fault(self, row, "defect_what", "no defect of this kiln is known by that", remedy)
                continue
            wanted = list(_settles(partial(_id_of, v)))
            if v["check"]:
                wanted.append(("check", v["check"].pk, v["needs_state"]))
            other = next((taken[what] for what in wanted if taken.get(what, v["number"]) != v["number"]), None)
            if other and v["number"] not in known:
                load.fault(self, row, "number", f"{other} is for the same already", "Leave one of them out.")
                continue
            taken |= dict.fromkeys(wanted, v["number"])
            sound.append(row)
        return sound

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return the work of the same numbers."""
        return {(number,): order for number, order in load.index("work_order").items()}

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Name things as the model does."""
        v = row.values
        return super().fields(row, load) | {
            "state": WorkOrder.State.RAISED.value,
            "standing_task": v["recurring_task"],
            "check_up": v["check"],
            "defect": v["defect"],
            "sheet_version": v["sheet"].version if v["sheet"] else None,
            "why": typed(v["why"]),
        }

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Give new work its steps, skills and parts."""
        for row in rows:
            if row.values["number"] not in load.index("work_order") and row.values["sheet"]:
                equip(row.obj, row.values["sheet"], row.values["covers"])
        load.forget("work_order")
        raise_series("work order", "WO-", (row.obj.number for row in rows))
        return ()


def _settles(value: Callable[[str], Any]) -> Iterable[tuple[Any, ...]]:
    """Yield what an order is for that no second one may be for."""
    if value("standing_task_id"):
        yield "task", value("standing_task_id"), value("occurrence_on")
    if value("defect_id"):
        yield "defect", value("defect_id")


def _id_of(values: dict[str, Any], name: str) -> Any:
    thing = {"standing_task_id": values["recurring_task"], "defect_id": values["defect"]}.get(name)
    return values.get(name) if name == "occurrence_on" else getattr(thing, "pk", None)
