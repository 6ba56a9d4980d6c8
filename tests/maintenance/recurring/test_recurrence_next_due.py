import csv
import re
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.recurring.calculations.calendar_rules import IntervalRule, MonthEnd, TextRule, Unit
from maintenance.recurring.calculations.meters import Charge, Limit, MeterHistory, MeterRule, Reading
from maintenance.recurring.calculations.past_work import Completion
from maintenance.recurring.calculations.recurrence import next_dates, next_due
from maintenance.recurring.calculations.resets import (
    ALWAYS_ANCHORED,
    ALWAYS_FROM_COMPLETION,
    ANCHORED_INSIDE_WINDOW,
    EARLY_FROM_COMPLETION,
    PRACTICES,
    Reset,
    Resets,
    Timing,
    Window,
)
from maintenance.recurring.calculations.schedules import NextDue, Schedule, schedule_from_fields
from plant.frame.saying import say

REFERENCE = Path(__file__).parents[2] / "reference" / "recurrence"
with (REFERENCE / "next_due_cases.csv").open(encoding="utf-8", newline="") as file:
    DUE = {row["id"]: row for row in csv.DictReader(file)}
with (REFERENCE / "tolerance_rules.csv").open(encoding="utf-8", newline="") as file:
    TOLERANCES = {row["id"]: row for row in csv.DictReader(file)}

ARMY = Window(36, 36)
SHIPS = Window(92, 92)  # three months each side, at their longest
RENEWAL = Window(92, 0)
NEXT_DATE_CASES = {
    "DUE-02": (360, Unit.DAYS, ARMY, ANCHORED_INSIDE_WINDOW),
    "DUE-03": (360, Unit.DAYS, ARMY, ANCHORED_INSIDE_WINDOW),
    "DUE-04": (360, Unit.DAYS, ARMY, ANCHORED_INSIDE_WINDOW),
    "DUE-05": (12, Unit.MONTHS, SHIPS, ANCHORED_INSIDE_WINDOW),
    "DUE-06": (60, Unit.MONTHS, RENEWAL, ANCHORED_INSIDE_WINDOW),
    "DUE-07": (60, Unit.MONTHS, RENEWAL, ANCHORED_INSIDE_WINDOW),
    "DUE-12": (1, Unit.MONTHS, Window(), ALWAYS_FROM_COMPLETION),
    "DUE-13": (1, Unit.MONTHS, Window(), ALWAYS_ANCHORED),
    "DUE-14": (1, Unit.MONTHS, Window(), ALWAYS_ANCHORED),
}


def monthly(resets: Resets, window: Window = Window(), anchor_on: date = date(2026, 1, 15)) -> Schedule:  # noqa: B008
    return Schedule(IntervalRule(1, Unit.MONTHS, anchor_on), window=window, resets=resets)


def after_work(schedule: Schedule, done_on: date, due_on: date | None = None) -> NextDue:
    return next_due(schedule, Completion(done_on, due_on=due_on), today=done_on)


@pytest.mark.parametrize("case", NEXT_DATE_CASES)
def test_the_next_due_date_agrees_with_published_practice(case: str) -> None:
    every, unit, window, resets = NEXT_DATE_CASES[case]
    row = DUE[case]
    due_on = date.fromisoformat(row["due_or_state"])
    schedule = Schedule(IntervalRule(every, unit, due_on), window=window, resets=resets)
    found = after_work(schedule, date.fromisoformat(row["done"]), due_on)
    assert found.due_on == date.fromisoformat(row["next_due_or_result"])


@pytest.mark.parametrize(("case", "window"), [("DUE-01", ARMY), ("DUE-05", SHIPS)])
def test_the_window_agrees_with_published_practice(case: str, window: Window) -> None:
    row = DUE[case]
    text = row["next_due_or_result"] if case == "DUE-01" else row["note"]
    earliest, latest = (date.fromisoformat(on) for on in re.findall(r"\d{4}-\d\d-\d\d", text))
    due_on = date.fromisoformat(row["due_or_state"])
    found = next_due(Schedule(IntervalRule(12, Unit.MONTHS, due_on), window=window), None, today=due_on)
    assert (found.earliest_on, found.latest_on) == (earliest, latest)


def test_the_army_window_is_ten_percent_of_the_interval() -> None:
    assert TOLERANCES["TOL-01"]["earliest"].startswith("10 %")
    assert (ARMY.before_days, ARMY.after_days) == (360 // 10, 360 // 10)


def test_a_quarter_of_the_interval_may_be_added_in_nuclear_practice() -> None:
    # TOL-08, NRC Generic Letter 89-14: 25 % of the interval, from the last performance.
    schedule = Schedule(
        IntervalRule(92, Unit.DAYS, date(2026, 1, 1)), window=Window(0, 92 // 4), resets=ALWAYS_FROM_COMPLETION
    )
    found = after_work(schedule, date(2026, 1, 1))
    assert found.due_on == date.fromisoformat(DUE["DUE-11"]["due_or_state"])
    assert found.latest_on == date.fromisoformat(DUE["DUE-11"]["next_due_or_result"])


def hours_case(case: str, before: float, after: float, resets: Resets) -> float:
    row = DUE[case]
    due, done, interval = (float(row[name].removesuffix(" h")) for name in ("due_or_state", "done", "interval"))
    schedule = Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, interval, before, after),), resets=resets)
    completion = Completion(date(2026, 1, 1), hours=done, due_hours=due)
    history = MeterHistory(Limit.RUNNING_HOURS, (Reading(date(2026, 1, 1), done),))
    found = next_due(schedule, completion, date(2026, 1, 1), [history]).limit(Limit.RUNNING_HOURS)
    assert found is not None and found.due_reading is not None
    return found.due_reading


@pytest.mark.parametrize(
    ("case", "before", "after", "resets"),
    [
        ("DUE-08", 0, 10, ALWAYS_ANCHORED),
        ("DUE-09", 10, 10, EARLY_FROM_COMPLETION),
        ("DUE-10", 10, 10, EARLY_FROM_COMPLETION),
    ],
)
def test_the_next_hours_agree_with_published_practice(case: str, before: float, after: float, resets: Resets) -> None:
    # 14 CFR 91.409(b); an engine maker's line maintenance manual (both examples printed there).
    assert hours_case(case, before, after, resets) == float(DUE[case]["next_due_or_result"].removesuffix(" h"))


TWO_LIMITS = Schedule(IntervalRule(12, Unit.MONTHS, date(2026, 1, 1)), meters=(MeterRule(Limit.RUNNING_HOURS, 2000),))
FIRST_WORK = Completion(date(2026, 1, 1), hours=10_000)


def hours_history(*readings: Reading) -> list[MeterHistory]:
    return [MeterHistory(Limit.RUNNING_HOURS, readings)]


def test_running_hours_come_first_when_the_meter_runs_fast() -> None:
    found = next_due(TWO_LIMITS, FIRST_WORK, date(2026, 2, 1), hours_history(Reading(date(2026, 2, 1), 10_420)))
    assert found.due_on == date.fromisoformat(DUE["DUE-15"]["next_due_or_result"])
    assert found.governed_by is Limit.RUNNING_HOURS
    assert found.is_predicted
    assert say(found.reason) == (
        "The running hours come first. 1,580 h of 2,000 h left, at 13.5 h a day, the mean of the readings from "
        "1 Jan 2026 to 1 Feb 2026. By the calendar it would be 1 Jan 2027."
    )


def test_the_calendar_comes_first_when_the_meter_stands_still() -> None:
    readings = (Reading(date(2026, 2, 1), 10_420), Reading(date(2026, 3, 1), 10_800), Reading(date(2026, 5, 1), 10_800))
    found = next_due(TWO_LIMITS, FIRST_WORK, date(2026, 5, 1), hours_history(*readings))
    assert found.due_on == date.fromisoformat(DUE["DUE-16"]["next_due_or_result"])
    assert found.governed_by is Limit.CALENDAR
    assert "the meter stands still" in say(found.reason)


def test_an_exchanged_meter_keeps_what_was_used() -> None:
    readings = (
        Reading(date(2026, 3, 1), 10_800),
        Reading(date(2026, 3, 1), 0, starts_new_meter=True),
        Reading(date(2026, 5, 1), 700),
    )
    found = next_due(TWO_LIMITS, FIRST_WORK, date(2026, 5, 1), hours_history(*readings)).limit(Limit.RUNNING_HOURS)
    assert found is not None
    assert f"{found.left:.0f} h left" == DUE["DUE-17"]["next_due_or_result"]
    assert found.due_reading == 1200  # on the new meter


def test_charges_fall_due_with_their_tolerance() -> None:
    rule = MeterRule(Limit.CHARGES, 20, after=2)
    charges = tuple(Charge(date(2026, 1, 1 + n), date(2026, 1, 1 + n), 20, f"C{n}") for n in range(25))
    history = MeterHistory(Limit.CHARGES, (Reading(date(2025, 12, 31), 140),), charges)
    due = next_due(Schedule(meters=(rule,)), Completion(date(2025, 12, 31), charges=140), date(2026, 1, 1), [history])
    found = due.limits[0]
    assert found.due_reading is not None
    assert (
        f"due at {found.due_reading:.0f}, latest {found.due_reading + rule.after:.0f}"
        == (DUE["DUE-18"]["next_due_or_result"])
    )
    assert (due.due_on, due.latest_on) == (date(2026, 1, 20), date(2026, 1, 22))
    assert "from the 25 planned charges (C0 to C24)" in say(due.reason)


def test_the_limit_that_did_not_come_first_counts_from_completion() -> None:
    schedule = Schedule(
        IntervalRule(12, Unit.MONTHS, date(2026, 1, 1)),
        meters=(MeterRule(Limit.RUNNING_HOURS, 2000),),
        resets=ALWAYS_ANCHORED,
    )
    done = Completion(date(2026, 5, 29), hours=12_000, due_on=date(2027, 1, 1), due_hours=12_000)
    found = next_due(schedule, done, date(2026, 5, 29), hours_history(Reading(date(2026, 5, 29), 12_000)))
    calendar = found.limit(Limit.CALENDAR)
    assert calendar is not None and calendar.due_on == date(2027, 5, 29)
    assert found.anchor_on == date(2026, 5, 29)


def test_missed_occurrences_give_one_catch_up_and_a_record() -> None:
    found = after_work(monthly(ALWAYS_ANCHORED), date(2026, 3, 20), date(2026, 1, 15))
    assert found.due_on == date(2026, 4, 15)
    assert found.missed_on == (date(2026, 2, 15), date(2026, 3, 15))


def test_overdue_work_keeps_its_date_and_records_those_that_pass() -> None:
    found = next_due(monthly(ALWAYS_ANCHORED), None, today=date(2026, 3, 20))
    assert found.due_on == date(2026, 1, 15)
    assert found.missed_on == (date(2026, 2, 15), date(2026, 3, 15))


def test_a_catch_up_inside_a_later_window_counts_as_that_occurrence() -> None:
    found = after_work(monthly(ANCHORED_INSIDE_WINDOW, Window(7, 7)), date(2026, 3, 10), date(2026, 1, 15))
    assert found.due_on == date(2026, 4, 15)
    assert found.missed_on == (date(2026, 1, 15), date(2026, 2, 15))
    assert found.limits[0].timing is Timing.INSIDE


@pytest.mark.parametrize(
    ("done_on", "timing"),
    [
        (date(2026, 2, 7), Timing.EARLY),
        (date(2026, 2, 8), Timing.INSIDE),
        (date(2026, 2, 20), Timing.INSIDE),
        (date(2026, 2, 21), Timing.LATE),
    ],
)
def test_both_ends_of_the_window_belong_to_it(done_on: date, timing: Timing) -> None:
    found = after_work(monthly(ALWAYS_ANCHORED, Window(7, 5)), done_on, date(2026, 2, 15))
    assert found.limits[0].timing is timing
    assert found.due_on == date(2026, 3, 15)


@pytest.mark.parametrize("timing", Timing)
def test_each_reset_acts_on_its_own_timing(timing: Timing) -> None:
    done_on = {Timing.EARLY: date(2026, 2, 1), Timing.INSIDE: date(2026, 2, 14), Timing.LATE: date(2026, 2, 27)}[timing]
    resets = Resets(**{other.value: Reset.FROM_COMPLETION if other is timing else Reset.ANCHORED for other in Timing})
    found = after_work(monthly(resets, Window(3, 3)), done_on, date(2026, 2, 15))
    assert found.due_on == done_on.replace(month=3)
    assert found.anchor_on == done_on


def test_without_a_record_the_nearest_date_is_taken_as_the_one_it_was_due() -> None:
    assert after_work(monthly(ALWAYS_ANCHORED), date(2026, 2, 10)).due_on == date(2026, 3, 15)
    assert after_work(monthly(ALWAYS_ANCHORED), date(2026, 2, 20)).due_on == date(2026, 3, 15)
    assert after_work(monthly(ALWAYS_ANCHORED), date(2026, 2, 10)).missed_on == ()


def test_a_rule_text_counted_from_completion_keeps_its_day_of_the_month() -> None:
    schedule = Schedule(TextRule("FREQ=MONTHLY;INTERVAL=2;BYMONTHDAY=15", date(2026, 1, 15)))
    assert after_work(schedule, date(2026, 2, 3), date(2026, 1, 15)).due_on == date(2026, 2, 15)


def test_a_rule_that_has_ended_says_so() -> None:
    schedule = Schedule(TextRule("FREQ=YEARLY;UNTIL=20261231", date(2026, 1, 15)), resets=ALWAYS_ANCHORED)
    found = after_work(schedule, date(2026, 1, 15), date(2026, 1, 15))
    assert (found.due_on, found.governed_by) == (None, None)
    assert say(found.reason).endswith("The rule has ended, no date follows.")


def test_it_says_what_a_date_is_counted_from() -> None:
    anchored = after_work(monthly(ANCHORED_INSIDE_WINDOW, Window(7, 7)), date(2026, 2, 10), date(2026, 2, 15))
    restarted = after_work(monthly(ANCHORED_INSIDE_WINDOW, Window(7, 7)), date(2026, 2, 25), date(2026, 2, 15))
    assert say(anchored.reason) == (
        "Due every month; the work of 10 Feb 2026 lay inside its window round 15 Feb 2026, so the dates stay."
    )
    assert say(restarted.reason) == "Counted from the work done on 25 Feb 2026: every month."


def test_a_meter_without_readings_gives_no_date_but_says_why() -> None:
    found = next_due(Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, 500),)), None, date(2026, 1, 1))
    assert found.due_on is None
    assert say(found.reason) == "500 h of 500 h left; no date can be told (no readings)."


def test_a_limit_already_passed_gives_the_day_it_was_reached() -> None:
    schedule = Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, 100),))
    readings = hours_history(Reading(date(2026, 1, 1), 0), Reading(date(2026, 1, 11), 200))
    found = next_due(schedule, Completion(date(2026, 1, 1), hours=0), date(2026, 1, 20), readings)
    assert found.due_on == date(2026, 1, 6)
    assert say(found.reason) == "100 h were reached about 6 Jan 2026: 200 h used."


def test_the_four_published_practices_are_named_and_differ() -> None:
    assert [practice.resets for practice in PRACTICES] == [
        ALWAYS_ANCHORED,
        ALWAYS_FROM_COMPLETION,
        ANCHORED_INSIDE_WINDOW,
        EARLY_FROM_COMPLETION,
    ]
    assert len({practice.resets for practice in PRACTICES}) == 4
    assert all(practice.source and practice.words for practice in PRACTICES)


def test_the_next_six_dates_are_shown() -> None:
    found = next_dates(monthly(ALWAYS_ANCHORED, anchor_on=date(2026, 1, 31)), date(2026, 1, 31))
    assert [on.isoformat()[5:] for on in found] == ["02-28", "03-31", "04-30", "05-31", "06-30", "07-31"]


def test_fewer_dates_are_shown_where_the_rule_ends() -> None:
    schedule = Schedule(TextRule("FREQ=DAILY;COUNT=3", date(2026, 1, 1)), resets=ALWAYS_ANCHORED)
    assert next_dates(schedule, date(2026, 1, 1)) == [date(2026, 1, 2), date(2026, 1, 3)]
    assert next_dates(schedule, date(2026, 1, 1), count=0) == []


def test_dates_by_meter_suppose_the_work_done_when_due() -> None:
    readings = hours_history(Reading(date(2026, 1, 1), 0), Reading(date(2026, 1, 11), 100))
    done = Completion(date(2026, 1, 1), hours=0)
    hours_only = Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, 300),))
    assert next_dates(hours_only, date(2026, 1, 11), 3, done, readings) == [
        date(2026, 1, 31),
        date(2026, 3, 2),
        date(2026, 4, 1),
    ]
    with_calendar = Schedule(IntervalRule(20, Unit.DAYS, date(2026, 1, 1)), hours_only.meters)
    assert next_dates(with_calendar, date(2026, 1, 11), 3, done, readings) == [
        date(2026, 1, 21),
        date(2026, 2, 10),
        date(2026, 3, 2),
    ]


def test_a_schedule_is_made_from_the_fields_of_a_record() -> None:
    schedule = schedule_from_fields(
        anchor_on=date(2026, 1, 31),
        every=3,
        unit="months",
        month_end="leave_out",
        every_running_hours=Decimal("2000.5"),
        every_charges=20,
        window_before_days=5,
        window_after_days=6,
        window_after_charges=2,
        reset_early="from_completion",
        reset_inside="anchored",
        reset_late="anchored",
    )
    assert schedule == Schedule(
        IntervalRule(3, Unit.MONTHS, date(2026, 1, 31), MonthEnd.LEAVE_OUT),
        (MeterRule(Limit.RUNNING_HOURS, 2000.5), MeterRule(Limit.CHARGES, 20, after=2)),
        Window(5, 6),
        EARLY_FROM_COMPLETION,
    )
    assert say(schedule.describe()) == (
        "every 3 months, leaving out the month where the 31st does not exist or every 2,000.5 h of running "
        "or every 20 charges, whichever comes first"
    )


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({}, "no limit"),
        ({"every": 3, "unit": "months"}, "first date is missing"),
        ({"every": 3, "unit": "moons", "anchor_on": date(2026, 1, 1)}, "moons"),
        ({"every": 3, "unit": "days", "rrule": "FREQ=DAILY", "anchor_on": date(2026, 1, 1)}, "both given"),
        ({"rrule": "FREQ=HOURLY", "anchor_on": date(2026, 1, 1)}, "too fine"),
        ({"rrule": "FREQ=DAILY;COUNT=3", "anchor_on": date(2026, 1, 1)}, "write UNTIL instead of COUNT"),
        ({"every": 7, "unit": "days", "anchor_on": date(2026, 1, 1), "window_before_days": 7}, "open the window later"),
        ({"every_charges": 20, "window_after_days": -1}, "is negative"),
        ({"every_charges": 20, "window_before_charges": 20}, "does not fit the interval"),
        ({"every_running_hours": -5}, "not above 0"),
        ({"every_charges": 20, "reset_late": "sometimes"}, "sometimes"),
    ],
)
def test_it_says_what_is_wrong_with_the_fields(fields: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        schedule_from_fields(**fields)  # type: ignore[arg-type]


def test_it_refuses_two_rules_or_histories_of_one_meter() -> None:
    rule = MeterRule(Limit.CHARGES, 20)
    with pytest.raises(ValueError, match="two rules for one meter"):
        Schedule(meters=(rule, rule))
    with pytest.raises(ValueError, match="two histories of charges"):
        next_due(Schedule(meters=(rule,)), None, date(2026, 1, 1), [MeterHistory(Limit.CHARGES)] * 2)


def test_it_refuses_a_reading_absurdly_far_past_the_due_one() -> None:
    schedule = Schedule(meters=(MeterRule(Limit.RUNNING_HOURS, 1),))
    with pytest.raises(ValueError, match="correct one of them"):
        next_due(schedule, Completion(date(2026, 1, 1), hours=1e9, due_hours=1), date(2026, 1, 1))


schedules = st.builds(
    lambda every, unit, anchor_on, month_end, before, after, resets: Schedule(
        IntervalRule(every, unit, anchor_on, month_end),
        window=Window(min(before, every - 1) if unit is Unit.DAYS else min(before, 6), after),
        resets=resets,
    ),
    st.integers(1, 30),
    st.sampled_from(Unit),
    st.dates(date(2020, 1, 1), date(2026, 12, 31)),
    st.sampled_from(MonthEnd),
    st.integers(0, 20),
    st.integers(0, 20),
    st.builds(Resets, *[st.sampled_from(Reset)] * 3),
)


@settings(max_examples=150, deadline=None)
@given(schedules, st.integers(-40, 900))
def test_the_next_date_lies_after_the_work_and_inside_its_window(schedule: Schedule, days: int) -> None:
    assert schedule.calendar is not None
    due_on = schedule.calendar.anchor_on
    done_on = due_on + timedelta(days=days)
    found = after_work(schedule, done_on, due_on)
    assert found.due_on is not None and found.earliest_on is not None and found.latest_on is not None
    assert found.due_on > due_on or found.anchor_on == done_on
    assert found.due_on > done_on or found.limits[0].timing is Timing.EARLY
    assert found.earliest_on <= found.due_on <= found.latest_on
    assert all(before < after for before, after in pairwise((*found.missed_on, found.due_on)))


@settings(max_examples=150, deadline=None)
@given(schedules, st.integers(-40, 900))
def test_keeping_the_new_anchor_gives_the_same_date_again(schedule: Schedule, days: int) -> None:
    assert schedule.calendar is not None
    due_on = schedule.calendar.anchor_on
    done_on = due_on + timedelta(days=days)
    first = after_work(schedule, done_on, due_on)
    assert first.anchor_on is not None
    kept = Schedule(schedule.calendar.anchored_on(first.anchor_on), (), schedule.window, schedule.resets)
    assert after_work(kept, done_on, due_on).due_on == first.due_on
