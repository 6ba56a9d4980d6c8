"""All that belongs to one kiln, gathered for its page in a fixed number of queries."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.db.models import Prefetch

from maintenance.checks.end_view_marks import latest_findings, marks_of
from maintenance.entry.bars import bars_of
from maintenance.entry.now import entry_of
from maintenance.kilns import charge_strips
from maintenance.kilns.morning import (
    drawn_state,
    find_everybody_words,
    jobs_in,
    progress,
    record_words,
    say_state,
    waits_for_timber,
)
from maintenance.models import (
    Defect,
    Finding,
    Firing,
    FunctionCheck,
    Placement,
    ProofTest,
    StandingTask,
    WorkOrder,
)
from maintenance.pricing.sureness import sure_of_orders, together, unpriced_told
from plant import clock
from plant.availability.report import kiln_report
from plant.availability.report_period import ReportPeriod
from plant.charges.calculations.openings import Opening
from plant.charges.held_up import held_up_charges
from plant.kilns.due_words import door_words, due_words
from plant.kilns.kilns_now import KilnNow, kilns_now
from plant.models import Change, Charge, Component, Downtime, Fitting, Kiln, Phase
from plant.pictures import end_view
from plant.pictures.marks import MARKS, NONE

SHOWN = 6
FIRST_SHOWN = 3
WORK_SHOWN = 50
HISTORY_SHOWN = 30
YEAR = timedelta(days=365)


@dataclass(slots=True)
class ComponentRow:
    """A component, what sits in it, and what was noted of it."""

    component: Component
    fitting: Fitting | None
    defects: list[Defect]
    finding: Finding | None

    @property
    def is_noted(self) -> bool:
        """Say whether something is wrong with it, or could not be seen."""
        return bool(self.defects) or (self.finding is not None and self.finding.result != Finding.Result.SOUND)


@dataclass(slots=True)
class Group:
    """A number of the end view and what belongs to it."""

    number: int
    name: str
    mark: dict[str, Any]
    rows: list[ComponentRow] = field(default_factory=list)

    @property
    def is_noted(self) -> bool:
        """Say whether its mark is a defect or wear: then it stands unfolded."""
        return MARKS[self.mark["state"]].is_fault

    @property
    def noted_rows(self) -> list[ComponentRow]:
        """Components that the mark is about; all of them where it is about none in particular."""
        return [row for row in self.rows if row.is_noted] or self.rows

    @property
    def other_rows(self) -> list[ComponentRow]:
        """The other components."""
        noted = self.noted_rows
        return [row for row in self.rows if row not in noted]


@dataclass(frozen=True, slots=True)
class OpeningRow:
    """An opening ahead and the jobs in it."""

    opening: Opening
    jobs: list[Placement]


def gather(kiln: Kiln, now: datetime) -> dict[str, Any]:
    """Return what the page shows."""
    stand = kilns_now([kiln], now)[0]
    marks = marks_of(kiln, now)
    entry = entry_of(kiln)
    groups = _groups(kiln, marks)
    defects = _defects(kiln)
    work = list(
        WorkOrder.objects.unfinished().filter(kiln=kiln).select_related("component", "defect", "placement")[:WORK_SHOWN]
    )
    openings = _openings(kiln, stand)
    blocking = bars_of(kiln)
    return {
        "stand": stand,
        "word": say_state(stand, entry),
        "look": drawn_state(stand, entry),
        "progress": "" if entry else progress(stand, now),
        "due": " ".join((due_words(stand), door_words(stand, now))).strip() if stand.is_untold else "",
        "record": record_words(stand, now) if entry else "",
        "marks": marks,
        "noted_groups": [group for group in groups if group.is_noted],
        "quiet_groups": [group for group in groups if not group.is_noted],
        "has_components": any(group.rows for group in groups),
        "picture": charge_strips.draw(
            _charges(kiln, now), stand.charge, now, kiln.mill.zone, held_up_charges([kiln.pk], now)
        ),
        "phase_words": Phase.Kind.choices,
        "openings": openings[:FIRST_SHOWN],
        "more_openings": openings[FIRST_SHOWN:],
        "defects": defects,
        "notices": Firing.objects.for_list().notices(now).filter(watch__kiln=kiln)[: SHOWN * 2],
        "work": work[:SHOWN],
        "waiting": together(sure_of_orders(work).values()),
        "unpriced": unpriced_told(sum(one.is_cost_unknown for one in work)),
        "more_work": work[SHOWN:],
        "work_shown": WORK_SHOWN,
        "work_count": WorkOrder.objects.unfinished().filter(kiln=kiln).count(),
        "standing": _standing(kiln),
        "checks": FunctionCheck.objects.filter(kiln=kiln)[:SHOWN],
        "proof_tests": _proof_tests(kiln),
        "entry": entry,
        "blocking": blocking,
        "find_everybody": find_everybody_words() if blocking and waits_for_timber(stand) else "",
        "changes": Change.objects.about(kiln).order_by("-at", "-id")[:HISTORY_SHOWN],
    }


def downtimes_of(kiln: Kiln, now: datetime) -> Any:
    """Return the records of the last twelve months that have begun, newest first."""
    records = Downtime.objects.filter(kiln=kiln, start_at__lte=now).reaching_into(now - YEAR, now + YEAR)
    return records.select_related("component").order_by("-start_at")


def downtimes_ahead(kiln: Kiln, now: datetime) -> list[Downtime]:
    """Return the stops that are planned, the next first."""
    records = Downtime.objects.filter(kiln=kiln, start_at__gt=now)
    return list(records.select_related("component").order_by("start_at")[:WORK_SHOWN])


def _defects(kiln: Kiln) -> list[Defect]:
    """Return what is not mended, what keeps people out first, each with the jobs that are to mend it."""
    live = Prefetch("work_orders", WorkOrder.objects.exclude(state=WorkOrder.State.WITHDRAWN), to_attr="live_orders")
    found = Defect.objects.not_cured().filter(kiln=kiln).select_related("component").prefetch_related(live)
    return list(found.order_by("-blocks_entry", "-is_safety", "-found_at", "-id"))


def year_of(kiln: Kiln, now: datetime) -> dict[str, Any]:
    """Return what downtime cost in the last twelve months, as the availability report counts it; six queries."""
    today = clock.today(kiln.mill.zone)
    period = ReportPeriod(today - YEAR + timedelta(days=1), today, kiln.mill.zone)
    report = kiln_report(kiln, period, now)
    return {"year": report, "year_query": f"{period.query}&{urlencode({'kiln': kiln.tag})}"}


def _groups(kiln: Kiln, marks: dict[int, dict[str, Any]]) -> list[Group]:
    fitted = Prefetch("fittings", Fitting.objects.filter(removed_at__isnull=True), to_attr="fitted")
    components = kiln.components.in_use().select_related("kind").prefetch_related(fitted)
    defects: dict[int | None, list[Defect]] = defaultdict(list)
    for defect in Defect.objects.not_cured().filter(kiln=kiln):
        defects[defect.component_id].append(defect)
    # A component has several points: the worst of their latest findings speaks for it.
    latest = sorted(latest_findings(kiln), key=lambda finding: (MARKS[finding.result].weight, finding.at))
    findings = {finding.item.component_id: finding for finding in latest}
    groups = {
        number: Group(number, str(name), marks.get(number, {"state": NONE.code, "label": ""}))
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
