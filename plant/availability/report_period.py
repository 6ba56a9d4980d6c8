"""The period of a report: what a person may choose, and what comes before and after it."""

import re
from dataclasses import dataclass
from datetime import MAXYEAR, date, datetime, timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.clock import start_of_day

TWELVE_MONTHS = "12-months"
FIRST_YEAR = 1990
MOST_YEARS = 10
_NAMED = re.compile(r"(?P<year>\d{4})(-Q(?P<quarter>[1-4])|-(?P<month>0[1-9]|1[0-2]))?")


class PeriodError(ValueError):
    """A period that cannot be reported; the message is for the person who asked."""


@dataclass(frozen=True, slots=True)
class ReportPeriod:
    """Whole local days from first to last; ``key`` names it in an address, empty for free dates."""

    first_on: date
    last_on: date
    zone: ZoneInfo
    key: str = ""

    @property
    def start_at(self) -> datetime:
        """First instant, UTC."""
        return start_of_day(self.first_on, self.zone)

    @property
    def end_at(self) -> datetime:
        """First instant after it, UTC."""
        return start_of_day(self.last_on + timedelta(days=1), self.zone)

    @property
    def query(self) -> str:
        """The part of an address that asks for this period."""
        if self.key:
            return urlencode({"period": self.key})
        return urlencode({"from": self.first_on.isoformat(), "to": self.last_on.isoformat()})

    @property
    def file_stem(self) -> str:
        """How a file about it is called."""
        return f"availability-{self.first_on}-to-{self.last_on}"

    @property
    def label(self) -> str:
        """How it is called on a page."""
        named = _NAMED.fullmatch(self.key)
        if named and named["quarter"]:
            return _("quarter %(quarter)s of %(year)s") % {"quarter": named["quarter"], "year": named["year"]}
        if named and not named["month"]:
            return named["year"]
        form = "F Y" if self.key else "j F Y"
        first, last = date_format(self.first_on, form), date_format(self.last_on, form)
        return first if first == last else _("%(first)s to %(last)s") % {"first": first, "last": last}

    def shifted(self, steps: int) -> "ReportPeriod | None":
        """Return the quarter, month or year so many steps later; None for another kind of period."""
        named = _NAMED.fullmatch(self.key)
        if named is None:
            return None
        length = _months_of(named)
        first_on = _add_months(self.first_on, steps * length)
        return None if not FIRST_YEAR <= first_on.year < MAXYEAR else named_period(_key(first_on, length), self.zone)


def _months_of(named: re.Match[str]) -> int:
    return 1 if named["month"] else 3 if named["quarter"] else 12


def _key(first_on: date, months: int) -> str:
    if months == 12:
        return f"{first_on.year}"
    return f"{first_on:%Y-%m}" if months == 1 else f"{first_on.year}-Q{(first_on.month + 2) // 3}"


def _add_months(day: date, months: int) -> date:
    index = day.year * 12 + day.month - 1 + months
    return date(index // 12, index % 12 + 1, 1)


def twelve_months(today: date, zone: ZoneInfo) -> ReportPeriod:
    """Return the twelve whole calendar months before the one of this day."""
    this_month = today.replace(day=1)
    return ReportPeriod(_add_months(this_month, -12), this_month - timedelta(days=1), zone, TWELVE_MONTHS)


def named_period(key: str, zone: ZoneInfo) -> ReportPeriod:
    """Read 2026, 2026-Q1 or 2026-03. Raises PeriodError."""
    named = _NAMED.fullmatch(key)
    if named is None:
        raise PeriodError(
            _("“%(key)s” is no period. Write a year (2026), a quarter (2026-Q1), a month (2026-03), or choose dates.")
            % {"key": key[:40]}
        )
    if not FIRST_YEAR <= int(named["year"]) < MAXYEAR:
        raise PeriodError(
            _("“%(key)s” lies outside the years that are reported: %(first)d and later.")
            % {"key": key[:40], "first": FIRST_YEAR}
        )
    month = int(named["month"] or 0) or int(named["quarter"] or 1) * 3 - 2
    first_on = date(int(named["year"]), month, 1)
    return ReportPeriod(first_on, _add_months(first_on, _months_of(named)) - timedelta(days=1), zone, key)


def current_periods(today: date, zone: ZoneInfo) -> tuple[ReportPeriod, ReportPeriod, ReportPeriod]:
    """Return the month, the quarter and the year that hold this day."""
    quarter_on = today.replace(month=(today.month - 1) // 3 * 3 + 1, day=1)
    month, quarter, year = (
        named_period(_key(first_on, months), zone)
        for first_on, months in ((today.replace(day=1), 1), (quarter_on, 3), (today.replace(month=1, day=1), 12))
    )
    return month, quarter, year


def read_period(key: str, first: str, last: str, today: date, zone: ZoneInfo) -> ReportPeriod:
    """Read what was asked for: a key, or two dates, or nothing for the last twelve months.

    Raises
    ------
    PeriodError
        If it cannot be read, ends before it starts, has not begun, or is longer than ``MOST_YEARS``.
    """
    if first or last:
        period = _free_period(first, last, zone)
    elif key in ("", TWELVE_MONTHS):
        return twelve_months(today, zone)
    else:
        period = named_period(key, zone)
    if period.first_on > today:
        raise PeriodError(
            _("The period begins on %(day)s, which is still to come. Choose one that has begun.")
            % {"day": date_format(period.first_on, "j F Y")}
        )
    return period


def _free_period(first: str, last: str, zone: ZoneInfo) -> ReportPeriod:
    first_on, last_on = _read_day(first, _("first day")), _read_day(last, _("last day"))
    if last_on < first_on:
        raise PeriodError(
            _("The last day, %(last)s, lies before the first, %(first)s. Exchange them.")
            % {"last": last_on, "first": first_on}
        )
    if (last_on - first_on).days > MOST_YEARS * 366:
        raise PeriodError(_("That is more than %(years)d years. Choose a shorter period.") % {"years": MOST_YEARS})
    return ReportPeriod(first_on, last_on, zone)


def _read_day(text: str, what: str) -> date:
    if not text.strip():
        raise PeriodError(_("Give the %(what)s.") % {"what": what})
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise PeriodError(
            _("The %(what)s, “%(text)s”, is no day. Write it as 2026-03-31.") % {"what": what, "text": text[:40]}
        ) from None
    if not FIRST_YEAR <= day.year < MAXYEAR:
        raise PeriodError(
            _("The %(what)s, “%(text)s”, lies outside the years that are reported: %(first)d and later.")
            % {"what": what, "text": text[:40], "first": FIRST_YEAR}
        )
    return day
