"""Proof tests: each thing that fails unseen, when it was last tested, by whom, with which seal."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.db.models import Case, Count, F, Min, OuterRef, Q, QuerySet, Subquery, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import ProofTest, TaskSheet
from plant import clock
from plant.access import needs
from plant.frame.export import csv_of
from plant.frame.requests import mill_of, query_without_page
from plant.models import Component

PASSED = ProofTest.Outcome.PASSED
PER_PAGE = 50


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


def _watched(today: date) -> "QuerySet[Component, Any]":
    """Return what needs proof tests: what nobody may rely on comes first, then by the day of the next test."""
    kinds = TaskSheet.objects.filter(is_proof_test=True).values("kind")
    tests = ProofTest.objects.filter(component=OuterRef("pk")).order_by("-tested_at", "-id")
    components = Component.objects.in_use().filter(kiln__is_active=True, kind__in=kinds)
    watched: QuerySet[Component, Any] = components.annotate(
        last_id=Subquery(tests.values("pk")[:1]),
        last_outcome=Subquery(tests.values("outcome")[:1]),
        next_due_on=Subquery(tests.values("next_due_on")[:1]),
        rank=Case(When(last_outcome=PASSED, next_due_on__gte=today, then=Value(1)), default=Value(0)),
    ).order_by("rank", F("next_due_on").asc(nulls_first=True), "kiln__tag", "kind__end_view_no", "tag")
    return watched


def _lines(components: Sequence[Any], today: date) -> list[Line]:
    """Return components with their last tests; one query."""
    tests = ProofTest.objects.select_related("tested_by", "work_order")
    last = tests.in_bulk([one.last_id for one in components if one.last_id])
    return [
        Line(one, last.get(one.last_id), (today - one.next_due_on).days if one.next_due_on else 0) for one in components
    ]


@needs("see rounds")
def proof_tests(request: HttpRequest) -> HttpResponse:
    """Show how each thing that fails unseen stands."""
    today = clock.today(mill_of(request).zone)
    watched = _watched(today)
    counts = watched.aggregate(all=Count("pk"), bad=Count("pk", Q(rank=0)), due_on=Min("next_due_on"))
    page = Paginator(watched.select_related("kiln", "kind"), PER_PAGE).get_page(request.GET.get("page"))
    lines = _lines(list(page.object_list), today)
    context = {
        "place": "rounds",
        "page": page,
        "query": query_without_page(request),
        "lines": lines,
        "bad": [line for line in lines if line.is_bad],
        "bad_count": counts["bad"],
        "lead": _lead(counts["all"], counts["bad"], counts["due_on"]),
    }
    return render(request, "checks/proof_tests.html", context)


@needs("see rounds")
def proof_tests_of(request: HttpRequest, pk: int) -> HttpResponse:
    """Show every test of one thing, newest first: who, when, with which seal."""
    component = get_object_or_404(Component.objects.select_related("kiln"), pk=pk)
    tests = ProofTest.objects.filter(component=component).select_related("tested_by", "work_order")
    page = Paginator(tests.order_by("-tested_at", "-id"), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "place": "rounds",
        "component": component,
        "page": page,
        "query": query_without_page(request),
        "lead": ngettext("%d test is on record.", "%d tests are on record.", page.paginator.count)
        % page.paginator.count,
    }
    return render(request, "checks/proof_tests_of.html", context)


def _lead(every: int, bad: int, due_on: date | None) -> str:
    if not every:
        return _("Nothing that needs proof tests is on record.")
    if due_on and not bad:
        return _("All %(all)d have passed; the next test is due on %(day)s.") % {
            "all": every,
            "day": date_format(due_on, "j M Y"),
        }
    return _("%(bad)d of %(all)d cannot be relied on: never tested, failed or overdue.") % {"bad": bad, "all": every}


@needs("see rounds")
def proof_tests_csv(request: HttpRequest) -> HttpResponse:
    """Give every proof test ever made as CSV, newest first."""
    columns: dict[str, Callable[[ProofTest], object]] = {
        _("kiln"): lambda test: test.component.kiln.tag,
        _("component"): lambda test: test.component.name,
        _("tested"): lambda test: test.tested_at,
        _("tested by"): lambda test: test.tested_by.name,
        _("outcome"): lambda test: test.get_outcome_display(),
        _("number of the seal"): lambda test: test.seal_no,
        _("next due"): lambda test: test.next_due_on,
        _("work order"): lambda test: test.work_order.number if test.work_order else "",
        _("note"): lambda test: test.note,
    }
    tests = ProofTest.objects.select_related("component__kiln", "tested_by", "work_order").order_by("-tested_at", "-id")
    return csv_of("proof-tests.csv", columns, tests)
