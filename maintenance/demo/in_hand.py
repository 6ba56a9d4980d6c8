"""What the planner had asked for before the demo's day: work for some of the defects, and jobs of other origin."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal

from maintenance.checks.check_sittings import ask_for_sittings
from maintenance.demo.world import ZONE, read_static
from maintenance.models import Defect, FunctionCheck, TaskSheet, WorkOrder, WorkSkill
from maintenance.orders.raising import raise_work_order
from plant.access import Role
from plant.basics.sentences import typed
from plant.models import Component, Skill, User


def ask_for_work(day: date) -> list[WorkOrder]:
    """Raise the work orders that are open on the demo's morning beside those of the recurring tasks."""
    planner = User.objects.get(roles_held__role=Role.PLANNER)
    asked = [_ask_for(row, day, planner) for row in read_static("asked_for")]
    for check in FunctionCheck.objects.under_way():
        asked += ask_for_sittings(check, by=planner)
    return asked


def _ask_for(row: dict[str, str], day: date, planner: User) -> WorkOrder:
    component = Component.objects.select_related("kiln").get(kiln__tag=row["kiln"], tag=row["component"])
    defect = Defect.objects.not_cured().get(component=component) if row["for_defect"] else None
    order = raise_work_order(
        kiln=component.kiln,
        component=component,
        title=row["title"],
        origin=WorkOrder.Origin.FINDING if defect else WorkOrder.Origin.ASKED_FOR,
        defect=defect,
        sheet=TaskSheet.objects.get(code=row["sheet"]) if row["sheet"] else None,
        needs_state=row["needs_state"] or None,
        hours=Decimal(row["hours"]) if row["hours"] else None,
        crew=int(row["crew"]) if row["crew"] else None,
        earliest_at=_instant(row["earliest"], day) if row["earliest"] else None,
        due_at=_instant(row["due"], day),
        cost_of_delay_per_day=Decimal(row["cost_of_delay_per_day"]),
        by=planner,
        why=typed(row["why"]),
    )
    if row["skill"]:
        WorkSkill.objects.create(work_order=order, skill=Skill.objects.get(code=row["skill"]), persons=order.crew)
    return order


def _instant(text: str, day: date) -> datetime:
    """Read D+9 15:00."""
    days, _, clock = text.partition(" ")
    return datetime.combine(day + timedelta(days=int(days[1:])), time.fromisoformat(clock), tzinfo=ZONE)
