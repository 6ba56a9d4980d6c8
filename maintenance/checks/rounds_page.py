"""The way into the rounds: checks under way, kilns by when they were last checked, what is on record."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.checks.checks import start_check
from maintenance.entry.bars import bars_to_entry
from maintenance.models import CheckItem, CheckPoint, Defect, FunctionCheck
from plant import clock
from plant.access import needs
from plant.frame.requests import refusal_said, user_of
from plant.models import Kiln

SeenIn = CheckPoint.SeenIn


@dataclass(frozen=True)
class Part:
    """How much of one part of a check was seen."""

    state: str
    label: str
    seen: int
    all: int

    @property
    def percent(self) -> int:
        """Return the share that was seen, in whole per cent, rounded down: all is all."""
        return 100 * self.seen // self.all if self.all else 100


def parts_of(progress: dict[str, tuple[int, int]]) -> list[Part]:
    """Return the parts of a check in the order they are shown."""
    labels = {
        SeenIn.OPEN_EMPTY: _("open part"),
        SeenIn.RUNNING: _("running part"),
        SeenIn.EITHER: _("in either state"),
    }
    return [Part(state, label, *progress[state]) for state, label in labels.items() if state in progress]


@needs("see rounds")
def rounds(request: HttpRequest) -> HttpResponse:
    """Show what is being checked and what should be."""
    checks = list(FunctionCheck.objects.under_way().select_related("kiln", "started_by__person").order_by("started_at"))
    progress = CheckItem.objects.filter(check_up__in=checks).progress()
    kilns = list(
        Kiln.objects.in_use().annotate(last_check_at=Max("checks__completed_at")).order_by("last_check_at", "tag")
    )
    by_kiln = {check.kiln_id: check for check in checks}
    defects = Defect.objects.not_cured().order_by().values_list("kiln").annotate(count=Count("pk"))
    counts, bars = dict(defects), bars_to_entry(kilns)
    context = {
        "place": "rounds",
        "checks": [(check, parts_of(progress.get(check.pk, {}))) for check in checks],
        "kilns": [
            (kiln, by_kiln.get(kiln.pk), counts.get(kiln.pk, 0), bars.get(kiln.pk))
            for kiln in sorted(kilns, key=_oldest_first)
        ],
        "done": FunctionCheck.objects.filter(completed_at__isnull=False)
        .select_related("kiln")
        .order_by("-completed_at")[:10],
        "lead": _lead(checks, kilns),
        "now": clock.now(),
    }
    return render(request, "checks/rounds.html", context)


def _oldest_first(kiln: Kiln) -> tuple[bool, datetime | str, str]:
    last_at: datetime | None = kiln.last_check_at  # type: ignore[attr-defined]
    return last_at is not None, last_at or "", kiln.tag


def _lead(checks: list[FunctionCheck], kilns: list[Kiln]) -> str:
    never = [kiln.tag for kiln in kilns if kiln.last_check_at is None]  # type: ignore[attr-defined]
    under_way = ", ".join(check.kiln.tag for check in checks)
    if under_way and never:
        return _("Checks are under way at %(kilns)s; %(count)d kilns were never checked.") % {
            "kilns": under_way,
            "count": len(never),
        }
    if under_way:
        return _("Checks are under way at %(kilns)s.") % {"kilns": under_way}
    if never:
        return _("No check is under way; never checked: %(kilns)s.") % {"kilns": ", ".join(never)}
    return _("No check is under way.")


@require_POST
@needs("do rounds")
def start(request: HttpRequest) -> HttpResponse:
    """Start a check of a kiln."""
    kiln = get_object_or_404(Kiln, tag=request.POST.get("kiln", ""))
    with refusal_said(request):
        return redirect(start_check(kiln, by=user_of(request)))
    return redirect("maintenance:rounds")
