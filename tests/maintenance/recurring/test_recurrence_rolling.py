from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule, Unit
from maintenance.recurring.calculations.meters import Limit, MeterRule
from maintenance.recurring.calculations.resets import ALWAYS_ANCHORED
from maintenance.recurring.calculations.rolling import _text_pattern, roll_forward
from maintenance.recurring.calculations.schedules import Schedule
from tests.benchmarks.bench_recurrence import standing_tasks
from tests.benchmarks.plain_dateutil import plain_dates

FROM_ON, UNTIL_ON = date(2026, 2, 1), date(2031, 2, 28)


def scheduled(rule: CalendarRule) -> Schedule:
    return Schedule(rule, resets=ALWAYS_ANCHORED)


PROGRESSIONS = [
    "FREQ=DAILY",
    "FREQ=DAILY;INTERVAL=3",
    "FREQ=DAILY;BYDAY=MO,TU,WE,TH,FR",
    "FREQ=WEEKLY",
    "FREQ=WEEKLY;INTERVAL=3;BYDAY=SU,TU;WKST=SU",
    "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,FR;UNTIL=20290101",
    "FREQ=MONTHLY",
    "FREQ=MONTHLY;INTERVAL=5",
    "FREQ=MONTHLY;BYMONTH=3,9",
    "FREQ=MONTHLY;BYMONTHDAY=1,15,-1",
    "FREQ=MONTHLY;BYMONTHDAY=28,-1",
    "FREQ=MONTHLY;BYMONTHDAY=-31",
    "FREQ=MONTHLY;BYMONTHDAY=28,29,30,31;BYSETPOS=-1",
    "FREQ=MONTHLY;BYMONTHDAY=28,29,30;BYSETPOS=-1",
    "FREQ=MONTHLY;BYDAY=MO",
    "FREQ=MONTHLY;BYDAY=1MO,5WE,-1FR,-5SU",
    "FREQ=YEARLY",
    "FREQ=YEARLY;INTERVAL=3;BYMONTH=2;BYMONTHDAY=29,-1",
    "FREQ=YEARLY;BYMONTH=4,10;BYDAY=2TU",
]
ONE_BY_ONE = [
    "FREQ=DAILY;INTERVAL=3;BYDAY=MO,TU,WE,TH,FR",
    "FREQ=DAILY;COUNT=40",
    "FREQ=WEEKLY;BYMONTH=5;BYDAY=MO",
    "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1",
    "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
    "FREQ=MONTHLY;INTERVAL=3;BYMONTH=1,2,3",
    "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
    "FREQ=YEARLY;BYYEARDAY=1,100,-1",
    "FREQ=YEARLY;BYDAY=20MO",
    "FREQ=YEARLY;BYMONTHDAY=15",
]


@pytest.mark.parametrize("text", [*PROGRESSIONS, *ONE_BY_ONE])
@pytest.mark.parametrize("anchor_on", [date(2025, 1, 31), date(2024, 2, 29), date(2026, 2, 11), date(2028, 12, 30)])
def test_rule_texts_roll_to_the_dates_of_dateutil(text: str, anchor_on: date) -> None:
    rule = TextRule(text, anchor_on)
    rolled = roll_forward([scheduled(rule)], FROM_ON, UNTIL_ON)
    assert rolled.of(0) == plain_dates(rule, FROM_ON, UNTIL_ON)


def test_common_rules_are_rolled_by_numpy_and_the_rest_one_by_one() -> None:
    assert all(_text_pattern(text) is not None for text in PROGRESSIONS)
    assert all(_text_pattern(text) is None for text in ONE_BY_ONE)


def test_the_tasks_of_the_benchmark_roll_to_the_dates_of_dateutil() -> None:
    schedules = standing_tasks(120)
    rolled = roll_forward(schedules, FROM_ON, UNTIL_ON)
    expected = [plain_dates(schedule.calendar, FROM_ON, UNTIL_ON) for schedule in schedules if schedule.calendar]
    assert rolled.lists() == expected
    assert len(rolled) == 120


def test_schedules_without_dates_keep_their_place() -> None:
    by_hours = Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, 100),))
    yearly = scheduled(IntervalRule(1, Unit.YEARS, date(2026, 5, 1)))
    not_yet = scheduled(IntervalRule(1, Unit.DAYS, date(2040, 1, 1)))
    rolled = roll_forward([by_hours, yearly, not_yet, by_hours], FROM_ON, date(2027, 12, 31))
    assert rolled.lists() == [[], [date(2026, 5, 1), date(2027, 5, 1)], [], []]


def test_nothing_to_roll_gives_nothing() -> None:
    assert roll_forward([], FROM_ON, UNTIL_ON).lists() == []
    assert roll_forward([scheduled(IntervalRule(1, Unit.YEARS, UNTIL_ON))], FROM_ON, FROM_ON).lists() == [[]]


def test_both_ends_of_the_span_belong_to_it() -> None:
    daily = scheduled(IntervalRule(1, Unit.DAYS, date(2026, 1, 1)))
    assert roll_forward([daily], FROM_ON, FROM_ON).of(0) == [FROM_ON]


def test_it_refuses_a_span_that_ends_before_it_begins() -> None:
    with pytest.raises(ValueError, match="ends before it begins"):
        roll_forward([], UNTIL_ON, FROM_ON)


anchors = st.dates(date(2019, 1, 1), date(2028, 12, 31))
interval_rules = st.builds(IntervalRule, st.integers(1, 40), st.sampled_from(Unit), anchors, st.sampled_from(MonthEnd))
weekday_lists = st.lists(st.sampled_from(["MO", "TU", "WE", "TH", "FR", "SA", "SU"]), min_size=1, max_size=3).map(
    ",".join
)
month_day_lists = st.lists(st.integers(-28, 31).filter(bool).map(str), min_size=1, max_size=3).map(",".join)
text_rules = st.builds(
    TextRule,
    st.one_of(
        st.builds(
            "FREQ=WEEKLY;INTERVAL={};BYDAY={};WKST={}".format,
            st.integers(1, 5),
            weekday_lists,
            st.sampled_from(["MO", "SU", "WE"]),
        ),
        st.builds("FREQ=MONTHLY;INTERVAL={};BYMONTHDAY={}".format, st.sampled_from([1, 5, 7, 11]), month_day_lists),
        st.builds(
            "FREQ=MONTHLY;INTERVAL={};BYDAY={}{}".format,
            st.integers(1, 7),
            st.sampled_from([1, 2, 4, -1, -2]),
            st.sampled_from(["MO", "TH", "SU"]),
        ),
        st.builds(
            "FREQ=YEARLY;INTERVAL={};BYMONTH={};BYMONTHDAY={}".format,
            st.integers(1, 3),
            st.integers(1, 12),
            st.integers(1, 28),
        ),
    ),
    anchors,
)


@settings(max_examples=120, deadline=None)
@given(st.lists(st.one_of(interval_rules, text_rules), max_size=6), anchors, st.integers(0, 1500))
def test_rolling_equals_each_rule_alone_and_dateutil(rules: list[CalendarRule], from_on: date, days: int) -> None:
    until_on = from_on + timedelta(days=days)
    rolled = roll_forward([scheduled(rule) for rule in rules], from_on, until_on)
    assert rolled.lists() == [rule.between(from_on, until_on) for rule in rules]
    assert rolled.lists() == [plain_dates(rule, from_on, until_on) for rule in rules]
