import csv
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import islice, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.recurring.calculations import rule_text
from maintenance.recurring.calculations.calendar_rules import IntervalRule, MonthEnd, TextRule, Unit
from maintenance.recurring.calculations.rule_text import RuleError, parse_date_rule
from plant.frame.saying import say

REFERENCE = Path(__file__).parents[2] / "reference" / "recurrence"


def rows(name: str) -> dict[str, dict[str, str]]:
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return {f"{row['id']}-{number}": row for number, row in enumerate(csv.DictReader(file))}


RFC = rows("rfc5545_examples")
PITFALLS = rows("pitfalls")
ADDING = {row["id"]: row for row in rows("month_arithmetic").values()}


def moments(text: str) -> list[datetime]:
    return [datetime.fromisoformat(moment) for moment in text.split()]


def dates(text: str) -> list[date]:
    return [date.fromisoformat(on) for on in text.split()]


DATED = {
    key: row
    for key, row in RFC.items()
    if not any(clock in row["rrule"] for clock in ("HOURLY", "MINUTELY", "BYHOUR", "T140000Z"))
}


@pytest.mark.parametrize("row", DATED.values(), ids=DATED)
def test_rfc5545_examples_give_the_printed_dates_as_recurring_tasks(row: dict[str, str]) -> None:
    # The printed UNTILs at 00:00 UTC are the evening before in New York; the first start after them is left out.
    expected = [moment.date() for moment in moments(row["expected_local_starts"])]
    text = row["rrule"].replace("19971224T000000Z", "19971223").replace("19971007T000000Z", "19971006")
    rule = TextRule(text, date.fromisoformat(row["dtstart_local"][:10]))
    excluded = {moment.date() for moment in moments(row["exdate_local"])}
    more = row["list_is_complete"] == "yes"
    assert list(islice((on for on in rule.dates() if on not in excluded), len(expected) + more)) == expected


@pytest.mark.parametrize("key", [key for key in PITFALLS if not key.startswith("PIT-14")])
def test_pitfalls_give_the_surprising_dates(key: str) -> None:
    row = PITFALLS[key]
    rule = TextRule(row["rrule"], date.fromisoformat(row["dtstart_local"][:10]))
    assert list(islice(rule.dates(), int(row["n"]))) == dates(row["dates"])


def test_months_are_added_to_the_anchor_and_do_not_drift() -> None:
    rule = IntervalRule(1, Unit.MONTHS, date(2026, 1, 31))
    assert list(islice(rule.dates(), 1, 6)) == dates(ADDING["ADD-02"]["result"])
    assert list(islice(rule.dates(), 1, 6)) != dates(ADDING["ADD-01"]["result"])


@pytest.mark.parametrize(
    ("rule", "places", "case"),
    [
        (IntervalRule(1, Unit.YEARS, date(2024, 2, 29)), (1, 4), "ADD-03"),
        (IntervalRule(3, Unit.MONTHS, date(2026, 11, 30)), (1,), "ADD-04"),
        (IntervalRule(90, Unit.DAYS, date(2026, 5, 31)), (1,), "ADD-05"),
        (IntervalRule(3, Unit.MONTHS, date(2026, 5, 31)), (1,), "ADD-05"),
        (IntervalRule(365, Unit.DAYS, date(2027, 3, 1)), (1,), "ADD-06"),
        (IntervalRule(1, Unit.YEARS, date(2027, 3, 1)), (1,), "ADD-06"),
    ],
)
def test_intervals_agree_with_the_table_of_month_arithmetic(
    rule: IntervalRule, places: tuple[int, ...], case: str
) -> None:
    found = list(islice(rule.dates(), 5))
    expected = dates(ADDING[case]["result"])
    if len(expected) > len(places):
        expected = expected[:1] if rule.unit is Unit.DAYS else expected[1:]
    assert [found[place] for place in places] == expected


@pytest.mark.parametrize(
    ("month_end", "expected"),
    [
        (MonthEnd.LAST_DAY, "2026-01-31 2026-02-28 2026-03-31 2026-04-30 2026-05-31"),
        (MonthEnd.LEAVE_OUT, "2026-01-31 2026-03-31 2026-05-31 2026-07-31 2026-08-31"),
        (MonthEnd.FIRST_OF_NEXT, "2026-01-31 2026-03-01 2026-03-31 2026-05-01 2026-05-31"),
    ],
)
def test_the_choice_for_short_months_governs_the_31st(month_end: MonthEnd, expected: str) -> None:
    rule = IntervalRule(1, Unit.MONTHS, date(2026, 1, 31), month_end)
    assert list(islice(rule.dates(), 5)) == dates(expected)


@pytest.mark.parametrize(
    ("month_end", "expected"),
    [
        (MonthEnd.LAST_DAY, "2096-02-29 2097-02-28 2098-02-28 2099-02-28 2100-02-28"),
        (MonthEnd.LEAVE_OUT, "2096-02-29 2104-02-29 2108-02-29 2112-02-29 2116-02-29"),
        (MonthEnd.FIRST_OF_NEXT, "2096-02-29 2097-03-01 2098-03-01 2099-03-01 2100-03-01"),
    ],
)
def test_the_choice_for_short_months_governs_29_february(month_end: MonthEnd, expected: str) -> None:
    rule = IntervalRule(1, Unit.YEARS, date(2096, 2, 29), month_end)
    assert list(islice(rule.dates(), 5)) == dates(expected)


def test_a_first_of_the_next_month_is_not_lost_at_the_start_of_the_span() -> None:
    rule = IntervalRule(1, Unit.MONTHS, date(2026, 1, 31), MonthEnd.FIRST_OF_NEXT)
    assert rule.between(date(2026, 3, 1), date(2026, 3, 30)) == [date(2026, 3, 1)]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("INTERVAL=2", "FREQ is missing"),
        ("FREQ=FORTNIGHTLY", "FREQ=FORTNIGHTLY is unknown"),
        ("FREQ=DAILY;INTERVAL=0", "INTERVAL=0 is outside 1 to 9999"),
        ("FREQ=DAILY;INTERVAL=-1", "INTERVAL=-1 is outside"),
        ("FREQ=DAILY;FREQ=DAILY", "FREQ stands twice"),
        ("FREQ=DAILY;EVERY=2", "'EVERY' is no part of a rule"),
        ("FREQ=DAILY;COUNT", "'COUNT' is not of the form NAME=VALUE"),
        ("FREQ=DAILY;COUNT=3;UNTIL=20270101", "COUNT and UNTIL stand together"),
        ("FREQ=DAILY;UNTIL=20270230", "does not exist in the calendar"),
        ("FREQ=DAILY;UNTIL=tomorrow", "UNTIL=TOMORROW is no date"),
        ("FREQ=DAILY;UNTIL=20271231T120000Z", "write the last date alone, UNTIL=20271231"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "BYMONTHDAY=32 is outside 1 to 31"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "BYMONTHDAY=0 is outside"),
        ("FREQ=WEEKLY;BYDAY=1MO", "counts weekdays within a month or year"),
        ("FREQ=MONTHLY;BYDAY=6MO", "no month has a weekday six times"),
        ("FREQ=YEARLY;BYMONTH=12;BYDAY=53MO", "no month has a weekday six times"),
        ("FREQ=WEEKLY;BYDAY=MONDAY", "BYDAY=MONDAY is no weekday"),
        ("FREQ=WEEKLY;WKST=XX", "WKST=XX is no weekday"),
        ("FREQ=WEEKLY;BYMONTHDAY=3", "use FREQ=MONTHLY"),
        ("FREQ=MONTHLY;BYWEEKNO=3", "BYWEEKNO goes with FREQ=YEARLY only"),
        ("FREQ=DAILY;BYYEARDAY=3", "BYYEARDAY does not go with FREQ=DAILY"),
        ("FREQ=MONTHLY;BYSETPOS=1", "BYSETPOS picks from what other parts give"),
        ("FREQ=HOURLY", "too fine for a recurring task"),
        ("FREQ=MINUTELY", "too fine for a recurring task"),
        ("FREQ=SECONDLY", "too fine for a recurring task"),
        ("FREQ=DAILY;BYHOUR=9", "BYHOUR sets a clock time"),
        ("FREQ=DAILY\nFREQ=WEEKLY", "several lines"),
        ("FREQ=DAILY;BYMONTHDAY=" + ",".join(["1"] * 400), "more than 500"),
    ],
)
def test_it_says_what_is_wrong_with_a_rule(text: str, message: str) -> None:
    with pytest.raises(RuleError, match=message):
        parse_date_rule(text)


def test_a_rule_may_be_written_small_and_with_its_prefix() -> None:
    assert parse_date_rule(" rrule:freq=weekly;byday=mo; ") == parse_date_rule("FREQ=WEEKLY;BYDAY=MO")


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=YEARLY;BYMONTH=4;BYMONTHDAY=31",
        "FREQ=DAILY;INTERVAL=7;BYDAY=MO",
        "FREQ=WEEKLY;BYDAY=MO,TU;BYSETPOS=3",
        "FREQ=YEARLY;BYWEEKNO=53;BYMONTH=6;BYDAY=MO",
        "FREQ=YEARLY;BYYEARDAY=366;BYMONTH=1",
        "FREQ=MONTHLY;BYDAY=1MO;BYMONTHDAY=15",
        "FREQ=DAILY;UNTIL=20251231",
    ],
)
def test_a_rule_that_never_gives_a_date_is_refused_without_walking_to_the_year_9999(
    text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def walk(parts: rule_text.RuleParts, anchor_on: date) -> Iterator[date]:
        assert parts.frequency in ("YEARLY", "MONTHLY"), "by the day and the week that walk takes millions of steps"
        return rule_dates(parts, anchor_on)

    rule_dates = rule_text.rule_dates
    monkeypatch.setattr(rule_text, "rule_dates", walk)
    with pytest.raises(RuleError, match="never gives a date"):
        TextRule(text, date(2026, 1, 6))


def test_a_rule_is_not_followed_a_century_past_its_anchor() -> None:
    with pytest.raises(ValueError, match="more than 100 years after the anchor"):
        TextRule("FREQ=DAILY", date(2026, 1, 1)).next_after(date(9999, 1, 1))


def test_an_interval_rule_ends_with_the_calendar() -> None:
    assert IntervalRule(9999, Unit.YEARS, date(2026, 1, 1)).next_after(date(2026, 1, 1)) is None
    assert IntervalRule(1, Unit.DAYS, date(2026, 1, 1)).next_after(date(9999, 12, 30)) == date(9999, 12, 31)


@pytest.mark.parametrize("every", [0, -1, 10_000])
def test_it_refuses_an_interval_out_of_range(every: int) -> None:
    with pytest.raises(ValueError, match="outside 1 to 9999"):
        IntervalRule(every, Unit.DAYS, date(2026, 1, 1))


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (IntervalRule(1, Unit.DAYS, date(2026, 1, 31)), "every day"),
        (IntervalRule(2, Unit.WEEKS, date(2026, 1, 31)), "every 2 weeks"),
        (IntervalRule(3, Unit.MONTHS, date(2026, 1, 15)), "every 3 months"),
        (
            IntervalRule(3, Unit.MONTHS, date(2026, 1, 31)),
            "every 3 months, on the last day where the 31st does not exist",
        ),
        (IntervalRule(12, Unit.MONTHS, date(2026, 1, 31)), "every 12 months"),
        (
            IntervalRule(1, Unit.YEARS, date(2024, 2, 29), MonthEnd.LEAVE_OUT),
            "every year, leaving out the month where the 29th does not exist",
        ),
        (TextRule("FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,FR", date(2026, 1, 5)), "every 2 weeks on Monday and Friday"),
        (TextRule("FREQ=WEEKLY", date(2026, 1, 5)), "every week on Monday"),
        (TextRule("FREQ=MONTHLY;BYMONTHDAY=-1", date(2026, 1, 5)), "every month on the last day of the month"),
        (TextRule("FREQ=MONTHLY;BYDAY=-1FR", date(2026, 1, 5)), "every month on the last Friday"),
        (TextRule("FREQ=MONTHLY", date(2026, 1, 31)), "every month on the 31st (months without a 31st are left out)"),
        (
            TextRule("FREQ=YEARLY;BYMONTH=4,10;BYMONTHDAY=15", date(2026, 1, 5)),
            "every year in April and October on the 15th",
        ),
        (TextRule("FREQ=YEARLY;UNTIL=20301231", date(2026, 5, 1)), "every year on 1 May, until 31 Dec 2030"),
        (
            TextRule("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", date(2026, 1, 5)),
            "every month on the 13th where it is a Friday",
        ),
        (
            TextRule("FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1", date(2026, 1, 5)),
            "every month on Monday, Tuesday, Wednesday, Thursday and Friday and of these only the last in each month",
        ),
        (TextRule("FREQ=DAILY;COUNT=3", date(2026, 1, 5)), "every day, 3 times in all"),
    ],
)
def test_a_rule_is_said_in_plain_words(rule: IntervalRule | TextRule, words: str) -> None:
    assert say(rule.describe()) == words


interval_rules = st.builds(
    IntervalRule,
    st.integers(1, 40),
    st.sampled_from(Unit),
    st.dates(date(2000, 1, 1), date(2100, 12, 31)),
    st.sampled_from(MonthEnd),
)


@settings(max_examples=80, deadline=None)
@given(interval_rules)
def test_dates_rise_strictly_and_start_with_the_anchor(rule: IntervalRule) -> None:
    found = list(islice(rule.dates(), 30))
    assert found[0] == rule.anchor_on
    assert all(before < after for before, after in pairwise(found))


@settings(max_examples=80, deadline=None)
@given(interval_rules, st.integers(0, 12_000))
def test_a_date_does_not_depend_on_where_one_starts_to_look(rule: IntervalRule, days: int) -> None:
    from_on = rule.anchor_on + timedelta(days=days)
    assert list(islice(rule.dates(from_on), 5)) == list(islice((on for on in rule.dates() if on >= from_on), 5))


@settings(max_examples=80, deadline=None)
@given(interval_rules)
def test_months_never_drift_from_the_anchors_day(rule: IntervalRule) -> None:
    if rule.step_months:
        days = {on.day for on in islice(rule.dates(), 60)}
        assert all(day in (1, rule.anchor_on.day) or (28 <= day < rule.anchor_on.day) for day in days)
        assert rule.anchor_on.day in days
