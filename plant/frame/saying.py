"""Sentences in words: each code has a pattern, said in the reader's language, in the mill's time zone and units.

Patterns stand in ``patterns.py`` of each app and room, as ``PATTERNS``: code -> lazily translated text with
%(names)s, or ``ngettext_lazy(one, many, "count")``. How a value is said tells the ending of its name:

    …_at      an instant: Mon 3 Jan, 08:00      …_c       a temperature, kept in °C
    …_clock   an instant: 08:00                 …_m3      a volume of timber
    …_on      a day: 3 Jan 2027                 …_pct     a number of 100
    …_min     a length of time in minutes       …_share   a share of 1, as per cent
    …_h       a length of time in hours         …_money   an amount in the mill's currency; …_cents in hundredths

Any other number is said with up to three decimals, without idle zeros. Several texts stand with commas, several
sentences one after the other, several clauses (which have no full stop) with semicolons.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from django.apps import apps
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant import clock
from plant.basics.sentences import TYPED, Sentence, Value, all_from_json, sentences
from plant.frame.figures import fixed, percent, quantity, span_of_minutes
from plant.frame.units import temperature_in, volume_in
from plant.models import Mill

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Worded:
    """In place of a pattern, for words that a mill writes itself: what fills them, and the values it may be given."""

    say: Callable[[Sentence], str]
    names: frozenset[str]


Pattern = str | Promise | Worded
Patterns = Mapping[str, Pattern]
OWN: Final[Patterns] = {TYPED: gettext_lazy("%(text)s")}
ENDS: Final = (".", "!", "?", "…", ":")

_mill: ContextVar[Mill | None] = ContextVar("the mill for which something is said", default=None)


@contextmanager
def saying_for(mill: Mill | None) -> Iterator[None]:
    """Say everything inside in the zone and units of a mill: one query less for each sentence."""
    before = _mill.set(mill)
    try:
        yield
    finally:
        _mill.reset(before)


@cache
def patterns() -> dict[str, Pattern]:
    """Return code -> pattern of all apps and rooms. Raises ImproperlyConfigured where two answer to one code."""
    found = dict(OWN)
    for app in apps.get_app_configs():
        root = Path(app.path)
        if not root.is_relative_to(settings.BASE_DIR) or "site-packages" in root.parts:
            continue
        for file in [*root.glob("patterns.py"), *sorted(root.glob("*/patterns.py"))]:
            if file.parent.name == "calculations":
                continue
            module = ".".join((app.name, *file.relative_to(root).with_suffix("").parts))
            for code, pattern in import_module(module).PATTERNS.items():
                if code in found:
                    raise ImproperlyConfigured(f"Two patterns answer to “{code}”; one in {module}.")
                found[code] = pattern
    return found


def say(told: Sentence | Iterable[Sentence] | None) -> str:
    """Put one or several sentences into words; nothing where there is nothing to say."""
    return _joined([_say(one) for one in sentences(told)])


def say_kept(kept: Iterable[Mapping[str, Any]] | str | None) -> str:
    """Put sentences into words that are kept as JSON in a larger whole; text of earlier versions comes as it is."""
    return say(all_from_json(kept or ()))


def _say(told: Sentence) -> str:
    values = {name: _say_value(name, value) for name, value in told.values}
    try:
        pattern = patterns()[told.code]
        return pattern.say(told) if isinstance(pattern, Worded) else str(pattern % values)
    except (KeyError, TypeError, ValueError):
        # A row of another version: better its figures than a page that cannot be shown.
        log.exception("There is no pattern that says: %s", told)
        return _("%(code)s (%(values)s)") % {"code": told.code, "values": ", ".join(map(str, values.values()))}


def _joined(said: list[str]) -> str:
    """Join sentences by spaces, and clauses, which have no full stop, by semicolons."""
    text = ""
    for one in filter(None, said):
        text += (" " if text.endswith(ENDS) else "; ") + one if text else one
    return text


class _Counted(int):
    """A whole number by which a plural is chosen, and that is written as every number."""

    def __str__(self) -> str:
        return quantity(int(self))


def _say_value(name: str, value: Value) -> Any:
    ending = name.rpartition("_")[2]
    match value:
        case tuple():
            said = [str(_say_value(name, one)) for one in value]
            return _joined(said) if any(isinstance(one, Sentence) for one in value) else ", ".join(said)
        case Sentence():
            return _say(value)
        case bool():
            return _("yes") if value else _("no")
        case str():
            return value
        case datetime():
            return _say_instant(value, ending)
        case date():
            return date_format(value, "j M Y")
    return _say_number(value, ending)


def _say_instant(at: datetime, ending: str) -> str:
    zone = current_mill().zone
    local = at.astimezone(zone)
    if ending == "on":
        return str(date_format(local, "j M Y"))
    if ending == "clock":
        return str(date_format(local, "H:i"))
    is_this_year = local.year == clock.today(zone).year
    return str(date_format(local, "D j M, H:i" if is_this_year else "D j M Y, H:i"))


def _say_number(value: int | float | Decimal, ending: str) -> Any:
    number = Decimal(str(value))
    match ending:
        case "min":
            return span_of_minutes(round(number))
        case "h":
            return _("%s h") % quantity(number, 1)
        case "c":
            return temperature_in(number, current_mill())
        case "m3":
            return volume_in(number, current_mill(), 0 if abs(number) >= 10 else 1)
        case "pct":
            return f"{quantity(number, 1)} %"
        case "share":
            return percent(number)
        case "cents":
            return _say_money(number / 100)
        case "money":
            return _say_money(number)
    return _Counted(value) if isinstance(value, int) else quantity(number)


def _say_money(amount: Decimal) -> str:
    """Say an amount in whole units; with hundredths where it is less than ten and has some."""
    decimals = 0 if abs(amount) >= 10 or amount == amount.to_integral_value() else 2
    return f"{fixed(amount, decimals)} {current_mill().currency}".strip()


def current_mill() -> Mill:
    """Return the mill in whose zone and units is said what is said now."""
    return _mill.get() or Mill.objects.current()
