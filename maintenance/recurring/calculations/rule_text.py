"""Rules of recurrence written as text (RFC 5545, section 3.3.10), checked before anybody relies on them.

Recurring tasks plan dates, not clock times: a rule is worked out on local dates without a time zone.
"""

import re
from calendar import monthrange
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Final, cast

from dateutil.rrule import rrule, rrulestr

WEEKDAYS: Final = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
LARGEST_INTERVAL: Final = 9999
LONGEST_TEXT: Final = 500
# Two leap-year gaps of the century years and every pattern of week 53 lie within this reach.
SEARCH_YEARS: Final = 50

_FREQUENCIES: Final = ("YEARLY", "MONTHLY", "WEEKLY", "DAILY")
_TOO_FINE: Final = ("HOURLY", "MINUTELY", "SECONDLY")
_CLOCK_PARTS: Final = ("BYHOUR", "BYMINUTE", "BYSECOND")
# Part: smallest, largest, whether it may count from the end (negative). RFC 5545, 3.3.10.
_NUMBER_LISTS: Final[dict[str, tuple[int, int, bool]]] = {
    "BYMONTH": (1, 12, False),
    "BYWEEKNO": (1, 53, True),
    "BYYEARDAY": (1, 366, True),
    "BYMONTHDAY": (1, 31, True),
    "BYSETPOS": (1, 366, True),
}
_NAMES: Final = {"FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYDAY", *_CLOCK_PARTS, *_NUMBER_LISTS}
_BY_DAY: Final = re.compile(r"([+-]?\d{1,2})?(MO|TU|WE|TH|FR|SA|SU)")
_UNTIL: Final = re.compile(r"\d{8}(T\d{6}Z?)?")


class RuleError(ValueError):
    """A rule text that cannot be used; the message says what is wrong, where, and what to write instead."""


@dataclass(frozen=True)
class RuleParts:
    """The parts of one rule, checked.

    `by_day` holds pairs of an ordinal (0 for "every") and a weekday (0 Monday to 6 Sunday); `week_start` is a
    weekday of the same kind; `until` is the text as written.
    """

    text: str
    frequency: str
    interval: int = 1
    count: int | None = None
    until: str | None = None
    week_start: int = 0
    by_month: tuple[int, ...] = ()
    by_week: tuple[int, ...] = ()
    by_year_day: tuple[int, ...] = ()
    by_month_day: tuple[int, ...] = ()
    by_day: tuple[tuple[int, int], ...] = ()
    by_set_position: tuple[int, ...] = ()

    @property
    def until_on(self) -> date | None:
        """The last date the rule may give."""
        return datetime.strptime(self.until, "%Y%m%d").date() if self.until else None  # noqa: DTZ007

    @property
    def picks_days(self) -> bool:
        """Whether the text itself says which days, so that the anchor's day is not taken."""
        return bool(self.by_week or self.by_year_day or self.by_month_day or self.by_day)


@lru_cache(maxsize=4096)
def parse_date_rule(text: str) -> RuleParts:
    """Read and check a rule for a recurring task: one that gives dates and no clock times.

    Parameters
    ----------
    text : str
        one rule such as ``FREQ=MONTHLY;BYMONTHDAY=-1``, with or without ``RRULE:`` in front.

    Returns
    -------
    RuleParts
        the checked parts; ``text`` in capitals, without the prefix.

    Raises
    ------
    RuleError
        for an unknown, repeated, missing or contradictory part, a number out of range, FREQ=HOURLY and finer,
        BYHOUR and finer, and an UNTIL with a clock time.

    References
    ----------
    RFC 5545, section 3.3.10 (grammar and which parts go together).
    """
    pairs = _split(text)
    frequency = pairs.get("FREQ", "")
    if frequency in _TOO_FINE:
        raise RuleError(
            f"FREQ={frequency} is too fine for a recurring task, which is planned by the day: "
            "write FREQ=DAILY, or count running hours instead"
        )
    if frequency not in _FREQUENCIES:
        what = f"FREQ={frequency} is unknown" if frequency else "FREQ is missing"
        raise RuleError(f"{what} in the rule {text!r}: write FREQ=DAILY, WEEKLY, MONTHLY or YEARLY")
    for name in _CLOCK_PARTS:
        if name in pairs:
            raise RuleError(f"{name} sets a clock time, but a recurring task is planned by the day: leave it out")
    numbers = {name: _numbers(name, pairs[name]) for name in _NUMBER_LISTS if name in pairs}
    parts = RuleParts(
        text=";".join(f"{name}={value}" for name, value in pairs.items()),
        frequency=frequency,
        interval=_number("INTERVAL", pairs.get("INTERVAL", "1"), 1, LARGEST_INTERVAL),
        count=_number("COUNT", pairs["COUNT"], 1, 10**6) if "COUNT" in pairs else None,
        until=_until(pairs["UNTIL"]) if "UNTIL" in pairs else None,
        week_start=_week_start(pairs.get("WKST", "MO")),
        by_month=numbers.get("BYMONTH", ()),
        by_week=numbers.get("BYWEEKNO", ()),
        by_year_day=numbers.get("BYYEARDAY", ()),
        by_month_day=numbers.get("BYMONTHDAY", ()),
        by_day=_by_day(pairs["BYDAY"]) if "BYDAY" in pairs else (),
        by_set_position=numbers.get("BYSETPOS", ()),
    )
    _check_together(parts, pairs)
    return parts


def check_yields(parts: RuleParts, anchor_on: date) -> None:
    """Refuse a rule that gives no date within fifty years of its anchor.

    By the year and the month dateutil itself is soon at the year 9999 where nothing fits (30 February). By the
    week and the day that walk would take seconds, so those days are looked at here, up to the first that fits.

    Raises
    ------
    RuleError
        if no date fits.
    """
    last_on = date(min(anchor_on.year + SEARCH_YEARS, date.max.year), 12, 31)
    if parts.until_on is not None:
        last_on = min(last_on, parts.until_on)
    if parts.frequency in ("YEARLY", "MONTHLY"):
        first_on = next(rule_dates(parts, anchor_on), None)
        if first_on is not None and first_on <= last_on:
            return
    elif _gives_day(parts, anchor_on, last_on):
        return
    limit = f"up to UNTIL={parts.until}" if parts.until else f"within {SEARCH_YEARS} years"
    raise RuleError(
        f"the rule {parts.text} never gives a date {limit}, counted from {anchor_on.isoformat()}: "
        "check that its days, months and weeks can meet, or move the anchor"
    )


def rule_dates(parts: RuleParts, anchor_on: date) -> Iterator[date]:
    """Give the dates of a checked date rule in order, the anchor being its DTSTART."""
    for start in date_rrule(parts.text, anchor_on):
        yield start.date()


@lru_cache(maxsize=1024)
def date_rrule(text: str, anchor_on: date) -> rrule:
    """Build dateutil's rule object on local midnights without a zone."""
    return cast(rrule, rrulestr(text, dtstart=datetime(anchor_on.year, anchor_on.month, anchor_on.day)))  # noqa: DTZ001


def _split(text: str) -> dict[str, str]:
    """Take a rule text apart into names and values, in capitals."""
    plain = text.strip().upper().removeprefix("RRULE:")
    if not plain:
        raise RuleError("the rule is empty: write for example FREQ=WEEKLY;BYDAY=MO")
    if len(plain) > LONGEST_TEXT:
        raise RuleError(f"the rule has {len(plain)} characters, more than {LONGEST_TEXT}: split it into two tasks")
    if len(plain.split()) > 1:
        raise RuleError("the rule has spaces or several lines: write one rule, its parts joined by semicolons")
    pairs: dict[str, str] = {}
    for part in plain.rstrip(";").split(";"):
        name, sign, value = part.partition("=")
        if not sign or not value:
            raise RuleError(f"the part {part!r} is not of the form NAME=VALUE, as in INTERVAL=2")
        if name not in _NAMES:
            raise RuleError(f"{name!r} is no part of a rule: use {', '.join(sorted(_NAMES))}")
        if name in pairs:
            raise RuleError(f"{name} stands twice: give it once, its values joined by commas")
        pairs[name] = value
    return pairs


def _number(name: str, value: str, smallest: int, largest: int) -> int:
    if not value.isascii() or not value.isdigit() or not smallest <= int(value) <= largest:
        raise RuleError(f"{name}={value} is outside {smallest} to {largest}: write a whole number in that range")
    return int(value)


def _numbers(name: str, value: str) -> tuple[int, ...]:
    smallest, largest, from_the_end = _NUMBER_LISTS[name]
    numbers = []
    for item in value.split(","):
        sign = -1 if item.startswith("-") and from_the_end else 1
        plain = item.lstrip("+") if sign > 0 else item[1:]
        numbers.append(sign * _number(name, plain, smallest, largest))
    return tuple(numbers)


def _by_day(value: str) -> tuple[tuple[int, int], ...]:
    days = []
    for item in value.split(","):
        match = _BY_DAY.fullmatch(item)
        if not match or (match[1] is not None and not 1 <= abs(int(match[1])) <= 53):
            raise RuleError(f"BYDAY={item} is no weekday: write MO to SU, or 1FR for the first Friday, -1FR the last")
        days.append((int(match[1] or 0), WEEKDAYS.index(match[2])))
    return tuple(days)


def _week_start(value: str) -> int:
    if value not in WEEKDAYS:
        raise RuleError(f"WKST={value} is no weekday: write one of {', '.join(WEEKDAYS)}")
    return WEEKDAYS.index(value)


def _until(value: str) -> str:
    if not _UNTIL.fullmatch(value):
        raise RuleError(f"UNTIL={value} is no date: write it as UNTIL=20271231")
    if len(value) > 8:
        raise RuleError(f"UNTIL={value} has a clock time: write the last date alone, UNTIL={value[:8]}")
    try:
        datetime.strptime(value, "%Y%m%d")  # noqa: DTZ007
    except ValueError as error:
        raise RuleError(f"UNTIL={value} does not exist in the calendar: check day and month") from error
    return value


def _check_together(parts: RuleParts, pairs: dict[str, str]) -> None:
    """Refuse parts that exclude each other (RFC 5545, 3.3.10, notes to the parts)."""
    if parts.count and parts.until:
        raise RuleError("COUNT and UNTIL stand together: keep one of them")
    if parts.by_week and parts.frequency != "YEARLY":
        raise RuleError(f"BYWEEKNO goes with FREQ=YEARLY only, not with FREQ={parts.frequency}")
    if parts.by_year_day and parts.frequency in ("DAILY", "WEEKLY", "MONTHLY"):
        raise RuleError(f"BYYEARDAY does not go with FREQ={parts.frequency}: use FREQ=YEARLY")
    if parts.by_month_day and parts.frequency == "WEEKLY":
        raise RuleError("BYMONTHDAY does not go with FREQ=WEEKLY: use FREQ=MONTHLY")
    if any(ordinal for ordinal, _ in parts.by_day) and (parts.frequency not in ("MONTHLY", "YEARLY") or parts.by_week):
        raise RuleError(
            f"BYDAY={pairs['BYDAY']} counts weekdays within a month or year: "
            "use FREQ=MONTHLY or YEARLY without BYWEEKNO, or leave the number out"
        )
    within_month = parts.frequency == "MONTHLY" or bool(parts.by_month)
    if within_month and any(abs(ordinal) > 5 for ordinal, _ in parts.by_day):
        raise RuleError(f"BYDAY={pairs['BYDAY']} counts past 5, but no month has a weekday six times: use 1 to 5")
    if parts.by_set_position and not any(name.startswith("BY") and name != "BYSETPOS" for name in pairs):
        raise RuleError("BYSETPOS picks from what other parts give: add for example BYDAY")


def _gives_day(parts: RuleParts, anchor_on: date, last_on: date) -> bool:
    """Say whether a daily or weekly rule gives a day from its anchor to the last day."""
    needed = min((abs(position) for position in parts.by_set_position), default=1)
    fitting: dict[int, int] = {}
    # Where positions are picked, the anchor's week counts whole, also its days before the anchor.
    first = anchor_on.toordinal() - (6 if parts.by_set_position else 0)
    for ordinal in range(max(1, first), last_on.toordinal() + 1):
        on = date.fromordinal(ordinal)
        group = _group(parts, on)
        if (group - _group(parts, anchor_on)) % parts.interval or not _fits(parts, on, anchor_on):
            continue
        fitting[group] = fitting.get(group, 0) + 1
        if fitting[group] >= needed and on >= anchor_on:
            return True
    return False


def _group(parts: RuleParts, on: date) -> int:
    """Number the day or week that the rule's interval counts."""
    return (on.toordinal() - 1 - parts.week_start) // 7 if parts.frequency == "WEEKLY" else on.toordinal()


def _fits(parts: RuleParts, on: date, anchor_on: date) -> bool:
    """Say whether a day passes the filters of a daily or weekly rule."""
    weekdays = {weekday for _, weekday in parts.by_day}
    if not weekdays and parts.frequency == "WEEKLY":
        weekdays = {anchor_on.weekday()}
    if (weekdays and on.weekday() not in weekdays) or (parts.by_month and on.month not in parts.by_month):
        return False
    from_end = on.day - monthrange(on.year, on.month)[1] - 1
    return not parts.by_month_day or on.day in parts.by_month_day or from_end in parts.by_month_day
