import itertools
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.availability.calculations.availability import TimeBase, availability, equivalent_availability, failures
from plant.basics.periods import CalendarUnit, Period, calendar_periods, from_epoch_s
from plant.charges.calculations.charge_phases import RUNNING_PHASES, Phase, PhaseKind, PhaseRow
from plant.charges.calculations.downtime import WHOLE, DeratingRule, Downtime, DowntimeKind, DowntimeRow
from plant.charges.calculations.time_account import (
    EMPTY_ACCOUNT,
    Split,
    account,
    account_grid,
    equivalent_hours,
)
from tests.plant.availability.reliability_cases import Case, cases

CASES = cases()
JANUARY = Period(datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC))


def at(day: int, hour: int = 0) -> datetime:
    return datetime(2026, 1, day, hour, tzinfo=UTC)


def test_there_are_twenty_three_reference_cases() -> None:
    assert [case.name for case in CASES] == [f"AV-{number:02d}" for number in range(1, 24)]


# Source of all AV cases: constructed, swept in UTC; equivalent hours as IEEE Std 762 / NERC GADS App. F, required
# time as IEC 60050-192 (see the source column of availability_expected.csv).
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_hours_agree_with_the_reference_case(case: Case) -> None:
    found = case.account()
    assert Fraction(found.calendar.total_s, 3600) == case.hours("period_h")
    assert Fraction(found.required_s, 3600) == case.hours("required_h")
    assert Fraction(found.calendar.down_s, 3600) == case.hours("full_down_union_h")
    assert Fraction(found.calendar.planned_s, 3600) == case.hours("planned_full_h")
    assert Fraction(found.calendar.unplanned_s, 3600) == case.hours("unplanned_full_h")
    assert equivalent_hours(found.calendar.equivalent_down_ms) == case.hours("equivalent_down_additive_capped_h")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_equivalent_hours_by_the_dominant_rule_agree_with_the_reference_case(case: Case) -> None:
    found = case.account(DeratingRule.DOMINANT)
    assert equivalent_hours(found.calendar.equivalent_down_ms) == case.hours("equivalent_down_dominant_h")


def test_a_derating_costs_its_share_of_the_hours() -> None:
    # NERC GADS Data Reporting Instructions, App. G, Example 3D: 240 of 600 MW lost for 8.50 h is 3.40 hours.
    start_at = at(5)
    record = Downtime(1, start_at, start_at + timedelta(hours=8.5), DowntimeKind.UNPLANNED, 240 * WHOLE // 600)
    split = account([record], JANUARY, JANUARY.end_at).calendar
    assert (float(equivalent_hours(split.slowed_ms)), float(Fraction(split.slowed_s, 3600))) == (3.40, 8.5)


def test_lack_of_timber_hides_no_stop_in_the_calendar_view() -> None:
    records = [
        Downtime(1, at(5), at(6), DowntimeKind.UNPLANNED),
        Downtime(1, at(5), at(7), DowntimeKind.NO_TIMBER),
    ]
    found = account(records, JANUARY, JANUARY.end_at)
    day_s = 24 * 3600
    assert (found.calendar.unplanned_s, found.calendar.no_timber_s) == (day_s, day_s)
    assert (found.required.unplanned_s, found.required.no_timber_s) == (0, 2 * day_s)


def test_the_unplanned_share_of_a_slowing_claims_first() -> None:
    records = [
        Downtime(1, at(5), at(6), DowntimeKind.PLANNED, 700),
        Downtime(1, at(5), at(6), DowntimeKind.UNPLANNED, 400),
    ]
    split = account(records, JANUARY, JANUARY.end_at).calendar
    assert equivalent_hours(split.slowed_unplanned_ms) == Fraction(24 * 3600, 3600) * 400 / 1000
    assert equivalent_hours(split.slowed_planned_ms) == Fraction(24 * 3600, 3600) * 600 / 1000


def test_slowing_that_reaches_the_whole_capacity_is_still_no_stop() -> None:
    records = [Downtime(1, at(5), at(6), DowntimeKind.UNPLANNED, 600)] * 2
    split = account(records, JANUARY, JANUARY.end_at).calendar
    assert (split.down_s, split.slowed_ms) == (0, 24 * 3600 * WHOLE)


@pytest.mark.parametrize(("drawn_at", "is_so_far"), [(at(20), True), (JANUARY.end_at, False)])
def test_an_account_drawn_before_the_period_is_over_says_so_far(drawn_at: datetime, is_so_far: bool) -> None:
    assert account([], JANUARY, drawn_at).is_so_far is is_so_far


def test_an_open_record_that_starts_after_the_report_counts_nothing() -> None:
    record = Downtime(1, at(25), None, DowntimeKind.UNPLANNED)
    assert account([record], JANUARY, at(20)).calendar.down_s == 0


def test_operating_time_is_that_of_running_phases_without_a_stop() -> None:
    phases = [
        Phase(1, PhaseKind.LOADING, at(1), at(2)),
        Phase(1, PhaseKind.HEATING_UP, at(2), at(3)),
        Phase(1, PhaseKind.DRYING, at(3), None),
    ]
    records = [
        Downtime(1, at(4), at(5), DowntimeKind.UNPLANNED),
        Downtime(1, at(6), at(7), DowntimeKind.UNPLANNED, 500),
    ]
    assert account(records, JANUARY, at(10), phases).operating_s == (8 - 1) * 24 * 3600


def test_a_power_cut_is_neither_a_failure_nor_time_that_counts_for_the_kiln() -> None:
    # Of 31 days two without power and one with a broken fan: the fan alone is the kiln's, of the 29 days that count.
    records = [
        Downtime(1, at(5), at(7), DowntimeKind.EXTERNAL, cause="power cut"),
        Downtime(1, at(9), at(10), DowntimeKind.UNPLANNED, cause="fan"),
    ]
    found = account(records, JANUARY, JANUARY.end_at, [Phase(1, PhaseKind.DRYING, at(1), JANUARY.end_at)])
    day_s = 24 * 3600
    assert (found.required.external_s, found.required.unplanned_s, found.required_s) == (2 * day_s, day_s, 29 * day_s)
    assert found.operating_s == 28 * day_s
    for base in TimeBase:
        assert availability(found, base) == equivalent_availability(found, base) == Fraction(28, 29)
    assert [failure.cause for failure in failures(records, JANUARY)] == ["fan"]


def test_a_power_cut_does_not_hide_that_the_fan_was_broken() -> None:
    records = [Downtime(1, at(5), at(8), kind) for kind in (DowntimeKind.EXTERNAL, DowntimeKind.UNPLANNED)]
    found = account(records, JANUARY, JANUARY.end_at).required
    assert (found.external_s, found.unplanned_s) == (0, 3 * 24 * 3600)


def test_half_the_heat_from_the_plant_takes_half_the_hours_from_what_counts() -> None:
    record = Downtime(1, at(5), at(9), DowntimeKind.EXTERNAL, 500)
    found = account([record], JANUARY, JANUARY.end_at)
    assert equivalent_hours(found.required.outside_ms) == 48
    assert (found.required.slowed_ms, equivalent_availability(found, TimeBase.REQUIRED)) == (0, 1)


def test_a_period_without_length_has_an_empty_account() -> None:
    assert account([], Period(at(1), at(1)), at(1)) == EMPTY_ACCOUNT


def test_march_with_the_change_of_clocks_has_an_hour_less() -> None:
    months = calendar_periods(CalendarUnit.MONTH, date(2026, 3, 1), date(2026, 10, 31), "Europe/Stockholm")
    lengths = {month.label: account([], month, month.end_at).calendar.total_s // 3600 for month in months}
    assert (lengths["2026-03"], lengths["2026-10"], lengths["2026-07"]) == (743, 745, 744)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ((1, 20, 10, "planned", 1000), "starts at 20 s and ends before that, at 10 s"),
        ((1, 10, 20, "broken", 1000), "'broken' is not one of planned, unplanned, no_timber, external"),
        ((1, 10, 20, "planned", 1001), "1001 is outside 0 to 1000"),
        ((9, 10, 20, "planned", 1000), "kiln 9 is not among the kilns"),
    ],
)
def test_a_faulty_row_is_refused(row: DowntimeRow, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        account_grid([row], (0, 100), 100, kiln_ids=(1, 2))


def test_an_unknown_phase_is_refused() -> None:
    with pytest.raises(ValueError, match="phase 'resting' is not one of"):
        account_grid([], (0, 100), 100, [(1, 0, 5, "resting")])


def test_edges_that_do_not_rise_are_refused() -> None:
    with pytest.raises(ValueError, match="rise"):
        account_grid([], (0, 0), 100)


def test_records_of_two_kilns_are_refused_where_one_is_asked_for() -> None:
    records = [Downtime(kiln, at(1), at(2), DowntimeKind.PLANNED) for kiln in (1, 2)]
    with pytest.raises(ValueError, match="several kilns"):
        account(records, JANUARY, JANUARY.end_at)


def test_a_grid_without_any_row_is_able_to_dry_throughout() -> None:
    grid = account_grid([], (0, 10, 30), 30, kiln_ids=(4, 2))
    assert grid.kiln_ids == (2, 4)
    assert grid.account(4, 1).calendar == Split(able_s=20)
    assert grid.account(2, 0).calendar == Split(able_s=10)


# Properties. Times are small whole seconds, so that a second-by-second count can be the judge.
END_S = 40
KINDS = st.sampled_from([kind.value for kind in DowntimeKind])
SHARES = st.sampled_from([0, 1, 250, 400, 700, 999, 1000, 1000])


@st.composite
def downtime_rows(draw: st.DrawFn) -> DowntimeRow:
    start_s = draw(st.integers(-10, END_S + 5))
    end_s = draw(st.one_of(st.none(), st.integers(start_s, END_S + 10)))
    return draw(st.integers(1, 2)), start_s, end_s, draw(KINDS), draw(SHARES)


@st.composite
def phase_rows(draw: st.DrawFn) -> PhaseRow:
    start_s = draw(st.integers(-10, END_S))
    end_s = draw(st.one_of(st.none(), st.integers(start_s, END_S + 10)))
    return draw(st.integers(1, 2)), start_s, end_s, draw(st.sampled_from([kind.value for kind in PhaseKind]))


ROWS = st.lists(downtime_rows(), max_size=6)
PHASES = st.lists(phase_rows(), max_size=4)
RULES = st.sampled_from(list(DeratingRule))
DRAWN = st.integers(0, END_S + 5)
EDGES = st.lists(st.integers(1, END_S - 1), unique=True, max_size=4).map(lambda inner: [0, *sorted(inner), END_S])


def count_seconds(
    rows: list[DowntimeRow], phases: list[PhaseRow], kiln: int, drawn_s: int, rule: DeratingRule
) -> tuple[Split, Split, int]:
    """Ask each second of the period for itself."""
    calendar, required, operating = [0] * 9, [0] * 9, 0
    for second in range(END_S):
        active = [r for r in rows if r[0] == kiln and r[1] <= second < (drawn_s if r[2] is None else r[2])]
        timber = all(kind != "no_timber" for *_, kind, _ in active)
        stops = {kind for *_, kind, share in active if share == WHOLE} - {"no_timber"}
        join = max if rule is DeratingRule.DOMINANT else lambda shares: min(sum(shares), WHOLE)
        unplanned = join([share for *_, kind, share in active if kind == "unplanned"] or [0])
        own = join([share for *_, kind, share in active if kind in ("unplanned", "planned")] or [0])
        lost = join([share for *_, kind, share in active if kind != "no_timber"] or [0])
        if "unplanned" in stops:
            column = 3
        elif "planned" in stops:
            column = 2
        elif "external" in stops:
            column = 7
        elif lost:
            column = 1
        else:
            column = 0
        for split, where in (
            (calendar, 4 if not column and not timber else column),
            (required, column if timber else 4),
        ):
            split[where] += 1
            if where == 1:
                split[5] += own - unplanned
                split[6] += unplanned
                split[8] += lost - own
        is_running = any(
            k == kiln and start <= second < (drawn_s if end is None else end) and kind in RUNNING_PHASES
            for k, start, end, kind in phases
        )
        operating += is_running and not stops
    return Split(*calendar), Split(*required), operating


@given(ROWS, PHASES, DRAWN, RULES)
@settings(max_examples=120, deadline=None)
def test_the_sweep_agrees_with_a_count_of_every_second(
    rows: list[DowntimeRow], phases: list[PhaseRow], drawn_s: int, rule: DeratingRule
) -> None:
    grid = account_grid(rows, (0, END_S), drawn_s, phases, (1, 2), rule)
    for kiln in (1, 2):
        found = grid.account(kiln, 0)
        assert (found.calendar, found.required, found.operating_s) == count_seconds(rows, phases, kiln, drawn_s, rule)


@given(ROWS, EDGES, DRAWN, RULES)
@settings(max_examples=60, deadline=None)
def test_hours_always_add_up_to_the_period(
    rows: list[DowntimeRow], edges_s: list[int], drawn_s: int, rule: DeratingRule
) -> None:
    grid = account_grid(rows, edges_s, drawn_s, kiln_ids=(1, 2), rule=rule)
    for period, (start_s, end_s) in enumerate(itertools.pairwise(edges_s)):
        found = grid.account(1, period)
        for split in (found.calendar, found.required):
            assert split.total_s == end_s - start_s
            assert (
                split.equivalent_able_ms + split.equivalent_down_ms + split.outside_ms + split.no_timber_s * WHOLE
                == (end_s - start_s) * WHOLE
            )


@given(ROWS, PHASES, EDGES, DRAWN, RULES)
@settings(max_examples=60, deadline=None)
def test_splitting_a_period_never_changes_the_sums(
    rows: list[DowntimeRow], phases: list[PhaseRow], edges_s: list[int], drawn_s: int, rule: DeratingRule
) -> None:
    whole = account_grid(rows, (0, END_S), drawn_s, phases, (1, 2), rule)
    parts = account_grid(rows, edges_s, drawn_s, phases, (1, 2), rule)
    for kiln in (1, 2):
        summed = sum((parts.account(kiln, period) for period in range(len(edges_s) - 1)), EMPTY_ACCOUNT)
        assert summed == parts.of_kiln(kiln) == whole.account(kiln, 0)


@given(ROWS.flatmap(lambda rows: st.tuples(st.just(rows), st.permutations(rows))), DRAWN, RULES)
@settings(max_examples=60, deadline=None)
def test_the_order_of_records_is_irrelevant(
    orders: tuple[list[DowntimeRow], list[DowntimeRow]], drawn_s: int, rule: DeratingRule
) -> None:
    first, second = (account_grid(rows, (0, END_S), drawn_s, kiln_ids=(1, 2), rule=rule) for rows in orders)
    assert (first.figures == second.figures).all()


@given(ROWS, downtime_rows().filter(lambda row: row[3] in ("planned", "unplanned")), DRAWN, RULES)
@settings(max_examples=60, deadline=None)
def test_a_further_downtime_record_never_raises_availability(
    rows: list[DowntimeRow], further: DowntimeRow, drawn_s: int, rule: DeratingRule
) -> None:
    fewer, more = (
        account_grid(some, (0, END_S), drawn_s, kiln_ids=(1, 2), rule=rule).account(1, 0)
        for some in (rows, [*rows, further])
    )
    for base in TimeBase:
        for measure in (availability, equivalent_availability):
            before, after = measure(fewer, base), measure(more, base)
            assert (before is None) == (after is None)
            assert before is None or after is None or after <= before


@given(st.integers(0, 48), st.integers(0, 48))
@settings(max_examples=40, deadline=None)
def test_hours_add_up_over_the_days_around_a_change_of_clocks(start_h: int, length_h: int) -> None:
    days = calendar_periods(CalendarUnit.DAY, date(2026, 10, 24), date(2026, 10, 26), "Europe/Stockholm")
    start_at = from_epoch_s(days[0].start_s + start_h * 3600)
    record = Downtime(1, start_at, start_at + timedelta(hours=length_h), DowntimeKind.PLANNED)
    by_day = [account([record], day, days[-1].end_at) for day in days]
    assert [day.calendar.total_s // 3600 for day in by_day] == [24, 25, 24]
    assert sum(day.calendar.planned_s for day in by_day) == min(length_h, 73 - start_h) * 3600
