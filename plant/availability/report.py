"""The availability report: figures of each kiln and of all, where the drying went, and what stopped the kilns.

Everything is counted over required time (the period less the time without timber and the time that a cause outside the
kiln took) up to now. The page, the PDF and the CSV files all show one ``AvailabilityReport``.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise
from statistics import median

from django.utils.text import get_valid_filename
from django.utils.translation import gettext as _

from plant.availability.calculations.availability import (
    Failure,
    FailureFigures,
    TimeBase,
    availability,
    equivalent_availability,
    failure_figures,
    failures,
    fleet_availability,
)
from plant.availability.calculations.stretches import Being, Stretch, joined, stretches
from plant.availability.report_period import ReportPeriod
from plant.basics.periods import Period, to_epoch_s
from plant.charges.calculations import downtime as records
from plant.charges.calculations.drying_loss import (
    Bridge,
    ChargeAcross,
    CompletedCharge,
    DryingRate,
    PlannedCharge,
    Product,
    bridge,
    drying_rate,
    product_stretches,
)
from plant.charges.calculations.time_account import EMPTY_ACCOUNT, TimeAccount, account_grid, equivalent_hours
from plant.charges.record import stood_so_far
from plant.charges.rows import ChargeLine, DowntimeLine, KilnRecords, read_records
from plant.clock import start_of_day
from plant.models import Downtime, Kiln, Mill

TENTH_H = Decimal("0.1")
ZERO = Decimal(0)
SEPARATOR = "\x1f"


class CauseBy(StrEnum):
    """What the table of causes is put together by."""

    COMPONENT_KIND = "component"
    REASON = "reason"


@dataclass(frozen=True, slots=True)
class Hours:
    """The required view of a time account in hours to the tenth; the six always add up to ``total``."""

    able: Decimal
    slowed: Decimal
    planned: Decimal
    stopped: Decimal
    outside: Decimal
    no_timber: Decimal
    slowed_equivalent: Decimal

    @classmethod
    def of(cls, account: TimeAccount) -> "Hours":
        """Round the running total, so that rounding never opens a gap."""
        split = account.required
        totals, running_s = [ZERO], 0
        parts_s = (
            split.able_s,
            split.slowed_s,
            split.planned_s,
            split.unplanned_s,
            split.external_s,
            split.no_timber_s,
        )
        for seconds in parts_s:
            running_s += seconds
            totals.append(_tenths(Fraction(running_s, 3600)))
        able, slowed, planned, stopped, outside, no_timber = (above - below for below, above in pairwise(totals))
        return cls(able, slowed, planned, stopped, outside, no_timber, _tenths(equivalent_hours(split.slowed_ms)))

    def __add__(self, other: "Hours") -> "Hours":
        """Add up as written, so that a column adds up as a row does."""
        return Hours(*(mine + theirs for mine, theirs in zip(astuple(self), astuple(other), strict=True)))

    @property
    def required(self) -> Decimal:
        """Hours in which there was something to dry and nothing outside the kiln held it up."""
        return self.able + self.slowed + self.planned + self.stopped

    @property
    def total(self) -> Decimal:
        """All hours of the period."""
        return self.required + self.outside + self.no_timber


def _tenths(hours: Fraction) -> Decimal:
    return round(hours * 10) * TENTH_H


@dataclass(frozen=True, slots=True)
class KilnReport:
    """The figures of one kiln. Ratios are None where nothing was required; ``bridge`` where nobody wrote down charges.

    ``counted_from_at`` is later than the report's start where the kiln's records, or the kiln itself, began later.
    """

    tag: str
    name: str
    usable_m3: Decimal
    counted_from_at: datetime
    is_late_start: bool
    account: TimeAccount
    hours: Hours
    availability: Fraction | None
    equivalent_availability: Fraction | None
    failure_figures: FailureFigures
    bridge: Bridge | None
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class Cause:
    """What one kind of component, or one reason, cost by unplanned stops and slowing; or one cause outside the kilns.

    ``failures`` counts those that began in the period; hours and m3 also those that went on into it. ``lost_m3`` is
    None where a kiln's drying rate is not known.
    """

    what: str
    where: str
    failures: int
    stopped_h: Fraction
    slowed_h: Fraction
    lost_m3: Fraction | None
    operating_h_per_failure: Fraction | None

    @property
    def hours(self) -> Fraction:
        """Hours stopped and equivalent hours slowed."""
        return self.stopped_h + self.slowed_h


@dataclass(frozen=True, slots=True)
class AvailabilityReport:
    """The report over ``period``, counted up to ``until_at``; ``is_so_far`` where the period is not over.

    ``availability`` and ``equivalent_availability`` are shares of the kilns' hours, each kiln alike; ``by_volume`` and
    ``equivalent_by_volume`` weigh each kiln's hours by its usable volume. ``outside`` lists the causes outside the
    kilns. ``only`` is the kiln that was asked for, None for all.
    """

    mill: Mill
    period: ReportPeriod
    drawn_at: datetime
    until_at: datetime
    is_so_far: bool
    kilns: tuple[KilnReport, ...]
    records: dict[int, DowntimeLine]
    total: TimeAccount
    hours: Hours
    availability: Fraction | None
    equivalent_availability: Fraction | None
    by_volume: Fraction | None
    equivalent_by_volume: Fraction | None
    failure_figures: FailureFigures
    bridge: Bridge | None
    causes: dict[CauseBy, tuple[Cause, ...]]
    outside: tuple[Cause, ...]
    only: Kiln | None = None

    @property
    def file_stem(self) -> str:
        """How a file about it is called."""
        return get_valid_filename(f"{self.only.tag}-{self.period.file_stem}") if self.only else self.period.file_stem

    @property
    def kilns_without_rate(self) -> list[str]:
        """Kilns whose cubic metres cannot be told."""
        return [kiln.tag for kiln in self.kilns if kiln.bridge is None]

    @property
    def late_starts(self) -> list[KilnReport]:
        """Kilns that are not counted from the start of the period on."""
        return [kiln for kiln in self.kilns if kiln.is_late_start]

    def lines(self) -> list[DowntimeLine]:
        """List the records that reach into the period, by kiln and start."""
        start_at, until_at = self.period.start_at, self.until_at
        lines = self.records.values()
        return [x for x in lines if x.start_at < until_at and (x.end_at is None or x.end_at > start_at)]

    def hours_in_period(self, line: DowntimeLine) -> Decimal:
        """Hours of a record that lie within what is counted, to the tenth."""
        begin_s = max(to_epoch_s(line.start_at), to_epoch_s(self.period.start_at))
        end_s = to_epoch_s(self.until_at if line.end_at is None else min(line.end_at, self.until_at))
        return _tenths(Fraction(max(end_s - begin_s, 0), 3600))


def draw_report(mill: Mill, period: ReportPeriod, now: datetime, only: Kiln | None = None) -> AvailabilityReport:
    """Gather the records and work out the report as of now, of all kilns or of one; a fixed number of queries."""
    until_at = min(period.end_at, now)
    read = read_records(period.start_at, until_at, now, later=stood_so_far(now))
    usual_h = _usual_charge_h(read)
    wanted = [one for one in read if only is None or one.kiln.pk == only.pk]
    drawn = [kiln for one in wanted if (kiln := _DrawnKiln.draw(one, period, until_at, now, usual_h)) is not None]
    total = sum((kiln.report.account for kiln in drawn), EMPTY_ACCOUNT)
    weighted = [(kiln.report.account, kiln.report.usable_m3) for kiln in drawn]
    bridges = [kiln.report.bridge for kiln in drawn if kiln.report.bridge is not None]
    return AvailabilityReport(
        mill=mill,
        period=period,
        drawn_at=now,
        until_at=until_at,
        is_so_far=until_at < period.end_at,
        kilns=tuple(kiln.report for kiln in drawn),
        records={line.key: line for kiln in drawn for line in kiln.lines},
        total=total,
        hours=sum((kiln.report.hours for kiln in drawn), Hours.of(EMPTY_ACCOUNT)),
        availability=availability(total, TimeBase.REQUIRED),
        equivalent_availability=equivalent_availability(total, TimeBase.REQUIRED),
        by_volume=fleet_availability(weighted, TimeBase.REQUIRED, is_equivalent=False),
        equivalent_by_volume=fleet_availability(weighted, TimeBase.REQUIRED),
        failure_figures=failure_figures(total.operating_s, [f for kiln in drawn for f in kiln.failures]),
        bridge=sum(bridges, Bridge()) if bridges else None,
        causes={by: tuple(_causes(drawn, by, total.operating_s)) for by in CauseBy},
        outside=tuple(_causes(drawn, CauseBy.REASON, 0, Downtime.Kind.EXTERNAL)),
        only=only,
    )


def kiln_report(kiln: Kiln, period: ReportPeriod, now: datetime) -> KilnReport | None:
    """Work out one kiln's figures as the whole report does, so far as its own charges tell; None before its records."""
    until_at = min(period.end_at, now)
    read = read_records(period.start_at, until_at, now, only=kiln, later=stood_so_far(now))
    drawn = _DrawnKiln.draw(read[0], period, until_at, now, _usual_charge_h(read))
    return drawn.report if drawn else None


def _usual_charge_h(read: Iterable[KilnRecords]) -> Decimal | None:
    """Middle planned length of all charges: stands in for a kiln that has none yet."""
    lengths = [charge.planned_h for one in read for charge in one.charges]
    return median(lengths) if lengths else None


@dataclass(frozen=True, slots=True)
class _DrawnKiln:
    """One kiln's report with what the table of causes needs beside it."""

    report: KilnReport
    lines: list[DowntimeLine]
    failures: list[Failure]
    stretches: list[Stretch]
    rates: list[Fraction] | None

    @classmethod
    def draw(
        cls, read: KilnRecords, period: ReportPeriod, until_at: datetime, now: datetime, usual_h: Decimal | None
    ) -> "_DrawnKiln | None":
        """Work out one kiln; None if it was not there yet."""
        begin_at = _counted_from(read, period)
        if begin_at >= until_at:
            return None
        span = Period(begin_at, until_at)
        parts = product_stretches(span, [(charge.unloaded_at, charge.product) for charge in read.charges])
        edges_s = [part.period.start_s for part in parts] + [span.end_s]
        rows = _downtime_rows(read)
        grid = account_grid(rows, edges_s, span.end_s, read.phases, kiln_ids=(read.kiln.pk,))
        accounts = [grid.account(read.kiln.pk, cell) for cell in range(len(parts))]
        rates = _rates(read, rows, [part.product for part in parts], usual_h)
        found = stretches(_stretch_rows(read.downtime, rows), edges_s, span.end_s)
        failed = failures(_failure_records(read), span)
        whole = grid.of_kiln(read.kiln.pk)
        dried_m3 = sum(
            (c.volume_m3 for c in read.charges if c.is_done and begin_at < c.unloaded_at <= until_at), Decimal()
        )
        across = _across(read, rows, span, to_epoch_s(now))
        report = KilnReport(
            tag=read.kiln.tag,
            name=read.kiln.name,
            usable_m3=read.kiln.usable_m3,
            counted_from_at=begin_at,
            is_late_start=begin_at > period.start_at,
            account=whole,
            hours=Hours.of(whole),
            availability=availability(whole, TimeBase.REQUIRED),
            equivalent_availability=equivalent_availability(whole, TimeBase.REQUIRED),
            failure_figures=failure_figures(whole.operating_s, failed),
            bridge=None if rates is None else bridge(zip(accounts, rates, strict=True), dried_m3, across),
            stretches=tuple(joined(found)),
        )
        return cls(report, read.downtime, failed, found, None if rates is None else [rate.m3_per_h for rate in rates])


def _counted_from(read: KilnRecords, period: ReportPeriod) -> datetime:
    """Leave out the time before the kiln was built or its records begin: it would all count as able to dry."""
    starts = [period.start_at]
    if read.kiln.built_on is not None:
        starts.append(start_of_day(read.kiln.built_on, period.zone))
    if read.first_record_at is not None:
        starts.append(read.first_record_at)
    return max(starts)


def _downtime_rows(read: KilnRecords) -> list[records.DowntimeRow]:
    return [
        (
            read.kiln.pk,
            to_epoch_s(line.start_at),
            None if line.end_at is None else to_epoch_s(line.end_at),
            line.kind.value,
            line.share_lost_thousandths,
        )
        for line in read.downtime
    ]


def _stretch_rows(
    lines: Sequence[DowntimeLine], rows: Sequence[records.DowntimeRow]
) -> list[tuple[int, int, int | None, str, int]]:
    """Name the records, instead of their kiln."""
    return [
        (line.key, start_s, end_s, kind, share)
        for line, (_kiln, start_s, end_s, kind, share) in zip(lines, rows, strict=True)
    ]


def _failure_records(read: KilnRecords) -> list[records.Downtime]:
    return [
        records.Downtime(
            read.kiln.pk,
            line.start_at,
            line.end_at,
            records.DowntimeKind.UNPLANNED,
            line.share_lost_thousandths,
            SEPARATOR.join(_cause_key(line)),
        )
        for line in read.downtime
        if line.kind is Downtime.Kind.UNPLANNED
    ]


def _cause_key(line: DowntimeLine) -> tuple[str, str, str]:
    """Records that touch or overlap and agree in this are one failure."""
    return line.component_kind, line.component, line.reason


def _rates(
    read: KilnRecords,
    rows: Sequence[records.DowntimeRow],
    products: Sequence[Product | None],
    usual_h: Decimal | None,
) -> list[DryingRate] | None:
    """Say what the kiln dries an hour of each product; None where no charge tells how long one takes."""
    lengths = [charge.planned_h for charge in read.charges] or ([usual_h] if usual_h is not None else [])
    if not lengths:
        return None
    plan = PlannedCharge(read.kiln.usable_m3, sum(lengths, ZERO) / len(lengths))
    completed = _completed(read, rows)
    known = {product: drying_rate(product, completed, plan) for product in set(products)}
    return [known[product] for product in products]


def _completed(read: KilnRecords, rows: Sequence[records.DowntimeRow]) -> list[CompletedCharge]:
    """Give each unloaded charge its share of the kiln's time, all in one sweep."""
    done: list[ChargeLine] = []
    edges_s: list[int] = []
    for charge in read.charges:
        unloaded_s = to_epoch_s(charge.unloaded_at)
        if not charge.is_done:
            continue
        if not edges_s:
            edges_s.append(to_epoch_s(charge.free_at))
        # Of two charges unloaded at the same instant, a fault of the records, the second has no time of its own.
        if unloaded_s > edges_s[-1]:
            edges_s.append(unloaded_s)
            done.append(charge)
    if not done:
        return []
    grid = account_grid(rows, edges_s, edges_s[-1], kiln_ids=(read.kiln.pk,))
    able_ms = [grid.account(read.kiln.pk, cell).required.equivalent_able_ms for cell in range(len(done))]
    return [
        CompletedCharge(charge.product, charge.volume_m3, equivalent_hours(lost))
        for charge, lost in zip(done, able_ms, strict=True)
        if lost
    ]


def _across(read: KilnRecords, rows: Sequence[records.DowntimeRow], span: Period, now_s: int) -> Iterable[ChargeAcross]:
    """Give the charges that came out in the span but began before, or were begun in it and are not out by its end."""
    for charge in read.charges:
        free_s, out_s = to_epoch_s(charge.free_at), to_epoch_s(charge.unloaded_at)
        is_out = charge.is_done and out_s <= span.end_s
        is_across = free_s < span.start_s or not is_out
        if not (is_across and max(free_s, span.start_s) < min(out_s, span.end_s)):
            continue
        edges_s = [free_s, *(edge for edge in (span.start_s, span.end_s) if free_s < edge < out_s), out_s]
        grid = account_grid(rows, edges_s, now_s, kiln_ids=(read.kiln.pk,))
        able_ms: Counter[str] = Counter()
        for cell, start_s in enumerate(edges_s[:-1]):
            where = "before" if start_s < span.start_s else "within" if start_s < span.end_s else "after"
            able_ms[where] += grid.account(read.kiln.pk, cell).required.equivalent_able_ms
        yield ChargeAcross(charge.volume_m3, able_ms["before"], able_ms["within"], able_ms["after"], is_out)


class _Tally:
    """What one row of the table of causes adds up."""

    def __init__(self) -> None:
        self.stopped_s = 0
        self.slowed_ms = 0
        self.lost_m3: Fraction | None = Fraction(0)
        self.failures: Counter[str] = Counter()
        self.kilns: set[str] = set()


def _causes(
    drawn: Sequence[_DrawnKiln], by: CauseBy, operating_s: int, kind: Downtime.Kind = Downtime.Kind.UNPLANNED
) -> Iterable[Cause]:
    """Add up stops and slowing of one kind; the sums are those of the time account and of the bridge."""
    being = Being(kind.value)
    tallies: defaultdict[str, _Tally] = defaultdict(_Tally)
    for kiln in drawn:
        tag = kiln.report.tag
        names = {line.key: _cause_name(_cause_key(line), by) for line in kiln.lines if line.kind is kind}
        lost_ms: Counter[tuple[str, int]] = Counter()
        for stretch in kiln.stretches:
            if stretch.being not in (being, Being.SLOWED):
                continue
            for key, share in stretch.due_to:
                if key not in names:
                    continue
                tally = tallies[names[key]]
                tally.kilns.add(tag)
                if stretch.being is being:
                    tally.stopped_s += stretch.seconds
                else:
                    tally.slowed_ms += stretch.seconds * share
                lost_ms[names[key], stretch.cell] += stretch.seconds * share
        for (name, cell), milliseconds in lost_ms.items():
            tallies[name].lost_m3 = _more(tallies[name].lost_m3, milliseconds, kiln.rates, cell)
        for failure in kiln.failures if kind is Downtime.Kind.UNPLANNED else ():
            component_kind, component, reason = failure.cause.split(SEPARATOR, 2)
            tally = tallies[_cause_name((component_kind, component, reason), by)]
            tally.failures[tag] += 1
            tally.kilns.add(tag)
    return [_cause(what, tally, operating_s) for what, tally in tallies.items()]


def _more(lost_m3: Fraction | None, milliseconds: int, rates: list[Fraction] | None, cell: int) -> Fraction | None:
    if lost_m3 is None or rates is None:
        return None
    return lost_m3 + equivalent_hours(milliseconds) * rates[cell]


def _cause_name(key: tuple[str, str, str], by: CauseBy) -> str:
    component_kind, _component, reason = key
    if by is CauseBy.COMPONENT_KIND and component_kind:
        return component_kind
    return reason or component_kind or _("not written down")


def _cause(what: str, tally: _Tally, operating_s: int) -> Cause:
    count = tally.failures.total()
    return Cause(
        what=what,
        where=", ".join(
            f"{tag}×{tally.failures[tag]}" if tally.failures[tag] > 1 else tag for tag in sorted(tally.kilns)
        ),
        failures=count,
        stopped_h=Fraction(tally.stopped_s, 3600),
        slowed_h=equivalent_hours(tally.slowed_ms),
        lost_m3=tally.lost_m3,
        operating_h_per_failure=Fraction(operating_s, 3600 * count) if count and operating_s else None,
    )
