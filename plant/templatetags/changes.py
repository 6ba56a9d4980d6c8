"""How the figures of a history or a result are said: names without underscores, instants by the mill's clock."""

import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import Final

from django import template
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from plant.frame.figures import DASH

register = template.Library()

#: Last piece of a name -> the unit it stands for; an instant or a day needs none.
UNITS: Final = {"m3": "m³", "c": "°C", "h": "h", "mm": "mm", "pct": "%", "at": "", "on": "", "id": ""}
CODE: Final = re.compile(r"[a-z]+(?:_[a-z]+)+")
DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
INSTANT: Final = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:Z|[+-]\d{2}:\d{2})")


@register.filter
def figure_name(name: str) -> str:
    """Say the name of a kept figure: entry_limit_c as entry limit in °C, due_at as due."""
    *pieces, last = name.removeprefix("is_").split("_")
    if not pieces or last not in UNITS:
        return " ".join([*pieces, last])
    words, unit = " ".join(pieces), UNITS[last]
    return _("%(what)s in %(unit)s") % {"what": words, "unit": unit} if unit else words


@register.filter
def figure_value(value: object) -> str:
    """Say a kept figure: yes and no, days and instants by the calendar and the mill's clock, lists with commas."""
    if value is None or value in ("", [], {}):
        return DASH
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, Mapping):
        return str(value["text"]) if "text" in value else ", ".join(_pair(*item) for item in value.items())
    if isinstance(value, list | tuple):
        # What is a sentence of its own needs no comma after it.
        return (" " if isinstance(value[0], Mapping) else ", ").join(figure_value(one) for one in value)
    return _text(str(value))


def _pair(name: str, value: object) -> str:
    return f"{figure_name(name)}: {figure_value(value)}"


def _text(text: str) -> str:
    if text in ("True", "False"):
        return _("yes") if text == "True" else _("no")
    if text == "None":
        return DASH
    try:
        if INSTANT.fullmatch(text):
            return date_format(localtime(datetime.fromisoformat(text)), "j M Y H:i")
        if DAY.fullmatch(text):
            return date_format(date.fromisoformat(text), "j M Y")
    except ValueError:
        # It only looks like a day: a number that somebody typed.
        return text
    return text.replace("_", " ") if CODE.fullmatch(text) else text
