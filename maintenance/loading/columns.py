"""Typed columns: a cell's text to a value, or a refusal that says how to mend it."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.db import models
from django.utils.translation import get_language

from maintenance.loading.faults import CellFault, suggest
from maintenance.loading.reading import Figure

YES = frozenset({"yes", "y", "true", "1", "x", "ja"})
NO = frozenset({"no", "n", "false", "0", "nej", "nein"})
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
EARLIEST_YEAR, LATEST_YEAR = 1950, 2150


@dataclass(frozen=True)
class Customs:
    """How the mill writes: its time zone, its order of day and month, its decimal mark ("" where it did not say)."""

    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    date_order: str = ""
    decimal_mark: str = ""
    is_semicolon: bool = False


Values = Mapping[str, Any]
# Finds the object behind a code; raises KeyError where there is none, Follows where its own row is at fault.
Find = Callable[[str, str, Values], Any]


@dataclass(frozen=True)
class Column:
    """A column with its meaning and an example for the template."""

    name: str
    meaning: str
    example: str = ""
    is_required: bool = False
    default: Any = None

    form: ClassVar[str] = "text"

    def read(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Return the cell's value.

        Raises
        ------
        CellFault
            where the text cannot be meant.
        """
        if text == "":
            if self.is_required:
                raise CellFault("the cell is empty", f"Write {self.form}, for example {self.example}.")
            return self.default
        return self.parse(text, customs, values, find)

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Return the value of text that is not empty."""
        raise NotImplementedError


@dataclass(frozen=True)
class Text(Column):
    """Free text; a formula stays text."""

    default: Any = ""
    largest: int = 200

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> str:
        """Refuse text that is too long and control characters."""
        if len(text) > self.largest:
            raise CellFault(f"{len(text)} characters, {self.largest} are kept", "Shorten it.")
        if any(ord(letter) < 32 and letter not in "\n\r\t" for letter in text):
            raise CellFault("the text holds control characters", "Type it anew.")
        return text


@dataclass(frozen=True)
class Code(Text):
    """A short name that other rows refer to."""

    largest: int = 20
    form: ClassVar[str] = "a code of letters, digits, hyphens and underscores"
    pattern: ClassVar[re.Pattern[str]] = re.compile(r"[A-Za-z0-9_-]+")

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> str:
        """Refuse anything that could not stand in an address."""
        text = super().parse(text, customs, values, find)
        if not self.pattern.fullmatch(text):
            raise CellFault("this is no code", "Use letters a to z, digits, hyphens and underscores, without spaces.")
        return text


@dataclass(frozen=True)
class Email(Text):
    """An e-mail address."""

    largest: int = 254
    form: ClassVar[str] = "an e-mail address"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> str:
        """Refuse what cannot be an address."""
        text = super().parse(text, customs, values, find)
        if not re.fullmatch(r"[^@\s]+@[^@\s]+\.[^@\s]+", text):
            raise CellFault("this is no e-mail address", "Write it like name@mill.example, or leave the cell empty.")
        return text


@dataclass(frozen=True)
class Flag(Column):
    """Yes or no."""

    default: Any = False
    form: ClassVar[str] = "yes or no"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> bool:
        """Read yes or no."""
        word = text.lower()
        if word in YES or word in NO:
            return word in YES
        raise CellFault("this is neither yes nor no", "Write yes or no.")


@dataclass(frozen=True)
class Number(Column):
    """A number with so many decimals at most, kept exactly."""

    decimals: int = 3
    least: str | None = None
    above: str | None = None
    most: str | None = None
    form: ClassVar[str] = "a number"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Read the number and hold it against its limits."""
        number = read_number(text, customs)
        if round(number, self.decimals) != number:
            said = f"at most {self.decimals} decimals" if self.decimals else "a whole number"
            raise CellFault(f"{said} can be kept", "Round it yourself first.")
        if self.least is not None and number < Decimal(self.least):
            raise CellFault(f"it must not be below {self.least}", "Correct the figure.")
        if self.above is not None and number <= Decimal(self.above):
            raise CellFault(f"it must be above {self.above}", "Correct the figure.")
        if number > Decimal(self.most or "1000000000"):
            raise CellFault(f"it must not be above {self.most or '1000000000'}", "Correct the figure.")
        return self.as_kept(number)

    def as_kept(self, number: Decimal) -> Any:
        """Return the number as the model keeps it."""
        return round(number, self.decimals)


@dataclass(frozen=True)
class Whole(Number):
    """A whole number, from 0 up unless it says otherwise."""

    decimals: int = 0
    least: str | None = "0"
    most: str | None = "2000000000"
    form: ClassVar[str] = "a whole number"

    def as_kept(self, number: Decimal) -> int:
        """Return an int."""
        return int(number)


@dataclass(frozen=True)
class Day(Column):
    """A calendar day."""

    form: ClassVar[str] = "a day as YYYY-MM-DD"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> date:
        """Read the day."""
        return read_day(text, customs)


@dataclass(frozen=True)
class TimeOfDay(Column):
    """A time of day."""

    form: ClassVar[str] = "a time as HH:MM"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> time:
        """Read the time."""
        return read_time(text)


@dataclass(frozen=True)
class Moment(Column):
    """An instant, in the mill's local time unless it names its distance from UTC."""

    form: ClassVar[str] = "a day and time as YYYY-MM-DD HH:MM"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> datetime:
        """Read the instant."""
        return read_moment(text, customs)


# What pages called a choice in earlier versions: a mill's files from then still load.
FORMER_WORDS = {
    "standing still": "stopped",
    "standing task": "recurring task",
    "wanted air temperature": "air temperature set point",
    "wanted wet-bulb temperature": "wet-bulb set point",
    "wanted relative humidity": "relative humidity set point",
    "wanted emc": "emc set point",
}


@dataclass(frozen=True)
class Choice(Column):
    """One of few words; what a page shows is understood too."""

    options: type[models.TextChoices] = models.TextChoices
    form: ClassVar[str] = "one of the words listed"

    def words(self) -> Mapping[str, str]:
        """Return accepted word -> kept value."""
        return _words_of(self.options, get_language())

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> str:
        """Read the word."""
        words = self.words()
        word = " ".join(text.lower().replace("_", " ").split())
        word = FORMER_WORDS.get(word, word)
        found = words.get(word) or words.get(word.replace(" ", "_"))
        if found is None:
            listed = ", ".join(value for value in self.options.values if value)
            raise CellFault("this is none of the words that may stand here", f"{suggest(word, words)}Write: {listed}.")
        return found


@cache
def _words_of(options: type[models.TextChoices], language: str | None) -> Mapping[str, str]:
    """Return the words of a choice in a language: asked for at each cell of a column."""
    words = {str(label).lower(): value for value, label in options.choices if value}
    return words | {value.lower(): value for value in options.values if value}


@dataclass(frozen=True)
class Ref(Column):
    """The code of something that stands in another file or is known already."""

    to: str = ""
    form: ClassVar[str] = "a known code"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Find the object."""
        return find(self.to, text, values)


@dataclass(frozen=True)
class Refs(Ref):
    """Several codes with semicolons between."""

    default: Any = ()
    form: ClassVar[str] = "codes with semicolons between"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Find every object."""
        return tuple(find(self.to, word, values) for word in split_list(text))


@dataclass(frozen=True)
class Choices(Choice):
    """Several words with semicolons between."""

    default: Any = ()
    form: ClassVar[str] = "words with semicolons between"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Read every word."""
        found = []
        for word in split_list(text):
            try:
                found.append(Choice.parse(self, word, customs, values, find))
            except CellFault as fault:
                raise CellFault(f"“{word}” is none of the words that may stand here", fault.remedy) from None
        return tuple(found)


@dataclass(frozen=True)
class Skills(Ref):
    """Skills, each with the last day on which it counts if there is one: ``lock-out until 2027-03-01; cleaning``."""

    default: Any = ()
    form: ClassVar[str] = "skills with semicolons between, each with “until” and a day if it runs out"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Return pairs of skill and last day."""
        found = []
        for item in split_list(text):
            code, _, day = item.partition(" until ")
            try:
                skill = find(self.to, code.strip(), values)
            except CellFault as fault:
                raise CellFault(f"{fault.reason}: “{code.strip()}”", fault.remedy) from None
            found.append((skill, read_day(day.strip(), customs) if day.strip() else None))
        return tuple(found)


@dataclass(frozen=True)
class Amounts(Ref):
    """Things with an amount each: ``oda 90; per 45``. With ``to`` empty the things are step numbers."""

    default: Any = ()
    decimals: int = 3
    form: ClassVar[str] = "items with an amount each, semicolons between"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Return pairs of thing and amount."""
        found = []
        for item in split_list(text):
            code, _, amount = item.replace("=", " ").strip().rpartition(" ")
            if not code:
                raise CellFault(f"“{item}” has no amount", f"Write it like {self.example}.")
            number = round(read_number(amount, customs), self.decimals)
            found.append((find(self.to, code.strip(), values) if self.to else code.strip(), number))
        return tuple(found)


@dataclass(frozen=True)
class Weekdays(Column):
    """Weekdays as in RFC 5545."""

    form: ClassVar[str] = "weekdays such as MO,TU,WE,TH,FR"

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> str:
        """Return them in the order of the week."""
        days = {word for word in re.split(r"[\s,;]+", text.upper()) if word}
        if strangers := sorted(days - set(WEEKDAYS)):
            raise CellFault(f"{strangers[0]} is no weekday", f"Write {', '.join(WEEKDAYS)}, commas between.")
        return ",".join(day for day in WEEKDAYS if day in days)


def split_list(text: str) -> list[str]:
    """Split at semicolons and line ends."""
    return [item.strip() for item in re.split(r"[;\n]", text) if item.strip()]


def read_number(text: str, customs: Customs) -> Decimal:
    """Read a number with decimal point or comma; one that could be meant in two ways is refused.

    A cell of a workbook that is a number is one, whatever the mill's decimal mark.
    """
    if isinstance(text, Figure):
        return Decimal(text)
    plain = re.sub(r"[\s\u00a0\u202f']", "", text).replace("\u2212", "-")
    not_number = CellFault("this is no number", "Write digits with a decimal point or comma, without unit.")
    if not re.fullmatch(r"[+-]?[\d.,]*\d[\d.,]*", plain):
        raise not_number
    if "," in plain and "." in plain:
        mark = max(",.", key=plain.rfind)
        plain = _without_groups(plain, "." if mark == "," else ",", mark)
    else:
        mark = "," if "," in plain else "."
        could_be_group = re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", plain)
        if customs.decimal_mark and customs.decimal_mark != mark and mark in plain:
            if re.fullmatch(rf"[+-]?\d*\{mark}\d+", plain) and not could_be_group:
                own = plain.replace(mark, customs.decimal_mark)
                raise CellFault(
                    f"the decimal mark of this mill is “{customs.decimal_mark}”",
                    f"Write {own}, or state “{mark}” as decimal_mark in mill.csv.",
                )
            plain = _without_groups(plain, mark, customs.decimal_mark)
        elif plain.count(mark) > 1:
            plain = _without_groups(plain, mark, "")
        elif could_be_group and not customs.decimal_mark and (mark == "," or customs.is_semicolon):
            digits = plain.replace(mark, "")
            raise CellFault(
                f"this can mean {digits} or {plain.replace(mark, '.')}0",
                f"Write {digits} or {plain}0, or state decimal_mark in mill.csv.",
            )
    try:
        return Decimal(plain.replace(",", "."))
    except InvalidOperation:
        raise not_number from None


def _without_groups(plain: str, group: str, mark: str) -> str:
    """Take the marks between thousands away, where they stand between thousands."""
    head, _, tail = plain.partition(mark) if mark else (plain, "", "")
    if not re.fullmatch(rf"[+-]?\d{{1,3}}(\{group}\d{{3}})+", head) or (tail and not tail.isdigit()):
        raise CellFault("this is no number", "Write digits with a decimal point or comma, without unit.")
    return head.replace(group, "") + ("." + tail if tail else "")


def read_day(text: str, customs: Customs) -> date:
    """Read 2026-12-31, 31.12.2026, or 31/12/2026 where day and month cannot be exchanged."""
    remedy = "Write it as YYYY-MM-DD, for example 2026-12-31."
    text = re.sub(r"[T ]00:00(:00)?$", "", text)
    if match := re.fullmatch(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})", text):
        year, month, day = (int(part) for part in match.groups())
    elif match := re.fullmatch(r"(\d{1,2})([./-])\s?(\d{1,2})[./-]\s?(\d{4})", text):
        first, mark, second, year = int(match[1]), match[2], int(match[3]), int(match[4])
        day, month = _day_and_month(first, second, mark, customs)
    else:
        raise CellFault("this is no day", remedy)
    try:
        found = date(year, month, day)
    except ValueError:
        raise CellFault("there is no such day in the calendar", remedy) from None
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        raise CellFault(f"the year must lie between {EARLIEST_YEAR} and {LATEST_YEAR}", remedy)
    return found


def _day_and_month(first: int, second: int, mark: str, customs: Customs) -> tuple[int, int]:
    """Points stand between day and month in that order everywhere; with slashes it depends on the country."""
    if mark == "." or first == second:
        return first, second
    if customs.date_order == "dmy" or (not customs.date_order and first > 12):
        return first, second
    if customs.date_order == "mdy" or (not customs.date_order and second > 12):
        return second, first
    raise CellFault(
        "day and month could be exchanged", "Write it as YYYY-MM-DD, or state date_order (dmy or mdy) in mill.csv."
    )


def read_time(text: str) -> time:
    """Read 14:30, 14.30 or 14:30:00."""
    match = re.fullmatch(r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?", text)
    if match:
        try:
            return time(int(match[1]), int(match[2]), int(match[3] or 0))
        except ValueError:
            pass
    raise CellFault("this is no time of day", "Write it as HH:MM, for example 06:30.")


def read_moment(text: str, customs: Customs) -> datetime:
    """Read a local day and time, or one with its distance from UTC, and return it in UTC."""
    remedy = "Write it as YYYY-MM-DD HH:MM, for example 2026-12-31 14:30."
    match = re.fullmatch(
        r"(\S+?)(?:T|\s+)(\d{1,2}[:.]\d{2}(?:[:.]\d{2})?)(?:\.(\d{1,6}))?\s*(Z|[+-]\d{2}:?\d{2})?", text
    )
    if not match:
        reason = "the time of day is missing" if re.fullmatch(r"[\d./-]+", text) else "this is no day and time"
        raise CellFault(reason, remedy)
    at = read_time(match[2]).replace(microsecond=int((match[3] or "0").ljust(6, "0")))
    local = datetime.combine(read_day(match[1], customs), at)
    if match[4]:
        return local.replace(tzinfo=_offset(match[4])).astimezone(UTC)
    return _in_zone(local, customs.zone)


def _offset(text: str) -> Any:
    if text == "Z":
        return UTC
    try:
        return datetime.strptime(text.replace(":", ""), "%z").tzinfo
    except ValueError:
        raise CellFault(f"{text} is no distance from UTC", "Write it like +01:00, or leave it away.") from None


def _in_zone(local: datetime, zone: ZoneInfo) -> datetime:
    """Refuse local times that the change of clocks leaves out or repeats."""
    first, second = local.replace(tzinfo=zone, fold=0), local.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
        later = (local + timedelta(hours=1)).strftime("%H:%M")
        raise CellFault(
            f"the clocks are put forward in {zone.key} then: this time does not exist",
            f"Write the time the clock showed (after the change, for example {later}).",
        )
    ways = " or ".join(
        f"{local:%Y-%m-%d %H:%M}{way.strftime('%z')[:3]}:{way.strftime('%z')[3:]}" for way in (first, second)
    )
    raise CellFault(f"the clocks are put back in {zone.key} then: this time comes twice", f"Write {ways}.")
