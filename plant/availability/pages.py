"""The availability report on screen, as paper, and as tables to take away."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from operator import attrgetter
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from plant import clock
from plant.access import needs
from plant.availability.charts import BEING_WORDS, axis_ticks, bridge_bars, strip_rows
from plant.availability.report import AvailabilityReport, CauseBy, KilnReport, draw_report
from plant.availability.report_period import (
    PeriodError,
    ReportPeriod,
    current_periods,
    read_period,
    twelve_months,
)
from plant.availability.words import (
    SORTS,
    cause_rows,
    definitions,
    kiln_figures,
    outside_rows,
    remarks,
    sentence,
    strip_title,
    title,
    total_figures,
)
from plant.charges.rows import DowntimeLine
from plant.frame.export import csv_of
from plant.models import Kiln, Mill

FIRST_CAUSES = 8
"""So many causes are shown at first: as long as the picture beside them."""


def _asked_period(request: HttpRequest, mill: Mill) -> ReportPeriod:
    """Read the period from the address; raises PeriodError."""
    asked = request.GET
    today = clock.today(mill.zone)
    return read_period(asked.get("period", ""), asked.get("from", ""), asked.get("to", ""), today, mill.zone)


class KilnError(ValueError):
    """A kiln that cannot be reported; the message is for the person who asked."""


REFUSALS = (PeriodError, KilnError, Mill.DoesNotExist)


def _asked_kiln(request: HttpRequest) -> Kiln | None:
    """Read the kiln from the address, None for all; raises KilnError."""
    tags = list(dict.fromkeys(tag.strip() for tag in request.GET.getlist("kiln") if tag.strip()))
    if len(tags) > 1:
        raise KilnError(
            _("The report is about one kiln or about all, not about %(kilns)s. Choose one.")
            % {"kilns": ", ".join(tag[:40] for tag in tags[:10])}
        )
    kiln = Kiln.objects.filter(tag=tags[0]).first() if tags else None
    if tags and kiln is None:
        raise KilnError(_("There is no kiln “%(tag)s” on record. Choose one from the list.") % {"tag": tags[0][:40]})
    return kiln


def _asked_report(request: HttpRequest) -> AvailabilityReport:
    """Draw up what the address asks for; raises PeriodError or KilnError."""
    mill = Mill.objects.current()
    return draw_report(mill, _asked_period(request, mill), clock.now(), _asked_kiln(request))


@needs("see availability")
def availability(request: HttpRequest) -> HttpResponse:
    """Show the report of the period that was chosen."""
    mill: Mill | None = request.mill  # type: ignore[attr-defined]
    if mill is None:
        return render(request, "availability/availability_no_mill.html", {"place": "availability"})
    chooser = _Chooser.of(request, mill)
    context: dict[str, Any] = {"place": "availability", "chooser": chooser}
    if chooser.period is None or chooser.kiln_error:
        return render(request, "availability/availability.html", context, status=400)
    report = draw_report(mill, chooser.period, clock.now(), chooser.kiln)
    by = CauseBy(request.GET["by"]) if request.GET.get("by") in set(CauseBy) else CauseBy.COMPONENT_KIND
    sort = request.GET["sort"] if request.GET.get("sort") in SORTS else "volume"
    causes, is_all = cause_rows(report, by, sort), "all" in request.GET
    asked = chooser.query_of(report.period)
    context |= {
        "report": report,
        "period": report.period,
        "asked": asked,
        "title": title(report),
        "sentence": sentence(report),
        "remarks": remarks(report),
        "beings": [(being.value, word) for being, word in BEING_WORDS.items()],
        "strip_title": strip_title(report.period),
        "ticks": axis_ticks(report),
        "rows": list(zip(strip_rows(report), kiln_figures(report), strict=True)),
        "total": total_figures(report),
        "bars": bridge_bars(report.bridge, mill) if report.bridge else [],
        "causes": causes if is_all else causes[:FIRST_CAUSES],
        "more_causes": 0 if is_all else max(len(causes) - FIRST_CAUSES, 0),
        "all_causes_query": f"{_query(asked, by, sort)}&all=1",
        "cause_heads": _cause_heads(asked, by, sort),
        "cause_choices": _cause_choices(asked, by, sort),
        "outside": outside_rows(report),
        "definitions": definitions(),
    }
    return render(request, "availability/availability.html", context)


@dataclass(frozen=True, slots=True)
class _Link:
    word: str
    query: str
    is_here: bool


@dataclass(frozen=True, slots=True)
class _Chooser:
    """What the chooser of periods shows: links, what was typed, and why it could not be read."""

    period: ReportPeriod | None
    links: list[_Link]
    first: str
    last: str
    is_free: bool
    error: str
    kiln: Kiln | None
    kiln_error: str
    earlier: _Link | None = None
    later: _Link | None = None

    @property
    def tags(self) -> list[str]:
        """Kilns to choose from: those in use, and the one that was chosen."""
        asked = Q(is_active=True) | Q(pk=self.kiln.pk if self.kiln else None)
        return list(Kiln.objects.filter(asked).values_list("tag", flat=True))

    def query_of(self, period: ReportPeriod) -> str:
        """The part of an address that asks for a period of the kiln that was chosen."""
        return _asking(period, self.kiln)

    @classmethod
    def of(cls, request: HttpRequest, mill: Mill) -> "_Chooser":
        today = clock.today(mill.zone)
        month, quarter, year = current_periods(today, mill.zone)
        period, error, kiln, kiln_error = None, "", None, ""
        try:
            period = _asked_period(request, mill)
        except PeriodError as refusal:
            error = str(refusal)
        try:
            kiln = _asked_kiln(request)
        except KilnError as refusal:
            kiln_error = str(refusal)
        choices = (
            (_("Last 12 months"), twelve_months(today, mill.zone)),
            (_("This month"), month),
            (_("This quarter"), quarter),
            (_("This year"), year),
        )
        earlier, later = (period.shifted(-1), period.shifted(1)) if period else (None, None)
        return cls(
            period,
            [_Link(word, _asking(choice, kiln), period == choice) for word, choice in choices],
            request.GET.get("from", period.first_on.isoformat() if period else ""),
            request.GET.get("to", period.last_on.isoformat() if period else ""),
            is_free=bool(period and not period.key),
            error=error,
            kiln=kiln,
            kiln_error=kiln_error,
            earlier=_Link(earlier.label, _asking(earlier, kiln), is_here=False) if earlier else None,
            later=(
                _Link(later.label, _asking(later, kiln), is_here=False) if later and later.first_on <= today else None
            ),
        )


def _asking(period: ReportPeriod, kiln: Kiln | None) -> str:
    return f"{period.query}&{urlencode({'kiln': kiln.tag})}" if kiln else period.query


def _query(asked: str, by: CauseBy, sort: str) -> str:
    return f"{asked}&{urlencode({'by': by.value, 'sort': sort})}"


def _cause_heads(asked: str, by: CauseBy, sort: str) -> dict[str, _Link]:
    words = {
        "cause": _("What") if by is CauseBy.COMPONENT_KIND else _("Reason"),
        "failures": _("Failures"),
        "hours": _("Hours stopped"),
        "volume": _("Not dried"),
    }
    return {key: _Link(word, _query(asked, by, key), key == sort) for key, word in words.items()}


def _cause_choices(asked: str, chosen: CauseBy, sort: str) -> list[_Link]:
    words = {CauseBy.COMPONENT_KIND: _("by kind of component"), CauseBy.REASON: _("by reason")}
    return [_Link(word, _query(asked, by, sort), by is chosen) for by, word in words.items()]


def _given(request: HttpRequest, give: Callable[[AvailabilityReport], HttpResponse]) -> HttpResponse:
    """Give what an address asks for; where it cannot be, the page says in words what is wrong with period or kiln."""
    try:
        report = _asked_report(request)
    except REFUSALS:
        return redirect(f"{reverse('plant:availability')}?{request.GET.urlencode()}")
    return give(report)


@needs("see availability")
def availability_pdf(request: HttpRequest) -> HttpResponse:
    """Give the report as paper."""
    return _given(request, _paper)


def _paper(report: AvailabilityReport) -> HttpResponse:
    # The PDF library takes its time to load: only who asks for paper waits for it.
    from plant.availability.pdf import AvailabilityPaper

    response = HttpResponse(AvailabilityPaper(report).to_bytes(), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{report.file_stem}.pdf"'
    return response


@needs("see availability")
def availability_csv(request: HttpRequest) -> HttpResponse:
    """Give the figures of each kiln as a table; volumes in m³ whatever unit the mill shows."""
    return _given(request, lambda report: csv_of(f"{report.file_stem}.csv", _kiln_columns(report), report.kilns))


_HOURS = ("able", "slowed", "planned", "stopped", "outside", "no_timber", "total", "slowed_equivalent")
_VOLUMES = (
    "could_dry_m3",
    "no_timber_m3",
    "outside_m3",
    "planned_m3",
    "stopped_m3",
    "slowed_m3",
    "under_way_m3",
    "pace_m3",
    "dried_m3",
)


def _kiln_columns(report: AvailabilityReport) -> dict[str, Callable[[KilnReport], object]]:
    """Return the columns of the table of kilns; a kiln without a bridge has no volumes."""
    return {
        "kiln": lambda kiln: kiln.tag,
        "usable_m3": lambda kiln: kiln.usable_m3,
        "counted_from": lambda kiln: kiln.counted_from_at,
        "counted_until": lambda kiln: report.until_at,
        "availability": lambda kiln: _number(kiln.availability, 5),
        "equivalent_availability": lambda kiln: _number(kiln.equivalent_availability, 5),
        "operating_h": lambda kiln: _number(kiln.failure_figures.operating_h, 2),
        "failures": lambda kiln: kiln.failure_figures.failures,
        "open_failures": lambda kiln: kiln.failure_figures.open_failures,
        "mtbf_h": lambda kiln: _number(kiln.failure_figures.mtbf_h, 2),
        "mtbf_lower_h": lambda kiln: _number(kiln.failure_figures.mtbf_lower_h, 2),
        "mtbf_upper_h": lambda kiln: _number(kiln.failure_figures.mtbf_upper_h, 2),
        "mean_time_to_restoration_h": lambda kiln: _number(kiln.failure_figures.mean_time_to_restoration_h, 2),
        **{f"{name}_h": attrgetter(f"hours.{name}") for name in _HOURS},
        **{name: partial(_volume, name) for name in _VOLUMES},
    }


def _volume(name: str, kiln: KilnReport) -> object:
    return None if kiln.bridge is None else getattr(kiln.bridge, name)


def _number(value: Any, decimals: int) -> str | None:
    return None if value is None else f"{float(value):.{decimals}f}"


@needs("see availability")
def downtime_csv(request: HttpRequest) -> HttpResponse:
    """Give every record of downtime that reaches into the period."""
    return _given(request, _downtime_table)


def _downtime_table(report: AvailabilityReport) -> HttpResponse:
    columns: dict[str, Callable[[DowntimeLine], object]] = {
        "kiln": lambda line: line.kiln_tag,
        "kind": lambda line: line.kind.value,
        "start": lambda line: line.start_at,
        "end": lambda line: line.end_at,
        "hours_in_period": report.hours_in_period,
        "share_of_capacity_lost": lambda line: line.share_lost,
        "component": lambda line: line.component,
        "component_kind": lambda line: line.component_kind,
        "failure_mode": lambda line: line.failure_mode,
        "cause": lambda line: line.cause,
    }
    return csv_of(f"{report.file_stem}-downtime.csv", columns, report.lines())
