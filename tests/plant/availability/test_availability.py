import random
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.availability.calculations.availability import (
    Failure,
    TimeBase,
    availability,
    equivalent_availability,
    failure_figures,
    failures,
    fleet_availability,
    mtbf_bounds_h,
)
from plant.basics.periods import Period
from plant.charges.calculations.downtime import WHOLE, Downtime, DowntimeKind, DowntimeRow
from plant.charges.calculations.time_account import EMPTY_ACCOUNT, Split, TimeAccount, account, account_grid
from tests.plant.availability.reliability_cases import Case, cases, formulas

FORMULAS = formulas()
JANUARY = Period(datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC))


def at(day: int, hour: int = 0) -> datetime:
    return datetime(2026, 1, day, hour, tzinfo=UTC)


def stop(start_at: datetime, end_at: datetime | None, cause: str = "fan", share: int = 1000, kiln: int = 1) -> Downtime:
    return Downtime(kiln, start_at, end_at, DowntimeKind.UNPLANNED, share, cause)


def of_hours(*, able_h: int = 0, unplanned_h: int = 0, slowed_h: int = 0, slowed_share: int = 0) -> TimeAccount:
    split = Split(
        able_s=able_h * 3600,
        unplanned_s=unplanned_h * 3600,
        slowed_s=slowed_h * 3600,
        slowed_unplanned_ms=slowed_h * 3600 * slowed_share,
    )
    return TimeAccount(split, split)


# Source of all AV cases: constructed; definitions as EN 13306:2017, IEC 60050-192 and IEEE Std 762 (see the
# source column of availability_expected.csv).
@pytest.mark.parametrize("case", cases(), ids=lambda case: case.name)
@pytest.mark.parametrize(
    ("column", "measure", "base"),
    [
        ("availability_calendar_full_outage", availability, TimeBase.CALENDAR),
        ("availability_calendar_equivalent", equivalent_availability, TimeBase.CALENDAR),
        ("availability_required_equivalent", equivalent_availability, TimeBase.REQUIRED),
    ],
    ids=["calendar", "calendar-equivalent", "required-equivalent"],
)
def test_it_agrees_with_the_reference_case(
    case: Case, column: str, measure: Callable[[TimeAccount, TimeBase], Fraction | None], base: TimeBase
) -> None:
    found, expected = measure(case.account(), base), case.expected[column]
    assert ("undefined" if found is None else round(float(found), 6)) == (
        expected if expected == "undefined" else float(expected)
    )


def test_without_any_time_it_is_undefined() -> None:
    assert [equivalent_availability(EMPTY_ACCOUNT, base) for base in TimeBase] == [None, None]
    assert fleet_availability([(EMPTY_ACCOUNT, Decimal(100))], TimeBase.CALENDAR) is None


def test_the_fleet_is_weighted_by_usable_volume() -> None:
    # AF-05: weighted EAF as NERC GADS App. F; numbers ours.
    kilns = [
        (of_hours(able_h=90, unplanned_h=10), Decimal(100)),
        (of_hours(able_h=60, unplanned_h=40), Decimal(50)),
    ]
    assert fleet_availability(kilns, TimeBase.CALENDAR) == Fraction(FORMULAS["AF-05"]["computed"])


def test_a_kiln_without_required_time_does_not_weigh_in_the_fleet() -> None:
    idle = TimeAccount(Split(no_timber_s=100 * 3600), Split(no_timber_s=100 * 3600))
    kilns = [(of_hours(able_h=90, unplanned_h=10), Decimal(100)), (idle, Decimal(500))]
    assert fleet_availability(kilns, TimeBase.REQUIRED) == Fraction(9, 10)


def test_the_fleet_figure_without_deratings_counts_full_stops_only() -> None:
    kilns = [(of_hours(able_h=50, unplanned_h=10, slowed_h=40, slowed_share=500), Decimal(80))]
    assert fleet_availability(kilns, TimeBase.CALENDAR, is_equivalent=False) == Fraction(9, 10)
    assert fleet_availability(kilns, TimeBase.CALENDAR) == Fraction(7, 10)


def test_a_kiln_without_volume_is_refused() -> None:
    with pytest.raises(ValueError, match="usable volume 0 m3"):
        fleet_availability([(EMPTY_ACCOUNT, Decimal(0))], TimeBase.CALENDAR)


def test_availability_and_pace_of_a_machine_come_out_as_published() -> None:
    # AF-07, AF-08: Nakajima, Introduction to TPM (1988), from memory: 460 min, stops 60 min, the rest at half pace.
    split = Split(unplanned_s=60 * 60, slowed_s=400 * 60, slowed_unplanned_ms=400 * 60 * 500)
    shift = TimeAccount(split, split)
    full, equivalent = availability(shift, TimeBase.REQUIRED), equivalent_availability(shift, TimeBase.REQUIRED)
    assert full is not None and equivalent is not None
    assert float(full) == pytest.approx(float(FORMULAS["AF-07"]["computed"]), rel=1e-12)
    assert equivalent / full == Fraction(FORMULAS["AF-08"]["computed"])
    # AF-09: with 98 % good pieces.
    assert float(equivalent) * 0.98 == pytest.approx(float(FORMULAS["AF-09"]["computed"]), rel=1e-12)


def test_a_failure_belongs_to_the_period_in_which_it_begins() -> None:
    records = [
        stop(datetime(2025, 12, 31, 20, tzinfo=UTC), at(1, 6)),
        stop(at(31, 23), None),
        stop(JANUARY.end_at, None),
    ]
    assert [failure.start_at for failure in failures(records[:2], JANUARY)] == [at(31, 23)]
    assert failures(records[2:], JANUARY) == []


def test_touching_records_of_the_same_cause_are_one_failure() -> None:
    records = [stop(at(10, 12), at(10, 14)), stop(at(10, 10), at(10, 12))]
    assert failures(records, JANUARY) == [Failure(1, "fan", at(10, 10), at(10, 14))]


def test_a_record_that_goes_on_with_one_from_before_the_period_is_no_new_failure() -> None:
    records = [stop(datetime(2025, 12, 31, tzinfo=UTC), at(1)), stop(at(1), at(2))]
    assert failures(records, JANUARY) == []


@pytest.mark.parametrize(
    "second",
    [stop(at(10, 12), at(10, 14), "door"), stop(at(10, 13), at(10, 14)), stop(at(10, 12), at(10, 14), kiln=2)],
    ids=["another cause", "a gap between", "another kiln"],
)
def test_records_that_do_not_belong_together_are_two_failures(second: Downtime) -> None:
    assert len(failures([stop(at(10, 10), at(10, 12)), second], JANUARY)) == 2


def test_planned_downtime_and_lack_of_timber_are_no_failures() -> None:
    records = [Downtime(1, at(2), at(3), kind) for kind in (DowntimeKind.PLANNED, DowntimeKind.NO_TIMBER)]
    assert failures(records, JANUARY) == []


def test_slowing_counts_as_a_failure_unless_stops_alone_are_asked_for() -> None:
    records = [stop(at(2), at(3), share=300)]
    assert (len(failures(records, JANUARY)), len(failures(records, JANUARY, stops_only=True))) == (1, 0)


def test_mtbf_is_operating_time_over_failures_and_restoration_runs_to_the_end() -> None:
    found = failures([stop(at(2), at(2, 6)), stop(at(9), at(9, 2)), stop(at(20), None)], JANUARY)
    figures = failure_figures(600 * 3600, found)
    assert (figures.failures, figures.open_failures) == (3, 1)
    assert figures.mtbf_h == 200
    assert figures.mean_time_to_restoration_h == 4


def test_without_failures_there_is_a_lower_bound_and_no_mtbf() -> None:
    figures = failure_figures(1000 * 3600, [])
    assert (figures.mtbf_h, figures.mtbf_upper_h, figures.mean_time_to_restoration_h) == (None, None, None)
    # NIST/SEMATECH e-Handbook 8.4.5.1, no failures: T / -ln 0.05.
    assert figures.mtbf_lower_h == pytest.approx(333.80820069533405, rel=1e-9)


def test_bounds_agree_with_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods 8.4.5.1: 800 h, 2 failures, two-sided 90 %, MTBF 400 h; bounds
    # 127 and 2251 h (from memory, reproduced by computation), factors 0.3177 and 5.6281.
    lower, upper = mtbf_bounds_h(800, 2)
    assert lower is not None and upper is not None
    assert (round(lower), round(upper)) == (127, 2251)
    assert (round(lower / 400, 4), round(upper / 400, 4)) == (0.3177, 5.6281)


def test_no_operating_time_gives_no_bounds() -> None:
    assert mtbf_bounds_h(0, 3) == (None, None)


def test_bounds_hold_for_many_failures() -> None:
    lower, upper = mtbf_bounds_h(50_000, 2_000)
    assert lower is not None and upper is not None
    assert lower < 25 < upper < 1.05 * lower * 1.05


@pytest.mark.parametrize("confidence", [0, 1, 1.5])
def test_a_confidence_outside_its_range_is_refused(confidence: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        mtbf_bounds_h(100, 1, confidence)


@given(st.lists(st.tuples(st.integers(0, 700), st.integers(0, 60), st.sampled_from(["fan", "door"])), max_size=8))
@settings(max_examples=60, deadline=None)
def test_there_are_never_more_failures_than_records_nor_do_they_depend_on_their_order(
    spans: list[tuple[int, int, str]],
) -> None:
    records = [stop(at(1) + timedelta(hours=s), at(1) + timedelta(hours=s + n), cause) for s, n, cause in spans]
    found = failures(records, JANUARY)
    assert len(found) <= len(records)
    assert found == failures(records[::-1], JANUARY)


def test_a_stop_of_eight_planned_hours_lowers_the_fleet_by_its_share() -> None:
    record = Downtime(1, at(10, 6), at(10, 14), DowntimeKind.PLANNED)
    kilns = [
        (account([record], JANUARY, JANUARY.end_at), Decimal(60)),
        (account([], JANUARY, JANUARY.end_at), Decimal(60)),
    ]
    assert fleet_availability(kilns, TimeBase.CALENDAR) == 1 - Fraction(4, 744)


def chance_stops(kilns: int, failures_per_h: float, restorations_per_h: float, until_s: int) -> Iterator[DowntimeRow]:
    chance = random.Random(1988)
    for kiln in range(kilns):
        at_s = chance.expovariate(failures_per_h / 3600)
        while at_s < until_s:
            end_s = at_s + chance.expovariate(restorations_per_h / 3600)
            yield kiln, round(at_s), round(end_s), "unplanned", WHOLE
            at_s = end_s + chance.expovariate(failures_per_h / 3600)


def test_kilns_that_fail_by_chance_are_as_available_as_theory_says() -> None:
    # AF-11 and AF-12: two-state Markov process (IEC 61703, from memory), 0.005 failures and 0.1 restorations an hour.
    kilns, until_s = 30_000, 10 * 3600
    rows = chance_stops(kilns, 0.005, 0.1, until_s)
    grid = account_grid(rows, (0, until_s - 1, until_s), until_s, kiln_ids=range(kilns))
    splits = [Split(*row[:9]) for row in grid.figures.sum(axis=0).tolist()]
    before, last = (TimeAccount(split, split) for split in splits)
    at_the_end = availability(last, TimeBase.CALENDAR)
    throughout = availability(before + last, TimeBase.CALENDAR)
    assert at_the_end is not None and throughout is not None
    # Four standard errors: a share of 0.969 among 30,000 has one of 0.001, the mean over the time a smaller one.
    assert float(at_the_end) == pytest.approx(float(FORMULAS["AF-11"]["computed"]), abs=0.004)
    assert float(throughout) == pytest.approx(float(FORMULAS["AF-12"]["computed"]), abs=0.002)
