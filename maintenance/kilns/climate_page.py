"""A kiln's climate over a charge or any stretch of time: as a chart, as a table, as a file."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.vary import vary_on_headers

from maintenance.kilns.climate_form import ClimateForm
from maintenance.kilns.seen_climate import ClimatePage, Ways, climate_page, figure_rows
from plant import clock
from plant.access import needs
from plant.basics.periods import from_epoch_s
from plant.frame.export import csv_response
from plant.frame.figures import fixed, quantity
from plant.frame.units import temperature_scale
from plant.models import ChannelDay, Kiln, Reading
from plant.physics.quantities import QUANTITIES
from plant.pictures.climate_chart.chart import say_value
from plant.pictures.climate_chart.lines import Source
from plant.pictures.climate_chart.table import ClimateTable, header, make_table
from plant.readings.hot_kilns import emc_words, steam_words


def _page(request: HttpRequest, tag: str) -> ClimatePage:
    kiln = get_object_or_404(Kiln.objects.select_related("mill"), tag=tag)
    mill = kiln.mill
    form = ClimateForm(request.GET, zone=mill.zone, scale=temperature_scale(mill), pressure_pa=mill.pressure_pa)
    return climate_page(kiln, form, clock.now())


@needs("see readings")
@vary_on_headers("HX-Request")
def climate(request: HttpRequest, tag: str) -> HttpResponse:
    """Show what the sensors of a kiln said; for htmx the part that moves."""
    page = _page(request, tag)
    is_empty = page.has_channels and not page.chart.bands
    last = ChannelDay.objects.filter(channel__kiln=page.kiln).order_by("-day").first() if is_empty else None
    context = {
        "place": "kilns",
        "kiln": page.kiln,
        "page": page,
        "ways": Ways(page, clock.now()),
        "figures": figure_rows(page.charge, page.shown),
        "lead": _lead(page),
        "too_hot": _too_hot(page),
        "faults": [error for errors in page.form.errors.values() for error in errors],
        "missing_charge": _missing_charge(page),
        "last_day": last.day if last else None,
    }
    if page.form.is_valid() and page.form.cleaned_data["table"]:
        table = make_table(page.sources, page.span, page.shown, page.kiln.mill.zone)
        context |= {"table": table, "rows": list(_rows(table))}
    htmx = request.htmx  # type: ignore[attr-defined]
    is_partial = htmx and not htmx.history_restore_request
    return render(request, "kilns/climate_part.html" if is_partial else "kilns/climate.html", context)


def _too_hot(page: ClimatePage) -> list[str]:
    """Say what the chart cannot tell of air that is so hot, where the span has such air."""
    air = [one.value for one in page.sources if one.quantity == "air_temperature" and len(one.value)]
    hottest = max((float(value.max()) for value in air), default=None)
    said = [emc_words(hottest, page.kiln.mill)] if page.shown.measure == "emc" else []
    if page.shown.measure in ("emc", "rh"):
        said.append(steam_words(hottest, page.kiln.mill))
    return [words for words in said if words]


def _missing_charge(page: ClimatePage) -> str:
    """Return the number of a charge that was asked for and is not on record."""
    asked = page.form.data.get("charge", "")
    return asked if page.charge is None and asked else ""


def _lead(page: ClimatePage) -> str:
    if not page.has_channels:
        return _("No sensor of %(kiln)s is known here yet.") % {"kiln": page.kiln}
    if not page.chart.bands:
        return _("No reading lies in this stretch of time.")
    if page.is_by_days:
        said = [_("Days in short: from the lowest to the highest reading of each day, and the mean.")]
    else:
        counts = {"all": quantity(page.chart.readings), "out": quantity(page.chart.marked)}
        words = ngettext(
            "%(all)s reading, %(out)s of them left out of the rules.",
            "%(all)s readings, %(out)s of them left out of the rules.",
            page.chart.readings,
        )
        said = [words % counts]
    count = len(page.firings)
    watches = ngettext("Watches spoke up once.", "Watches spoke up %d times.", count)
    said.append(watches % count if count > 1 else watches if count else _("No watch spoke up."))
    return " ".join(said)


def _rows(table: ClimateTable) -> Iterator[tuple[Any, list[str]]]:
    """Say the means of a table row by row."""
    for index, begin_s in enumerate(table.begins_s):
        yield (
            from_epoch_s(begin_s),
            [
                say_value(column.plan, float(column.mean[index]))
                if column.plan.words and np.isfinite(column.mean[index])
                else _figure(column.mean[index], column.plan.unit.decimals)
                for column in table.columns
            ],
        )


def _figure(value: float, decimals: int) -> str:
    return fixed(float(value), decimals).replace("-", "−") if np.isfinite(value) else ""


@needs("see readings")
def climate_csv(request: HttpRequest, tag: str) -> HttpResponse:
    """Give the table as a file: mean, lowest and highest; with ``every=1`` each reading as it is kept."""
    page = _page(request, tag)
    first = timezone.localtime(page.from_at).strftime("%Y-%m-%d-%H%M")
    name = f"{slugify(page.kiln.tag)}-climate-{first}"
    if request.GET.get("every") and not page.is_by_days:
        head = ("time", "time UTC", "channel", "value", "unit", "left out because")
        return csv_response(f"{name}-readings.csv", head, _every(page))
    table = make_table(page.sources, page.span, page.shown, page.kiln.mill.zone)
    return csv_response(f"{name}.csv", ("from", *header(table.columns)), _file_rows(table))


def _file_rows(table: ClimateTable) -> Iterator[list[object]]:
    for index, begin_s in enumerate(table.begins_s):
        row: list[object] = [from_epoch_s(begin_s)]
        for column in table.columns:
            decimals = column.plan.unit.decimals + 1
            row += [_plain(one[index], decimals) for one in (column.mean, column.low, column.high)]
        yield row


def _plain(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if np.isfinite(value) else ""


def _every(page: ClimatePage) -> Iterator[tuple[object, ...]]:
    """Give each reading of the stretch as it is kept, channel by channel, marked ones with the reason."""
    zone = page.kiln.mill.zone
    for source in page.sources:
        unit = QUANTITIES[source.quantity].unit
        for at_s, value, marks in _in_order(source):
            if page.span.from_s <= at_s <= page.span.until_s:
                at = from_epoch_s(at_s)
                local = at.astimezone(zone).strftime("%Y-%m-%d %H:%M:%S")
                yield local, at.strftime("%Y-%m-%dT%H:%M:%SZ"), source.key, f"{value:g}", unit, _reasons(marks)


def _in_order(source: Source) -> list[tuple[int, float, int]]:
    at_s = np.concatenate((source.at_s, source.marked_at_s))
    value = np.concatenate((source.value, source.marked_value))
    marks = np.concatenate((np.zeros(len(source.at_s), np.int16), source.marks))
    order = np.argsort(at_s, kind="stable")
    return list(zip(at_s[order].tolist(), value[order].tolist(), marks[order].tolist(), strict=True))


def _reasons(marks: int) -> str:
    return "; ".join(str(mark.label) for mark in Reading.Mark if marks & mark.value)
