"""The calendar dates of many recurring tasks at once.

Rules are taken apart into progressions: every so many days from a day, or a certain day of every so many months.
numpy expands all progressions of all tasks together. Rules that are no such progressions (COUNT, week numbers, days
of the year, most uses of BYSETPOS, filters on filters) are followed one by one with python-dateutil.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule
from maintenance.recurring.calculations.rule_text import RuleParts, parse_date_rule
from maintenance.recurring.calculations.schedules import Schedule

Integers = NDArray[np.int64]

# A key holds task and day in one integer, so that one sort orders both: 2^22 is above the last ordinal, 3,652,059.
_DAY_BITS: Final = 22
_EPOCH_ORDINAL: Final = date(1970, 1, 1).toordinal()
_EPOCH_MONTH: Final = 1970 * 12
_POLICIES: Final = (MonthEnd.LAST_DAY, MonthEnd.LEAVE_OUT, MonthEnd.FIRST_OF_NEXT)
_LAST_DAY, _LEAVE_OUT, _FIRST_OF_NEXT = range(3)
_POLICY_NUMBER: Final = {policy: number for number, policy in enumerate(_POLICIES)}
_ANY_WEEKDAY: Final = -1
_MONDAY_OFFSET: Final = 6  # ordinal 1 is a Monday: (ordinal + 6) % 7 is the weekday, 0 Monday


@dataclass(frozen=True)
class RolledDates:
    """The dates of many schedules.

    Parameters
    ----------
    days : ndarray
        shape (dates,), datetime64[D]; those of one schedule together and rising.
    offsets : ndarray
        shape (schedules + 1,); the dates of schedule i are ``days[offsets[i]:offsets[i + 1]]``.
    """

    days: NDArray[np.datetime64]
    offsets: Integers

    def __len__(self) -> int:
        return len(self.offsets) - 1

    def of(self, index: int) -> list[date]:
        """Give the dates of one schedule."""
        dates: list[date] = self.days[self.offsets[index] : self.offsets[index + 1]].tolist()
        return dates

    def lists(self) -> list[list[date]]:
        """Give the dates of all schedules, one list each."""
        if not len(self.days):
            return [[] for _ in range(len(self))]
        # One Python date for each day of the span, shared, instead of a new one for each occurrence.
        span = np.arange(self.days.min(), self.days.max() + 1).astype(object)
        dates = span[(self.days - self.days.min()).astype(np.int64)].tolist()
        bounds = self.offsets.tolist()
        return [dates[start:end] for start, end in pairwise(bounds)]


# One month progression: its day (negative from the end; a place among weekdays where one is given), its weekday or
# -1, and what happens where the day does not exist.
MonthDay = tuple[int, int, int]


@dataclass(frozen=True)
class _Pattern:
    """What the anchor adds to: day progressions as (weekday or -1, step), or days of months of a step.

    `months` are numbers 0 to 11 of the anchor's year; empty for the anchor's own month. A day of 0 is the anchor's.
    """

    step_days: int = 0
    weekdays: tuple[int, ...] = ()
    week_start: int = _ANY_WEEKDAY
    step_months: int = 0
    months: tuple[int, ...] = ()
    month_days: tuple[MonthDay, ...] = ()
    until_ordinal: int = date.max.toordinal()


def roll_forward(schedules: Sequence[Schedule], from_on: date, until_on: date) -> RolledDates:
    """Give the calendar dates of many schedules between two days.

    Limits by meter have no dates of their own: only the calendar of a schedule is rolled, and one without calendar
    has none. Dates are those of the series as anchored now; no completion is supposed.

    Parameters
    ----------
    schedules : Sequence[Schedule]
        shape (schedules,).
    from_on, until_on : date
        first and last local day, both included.

    Returns
    -------
    RolledDates
        for each schedule the same dates as its rule gives one by one.

    Raises
    ------
    ValueError
        if the span ends before it begins.
    """
    if until_on < from_on:
        raise ValueError(
            f"the span from {from_on.isoformat()} to {until_on.isoformat()} ends before it begins: "
            "exchange the two days"
        )
    by_days: list[tuple[int, int, int, int, int]] = []
    by_months: list[tuple[int, int, int, int, int, int, int, int]] = []
    keys: list[Integers] = []
    first, last = from_on.toordinal(), until_on.toordinal()
    for owner, schedule in enumerate(schedules):
        rule = schedule.calendar
        if rule is None or rule.anchor_on > until_on:
            continue
        pattern = _pattern_of(rule)
        if pattern is None:
            one_by_one = [on.toordinal() for on in rule.between(from_on, until_on)]
            keys.append(np.array(one_by_one, dtype=np.int64) + (owner << _DAY_BITS))
        elif pattern.step_days:
            _add_day_steps(by_days, owner, pattern, rule.anchor_on.toordinal(), first, last)
        else:
            _add_month_steps(by_months, owner, pattern, rule.anchor_on, first, last)
    if by_days:
        keys.append(_expand_days(np.array(by_days, dtype=np.int64)))
    if by_months:
        keys.append(_expand_months(np.array(by_months, dtype=np.int64)))
    return _gather(keys, len(schedules))


def _gather(keys: list[Integers], count: int) -> RolledDates:
    """Order all keys, drop days that two progressions of one task share, and take task and day apart."""
    # A stable sort profits from the long runs that are in order already.
    joined = np.sort(np.concatenate(keys), kind="stable") if keys else np.zeros(0, dtype=np.int64)
    if len(joined):
        joined = joined[np.concatenate(([True], joined[1:] != joined[:-1]))]
    starts = np.arange(count + 1, dtype=np.int64) << _DAY_BITS
    days = (joined & ((1 << _DAY_BITS) - 1)) - _EPOCH_ORDINAL
    return RolledDates(days.view("datetime64[D]"), np.searchsorted(joined, starts).astype(np.int64))


def _pattern_of(rule: CalendarRule) -> _Pattern | None:
    """Give the progressions of a rule, None where it is none."""
    if isinstance(rule, IntervalRule):
        return _interval_pattern(rule.step_days or 0, rule.step_months or 0, _POLICY_NUMBER[rule.month_end])
    return _text_pattern(rule.text) if isinstance(rule, TextRule) else None


@lru_cache(maxsize=4096)
def _interval_pattern(step_days: int, step_months: int, policy: int) -> _Pattern:
    if step_days:
        return _Pattern(step_days=step_days)
    return _Pattern(step_months=step_months, month_days=((0, _ANY_WEEKDAY, policy),))


@lru_cache(maxsize=4096)
def _text_pattern(text: str) -> _Pattern | None:
    parts = parse_date_rule(text)
    if parts.count or parts.by_week or parts.by_year_day or (parts.by_month_day and parts.by_day):
        return None
    until = parts.until_on.toordinal() if parts.until_on else date.max.toordinal()
    if parts.frequency in ("DAILY", "WEEKLY"):
        return _day_pattern(parts, until)
    return _month_pattern(parts, until)


def _day_pattern(parts: RuleParts, until: int) -> _Pattern | None:
    if parts.by_month or parts.by_set_position or parts.by_month_day:
        return None
    weekdays = tuple(weekday for _, weekday in parts.by_day)
    if parts.frequency == "WEEKLY":
        return _Pattern(7 * parts.interval, weekdays, parts.week_start, until_ordinal=until)
    if not weekdays:
        return _Pattern(parts.interval, until_ordinal=until)
    # Every day that is a certain weekday is every week on it; every second such day is something else.
    return _Pattern(7, weekdays, 0, until_ordinal=until) if parts.interval == 1 else None


def _month_pattern(parts: RuleParts, until: int) -> _Pattern | None:
    days = _month_days(parts)
    yearly = parts.frequency == "YEARLY"
    if days is None or (yearly and parts.picks_days and not parts.by_month):
        return None
    if parts.by_month and not yearly and parts.interval > 1:
        return None
    step = 12 * parts.interval if yearly or parts.by_month else parts.interval
    months = tuple(month - 1 for month in parts.by_month)
    return _Pattern(step_months=step, months=months, month_days=days, until_ordinal=until)


def _month_days(parts: RuleParts) -> tuple[MonthDay, ...] | None:
    """Give the days of the month that a rule picks, None where they cannot be said one by one."""
    if parts.by_set_position:
        days = sorted(parts.by_month_day)
        # 28, 29, 30, 31 and of these the last: the usual way to say "the 31st or the last day" in RFC 5545.
        if parts.by_set_position == (-1,) and len(days) > 1 and days == list(range(28, days[-1] + 1)):
            return ((days[-1], _ANY_WEEKDAY, _LAST_DAY),)
        return None
    if parts.by_day:
        places = [(n, day) for nth, day in parts.by_day for n in ((nth,) if nth else range(1, 6))]
        return tuple((nth, weekday, _LEAVE_OUT) for nth, weekday in places)
    return tuple((day, _ANY_WEEKDAY, _LEAVE_OUT) for day in parts.by_month_day or (0,))


def _add_day_steps(
    rows: list[tuple[int, int, int, int, int]], owner: int, pattern: _Pattern, anchor: int, first: int, last: int
) -> None:
    low, high = max(anchor, first), min(last, pattern.until_ordinal)
    if not pattern.weekdays:
        rows.append((owner, anchor, pattern.step_days, low, high))
        return
    week = anchor - (anchor + _MONDAY_OFFSET - pattern.week_start) % 7
    for weekday in pattern.weekdays:
        rows.append((owner, week + (weekday - pattern.week_start) % 7, pattern.step_days, low, high))


def _add_month_steps(
    rows: list[tuple[int, int, int, int, int, int, int, int]],
    owner: int,
    pattern: _Pattern,
    anchor_on: date,
    first: int,
    last: int,
) -> None:
    low, high = max(anchor_on.toordinal(), first), min(last, pattern.until_ordinal)
    year = anchor_on.year * 12
    for month in pattern.months or (anchor_on.month - 1,):
        for day, weekday, policy in pattern.month_days:
            rows.append((owner, year + month, pattern.step_months, day or anchor_on.day, weekday, policy, low, high))


def _expand(start: Integers, step: Integers, low: Integers, high: Integers) -> tuple[Integers, Integers]:
    """Give, for progressions start + k step with k from 0, all members from low to high, and whose they are."""
    skipped = np.maximum(0, -((start - low) // step))
    counts = np.maximum(0, (high - start) // step - skipped + 1)
    whose = np.repeat(np.arange(len(start)), counts)
    before = np.cumsum(counts) - counts
    place = np.arange(int(counts.sum()), dtype=np.int64) + (skipped - before)[whose]
    return whose, start[whose] + place * step[whose]


def _expand_days(rows: Integers) -> Integers:
    owner, start, step, low, high = rows.T
    whose, ordinals = _expand(start, step, low, high)
    keys: Integers = (owner[whose] << _DAY_BITS) + ordinals
    return keys


def _expand_months(rows: Integers) -> Integers:
    owner, start, step, day, weekday, policy, low, high = rows.T
    low_month, high_month = _month_of(low), _month_of(high)
    # One month early: the first of the next month may stand for a day that the month before lacks.
    whose, months = _expand(start, step, low_month - 1, high_month)
    if not len(months):
        return np.zeros(0, dtype=np.int64)
    first, length = _month_table(months)
    ordinals, exists = _place(first, length, day[whose], weekday[whose], policy[whose])
    kept = exists & (ordinals >= low[whose]) & (ordinals <= high[whose])
    keys: Integers = (owner[whose[kept]] << _DAY_BITS) + ordinals[kept]
    return keys


def _month_of(ordinals: Integers) -> Integers:
    """Number the month (year * 12 + month - 1) of each ordinal."""
    days = (ordinals - _EPOCH_ORDINAL).astype("datetime64[D]")
    months: Integers = days.astype("datetime64[M]").astype(np.int64) + _EPOCH_MONTH
    return months


def _month_table(months: Integers) -> tuple[Integers, Integers]:
    """Give the ordinal of each month's first day, and its length in days."""
    lowest = int(months.min())
    span = np.arange(lowest, int(months.max()) + 2, dtype=np.int64) - _EPOCH_MONTH
    firsts = span.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64) + _EPOCH_ORDINAL
    return firsts[months - lowest], np.diff(firsts)[months - lowest]


def _place(
    first: Integers, length: Integers, day: Integers, weekday: Integers, policy: Integers
) -> tuple[Integers, NDArray[np.bool_]]:
    """Place the wanted day in each month; say where it exists or is replaced."""
    offset = np.where(day > 0, day - 1, length + day)
    exists = (offset >= 0) & (offset < length)
    short = (day > length) & (policy != _LEAVE_OUT)
    offset = np.where(short, np.where(policy == _LAST_DAY, length - 1, length), offset)
    exists |= short
    picks = np.flatnonzero(weekday != _ANY_WEEKDAY)
    if len(picks):
        offset[picks] = _weekday_offset(first[picks], length[picks], day[picks], weekday[picks])
        exists[picks] = (offset[picks] >= 0) & (offset[picks] < length[picks])
    return first + offset, exists


def _weekday_offset(first: Integers, length: Integers, nth: Integers, weekday: Integers) -> Integers:
    """Give the offset of the nth weekday in a month, negative places from its end."""
    forwards = (weekday - (first + _MONDAY_OFFSET)) % 7 + 7 * (nth - 1)
    last = length - 1
    backwards = last - (first + last + _MONDAY_OFFSET - weekday) % 7 + 7 * (nth + 1)
    return np.where(nth > 0, forwards, backwards)
