"""The numbers of the availability report, from the records to the sums."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plant.availability.report import AvailabilityReport, CauseBy, draw_report
from plant.availability.report_period import (
    PeriodError,
    ReportPeriod,
    current_periods,
    named_period,
    read_period,
    twelve_months,
)
from plant.charges.calculations.time_account import equivalent_hours
from plant.models import Downtime, Mill
from tests.factories import ChargeFactory, ComponentFactory, DowntimeFactory, KilnFactory, MillFactory

ZONE = ZoneInfo("Europe/Stockholm")
MARCH = ReportPeriod(date(2026, 3, 1), date(2026, 3, 31), ZONE, "2026-03")
NOW = datetime(2026, 5, 1, 9, tzinfo=UTC)
H = timedelta(hours=1)


@pytest.fixture
def mill(db: Any) -> Mill:
    return MillFactory()


def fill_with_charges(kiln: Any, first_at: datetime, count: int, days: int = 5) -> None:
    for number in range(count):
        begin_at = first_at + timedelta(days=days * number)
        ChargeFactory(kiln=kiln, begin_at=begin_at, days=days, basis="done")


def march(mill: Mill, now: datetime = NOW) -> AvailabilityReport:
    return draw_report(mill, MARCH, now)


@pytest.mark.django_db
def test_a_month_with_a_clock_change_has_743_hours_and_they_add_up(mill: Mill) -> None:
    kiln = KilnFactory()
    start_at = MARCH.start_at
    DowntimeFactory(kiln=kiln, start_at=start_at - 4 * H, end_at=start_at + 6 * H)
    DowntimeFactory(kiln=kiln, kind="planned", start_at=start_at + 100 * H, end_at=start_at + 110 * H)
    DowntimeFactory(kiln=kiln, share_lost=Decimal("0.25"), start_at=start_at + 200 * H, end_at=start_at + 240 * H)
    DowntimeFactory(kiln=kiln, kind="no_timber", start_at=start_at + 300 * H, end_at=start_at + 343 * H)
    (row,) = march(mill).kilns
    hours = row.hours
    assert (hours.able, hours.slowed, hours.planned, hours.stopped, hours.no_timber) == (644, 40, 10, 6, 43)
    assert (hours.total, hours.required, hours.slowed_equivalent) == (743, 700, 10)
    assert row.availability == Fraction(700 - 16, 700)
    assert row.equivalent_availability == Fraction(700 - 26, 700)


@pytest.mark.django_db
def test_lack_of_timber_all_month_leaves_availability_undefined(mill: Mill) -> None:
    DowntimeFactory(kind="no_timber", start_at=MARCH.start_at - H, end_at=None)
    report = march(mill)
    assert (report.availability, report.equivalent_availability, report.kilns[0].availability) == (None, None, None)


@pytest.mark.django_db
def test_a_month_that_is_not_over_is_counted_up_to_now(mill: Mill) -> None:
    now = MARCH.start_at + 100 * H
    DowntimeFactory(start_at=now - 20 * H, end_at=None)
    DowntimeFactory(kind="planned", start_at=now + 10 * H, end_at=now + 90 * H)
    report = march(mill, now)
    assert (report.is_so_far, report.hours.total, report.hours.stopped, report.hours.planned) == (True, 100, 20, 0)
    assert report.availability == Fraction(80, 100)


@pytest.mark.django_db
def test_the_fleet_is_weighted_by_usable_volume(mill: Mill) -> None:
    small, large = KilnFactory(tag="K1", usable_m3=50), KilnFactory(tag="K2", usable_m3=150)
    DowntimeFactory(kiln=small, start_at=MARCH.start_at, end_at=MARCH.start_at + 743 * H)
    DowntimeFactory(kiln=large, kind="no_timber", start_at=MARCH.start_at - 5 * H, end_at=MARCH.start_at - H)
    # 0 x 50 and 1 x 150 of 200 m3
    report = march(mill)
    assert (report.by_volume, report.equivalent_by_volume) == (Fraction(3, 4), Fraction(3, 4))


@pytest.mark.django_db
def test_the_head_counts_hours_of_each_kiln_alike(mill: Mill) -> None:
    small, large = KilnFactory(tag="K1", usable_m3=50), KilnFactory(tag="K2", usable_m3=150)
    DowntimeFactory(kiln=small, start_at=MARCH.start_at, end_at=MARCH.start_at + 743 * H)
    DowntimeFactory(kiln=large, kind="no_timber", start_at=MARCH.start_at, end_at=MARCH.start_at + 43 * H)
    # 700 h able of 743 + 700 h
    assert march(mill).availability == Fraction(700, 1443)


@pytest.mark.django_db
def test_a_power_cut_is_apart_from_the_failures_and_has_its_own_list(mill: Mill) -> None:
    kiln = KilnFactory()
    fill_with_charges(kiln, MARCH.start_at - timedelta(days=50), 20)
    at = MARCH.start_at + 48 * H
    DowntimeFactory(kiln=kiln, kind="external", start_at=at, end_at=at + 12 * H, cause="power cut")
    DowntimeFactory(kiln=kiln, start_at=at + 99 * H, end_at=at + 100 * H, cause="door jammed")
    report = march(mill)
    assert (report.hours.outside, report.hours.stopped, report.hours.required) == (12, 1, 731)
    assert (report.availability, report.failure_figures.failures) == (Fraction(730, 731), 1)
    (outside,) = report.outside
    assert (outside.what, outside.where, outside.stopped_h, outside.failures) == ("power cut", "K1", 12, 0)
    assert [cause.what for cause in report.causes[CauseBy.REASON]] == ["door jammed"]
    drying = report.bridge
    assert drying is not None and outside.lost_m3 is not None
    assert abs(outside.lost_m3 - Fraction(drying.outside_m3)) < Fraction(1, 400)


@pytest.mark.django_db
def test_the_drying_adds_up_and_the_causes_are_what_was_lost_unplanned(mill: Mill) -> None:
    kiln = KilnFactory()
    fill_with_charges(kiln, MARCH.start_at - timedelta(days=50), 20)
    fan = ComponentFactory(kiln=kiln)
    start_at = MARCH.start_at + 48 * H
    DowntimeFactory(kiln=kiln, component=fan, start_at=start_at, end_at=start_at + 30 * H)
    DowntimeFactory(kiln=kiln, start_at=start_at + 10 * H, end_at=start_at + 40 * H, cause="door jammed")
    DowntimeFactory(kiln=kiln, start_at=start_at + 99 * H, end_at=start_at + 140 * H, share_lost=Decimal("0.4"))
    DowntimeFactory(kiln=kiln, kind="planned", start_at=start_at + 200 * H, end_at=start_at + 212 * H)
    DowntimeFactory(kiln=kiln, kind="no_timber", start_at=start_at + 300 * H, end_at=start_at + 324 * H)
    report = march(mill)
    drying = report.bridge
    assert drying is not None
    losses = drying.no_timber_m3 + drying.lost_to_downtime_m3 + drying.under_way_m3 + drying.pace_m3
    assert drying.could_dry_m3 - losses == drying.dried_m3 == 6 * 55
    for by in CauseBy:
        causes = report.causes[by]
        lost_m3 = sum((cause.lost_m3 or Fraction(0) for cause in causes), Fraction(0))
        assert abs(lost_m3 - Fraction(drying.stopped_m3 + drying.slowed_m3)) < Fraction(1, 400)
        assert sum(cause.failures for cause in causes) == report.failure_figures.failures == 3
    split = report.total.required
    by_kind = {cause.what: cause for cause in report.causes[CauseBy.COMPONENT_KIND]}
    # The door was reported while the fan already stood: only what it added is its own.
    assert (by_kind["Fan"].stopped_h, by_kind["door jammed"].stopped_h) == (30, 10)
    assert by_kind["fan 3 bearing"].slowed_h == equivalent_hours(split.slowed_unplanned_ms) == Fraction(41 * 4, 10)


@pytest.mark.django_db
def test_a_kiln_that_dries_as_its_record_says_shows_no_pace_in_the_long_run(mill: Mill) -> None:
    fill_with_charges(KilnFactory(usable_m3=55), MARCH.start_at - timedelta(days=100), 30)
    drying = march(mill).bridge
    assert drying is not None
    # 743 h at 55 m3 in 120 h; six charges came out
    assert drying.could_dry_m3 == pytest.approx(Decimal(743) * 55 / 120, abs=Decimal("0.001"))
    assert (drying.dried_m3, drying.lost_to_downtime_m3) == (330, 0)
    # By hand: the seventh charge has 23 of its 120 h behind it at the end of the month, 55 x 23 / 120 m3; nothing more.
    assert (drying.under_way_m3, abs(drying.pace_m3)) == (Decimal("10.542"), 0)


@pytest.mark.django_db
def test_a_charge_that_dried_before_the_period_is_no_haste_in_it(mill: Mill) -> None:
    # By hand: charges of 55 m3 every 120 h; the month begins when 100 h of one are over, and ends 3 h into another.
    fill_with_charges(KilnFactory(usable_m3=55), MARCH.start_at - timedelta(days=100) - 100 * H, 30)
    drying = march(mill).bridge
    assert drying is not None
    assert (drying.dried_m3, drying.under_way_m3) == (7 * 55, Decimal(55 * (3 - 100)) / 120 // Decimal("0.001") / 1000)
    assert abs(drying.pace_m3) <= Decimal("0.001")


@pytest.mark.django_db
def test_a_charge_in_the_kiln_now_counts_for_what_it_has_dried_so_far(mill: Mill) -> None:
    kiln = KilnFactory(usable_m3=55)
    fill_with_charges(kiln, MARCH.start_at - timedelta(days=100), 20)
    now = MARCH.start_at + 60 * H
    ChargeFactory(kiln=kiln, begin_at=MARCH.start_at, days=5, basis="running")
    DowntimeFactory(kiln=kiln, kind="planned", start_at=now + 20 * H, end_at=now + 30 * H)
    drying = march(mill, now).bridge
    assert drying is not None
    # 60 of 120 h are over; of the 60 to come 10 are planned work, so 60 of 110 able hours.
    assert drying.under_way_m3 == round(Decimal(55 * 60) / 110, 3)


@pytest.mark.django_db
def test_a_charge_whose_end_nobody_knows_comes_out_later_by_as_long_as_its_kiln_stood(mill: Mill) -> None:
    kiln = KilnFactory(usable_m3=55)
    fill_with_charges(kiln, MARCH.start_at - timedelta(days=100), 20)
    now = MARCH.start_at + 60 * H
    ChargeFactory(kiln=kiln, begin_at=MARCH.start_at, days=5, basis="running")
    stood = DowntimeFactory(kiln=kiln, kind="unplanned", start_at=now - 20 * H, end_at=None)
    drying = march(mill, now).bridge
    assert drying is not None
    # 40 able hours are over, 60 are to come.
    assert drying.under_way_m3 == round(Decimal(55 * 40) / 100, 3)
    Downtime.objects.filter(pk=stood.pk).update(charge_end_unknown_at=now - 20 * H)
    drying = march(mill, now).bridge
    assert drying is not None
    # It comes out 20 h later: of 120 able hours 40 are over.
    assert drying.under_way_m3 == round(Decimal(55 * 40) / 120, 3)


@pytest.mark.django_db
def test_an_overdue_charge_has_dried_and_one_that_never_began_has_not(mill: Mill) -> None:
    overdue, late = KilnFactory(tag="K1", usable_m3=55), KilnFactory(tag="K2", usable_m3=55)
    for kiln in (overdue, late):
        fill_with_charges(kiln, MARCH.start_at - timedelta(days=100), 20)
    ChargeFactory(kiln=overdue, begin_at=MARCH.start_at, days=5, basis="running")
    ChargeFactory(kiln=late, begin_at=MARCH.start_at, days=5, basis="planned")
    under_way = {
        kiln.tag: kiln.bridge.under_way_m3 for kiln in march(mill, MARCH.start_at + 200 * H).kilns if kiln.bridge
    }
    # K2 has waited 200 h for a charge that takes 120 h: its share of the wait and nothing more.
    assert under_way == {"K1": 55, "K2": round(Decimal(55 * 200) / 320, 3)}


@pytest.mark.django_db
def test_a_report_on_one_kiln_says_what_the_whole_one_says_of_it(mill: Mill) -> None:
    first, second = KilnFactory(tag="K1"), KilnFactory(tag="K2")
    for kiln in (first, second):
        fill_with_charges(kiln, MARCH.start_at - timedelta(days=50), 20)
        DowntimeFactory(kiln=kiln, start_at=MARCH.start_at + H, end_at=MARCH.start_at + (kiln.pk + 2) * H)
    whole = march(mill)
    alone = draw_report(mill, MARCH, NOW, second)
    assert alone.kilns == whole.kilns[1:]
    assert (alone.availability, alone.bridge) == (whole.kilns[1].availability, whole.kilns[1].bridge)


@pytest.mark.django_db
def test_mtbf_counts_operating_hours_and_one_failure_for_records_that_touch(mill: Mill) -> None:
    kiln = KilnFactory()
    ChargeFactory(kiln=kiln, begin_at=MARCH.start_at, days=31, basis="done")
    at = MARCH.start_at + 100 * H
    DowntimeFactory(kiln=kiln, start_at=at, end_at=at + 5 * H)
    DowntimeFactory(kiln=kiln, start_at=at + 5 * H, end_at=at + 9 * H, share_lost=Decimal("0.5"))
    DowntimeFactory(kiln=kiln, start_at=at + 300 * H, end_at=at + 303 * H)
    figures = march(mill).kilns[0].failure_figures
    # running from hour 2 to hour 742 of the month, 5 h and 3 h of it at a full stop
    assert (figures.failures, figures.operating_h) == (2, 732)
    assert figures.mean_time_to_restoration_h == Fraction(9 + 3, 2)
    assert figures.mtbf_h == figures.operating_h / 2


@pytest.mark.django_db
def test_time_before_the_records_of_a_kiln_begin_is_not_counted(mill: Mill) -> None:
    first_at = MARCH.start_at + 500 * H
    ChargeFactory(kiln=KilnFactory(), begin_at=first_at, basis="running")
    ChargeFactory(kiln=KilnFactory(tag="K2"), begin_at=first_at, basis="planned")
    first, second = march(mill).kilns
    assert (first.is_late_start, first.hours.total) == (True, 243)
    assert (second.is_late_start, second.hours.total) == (False, 743)


@pytest.mark.django_db
def test_a_kiln_given_up_stays_in_the_report_of_the_time_it_worked_in(mill: Mill) -> None:
    DowntimeFactory(kiln=KilnFactory(tag="K7", is_active=False), start_at=MARCH.start_at + H)
    KilnFactory(tag="K8", is_active=False)
    assert [row.tag for row in march(mill).kilns] == ["K7"]


@pytest.mark.django_db
def test_a_mill_without_kilns_or_charges_gets_dashes_not_errors(mill: Mill) -> None:
    empty = march(mill)
    assert (empty.kilns, empty.availability, empty.bridge, empty.causes[CauseBy.REASON]) == ((), None, None, ())
    KilnFactory()
    report = march(mill)
    assert (report.availability, report.bridge, report.kilns_without_rate) == (1, None, ["K1"])


@pytest.mark.django_db
def test_the_number_of_queries_is_the_same_with_10_and_10_000_records(mill: Mill) -> None:
    kilns = [KilnFactory(tag=f"K{n}") for n in range(4)]
    counts = []
    for per_kiln in (2, 2500):
        Downtime.objects.all().delete()
        Downtime.objects.bulk_create(
            Downtime(
                kiln=kiln,
                kind="unplanned",
                start_at=MARCH.start_at + timedelta(minutes=15 * n),
                end_at=MARCH.start_at + timedelta(minutes=15 * n + 5),
                cause=f"cause {n % 7}",
            )
            for kiln in kilns
            for n in range(per_kiln)
        )
        with CaptureQueriesContext(
            connection,
        ) as queries:
            report = march(mill)
        counts.append(len(queries))
        assert report.failure_figures.failures == 4 * per_kiln
    # One asks whether a charge is held up.
    assert counts == [7, 7]


@pytest.mark.django_db
def test_written_hours_add_up_along_rows_and_down_columns(mill: Mill) -> None:
    for number in range(7):
        kiln = KilnFactory(tag=f"K{number}")
        at = MARCH.start_at + timedelta(minutes=37 * number + 1)
        DowntimeFactory(kiln=kiln, start_at=at, end_at=at + timedelta(minutes=53))
        DowntimeFactory(kiln=kiln, kind="planned", start_at=at + 9 * H, end_at=at + 9 * H + timedelta(minutes=11))
    report = march(mill, MARCH.start_at + timedelta(hours=200, minutes=1, seconds=49))
    for name in ("able", "slowed", "planned", "stopped", "outside", "no_timber", "total"):
        assert sum(getattr(kiln.hours, name) for kiln in report.kilns) == getattr(report.hours, name)
    assert [kiln.hours.total for kiln in report.kilns] == [Decimal("200.0")] * 7


def test_periods_are_whole_days_of_the_mill() -> None:
    assert (MARCH.end_at - MARCH.start_at) == 743 * H
    year = twelve_months(date(2026, 3, 4), ZONE)
    assert (year.first_on, year.last_on, year.label) == (
        date(2025, 3, 1),
        date(2026, 2, 28),
        "March 2025 to February 2026",
    )
    assert [p.key for p in current_periods(date(2026, 11, 25), ZONE)] == ["2026-11", "2026-Q4", "2026"]
    quarter = named_period("2025-Q4", ZONE)
    assert (quarter.first_on, quarter.last_on) == (date(2025, 10, 1), date(2025, 12, 31))
    later, earlier = quarter.shifted(1), quarter.shifted(-1)
    assert later is not None and earlier is not None
    assert (later.key, earlier.key) == ("2026-Q1", "2025-Q3")


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (("2026-13", "", ""), "“2026-13” is no period"),
        (("0001", "", ""), "“0001” lies outside the years that are reported: 1990 and later."),
        (("", "2026-02-30", "2026-03-01"), "The first day, “2026-02-30”, is no day"),
        (("", "2026-01-01", ""), "Give the last day."),
        (("", "0001-01-01", "2026-01-01"), "The first day, “0001-01-01”, lies outside the years that are reported"),
        (("", "2026-03-02", "2026-03-01"), "lies before the first"),
        (("", "2001-01-01", "2026-03-01"), "more than 10 years"),
        (("2027", "", ""), "still to come"),
        (("", "2026-12-01", "9998-12-01"), "more than 10 years"),
    ],
)
def test_a_period_that_cannot_be_reported_is_refused_in_words(asked: tuple[str, str, str], message: str) -> None:
    with pytest.raises(PeriodError, match=message):
        read_period(*asked, date(2026, 11, 25), ZONE)
