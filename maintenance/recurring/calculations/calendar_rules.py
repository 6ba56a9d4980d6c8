"""Rules that give dates: every so many days, weeks, months or years, or a rule text of RFC 5545.

Every rule keeps its anchor. A date is anchor + k intervals, never the last date + one interval: the latter turns
31 January into 28 February and stays on the 28th for good.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

from maintenance.recurring.calculations.plain_words import DAYS, MONTHS, say_date, say_list, say_ordinal
from maintenance.recurring.calculations.rule_text import (
    RuleParts,
    check_yields,
    parse_date_rule,
    rule_dates,
)

# Farther than this from its anchor a rule is not followed: the walk there would cost more than it tells.
LARGEST_REACH_YEARS: Final = 100
LARGEST_EVERY: Final = 9999


class Unit(StrEnum):
    """What an interval is counted in."""

    DAYS = "days"
    WEEKS = "weeks"
    MONTHS = "months"
    YEARS = "years"


class MonthEnd(StrEnum):
    """What happens in a month that lacks the anchor's day: the 29th, 30th or 31st (RFC 7529 names the three SKIPs)."""

    LAST_DAY = "last_day"
    LEAVE_OUT = "leave_out"
    FIRST_OF_NEXT = "first_of_next"

    def words(self, day: int) -> str:
        """Say the choice for an anchor on the given day of the month."""
        where = f"where the {say_ordinal(day)} does not exist"
        return {
            MonthEnd.LAST_DAY: f"on the last day {where}",
            MonthEnd.LEAVE_OUT: f"leaving out the month {where}",
            MonthEnd.FIRST_OF_NEXT: f"on the first day of the next month {where}",
        }[self]


class CalendarRule(ABC):
    """A rule that gives dates, counted from an anchor."""

    anchor_on: date

    @abstractmethod
    def dates(self, from_on: date | None = None) -> Iterator[date]:
        """Give the rule's dates in order, those before `from_on` left out."""

    @abstractmethod
    def anchored_on(self, anchor_on: date) -> "CalendarRule":
        """Give the same rule, counted afresh from another date."""

    @abstractmethod
    def describe(self) -> str:
        """Say the rule in plain words."""

    def next_after(self, on: date) -> date | None:
        """Give the first date after `on`, or None when the rule has ended by then."""
        return next(self.dates(on + timedelta(days=1)), None)

    def between(self, from_on: date, until_on: date) -> list[date]:
        """Give all dates from `from_on` to `until_on`, both included."""
        found = []
        for on in self.dates(from_on):
            if on > until_on:
                break
            found.append(on)
        return found

    def nearest(self, on: date) -> date | None:
        """Give the rule's date nearest to `on`, the earlier of two equally near; None if it has no dates."""
        best = None
        for candidate in self.dates():
            if best is None or abs(candidate - on) < abs(best - on):
                best = candidate
            if candidate >= on:
                break
        return best

    def _check_reach(self, from_on: date | None) -> None:
        if from_on is not None and from_on.year - self.anchor_on.year > LARGEST_REACH_YEARS:
            raise ValueError(
                f"{from_on.isoformat()} lies more than {LARGEST_REACH_YEARS} years after the anchor "
                f"{self.anchor_on.isoformat()}: move the anchor nearer"
            )


@dataclass(frozen=True)
class IntervalRule(CalendarRule):
    """Every so many days, weeks, months or years from an anchor.

    Parameters
    ----------
    every : int
        length of the interval, 1 to 9999, in `unit`.
    unit : Unit
        what the interval is counted in.
    anchor_on : date
        first date of the series; all others lie whole intervals after it.
    month_end : MonthEnd
        what happens where the anchor's day does not exist; also governs 29 February.

    Raises
    ------
    ValueError
        for an interval out of range.
    """

    every: int
    unit: Unit
    anchor_on: date
    month_end: MonthEnd = MonthEnd.LAST_DAY

    def __post_init__(self) -> None:
        if not 1 <= self.every <= LARGEST_EVERY:
            raise ValueError(
                f"every {self.every} {self.unit.value} is outside 1 to {LARGEST_EVERY}: give a whole number of "
                "days, weeks, months or years"
            )

    @property
    def step_days(self) -> int | None:
        """Length of the interval in days, None for months and years."""
        return {Unit.DAYS: self.every, Unit.WEEKS: 7 * self.every}.get(self.unit)

    @property
    def step_months(self) -> int | None:
        """Length of the interval in months, None for days and weeks."""
        return {Unit.MONTHS: self.every, Unit.YEARS: 12 * self.every}.get(self.unit)

    def dates(self, from_on: date | None = None) -> Iterator[date]:
        """Give the rule's dates in order, those before `from_on` left out."""
        start = max(from_on or self.anchor_on, self.anchor_on)
        if self.step_days:
            return self._dates_by_days(start, self.step_days)
        return self._dates_by_months(start, self.step_months or 1)

    def anchored_on(self, anchor_on: date) -> "IntervalRule":
        """Give the same rule, counted afresh from another date."""
        return replace(self, anchor_on=anchor_on)

    def describe(self) -> str:
        """Say the rule in plain words, with the choice for short months where it matters."""
        words = f"every {self.every} {self.unit.value}" if self.every > 1 else f"every {self.unit.value[:-1]}"
        if self.step_months and self._meets_short_month():
            words += f", {self.month_end.words(self.anchor_on.day)}"
        return words

    def _meets_short_month(self) -> bool:
        day, month, step = self.anchor_on.day, self.anchor_on.month - 1, self.step_months or 1
        # A common year: 29 February is missing in three years of four.
        lengths = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
        return any(lengths[(month + k * step) % 12] < day for k in range(12))

    def _dates_by_days(self, start: date, step: int) -> Iterator[date]:
        first = -((self.anchor_on - start).days // step)
        ordinal = self.anchor_on.toordinal() + first * step
        while ordinal <= date.max.toordinal():
            yield date.fromordinal(ordinal)
            ordinal += step

    def _dates_by_months(self, start: date, step: int) -> Iterator[date]:
        anchor_month = self.anchor_on.year * 12 + self.anchor_on.month - 1
        start_month = start.year * 12 + start.month - 1
        # One interval early: the first day of the next month may stand for the month before.
        month = anchor_month + max(0, (start_month - anchor_month) // step - 1) * step
        while month // 12 < date.max.year:
            on = _date_in_month(month, self.anchor_on.day, self.month_end)
            if on is not None and on >= start:
                yield on
            month += step


@dataclass(frozen=True)
class TextRule(CalendarRule):
    """A rule text of RFC 5545 that gives dates, its DTSTART being the anchor.

    The anchor itself is a date of the series only if it fits the rule. Short months follow the standard: what
    does not exist is left out.

    Raises
    ------
    RuleError
        if the text cannot be used for a recurring task or never gives a date.
    """

    text: str
    anchor_on: date

    def __post_init__(self) -> None:
        ended = self.parts.until_on is not None and self.parts.until_on < self.anchor_on
        if ended or not _is_plain(self.parts):
            check_yields(self.parts, self.anchor_on)

    @property
    def parts(self) -> RuleParts:
        """The checked parts of the text."""
        return parse_date_rule(self.text)

    def dates(self, from_on: date | None = None) -> Iterator[date]:
        """Give the rule's dates in order, those before `from_on` left out."""
        self._check_reach(from_on)
        return (on for on in rule_dates(self.parts, self.anchor_on) if from_on is None or on >= from_on)

    def anchored_on(self, anchor_on: date) -> "TextRule":
        """Give the same rule, counted afresh from another date."""
        if self.parts.count is not None:
            raise ValueError(
                f"the rule {self.parts.text} counts its dates, so it cannot be counted afresh from another date: "
                "write UNTIL instead of COUNT"
            )
        return TextRule(self.text, anchor_on)

    def describe(self) -> str:
        """Say the rule in plain words."""
        return _describe_parts(self.parts, self.anchor_on)


def _is_plain(parts: RuleParts) -> bool:
    """Say whether a rule gives dates for certain, so that none need be looked for."""
    if parts.by_week or parts.by_year_day or parts.by_set_position or parts.by_month:
        return False
    if parts.frequency == "DAILY":
        return not parts.picks_days
    if parts.frequency == "WEEKLY":
        return True
    return not parts.by_day and not parts.by_month_day and parts.interval < 100


def _date_in_month(month: int, day: int, month_end: MonthEnd) -> date | None:
    """Place a day in a month (year * 12 + month - 1), None where the month is left out."""
    first = date(month // 12, month % 12 + 1, 1)
    next_first = date((month + 1) // 12, (month + 1) % 12 + 1, 1)
    if day <= (next_first - first).days:
        return first.replace(day=day)
    if month_end is MonthEnd.LAST_DAY:
        return next_first - timedelta(days=1)
    return next_first if month_end is MonthEnd.FIRST_OF_NEXT else None


_UNIT_OF: Final = {"DAILY": "day", "WEEKLY": "week", "MONTHLY": "month", "YEARLY": "year"}


def _describe_parts(parts: RuleParts, anchor_on: date) -> str:
    unit = _UNIT_OF[parts.frequency]
    words = [f"every {parts.interval} {unit}s" if parts.interval > 1 else f"every {unit}"]
    words += _describe_where(parts)
    words += _describe_days(parts) if parts.picks_days else _describe_anchor_day(parts, anchor_on)
    if parts.by_set_position:
        picked = say_list([say_ordinal(position) for position in parts.by_set_position])
        words.append(f"and of these only the {picked} in each {unit}")
    text = " ".join(words)
    if parts.frequency == "WEEKLY" and parts.interval > 1 and parts.week_start:
        text += f", weeks beginning on {DAYS[parts.week_start]}"
    if parts.count:
        text += ", once" if parts.count == 1 else f", {parts.count} times in all"
    if parts.until_on:
        text += f", until {say_date(parts.until_on)}"
    return text


def _describe_where(parts: RuleParts) -> list[str]:
    words = []
    if parts.by_month:
        words.append(f"in {say_list([MONTHS[month - 1] for month in parts.by_month])}")
    if parts.by_week:
        words.append(f"in week {say_list([str(w) if w > 0 else say_ordinal(w) for w in parts.by_week])}")
    return words


def _describe_days(parts: RuleParts) -> list[str]:
    words = []
    if parts.by_year_day:
        words.append(f"on the {say_list([say_ordinal(day) for day in parts.by_year_day])} day of the year")
    if parts.by_month_day:
        days = [f"the {say_ordinal(day)}" if day > 0 else f"the {say_ordinal(day)} day" for day in parts.by_month_day]
        words.append(f"on {say_list(days)}{' of the month' if parts.by_month_day[-1] < 0 else ''}")
        if any(day > 28 for day in parts.by_month_day) and not parts.by_set_position:
            words[-1] += " (months without it are left out)"
    if parts.by_day:
        days = [f"the {say_ordinal(nth)} {DAYS[day]}" if nth else DAYS[day] for nth, day in parts.by_day]
        joined = say_list(days)
        words.append(f"where it is a {joined.replace(' and ', ' or ')}" if words else f"on {joined}")
    elif parts.by_week:
        words.append("on each of its days")
    return words


def _describe_anchor_day(parts: RuleParts, anchor_on: date) -> list[str]:
    if parts.frequency == "WEEKLY":
        return [f"on {DAYS[anchor_on.weekday()]}"]
    if parts.frequency == "DAILY":
        return []
    words = f"on the {say_ordinal(anchor_on.day)}"
    if parts.frequency == "YEARLY" and not parts.by_month:
        words = f"on {anchor_on.day} {MONTHS[anchor_on.month - 1]}"
        if (anchor_on.month, anchor_on.day) == (2, 29):
            words += " (other years are left out)"
    elif anchor_on.day > 28:
        words += f" (months without a {say_ordinal(anchor_on.day)} are left out)"
    return [words]
