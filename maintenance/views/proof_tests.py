"""Proof tests: each thing that fails unseen, when it was last tested, by whom, with which seal."""

from dataclasses import dataclass
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import ProofTest
from maintenance.views.helpers import mill_of
from plant import clock
from plant.access import needs
from plant.export import csv_response
from plant.models import Component

PASSED = ProofTest.Outcome.PASSED


@dataclass(frozen=True)
class Line:
    """A component and its last test."""

    component: Component
    last: ProofTest | None
    days_overdue: int

    @property
    def is_bad(self) -> bool:
        """Say whether nobody may rely on it: never tested, failed, or overdue."""
        return self.last is None or self.last.outcome != PASSED or self.days_overdue > 0

    @property
    def says(self) -> str:
        """Say how it stands, in words."""
        if self.last is None:
            return _("never tested")
        if self.last.outcome != PASSED:
            return _("failed")
        if self.days_overdue > 0:
            return ngettext("%d day overdue", "%d days overdue", self.days_overdue) % self.days_overdue
        return _("passed")


def _lines(today: date) -> list[Line]:
    components = Component.objects.in_use().filter(kind__task_sheets__is_proof_test=True, kiln__is_active=True)
    tests = ProofTest.objects.latest_of_each().select_related("tested_by", "work_order")
    last = {test.component_id: test for test in tests}
    lines = [
        Line(one, last.get(one.pk), (today - last[one.pk].next_due_on).days if one.pk in last else 0)
        for one in components.select_related("kiln", "kind").distinct()
    ]
    # What nobody may rely on comes first, then by the day of the next test.
    return sorted(lines, key=lambda line: (not line.is_bad, line.last.next_due_on if line.last else date.min))


@needs("see rounds")
def proof_tests(request: HttpRequest) -> HttpResponse:
    """Show how each thing that fails unseen stands."""
    lines = _lines(clock.today(mill_of(request).zone))
    bad = [line for line in lines if line.is_bad]
    context = {"place": "rounds", "lines": lines, "bad": bad, "lead": _lead(lines, bad)}
    return render(request, "maintenance/proof_tests.html", context)


def _lead(lines: list[Line], bad: list[Line]) -> str:
    if not lines:
        return _("Nothing that needs proof tests is on record.")
    if not bad:
        due = min(line.last.next_due_on for line in lines if line.last)
        return _("All %(all)d have passed; the next test is due on %(day)s.") % {
            "all": len(lines),
            "day": date_format(due),
        }
    return _("%(bad)d of %(all)d cannot be relied on: never tested, failed or overdue.") % {
        "bad": len(bad),
        "all": len(lines),
    }


@needs("see rounds")
def proof_tests_csv(request: HttpRequest) -> HttpResponse:
    """Give every proof test ever made as CSV, newest first."""
    header = [
        _("kiln"),
        _("component"),
        _("tested"),
        _("tested by"),
        _("outcome"),
        _("number of the seal"),
        _("next due"),
        _("work order"),
        _("note"),
    ]
    tests = ProofTest.objects.select_related("component__kiln", "tested_by", "work_order").order_by("-tested_at", "-id")
    rows = (
        [
            test.component.kiln.tag,
            test.component.name,
            test.tested_at,
            test.tested_by.name,
            test.get_outcome_display(),
            test.seal_no,
            test.next_due_on,
            test.work_order.number if test.work_order else "",
            test.note,
        ]
        for test in tests
    )
    return csv_response("proof-tests.csv", header, rows)
