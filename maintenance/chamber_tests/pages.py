"""The tests that a chamber runs on itself: figures by year, and the evaluation of a new one."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.chamber_tests.chart import YearChart, year_chart
from maintenance.chamber_tests.forms import ChamberTestForm
from maintenance.chamber_tests.running import evaluate_chamber_test
from maintenance.chamber_tests.words import (
    Climate,
    bounds_words,
    fans_words,
    figure_words,
    leak_share_words,
    refused_words,
    verdict,
)
from maintenance.models import ChamberTest
from maintenance.pricing.usual_climate import usual_climate
from plant import clock
from plant.access import needs
from plant.frame.requests import mill_of, query_without_page, refusal_on, user_of
from plant.models import Kiln, Mill

PER_PAGE = 50
NEARBY = timedelta(days=60)
"""Tests with fans on and off are compared where no more lies between them. Ours."""


@dataclass(frozen=True, slots=True)
class Part:
    """One kind of test: the drawing, the newest figure and what it means."""

    kind: str
    name: str
    chart: YearChart | None
    newest: ChamberTest | None
    says: list[str]


@dataclass(frozen=True, slots=True)
class Row:
    """A test in the list."""

    test: ChamberTest
    figure: str
    bounds: str
    refused: str


def _kiln(tag: str) -> Kiln:
    return get_object_or_404(Kiln.objects.select_related("mill"), tag=tag)


@needs("see readings")
def chamber_tests(request: HttpRequest, tag: str) -> HttpResponse:
    """Show what a chamber's tests found over the years."""
    kiln = _kiln(tag)
    return _page(request, kiln, ChamberTestForm(kiln=kiln, initial=_known_of(kiln)))


@require_POST
@needs("test chambers")
def evaluate(request: HttpRequest, tag: str) -> HttpResponse:
    """Evaluate a test from the readings of its hours."""
    kiln = _kiln(tag)
    form = ChamberTestForm(request.POST, kiln=kiln)
    if form.is_valid():
        with refusal_on(form):
            test = evaluate_chamber_test(kiln, form.hours, by=user_of(request))
            if test.value is None:
                messages.warning(request, _("There is no figure: %(why)s") % {"why": refused_words(test, kiln.mill)})
            else:
                said = {"figure": figure_words(test), "bounds": bounds_words(test)}
                messages.success(request, _("Found: %(figure)s, %(bounds)s.") % said)
            return redirect("maintenance:chamber-tests", kiln.tag)
    return _page(request, kiln, form, status=422)


def _known_of(kiln: Kiln) -> dict[str, Any]:
    """Return what was said of the chamber last time."""
    found: dict[str, Any] = {}
    last = ChamberTest.objects.filter(kiln=kiln).order_by("-at", "-id").values_list("details", flat=True)[:PER_PAGE]
    for details in last:
        for name in ("volume_m3", "capacity_mj_k"):
            if details.get(name):
                found.setdefault(name, details[name])
    return found


def _page(request: HttpRequest, kiln: Kiln, form: ChamberTestForm, status: int = 200) -> HttpResponse:
    tests = ChamberTest.objects.filter(kiln=kiln).select_related("kiln__mill", "work_order", "by__person")
    page = Paginator(tests.order_by("-begin_at", "-id"), PER_PAGE).get_page(request.GET.get("page"))
    figures = list(tests.filter(value__isnull=False).order_by("begin_at", "id"))
    climate = Climate.of(usual_climate(kiln, clock.now()))
    parts = [_part(kind, str(name), figures, climate, mill_of(request)) for kind, name in ChamberTest.Kind.choices]
    context = {
        "place": "kilns",
        "kiln": kiln,
        "parts": parts,
        "page": page,
        "rows": [Row(test, figure_words(test), bounds_words(test), refused_words(test, kiln.mill)) for test in page],
        "query": query_without_page(request),
        "form": form,
        "lead": _lead(parts),
    }
    return render(request, "chamber_tests/chamber_tests.html", context, status=status)


def _part(kind: str, name: str, figures: list[ChamberTest], climate: Climate, mill: Mill) -> Part:
    own = [test for test in figures if test.kind == kind]
    chart = year_chart(own, mill.zone)
    if not own:
        return Part(kind, name, None, None, [])
    # Fans that run are closer to a kiln at work.
    newest = next((test for test in reversed(own) if test.fans == ChamberTest.Fans.ON), own[-1])
    # A figure is compared with the last one that was found in the same way.
    alike = [test for test in own if _way(test) == _way(newest) and test.begin_at < newest.begin_at]
    says = verdict(newest, climate, mill, alike[-1] if alike else None)
    still = [
        test for test in own if test.fans == ChamberTest.Fans.OFF and abs(test.begin_at - newest.begin_at) < NEARBY
    ]
    if kind == ChamberTest.Kind.TIGHTNESS and newest.fans == ChamberTest.Fans.ON and still:
        says.append(fans_words(newest, still[-1]))
    leaks = [one for one in figures if one.kind == ChamberTest.Kind.TIGHTNESS and one.fans == newest.fans]
    if kind == ChamberTest.Kind.HEAT_LOSS and leaks:
        says += [words for words in [leak_share_words(newest, leaks[-1])] if words]
    return Part(kind, name, chart, newest, says)


def _way(test: ChamberTest) -> tuple[str, str]:
    return test.fans, test.details.get("method", "")


def _lead(parts: list[Part]) -> str:
    found = [part for part in parts if part.newest]
    if not found:
        return _("This chamber has no figure yet: a night between two charges gives one.")
    return " ".join(
        _("%(name)s: %(figure)s.") % {"name": part.name.capitalize(), "figure": figure_words(part.newest)}
        for part in found
        if part.newest
    )
