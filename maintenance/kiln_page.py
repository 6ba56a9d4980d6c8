"""All that belongs to one kiln, gathered for its page in a fixed number of queries."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Prefetch

from maintenance.end_view_marks import WEIGHTS, latest_findings, marks_of
from maintenance.models import (
    Defect,
    EntryPermit,
    Finding,
    FunctionCheck,
    Placement,
    ProofTest,
    StandingTask,
    WorkOrder,
)
from maintenance.morning import STATE_WORDS, jobs_in, progress
from plant import end_view
from plant.calculations.openings import Opening
from plant.kilns_now import KilnNow, kilns_now
from plant.models import Change, Charge, Component, Downtime, Fitting, Kiln

SHOWN = 6
HISTORY_SHOWN = 30
YEAR = timedelta(days=365)


@dataclass(slots=True)
class ComponentRow:
    """A component, what sits in it, and what was noted of it."""

    component: Component
    fitting: Fitting | None
    defects: list[Defect]
    finding: Finding | None


@dataclass(slots=True)
class Group:
    """A number of the end view and what belongs to it."""

    number: int
    name: str
    mark: dict[str, Any]
    rows: list[ComponentRow] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class OpeningRow:
    """An opening ahead and the jobs in it."""

    opening: Opening
    jobs: list[Placement]


def gather(kiln: Kiln, now: datetime) -> dict[str, Any]:
    """Return what the page shows."""
    stand = kilns_now([kiln], now)[0]
    marks = marks_of(kiln, now)
    permit = EntryPermit.objects.filter(kiln=kiln, act=EntryPermit.Act.OPENED, closing__isnull=True)
    groups = _groups(kiln, marks)
    return {
        "stand": stand,
        "word": STATE_WORDS[stand.state.state],
        "progress": progress(stand, now),
        "marks": marks,
        "groups": groups,
        "has_components": any(group.rows for group in groups),
        "charges": _charges(kiln, now),
        "openings": _openings(kiln, stand),
        "work": WorkOrder.objects.unfinished().filter(kiln=kiln).select_related("component")[: SHOWN * 3],
        "work_count": WorkOrder.objects.unfinished().filter(kiln=kiln).count(),
        "standing": _standing(kiln),
        "checks": FunctionCheck.objects.filter(kiln=kiln)[:SHOWN],
        "proof_tests": _proof_tests(kiln),
        "permit": permit.select_related("locked_out_by", "watch_outside").first(),
        "blocking": list(Defect.objects.blocking_entry().filter(kiln=kiln).select_related("component")),
        "changes": Change.objects.about(kiln).order_by("-at", "-id")[:HISTORY_SHOWN],
    }


def downtimes_of(kiln: Kiln, now: datetime) -> Any:
    """Return the records of the last twelve months, newest first."""
    records = Downtime.objects.filter(kiln=kiln).reaching_into(now - YEAR, now + YEAR)
    return records.select_related("component").order_by("-start_at")


def _groups(kiln: Kiln, marks: dict[int, dict[str, Any]]) -> list[Group]:
    fitted = Prefetch("fittings", Fitting.objects.filter(removed_at__isnull=True), to_attr="fitted")
    components = kiln.components.in_use().select_related("kind").prefetch_related(fitted)
    defects: dict[int | None, list[Defect]] = defaultdict(list)
    for defect in Defect.objects.not_cured().filter(kiln=kiln):
        defects[defect.component_id].append(defect)
    # A component has several points: the worst of their latest findings speaks for it.
    latest = sorted(latest_findings(kiln), key=lambda finding: (WEIGHTS[finding.result], finding.at))
    findings = {finding.item.component_id: finding for finding in latest}
    groups = {
        number: Group(number, str(name), marks.get(number, {"state": "none", "label": ""}))
        for number, name in end_view.NUMBER_NAMES.items()
    }
    for component in components.order_by("kind__end_view_no", "kind__name", "tag"):
        fitting = next(iter(component.fitted), None)  # type: ignore[attr-defined]
        row = ComponentRow(component, fitting, defects[component.pk], findings.get(component.pk))
        groups[component.kind.end_view_no].rows.append(row)
    return list(groups.values())


def _charges(kiln: Kiln, now: datetime) -> list[Charge]:
    """Return the last charges, that inside and the next ones, by begin."""
    past = Charge.objects.filter(kiln=kiln, end_at__lte=now).order_by("-begin_at")[:SHOWN]
    ahead = Charge.objects.filter(kiln=kiln, end_at__gt=now).order_by("begin_at")[:SHOWN]
    found = Charge.objects.filter(pk__in=[*past.values_list("pk", flat=True), *ahead.values_list("pk", flat=True)])
    return list(found.prefetch_related("phases").order_by("begin_at"))


def _openings(kiln: Kiln, stand: KilnNow) -> list[OpeningRow]:
    openings = stand.windows.openings[:SHOWN]
    if not openings:
        return []
    placed = Placement.objects.filter(
        work_order__in=WorkOrder.objects.unfinished(), work_order__kiln=kiln, end_at__gt=openings[0].start_at
    )
    jobs = list(placed.select_related("work_order").order_by("start_at")[:300])
    return [OpeningRow(opening, jobs_in(opening, jobs)) for opening in openings]


def _standing(kiln: Kiln) -> list[StandingTask]:
    tasks = StandingTask.objects.in_use().filter(kiln=kiln, next_due_on__isnull=False)
    return list(tasks.select_related("sheet", "component").order_by("next_due_on")[: SHOWN * 2])


def _proof_tests(kiln: Kiln) -> list[ProofTest]:
    tests = ProofTest.objects.filter(component__kiln=kiln).latest_of_each()
    return list(tests.select_related("component", "tested_by"))
