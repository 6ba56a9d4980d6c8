"""The availability report in words and written figures: the page and the paper say the same."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.availability.calculations.availability import FailureFigures
from plant.availability.report import AvailabilityReport, Cause, CauseBy, KilnReport
from plant.availability.report_period import ReportPeriod
from plant.frame.figures import DASH, fixed, percent
from plant.frame.units import volume_in
from plant.models import Mill


def figure(value: Fraction | float | Decimal | None, decimals: int = 1) -> str:
    """Write a number, None as a dash."""
    return DASH if value is None else fixed(Decimal(float(value)) if isinstance(value, Fraction) else value, decimals)


def share(value: Fraction | None) -> str:
    """Write a share of 1 as per cent, None as a dash."""
    return DASH if value is None else percent(Decimal(value.numerator) / Decimal(value.denominator))


def title(report: AvailabilityReport) -> str:
    """Name the report with its period, and its kiln where it is about one."""
    said = _("Availability of %(kiln)s, %(period)s") if report.only else _("Kiln availability, %(period)s")
    return said % {"kiln": report.only, "period": report.period.label}


def sentence(report: AvailabilityReport) -> str:
    """Say what the report comes to, with its time base."""
    if not report.kilns and report.only:
        return _("%(kiln)s has no time in this period, so there is nothing to report.") % {"kiln": report.only}
    if not report.kilns:
        return _("No kiln was there in this period, so there is nothing to report.")
    so_far = _(" so far") if report.is_so_far else ""
    if report.availability is None:
        said = _("Availability%(so_far)s is undefined: in this period no kiln had required hours, %(why)s.")
        return said % {"so_far": so_far, "why": _("for want of timber or by a cause outside")}
    said = _("The kilns were available in %(share)s of their required hours%(so_far)s, %(hours)s h.")
    if report.only:
        said = _("%(kiln)s was available in %(share)s of its required hours%(so_far)s, %(hours)s h.")
    said %= {
        "kiln": report.only,
        "share": share(report.availability),
        "so_far": so_far,
        "hours": fixed(report.hours.required, 0),
    }
    if len(report.kilns) > 1:
        said += " " + _("Weighed by the volume that each kiln holds it is %(share)s.") % {
            "share": share(report.by_volume)
        }
    if report.bridge is None:
        return said + " " + _("No charge says how long drying takes, so what was lost cannot be given as a volume.")
    lost = volume_in(report.bridge.lost_to_downtime_m3, report.mill)
    said += " " + _("%(volume)s were not dried for maintenance reasons.") % {"volume": lost}
    if report.bridge.outside_m3:
        outside = volume_in(report.bridge.outside_m3, report.mill)
        said += " " + _("Causes outside the kilns cost %(volume)s more; they do not count against availability.") % {
            "volume": outside
        }
    return said


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
    by_volume: str
    equivalent: str
    equivalent_by_volume: str
    undefined_why: str
    operating_h: str
    failures: int
    mtbf: str
    mtbf_bounds: str
    time_to_restoration: str
    open_failures: str
    hours: tuple[str, ...]
    """Able, slowed, planned, stopped, causes outside, no timber, all of them together."""
    slowed_equivalent: str
    not_dried: str
    outside_m3: str


def kiln_figures(report: AvailabilityReport) -> list[FigureRow]:
    """Write each kiln's figures."""
    return [_figure_row(kiln.tag, kiln, report.mill) for kiln in report.kilns]


def total_figures(report: AvailabilityReport) -> FigureRow:
    """Write the figures of all kilns together."""
    return _figure_row(_("All kilns"), report, report.mill)


def _figure_row(name: str, of: KilnReport | AvailabilityReport, mill: Mill) -> FigureRow:
    hours, failed = of.hours, of.failure_figures
    parts = (hours.able, hours.slowed, hours.planned, hours.stopped, hours.outside, hours.no_timber, hours.total)
    return FigureRow(
        name=name,
        availability=share(of.availability),
        by_volume=_by_volume(of.by_volume) if isinstance(of, AvailabilityReport) else "",
        equivalent=share(of.equivalent_availability),
        equivalent_by_volume=_by_volume(of.equivalent_by_volume) if isinstance(of, AvailabilityReport) else "",
        undefined_why=_("undefined: no required hours") if of.availability is None else "",
        operating_h=figure(failed.operating_h, 0),
        failures=failed.failures,
        mtbf=DASH if not failed.mtbf_h else _("%(hours)s h") % {"hours": figure(failed.mtbf_h, 0)},
        mtbf_bounds=_bounds(failed),
        time_to_restoration=_restoration(failed),
        open_failures=_open(failed),
        hours=tuple(fixed(part) for part in parts),
        slowed_equivalent=fixed(hours.slowed_equivalent),
        not_dried=DASH if of.bridge is None else volume_in(of.bridge.lost_to_downtime_m3, mill, 1),
        outside_m3=DASH if of.bridge is None else volume_in(of.bridge.outside_m3, mill, 1),
    )


def _by_volume(value: Fraction | None) -> str:
    return "" if value is None else _("%(share)s by volume") % {"share": share(value)}


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
    return [_cause_row(cause, report.mill) for cause in found]


def outside_rows(report: AvailabilityReport) -> list[CauseRow]:
    """Write the causes outside the kilns, the dearest first."""
    return [_cause_row(cause, report.mill) for cause in sorted(report.outside, key=SORTS["volume"])]


def _cause_row(cause: Cause, mill: Mill) -> CauseRow:
    return CauseRow(
        what=cause.what,
        where=cause.where,
        failures=cause.failures,
        stopped_h=figure(cause.stopped_h),
        slowed_h=figure(cause.slowed_h),
        not_dried=DASH if cause.lost_m3 is None else volume_in(figure_m3(cause.lost_m3), mill, 1),
        how_often=_how_often(cause),
        operating_h_per_failure=figure(cause.operating_h_per_failure, 0),
    )


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
            _(
                "required hours less full stops, over required hours (EN 13306, IEC 60050-192). An hour of each kiln "
                "counts alike; “by volume” weighs it by the volume that the kiln holds."
            ),
            "availability in the period",
        ),
        (
            _("Required hours"),
            _("all hours less those without timber and those that a cause outside the kiln took; neither is downtime."),
            "required time",
        ),
        (
            _("Outside causes"),
            _("power cut, no crew, no heat from the plant: no failure of the kiln, not counted against it."),
            "cause outside the kiln",
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
        (
            _("Charges under way"),
            _("a charge across an end of the period, with the wait before it, is shared out by the kiln's able hours."),
            "charges under way",
        ),
    ]
