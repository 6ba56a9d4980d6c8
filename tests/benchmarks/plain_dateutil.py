"""The dates of a calendar rule by plain `dateutil.rrule`: the slow computation that ours must equal."""

from datetime import date, datetime
from typing import Literal

from dateutil.rrule import DAILY, MONTHLY, WEEKLY, YEARLY, rrule, rruleset, rrulestr

from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule, Unit

_FREQUENCIES: dict[Unit, Literal[0, 1, 2, 3]] = {
    Unit.DAYS: DAILY,
    Unit.WEEKS: WEEKLY,
    Unit.MONTHS: MONTHLY,
    Unit.YEARS: YEARLY,
}


def plain_rule(rule: CalendarRule) -> rrule | rruleset:
    """Write a rule as dateutil's own object; not for "first of the next month", which RFC 5545 cannot say."""
    start = datetime(rule.anchor_on.year, rule.anchor_on.month, rule.anchor_on.day)
    if isinstance(rule, TextRule):
        return rrulestr(rule.text, dtstart=start)
    assert isinstance(rule, IntervalRule)
    frequency = _FREQUENCIES[rule.unit]
    if rule.unit in (Unit.DAYS, Unit.WEEKS) or start.day < 29 or rule.month_end is MonthEnd.LEAVE_OUT:
        return rrule(frequency, dtstart=start, interval=rule.every)
    assert rule.month_end is MonthEnd.LAST_DAY
    month = start.month if rule.unit is Unit.YEARS else None
    days = range(28, start.day + 1)
    return rrule(frequency, dtstart=start, interval=rule.every, bymonth=month, bymonthday=days, bysetpos=-1)


def plain_dates(rule: CalendarRule, from_on: date, until_on: date) -> list[date]:
    """Give the dates of a rule from `from_on` to `until_on`, both included."""
    if isinstance(rule, IntervalRule) and rule.month_end is MonthEnd.FIRST_OF_NEXT and (rule.step_months or 0) > 0:
        return [on for on in _first_of_next_dates(rule, until_on) if from_on <= on <= until_on]
    first, last = (datetime(on.year, on.month, on.day) for on in (from_on, until_on))
    return [moment.date() for moment in plain_rule(rule).between(first, last, inc=True)]


def _first_of_next_dates(rule: IntervalRule, until_on: date) -> list[date]:
    """Take dateutil's first days of the months, and the anchor's day or the first of the month after."""
    start = datetime(rule.anchor_on.year, rule.anchor_on.month, 1)
    last = datetime(until_on.year, until_on.month, until_on.day)
    dates = []
    for first in rrule(MONTHLY, dtstart=start, interval=rule.step_months or 1, until=last):
        following = rrule(MONTHLY, dtstart=first, count=2)[1]
        wanted = first.toordinal() + rule.anchor_on.day - 1
        dates.append(date.fromordinal(min(wanted, following.toordinal())))
    return dates
