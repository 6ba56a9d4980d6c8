"""The file of dates of recurring tasks that are skipped or moved."""

from collections.abc import Mapping
from typing import Any, ClassVar

from maintenance.loading.base import Load, Row, Table
from maintenance.loading.columns import Day, Moment, Number, Ref, Text
from maintenance.models import ChangedDate, WorkOrder
from plant import clock

OVER = (WorkOrder.State.DONE, WorkOrder.State.SIGNED_OFF, WorkOrder.State.WITHDRAWN)


class ChangedDateTable(Table):
    """Skipped and moved dates."""

    name = "changed_dates"
    meaning = "Dates of recurring tasks that are skipped, or moved to another day. A known one stays as it is."
    model = ChangedDate
    act = "edit recurring tasks"
    key = ("recurring_task", "due_on")
    is_record = True
    links: ClassVar[Mapping[str, str]] = {}
    columns = (
        Ref(
            "recurring_task", "code of the recurring task", "K1-escape-door-test", is_required=True, to="standing_task"
        ),
        Day("due_on", "the date", "2026-12-24", is_required=True),
        Day("moved_to_on", "the day to which it is moved; empty: it is skipped", "2026-12-28"),
        Text("why", "why", "Nobody is there on that day", is_required=True),
        Moment("at", "when that was decided; empty: now", ""),
        Ref("by", "who decided it; empty: not known", "", to="person"),
        Number("passed_running_h", "running hours since the last work at which it was due", ""),
        Number("passed_charges", "charges since the last work at which it was due", ""),
        Day("after_done_on", "the last work before it", ""),
    )

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse dates for which work is raised: on a page that is withdrawn or moved with the date."""
        raised: dict[tuple[int | None, Any], str] = {}
        for order, task, on in (
            WorkOrder.objects.filter(standing_task__in={row.values["recurring_task"].pk for row in rows})
            .exclude(state__in=OVER)
            .values_list("number", "standing_task_id", "occurrence_on")
        ):
            raised[task, on] = order
        known, sound = self.existing(rows, load), []
        for row in rows:
            v = row.values
            number = raised.get((v["recurring_task"].pk, v["due_on"]))
            if number and self.key_of(v) not in known:
                remedy = "Skip or move it on the page of the recurring task, or leave the row out."
                load.fault(self, row, "due_on", f"{number} is raised for this date", remedy)
            else:
                sound.append(row)
        return sound

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return what is skipped or moved by now."""
        kept = ChangedDate.objects.filter(taken_back_at__isnull=True)
        return {(one.standing_task_id, one.due_on): one for one in kept}

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Name the task and the person as the model does."""
        v = row.values
        return super().fields(row, load) | {
            "standing_task": v["recurring_task"],
            "at": v["at"] or clock.now(),
            "by": getattr(v["by"], "user", None) if v["by"] else load.by,
        }
