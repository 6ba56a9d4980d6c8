"""A logger's file: sending it, and correcting what was found out about how it is written."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from plant.readings.files.calculations.finding import Found
from plant.readings.files.calculations.form import (
    DATE_ORDERS,
    DECIMALS,
    DELIMITERS,
    DOUBLED_HOUR,
    ENCODINGS,
    IN_THE_TEXT,
    LONG,
    WIDE,
    FileForm,
)

Choices = list[tuple[str, str | Promise]]
NONE = "none"
# Distances from UTC that are in use on land; whole hours, and the halves and quarters that some countries have.
QUARTERS = (*range(-48, 0, 4), *range(4, 57, 4), -38, -14, 14, 18, 22, 23, 26, 35, 38, 42, 51)
SHAPE_WORDS = {WIDE: _("one line a time, one column a channel"), LONG: _("one line a reading, with the channel's name")}


class UploadForm(forms.Form):
    """A file of a logger."""

    file = forms.FileField(label=_("File of the logger"), help_text=_("CSV or text with one line for each time."))
    look_first = forms.BooleanField(label=_("Look first at how it is read"), required=False)


def fixed_zones() -> list[str]:
    """Return distances from UTC, such as +01:00."""
    return [f"{'-' if q < 0 else '+'}{abs(q) // 4:02d}:{abs(q) % 4 * 15:02d}" for q in sorted(QUARTERS)]


class FormOfFileForm(forms.Form):
    """How a file is written: each point as it was found out, or as somebody says instead."""

    encoding = forms.ChoiceField(label=_("Letters are written as"), required=False)
    delimiter = forms.ChoiceField(label=_("Between the cells stands"), required=False)
    head_line = forms.ChoiceField(label=_("The names of the columns stand in"), required=False)
    shape = forms.ChoiceField(label=_("The table has"), required=False)
    time_column = forms.ChoiceField(label=_("The time (or day) stands in"), required=False)
    clock_column = forms.ChoiceField(label=_("The time of day stands in"), required=False)
    name_column = forms.ChoiceField(label=_("The channel's name stands in"), required=False)
    value_column = forms.ChoiceField(label=_("The value stands in"), required=False)
    unit_column = forms.ChoiceField(label=_("The unit stands in"), required=False)
    date_order = forms.ChoiceField(label=_("Dates count"), required=False)
    zone = forms.ChoiceField(label=_("The logger's clock shows"), required=False)
    doubled_hour = forms.ChoiceField(label=_("An hour that comes twice in autumn is"), required=False)
    decimal = forms.ChoiceField(label=_("The decimal sign is"), required=False)
    no_reading = forms.CharField(label=_("Further texts that mean: no reading"), required=False, max_length=200)

    def __init__(self, *args: Any, found: Found, lines: Sequence[str], zones: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        form = found.form
        columns = dict(enumerate(form.header))
        offered: dict[str, tuple[str | Promise, Choices]] = {
            "encoding": (ENCODINGS[form.encoding], list(ENCODINGS.items())),
            "delimiter": (DELIMITERS[form.delimiter], list(DELIMITERS.items())),
            "head_line": (self._head_words(form), self._head_choices(lines)),
            "shape": (SHAPE_WORDS[form.shape], list(SHAPE_WORDS.items())),
            "date_order": (DATE_ORDERS.get(form.date_order, ""), list(DATE_ORDERS.items())),
            "zone": (self._zone_words(form), [(zone, self._zone_word(zone)) for zone in [*zones, *fixed_zones()]]),
            "doubled_hour": (DOUBLED_HOUR["order"], [pair for pair in DOUBLED_HOUR.items() if pair[0] != "order"]),
            "decimal": (DECIMALS[form.decimal], list(DECIMALS.items())),
        }
        places = {
            "time_column": form.time_columns[0],
            "clock_column": form.time_columns[1] if len(form.time_columns) > 1 else -1,
            "name_column": form.name_column,
            "value_column": form.value_column,
            "unit_column": form.unit_column,
        }
        named: Choices = [(str(no), name) for no, name in columns.items()]
        for field, no in places.items():
            nowhere: Choices = [(NONE, _("no column"))] if field in ("clock_column", "unit_column") else []
            offered[field] = (columns.get(no, _("no column")), [*nowhere, *named])
        for field, (word, choices) in offered.items():
            first = self._first_word(field, word, found)
            self.fields[field].choices = [("", first), *choices]  # type: ignore[attr-defined]
        if form.shape == WIDE:
            for field in ("name_column", "value_column", "unit_column"):
                del self.fields[field]

    def _first_word(self, field: str, word: str | Promise, found: Found) -> str | Promise:
        """Say what is taken where nothing is chosen."""
        if field == "date_order" and not found.form.date_order:
            return _("please choose")
        if field == "zone" and not found.point("zone").is_sure:
            return _("for now: %s") % word
        if field == "doubled_hour":
            return word
        return _("as found: %s") % word

    def _head_words(self, form: FileForm) -> str | Promise:
        return _("line %d") % form.head_line if form.head_rows else _("no line")

    def _head_choices(self, lines: Sequence[str]) -> Choices:
        shown: Choices = [(str(no), f"{no}: {' '.join(line.split())[:50]}") for no, line in enumerate(lines, 1)]
        return [("0", _("no line")), *shown]

    def _zone_words(self, form: FileForm) -> str | Promise:
        if form.zone == IN_THE_TEXT:
            return _("what each time says itself")
        return self._zone_word(form.zone)

    def _zone_word(self, zone: str) -> str | Promise:
        if zone[:1] in ("+", "-"):
            return _("%s all year, without summer time") % zone
        return zone


def fixed_of(data: dict[str, str]) -> dict[str, Any]:
    """Return what somebody said of a file, as `finding.find_form` takes it; what was left as found is not in it."""
    fixed: dict[str, Any] = {}
    known: dict[str, Sequence[str]] = {
        "encoding": list(ENCODINGS),
        "delimiter": list(DELIMITERS),
        "shape": list(SHAPE_WORDS),
        "date_order": list(DATE_ORDERS),
        "decimal": list(DECIMALS),
        "doubled_hour": list(DOUBLED_HOUR),
    }
    for name, values in known.items():
        if data.get(name) in values:
            fixed[name] = data[name]
    for name in ("head_line", "name_column", "value_column", "unit_column"):
        if re.fullmatch(r"\d{1,4}", data.get(name, ""), re.ASCII):
            fixed[name] = int(data[name])
    if data.get("unit_column") == NONE:
        fixed["unit_column"] = -1
    if data.get("zone"):
        fixed["zone"] = data["zone"]
    texts = [text for text in re.split(r"[;\s]+", data.get("no_reading", "")) if text]
    if texts:
        fixed["no_reading"] = tuple(texts[:20])
    return fixed


def fixed_times(data: dict[str, str], form: FileForm) -> tuple[int, ...] | None:
    """Return the columns of the time that somebody chose; what was left as found stands beside it. None: as found."""
    day, clock = data.get("time_column", ""), data.get("clock_column", "")
    if not day and not clock:
        return None
    first = int(day) if day.isascii() and day.isdigit() else form.time_columns[0]
    if clock == NONE:
        return (first,)
    if clock.isascii() and clock.isdigit():
        return (first, int(clock))
    return (first, *form.time_columns[1:])
