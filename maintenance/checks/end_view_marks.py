"""What the end view of a kiln shows at each number: open defects, the latest findings, and work that is due."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import Defect, Finding, FunctionCheck, WorkOrder
from plant.models import Kiln
from plant.pictures.marks import DEFECT, MARKS, OPEN, SOUND

DUE_SOON = timedelta(days=7)
CHECKS_BACK = 3
# The legend names what is noted; the whole of a long note stands where it was entered.
LABEL_CHARS = 120


@dataclass(frozen=True, slots=True)
class Note:
    """Something noted at a number of the end view."""

    number: int
    state: str
    label: str


def marks_of(kiln: Kiln, now: datetime) -> dict[int, dict[str, Any]]:
    """Return number -> mark for the end view; four queries."""
    notes = [*_defects(kiln), *_findings(kiln), *_due(kiln, now)]
    url = reverse("maintenance:kiln", args=[kiln.tag])
    marks: dict[int, dict[str, Any]] = {}
    for note in sorted(notes, key=lambda note: MARKS[note.state].weight):
        label = Truncator(note.label).chars(LABEL_CHARS)
        marks[note.number] = {"state": note.state, "label": label, "url": f"{url}#group-{note.number}"}
    return marks


def number_of_work(order: WorkOrder) -> int | None:
    """Return where a job stands in the end view: its component's number, else its task sheet's."""
    if order.component:
        return order.component.kind.end_view_no
    return order.sheet.kind.end_view_no if order.sheet else None


def _defects(kiln: Kiln) -> Iterable[Note]:
    for defect in Defect.objects.not_cured().filter(kiln=kiln).select_related("component__kind").order_by("-found_at"):
        if defect.component:
            yield Note(defect.component.kind.end_view_no, DEFECT.code, f"{defect.component.name}: {defect.what}")


def latest_findings(kiln: Kiln) -> list[Finding]:
    """Return the last finding at each point of each component, out of the latest checks."""
    checks = FunctionCheck.objects.filter(kiln=kiln, withdrawn_at__isnull=True).order_by("-started_at")[:CHECKS_BACK]
    found = (
        Finding.objects.standing()
        .filter(item__check_up__in=list(checks))
        .select_related("item__point", "item__component", "failure_mode", "defect")
    )
    worse = ("against__item__point", "against__item__component", "against__failure_mode", "against__defect")
    found = found.select_related(*worse, "against__taken_back").order_by("at", "id")
    latest = {(finding.item.point_id, finding.item.component_id): finding for finding in found}
    return [finding.counting for finding in latest.values()]


def _findings(kiln: Kiln) -> Iterable[Note]:
    for finding in latest_findings(kiln):
        where = finding.item.component.name if finding.item.component else finding.item.point.what
        defect = getattr(finding, "defect", None)
        if defect is not None and defect.cured_at:
            yield Note(finding.item.point.end_view_no, SOUND.code, _("%(where)s: mended") % {"where": where})
        elif finding.result == SOUND.code:
            yield Note(finding.item.point.end_view_no, SOUND.code, "")
        else:
            mode = finding.failure_mode.name if finding.failure_mode else finding.note or finding.reason
            yield Note(finding.item.point.end_view_no, finding.result, f"{where}: {mode}" if mode else where)


def _due(kiln: Kiln, now: datetime) -> Iterable[Note]:
    due = WorkOrder.objects.unfinished().filter(kiln=kiln, due_at__lt=now + DUE_SOON)
    jobs: dict[int, list[WorkOrder]] = {}
    for order in due.select_related("component__kind", "sheet__kind").order_by("due_at"):
        if number := number_of_work(order):
            jobs.setdefault(number, []).append(order)
    for number, orders in jobs.items():
        more = len(orders) - 1
        also = " " + ngettext("and %d more", "and %d more", more) % more if more else ""
        yield Note(number, OPEN.code, _("due: %(job)s") % {"job": orders[0].title} + also)
