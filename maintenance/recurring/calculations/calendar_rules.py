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

from maintenance.recurring.calculations.plain_words import (
    DAYS,
    MONTHS,
    say_after,
    say_choice,
    say_list,
    say_ordinal,
    with_comma,
)
from maintenance.recurring.calculations.rule_text import (
    RuleParts,
    check_yields,
    parse_date_rule,
    rule_dates,
)
from plant.basics.sentences import Sentence

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

    def words(self, day: int) -> Sentence:
        """Say the choice for an anchor on the given day of the month."""
        nth = say_ordinal(day)
        match self:
            case MonthEnd.LAST_DAY:
                return Sentence.of("recur.on_last_day", nth=nth)
            case MonthEnd.LEAVE_OUT:
                return Sentence.of("recur.leaving_out", nth=nth)
        return Sentence.of("recur.on_first_of_next", nth=nth)


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
    def describe(self) -> Sentence:
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

    def describe(self) -> Sentence:
        """Say the rule in plain words, with the choice for short months where it matters."""
        said = _say_every(self.every, self.unit)
        if self.step_months and self._meets_short_month():
            return with_comma(said, self.month_end.words(self.anchor_on.day))
        return said

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

    def describe(self) -> Sentence:
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


_UNIT_OF: Final = {"DAILY": Unit.DAYS, "WEEKLY": Unit.WEEKS, "MONTHLY": Unit.MONTHS, "YEARLY": Unit.YEARS}
_IN_EACH: Final = {
    Unit.DAYS: Sentence.of("recur.in_each_day"),
    Unit.WEEKS: Sentence.of("recur.in_each_week"),
    Unit.MONTHS: Sentence.of("recur.in_each_month"),
    Unit.YEARS: Sentence.of("recur.in_each_year"),
}


def _say_every(every: int, unit: Unit) -> Sentence:
    match unit:
        case Unit.DAYS:
            return Sentence.of("recur.every_day", count=every)
        case Unit.WEEKS:
            return Sentence.of("recur.every_week", count=every)
        case Unit.MONTHS:
            return Sentence.of("recur.every_month", count=every)
    return Sentence.of("recur.every_year", count=every)


def _describe_parts(parts: RuleParts, anchor_on: date) -> Sentence:
    unit = _UNIT_OF[parts.frequency]
    said = _say_every(parts.interval, unit)
    for one in (
        *_describe_where(parts),
        *(_describe_days(parts) if parts.picks_days else _describe_anchor_day(parts, anchor_on)),
    ):
        said = say_after(said, one)
    if parts.by_set_position:
        picked = say_list([say_ordinal(position) for position in parts.by_set_position])
        said = say_after(said, Sentence.of("recur.picked", picked=picked, in_each=_IN_EACH[unit]))
    if parts.frequency == "WEEKLY" and parts.interval > 1 and parts.week_start:
        said = with_comma(said, Sentence.of("recur.weeks_begin", day=DAYS[parts.week_start]))
    if parts.count:
        said = with_comma(said, Sentence.of("recur.times", count=parts.count))
    if parts.until_on:
        said = with_comma(said, Sentence.of("recur.until", until_on=parts.until_on))
    return said


def _describe_where(parts: RuleParts) -> list[Sentence]:
    said = []
    if parts.by_month:
        said.append(Sentence.of("recur.in", months=say_list([MONTHS[month - 1] for month in parts.by_month])))
    if parts.by_week:
        weeks = [Sentence.of("recur.number", number=w) if w > 0 else say_ordinal(w) for w in parts.by_week]
        said.append(Sentence.of("recur.in_week", weeks=say_list(weeks)))
    return said


def _describe_days(parts: RuleParts) -> list[Sentence]:
    said = []
    if parts.by_year_day:
        days = say_list([say_ordinal(day) for day in parts.by_year_day])
        said.append(Sentence.of("recur.on_days_of_year", days=days))
    if parts.by_month_day:
        said.append(_describe_month_days(parts))
    if parts.by_day:
        weekdays = [
            Sentence.of("recur.the_nth_day", nth=say_ordinal(nth), day=DAYS[day]) if nth else DAYS[day]
            for nth, day in parts.by_day
        ]
        if said:
            said.append(Sentence.of("recur.where_it_is", days=say_choice(weekdays)))
        else:
            said.append(Sentence.of("recur.on", days=say_list(weekdays)))
    elif parts.by_week:
        said.append(Sentence.of("recur.on_each_day"))
    return said


def _describe_month_days(parts: RuleParts) -> Sentence:
    days = say_list(
        [
            Sentence.of("recur.the_nth" if day > 0 else "recur.the_nth_of_days", nth=say_ordinal(day))
            for day in parts.by_month_day
        ]
    )
    said = Sentence.of("recur.on_of_month" if parts.by_month_day[-1] < 0 else "recur.on", days=days)
    if any(day > 28 for day in parts.by_month_day) and not parts.by_set_position:
        said = say_after(said, Sentence.of("recur.short_months_left_out"))
    return said


def _describe_anchor_day(parts: RuleParts, anchor_on: date) -> list[Sentence]:
    if parts.frequency == "WEEKLY":
        return [Sentence.of("recur.on", days=DAYS[anchor_on.weekday()])]
    if parts.frequency == "DAILY":
        return []
    if parts.frequency == "YEARLY" and not parts.by_month:
        said = Sentence.of("recur.on_day_of_month", day=anchor_on.day, month=MONTHS[anchor_on.month - 1])
        if (anchor_on.month, anchor_on.day) == (2, 29):
            said = say_after(said, Sentence.of("recur.other_years_left_out"))
        return [said]
    nth = say_ordinal(anchor_on.day)
    said = Sentence.of("recur.on", days=Sentence.of("recur.the_nth", nth=nth))
    if anchor_on.day > 28:
        said = say_after(said, Sentence.of("recur.months_without_left_out", nth=nth))
    return [said]
