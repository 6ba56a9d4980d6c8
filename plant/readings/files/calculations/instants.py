"""Cells that hold times, many at once: local seconds since 1970, and the distance from UTC where the text says it.

Local seconds count as if the clock on the wall stood at UTC; `wall_clock` turns them into instants.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plant.basics.sentences import Sentence
from plant.readings.files.calculations.form import EPOCH_ORDERS, SERIAL
from plant.readings.files.calculations.numbers import any_number

Seconds = NDArray[np.int64]
DAY_S: Final = 86400
# Spreadsheets count days from here (1900 was no leap year, they say it was); 25569 days before 1970.
SERIAL_OF_1970: Final = 25569

_MONTH_NAMES: Final = ("jan", "feb", "mar mär mrz", "apr", "may mai maj", "jun", "jul", "aug", "sep sept", "oct okt")
MONTHS: Final = {name: no for no, names in enumerate((*_MONTH_NAMES, "nov", "dec dez"), 1) for name in names.split()}
_NAME = r"[A-Za-zäÄ]{3,4}"
_DATES: Final = {
    "ymd": r"(?P<y>\d{4})(?:[-./](?P<m>\d{1,2})[-./](?P<d>\d{1,2})|(?P<m2>\d{2})(?P<d2>\d{2}))",
    "dmy": rf"(?P<d>\d{{1,2}})[-./ ]{{1,2}}(?P<m>\d{{1,2}}|{_NAME})[-./ ]{{1,2}}(?P<y>\d{{4}}|\d{{2}})(?!\d)",
    "mdy": rf"(?P<m>\d{{1,2}}|{_NAME})[-./ ]{{1,2}}(?P<d>\d{{1,2}})(?:[-./]|, ?| )(?P<y>\d{{4}}|\d{{2}})(?!\d)",
}
_CLOCK = (
    r"(?:(?P<h>\d{1,2})[:.](?P<mi>\d{2})(?:[:.](?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?)?"
    r"|(?P<h2>\d{2})(?P<mi2>\d{2})(?P<s2>\d{2})?)(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_ZONE = r"(?: ?(?P<zone>Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?))?"
STAMPS: Final = {
    order: re.compile(rf"{date}(?:(?:[T_;]|, ?| +|(?<=\d{{8}})){_CLOCK}{_ZONE})?", re.ASCII if order == "ymd" else 0)
    for order, date in _DATES.items()
}
CLOCK: Final = re.compile(_CLOCK + _ZONE, re.ASCII)


@dataclass(frozen=True, slots=True)
class Times:
    """A column of times: local seconds (n,), seconds ahead of UTC (n,) or None, and the places of the faults."""

    local_s: Seconds
    ahead_s: Seconds | None
    faulty: Seconds


def read_times(texts: Sequence[str], order: str, decimal: str = ".") -> Times:
    """Read a column of times.

    Parameters
    ----------
    texts : Sequence[str]
        The cells, (n,); where date and time of day stand apart, joined by a blank.
    order : str
        One of `form.DATE_ORDERS`.
    decimal : str
        The decimal sign of counts of days.
    """
    if order in EPOCH_ORDERS or order == SERIAL:
        return _counts(texts, order, decimal)
    quick = _quick(texts, order)
    return quick if quick is not None else _one_by_one(texts, order)


def _counts(texts: Sequence[str], order: str, decimal: str) -> Times:
    scale = {"epoch_s": 1.0, "epoch_ms": 1e-3, SERIAL: float(DAY_S)}[order]
    numbers = [any_number(text, decimal) for text in texts]
    local_s = np.zeros(len(texts), np.int64)
    faulty = [place for place, number in enumerate(numbers) if number is None]
    sound = [place for place, number in enumerate(numbers) if number is not None]
    # Beyond this no date is written; what is larger is told as out of our time.
    told = [min(max(number, -1e15), 1e15) for number in numbers if number is not None]
    exact = np.clip(np.array(told, np.float64) * scale, -1e15, 1e15)
    # A day's fraction is written with some digits only: the nearest second is meant.
    local_s[sound] = np.rint(exact) - SERIAL_OF_1970 * DAY_S if order == SERIAL else np.floor(exact)
    ahead_s = None if order == SERIAL else np.zeros(len(texts), np.int64)
    return Times(local_s, ahead_s, np.array(faulty, np.int64))


def _quick(texts: Sequence[str], order: str) -> Times | None:
    """Read texts that all have the layout of the first, digit under digit; None where one differs."""
    width, count = len(texts[0]) if texts else 0, len(texts)
    found = STAMPS[order].fullmatch(texts[0]) if width else None
    if found is None or (found["h"] is None and found["h2"] is None) or found["half"]:
        return None
    if set(map(len, texts)) != {width}:
        return None
    together = "".join(texts)
    if not together.isascii():
        return None
    letters = np.frombuffer(together.encode("ascii"), np.uint8).reshape(count, width)
    parts = [_span(found, name) for name in ("y", "m", "d", "h", "mi", "s", "f")]
    moving = np.zeros(width, np.bool_)
    for start, end in parts:
        moving[start:end] = True
    digits = letters[:, moving]
    is_plain = ((digits >= 48) & (digits <= 57)).all() and (letters[:, ~moving] == letters[0, ~moving]).all()
    if not is_plain:
        return None
    year, month, day, hour, minute, second = (_figures(letters, start, end) for start, end in parts[:6])
    if parts[0][1] - parts[0][0] == 2:
        year = year + 2000
    sound = _in_calendar(year, month, day, hour, minute, second)
    if not sound.all():
        return None
    local_s = days_from_civil(year, month, day) * DAY_S + hour * 3600 + minute * 60 + second
    ahead_s = np.full(count, _ahead_s(found["zone"])) if found["zone"] else None
    return Times(local_s, ahead_s, np.empty(0, np.int64))


def _span(found: re.Match[str], name: str) -> tuple[int, int]:
    """Return where a part stands, whichever way it is written; an empty span where it is left out."""
    for group in (name, f"{name}2"):
        if group in found.re.groupindex and found[group] is not None:
            return found.span(group)
    return 0, 0


def _figures(letters: NDArray[np.uint8], start: int, end: int) -> Seconds:
    number = np.zeros(len(letters), np.int64)
    for place in range(start, end):
        number = number * 10 + (letters[:, place] - 48)
    return number


def _in_calendar(
    year: Seconds, month: Seconds, day: Seconds, hour: Seconds, minute: Seconds, second: Seconds
) -> NDArray[np.bool_]:
    is_leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    lengths = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])[np.clip(month, 0, 12)]
    lengths = lengths + ((month == 2) & is_leap)
    in_day = (hour < 24) & (minute < 60) & (second < 60)
    return np.asarray((month >= 1) & (month <= 12) & (day >= 1) & (day <= lengths) & in_day, np.bool_)


def days_from_civil(year: Seconds, month: Seconds, day: Seconds) -> Seconds:
    """Return the days since 1 January 1970 of dates in the Gregorian calendar.

    Notes
    -----
    Years are counted from March on, so that the leap day is a year's last; 146097 days are 400 years. 719468 days lie
    between 1 March of the year 0 and 1 January 1970.
    """
    shifted = year - (month <= 2)
    era = shifted // 400
    year_of_era = shifted - era * 400
    day_of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    return np.asarray(
        era * 146097 + year_of_era * 365 + year_of_era // 4 - year_of_era // 100 + day_of_year - 719468, np.int64
    )


def _one_by_one(texts: Sequence[str], order: str) -> Times:
    known: dict[str, tuple[int, int | None] | None] = {}
    local_s, ahead_s = np.zeros(len(texts), np.int64), np.zeros(len(texts), np.int64)
    faulty, silent = [], 0
    for place, text in enumerate(texts):
        if text not in known:
            known[text] = read_time(text, order)
        read = known[text]
        if read is None:
            faulty.append(place)
            continue
        local_s[place] = read[0]
        if read[1] is None:
            silent += 1
        else:
            ahead_s[place] = read[1]
    if silent == len(texts) - len(faulty):
        return Times(local_s, None, np.array(faulty, np.int64))
    if silent:
        # Some say their distance from UTC and some do not: those that do not cannot be told.
        faulty = sorted({*faulty, *(place for place, text in enumerate(texts) if (known[text] or (0, 0))[1] is None)})
    return Times(local_s, ahead_s, np.array(faulty, np.int64))


def read_time(text: str, order: str) -> tuple[int, int | None] | None:
    """Read one time: its local seconds, and its seconds ahead of UTC or None; None where it is no time."""
    found = STAMPS[order].fullmatch(text.strip())
    if found is None:
        return None
    parts = found.groupdict()
    year = int(parts["y"]) + (2000 if len(parts["y"]) == 2 else 0)
    month = _month(parts["m"] or parts.get("m2") or "")
    day = int(parts["d"] or parts.get("d2") or 0)
    hour, minute, second = (int(parts[name] or parts[f"{name}2"] or 0) for name in ("h", "mi", "s"))
    if parts["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if parts["half"] in "pP" else 0)
    # ISO 8601 of 2004 ends a day with 24:00.
    is_end = (hour, minute, second) == (24, 0, 0)
    try:
        local = datetime(year, month, day, 0 if is_end else hour, minute, second, tzinfo=UTC)
    except ValueError:
        return None
    return int(local.timestamp()) + is_end * DAY_S, _ahead_s(parts["zone"]) if parts["zone"] else None


def _month(text: str) -> int:
    return int(text) if text.isdigit() else MONTHS.get(text.casefold(), 0)


def _ahead_s(zone: str) -> int:
    if zone in ("Z", "UTC", "GMT"):
        return 0
    digits = zone[1:].replace(":", "")
    seconds = int(digits[:2]) * 3600 + int(digits[2:] or 0) * 60
    return -seconds if zone[0] == "-" else seconds


def why_no_time(text: str, order: str) -> tuple[Sentence, Sentence]:
    """Say what is wrong with a cell that is no time, and how to mend it."""
    if not text.strip():
        return Sentence.of("time.none"), Sentence.of("mend.write_time")
    if order in STAMPS:
        plain = text.strip()
        if STAMPS[order].fullmatch(plain):
            if read_time(plain, order) is not None:
                return Sentence.of("time.not_utc"), Sentence.of("mend.every_or_none")
            return Sentence.of("time.no_calendar"), Sentence.of("mend.cell_or_order")
        if any(read_time(plain, other) is not None for other in STAMPS):
            return Sentence.of("time.other_order"), Sentence.of("mend.order")
    return Sentence.of("time.unread"), Sentence.of("mend.cell_or_line")
