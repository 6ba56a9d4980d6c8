"""The availability report in words and written figures: the page and the paper say the same."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.availability_report import AvailabilityReport, Cause, CauseBy, KilnReport
from plant.calculations.availability import FailureFigures
from plant.models import Mill
from plant.report_period import ReportPeriod
from plant.templatetags.kilnward import DASH, fixed, percent
from plant.templatetags.units import volume_in


def figure(value: Fraction | float | Decimal | None, decimals: int = 1) -> str:
    """Write a number, None as a dash."""
    return DASH if value is None else fixed(Decimal(float(value)) if isinstance(value, Fraction) else value, decimals)


def share(value: Fraction | None) -> str:
    """Write a share of 1 as per cent, None as a dash."""
    return DASH if value is None else percent(Decimal(value.numerator) / Decimal(value.denominator))


def sentence(report: AvailabilityReport) -> str:
    """Say what the report comes to, with its time base."""
    if not report.kilns:
        return _("No kiln was there in this period, so there is nothing to report.")
    so_far = _(" so far") if report.is_so_far else ""
    if report.availability is None:
        return _("Availability%(so_far)s is undefined: in this period no kiln had timber to dry.") % {"so_far": so_far}
    said = _(
        "The kilns were available in %(share)s of the required hours%(so_far)s: the %(hours)s h with timber to dry."
    )
    said %= {"share": share(report.availability), "so_far": so_far, "hours": fixed(report.hours.required, 0)}
    if report.bridge is None:
        return said + " " + _("No charge says how long drying takes, so what was lost cannot be given as a volume.")
    lost = volume_in(report.bridge.lost_to_downtime_m3, report.mill)
    return said + " " + _("%(volume)s were not dried for maintenance reasons.") % {"volume": lost}


def strip_title(period: ReportPeriod) -> str:
    """Head the picture of the time."""
    is_year = (period.last_on - period.first_on).days in (364, 365)
    return _("A year, kiln by kiln") if is_year else _("The period, kiln by kiln")


def remarks(report: AvailabilityReport) -> list[str]:
    """Say what a reader must know so as not to be misled."""
    said = []
    if report.is_so_far:
        until = date_format(localtime(report.until_at), "j F Y, H:i")
        said.append(_("The period is not over: counted up to %(instant)s.") % {"instant": until})
    if report.late_starts:
        begun = ", ".join(
            f"{kiln.tag} ({date_format(localtime(kiln.counted_from_at), 'j M Y')})" for kiln in report.late_starts
        )
        said.append(_("Counted only from where the records begin: %(kilns)s.") % {"kilns": begun})
    if report.kilns and report.kilns_without_rate:
        tags = ", ".join(report.kilns_without_rate)
        said.append(_("Not in the volumes, for want of any charge: %(kilns)s.") % {"kilns": tags})
    return said


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One kiln's figures as written, or those of all kilns."""

    name: str
    availability: str
    equivalent: str
    undefined_why: str
    operating_h: str
    failures: int
    mtbf: str
    mtbf_bounds: str
    time_to_restoration: str
    open_failures: str
    hours: tuple[str, str, str, str, str, str]
    """Able, slowed, planned, stopped, no timber, all of them together."""
    slowed_equivalent: str
    not_dried: str


def kiln_figures(report: AvailabilityReport) -> list[FigureRow]:
    """Write each kiln's figures."""
    return [_figure_row(kiln.tag, kiln, report.mill) for kiln in report.kilns]


def total_figures(report: AvailabilityReport) -> FigureRow:
    """Write the figures of all kilns together."""
    return _figure_row(_("All kilns"), report, report.mill)


def _figure_row(name: str, of: KilnReport | AvailabilityReport, mill: Mill) -> FigureRow:
    hours, failed = of.hours, of.failure_figures
    parts = (hours.able, hours.slowed, hours.planned, hours.stopped, hours.no_timber, hours.total)
    able, slowed, planned, stopped, no_timber, total = (fixed(part) for part in parts)
    return FigureRow(
        name=name,
        availability=share(of.availability),
        equivalent=share(of.equivalent_availability),
        undefined_why=_("undefined: no timber to dry") if of.availability is None else "",
        operating_h=figure(failed.operating_h, 0),
        failures=failed.failures,
        mtbf=DASH if not failed.mtbf_h else _("%(hours)s h") % {"hours": figure(failed.mtbf_h, 0)},
        mtbf_bounds=_bounds(failed),
        time_to_restoration=_restoration(failed),
        open_failures=_open(failed),
        hours=(able, slowed, planned, stopped, no_timber, total),
        slowed_equivalent=fixed(hours.slowed_equivalent),
        not_dried=DASH if of.bridge is None else volume_in(of.bridge.lost_to_downtime_m3, mill, 1),
    )


def _bounds(failed: FailureFigures) -> str:
    if failed.mtbf_lower_h is None:
        return _("it did not run")
    if failed.mtbf_upper_h is None:
        return _("no failure; at least %(hours)s h") % {"hours": figure(failed.mtbf_lower_h, 0)}
    bounds = {"low": figure(failed.mtbf_lower_h, 0), "high": figure(failed.mtbf_upper_h, 0)}
    return _("%(low)s to %(high)s h") % bounds


def _restoration(failed: FailureFigures) -> str:
    if failed.mean_time_to_restoration_h is None:
        return DASH
    return _("%(hours)s h") % {"hours": figure(failed.mean_time_to_restoration_h)}


def _open(failed: FailureFigures) -> str:
    count = failed.open_failures
    return ngettext("%d goes on", "%d go on", count) % count if count else ""


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One cause as written."""

    what: str
    where: str
    failures: int
    stopped_h: str
    slowed_h: str
    not_dried: str
    how_often: str
    operating_h_per_failure: str


SORTS: dict[str, Callable[[Cause], tuple[Fraction | int | str, ...]]] = {
    "volume": lambda cause: (-(cause.lost_m3 or Fraction(0)), -cause.hours),
    "hours": lambda cause: (-cause.hours,),
    "failures": lambda cause: (-cause.failures, -cause.hours),
    "cause": lambda cause: (cause.what.casefold(),),
}


def cause_rows(report: AvailabilityReport, by: CauseBy, sort: str = "volume") -> list[CauseRow]:
    """Write the causes in the order asked for; raises KeyError for an order that is not among ``SORTS``."""
    found = sorted(report.causes[by], key=lambda cause: (*SORTS[sort](cause), cause.what))
    return [
        CauseRow(
            what=cause.what,
            where=cause.where,
            failures=cause.failures,
            stopped_h=figure(cause.stopped_h),
            slowed_h=figure(cause.slowed_h),
            not_dried=DASH if cause.lost_m3 is None else volume_in(figure_m3(cause.lost_m3), report.mill, 1),
            how_often=_how_often(cause),
            operating_h_per_failure=figure(cause.operating_h_per_failure, 0),
        )
        for cause in found
    ]


def figure_m3(m3: Fraction) -> Decimal:
    """Give cubic metres to the thousandth."""
    return round(m3 * 1000) * Decimal("0.001")


def _how_often(cause: Cause) -> str:
    if cause.operating_h_per_failure is None:
        return _("began before the period") if not cause.failures else DASH
    hours = {"hours": figure(cause.operating_h_per_failure, 0)}
    if cause.failures == 1:
        return _("once in %(hours)s operating hours") % hours
    return _("every %(hours)s operating hours") % hours


def definitions() -> list[tuple[str, str, str]]:
    """Say what the figures mean: term, meaning, and the word under which the page of words explains it."""
    return [
        (
            _("Availability in the period"),
            _("required hours less full stops, over required hours (EN 13306, IEC 60050-192); weighted by volume."),
            "availability in the period",
        ),
        (
            _("Required hours"),
            _("all hours less those without timber; lack of timber is not downtime."),
            "required time",
        ),
        (
            _("Equivalent availability"),
            _("slowed hours count by the share of capacity lost (IEEE 762)."),
            "equivalent availability",
        ),
        (
            _("Operating hours"),
            _("hours in which a charge is heated, dried, conditioned or cooled, less full stops."),
            "operating hours",
        ),
        (
            _("MTBF"),
            _("operating hours over failures (unplanned stops and slowings); bounds at 90 % confidence."),
            "MTBF (operating hours)",
        ),
        (
            _("Mean time to restoration"),
            _("from the failure to the kiln being able to dry as before, waiting for people and parts included."),
            "mean time to restoration",
        ),
        (
            _("Not dried"),
            _("hours lost times what the kiln itself dried in an hour of what it would have dried then."),
            "lost cubic metres",
        ),
    ]
