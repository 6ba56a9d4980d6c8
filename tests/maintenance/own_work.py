"""Placed work of somebody, for tests of the day, the week, the calendar, the day sheet and the mails."""

from datetime import datetime, timedelta
from typing import Any

from maintenance.models import Placement, WorkOrder
from plant.models import Person
from tests.factories import WorkOrderFactory


def placed(start_at: datetime, *people: Person, hours: float = 1, **facts: Any) -> WorkOrder:
    """A job with its place, given to people."""
    order: WorkOrder = WorkOrderFactory(**{"state": "placed", **facts})
    Placement.objects.create(work_order=order, start_at=start_at, end_at=start_at + timedelta(hours=hours))
    for person in people:
        order.assignments.create(person=person)
    return order


def move(order: WorkOrder, hours: float) -> None:
    """Give a job another start, past every rule and every action."""
    place = Placement.objects.get(work_order=order)
    by = timedelta(hours=hours)
    Placement.objects.filter(pk=place.pk).update(start_at=place.start_at + by, end_at=place.end_at + by)
    WorkOrder.objects.filter(pk=order.pk).update(version=order.version + 1)
    order.refresh_from_db()
