"""Let a job that nobody has begun be done by the present version of its task sheet."""

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.actions import close_reservation, reserve
from inventory.models import Part
from maintenance.models import TaskSheet, WorkOrder, WorkPart
from maintenance.models.versions import content_as_raised
from maintenance.orders.raising import choose_part, copy_sheet, due_date
from maintenance.plans.places import bring_parts_along, keep_place_that_holds, locked_for_placing
from plant.basics.sentences import Sentence, Sentences
from plant.models import Change, User


@transaction.atomic
def take_present_version(work_order: WorkOrder, *, version: int, by: User | None) -> Sentences:
    """Give a job the steps, skills and parts of its sheet as it is now; return why its place was given up, if it was.

    Hours, people and state of the kiln come along where nobody has changed them on the job itself. Raises
    ValidationError for a stale version, work that has begun, and where parts were taken for it already.
    """
    order = locked_for_placing(work_order, by, version)
    content = content_as_raised(order)
    if order.sheet_id is None or content is None:
        return ()
    sheet = TaskSheet.objects.select_for_update(of=("self",)).get(pk=order.sheet_id)
    if sheet.is_withdrawn:
        raise ValidationError(_("The task sheet is withdrawn: the job keeps the version it was raised by."))
    covers = list(order.covers.all())
    times = max(1, len(covers))
    _take_figures(order, sheet, content, times)
    order.sheet_version = sheet.version
    order.steps.all().delete()
    order.skills.all().delete()
    copy_sheet(order, sheet, covers)
    _take_parts(order, sheet, times, by)
    order.is_safety = order.is_safety or sheet.is_safety
    order.version += 1
    order.save()
    Change.record(order, "by the present sheet", by=by, said=Sentence.of("sheet.version", number=sheet.version))
    lost = keep_place_that_holds(order, by=by)
    bring_parts_along(WorkOrder.objects.get(pk=order.pk))
    return lost


def _take_figures(order: WorkOrder, sheet: TaskSheet, was: dict[str, Any], times: int) -> None:
    """Take what nobody has changed on the job itself."""
    if order.hours == Decimal(was["hours"]) * times:
        order.hours = sheet.hours * times
    if order.crew == was["crew"]:
        order.crew = sheet.crew
    if order.needs_state == was["needs_state"]:
        order.needs_state = sheet.needs_state


def _take_parts(order: WorkOrder, sheet: TaskSheet, times: int, by: User | None) -> None:
    wanted: dict[int, tuple[Part, Decimal]] = {}
    for need in sheet.parts.all():
        if (part := choose_part(need.part_kind_id, sheet.kind_id)) is not None:
            wanted[part.pk] = part, need.quantity * times
    lines = {line.part_id: line for line in order.parts.select_related("part", "reservation")}
    if taken := next((one for one in lines.values() if one.reservation and one.reservation.used), None):
        raise ValidationError(
            _("%(part)s was taken for it already: the job keeps the version it was raised by.") % {"part": taken.part}
        )
    for part_id, line in lines.items():
        if part_id not in wanted:
            reservation = line.reservation
            line.delete()
            if reservation:
                close_reservation(reservation, by)
    is_planned = order.origin == WorkOrder.Origin.STANDING_TASK
    for part, quantity in wanted.values():
        purpose = f"{order.kiln.tag}: {order.title}"
        kept = reserve(part, quantity, due_date(order), order.number, purpose, is_planned, by)
        WorkPart.objects.update_or_create(
            work_order=order, part=part, defaults={"quantity": quantity, "reservation": kept}
        )
