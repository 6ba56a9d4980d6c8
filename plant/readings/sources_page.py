"""Sources of readings: where they come from, when each was last heard, and what it calls the channels."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant import clock
from plant.access import needs
from plant.frame.requests import refusal_on, user_of
from plant.models import Change, ChannelName, FileIntake, ReadingSource
from plant.readings import sources as act
from plant.readings.files.calculations.form import DATE_ORDERS, DECIMALS, DELIMITERS, IN_THE_TEXT
from plant.readings.files.file_intake import remembered
from plant.readings.files.forms import UploadForm
from plant.readings.files.watched_folder import trouble_of
from plant.readings.forms import ChannelNameForm, SourceForm
from plant.readings.source_list import all_sources, is_silent, rows_of, sentence
from plant.readings.ways_in import way_in

INTAKES_PER_PAGE = 20


@needs("see readings")
def sources(request: HttpRequest) -> HttpResponse:
    """Show the sources."""
    now = clock.now()
    page = Paginator(all_sources(), 50).get_page(request.GET.get("page"))
    context = {
        "place": "kilns",
        "page": page,
        "rows": rows_of(page.object_list, now),
        "sentence": sentence(now),
    }
    return render(request, "readings/sources.html", context)


@needs("see readings")
def source(request: HttpRequest, code: str) -> HttpResponse:
    """Show a source."""
    return source_page(request, get_object_or_404(ReadingSource, code=code))


def source_page(request: HttpRequest, found: ReadingSource, **bound: Any) -> HttpResponse:
    """Show a source's page; ``bound`` brings a form that was refused, by its name in the page."""
    intakes = FileIntake.objects.filter(source=found).select_related("by__person")
    names = ChannelName.objects.filter(source=found).select_related("channel__kiln")
    context = {
        "place": "kilns",
        "source": found,
        "is_silent": is_silent(found, clock.now()),
        "intakes": Paginator(intakes, INTAKES_PER_PAGE).get_page(request.GET.get("page")),
        "names": names,
        "known": remembered(found),
        "known_words": _known_words(found),
        "folder_trouble": trouble_of(found),
        "upload_form": UploadForm(),
        "name_form": ChannelNameForm(prefix="name"),
        "changes": Change.objects.about(found).order_by("-at", "-id")[:30],
        **way_in(found, request),
        **bound,
    }
    return render(request, "readings/source.html", context)


def _known_words(found: ReadingSource) -> str:
    """Say how files of a source are read; nothing where nobody has confirmed it."""
    known = remembered(found)
    if known is None:
        return ""
    form = known.form
    zone = _("what each time says itself") if form.zone == IN_THE_TEXT else form.zone
    return _("%(delimiter)s between the cells, decimal %(decimal)s, dates as %(order)s, clock: %(zone)s") % {
        "delimiter": DELIMITERS[form.delimiter],
        "decimal": DECIMALS[form.decimal],
        "order": DATE_ORDERS[form.date_order],
        "zone": zone,
    }


@needs("edit sources")
def add(request: HttpRequest) -> HttpResponse:
    """Put a source on record; the way its readings come is chosen first."""
    way = request.GET.get("way", "")
    if way not in ReadingSource.Way.values:
        return render(request, "readings/source_way.html", {"place": "kilns", "ways": ReadingSource.Way})
    form = SourceForm(request.POST if request.method == "POST" else None, way=way)
    if form.is_valid():
        with refusal_on(form):
            made = act.add_source({**form.cleaned_data, "way": way}, by=user_of(request))
            messages.success(request, _("%(source)s is on record.") % {"source": made})
            return redirect("plant:source", made.code)
    heading = _("New source: %(way)s") % {"way": ReadingSource.Way(way).label}
    return render(request, "readings/source_form.html", {"place": "kilns", "form": form, "heading": heading})


@needs("edit sources")
def edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a source."""
    found = get_object_or_404(ReadingSource, code=code)
    form = SourceForm(request.POST if request.method == "POST" else None, instance=found, way=found.way)
    if form.keep(request, act.edit_source, _("The source is changed.")):
        return redirect("plant:source", code)
    kept = ReadingSource.objects.get(pk=found.pk)
    heading = _("Particulars of %(source)s") % {"source": kept}
    return render(
        request, "readings/source_form.html", {"place": "kilns", "form": form, "source": kept, "heading": heading}
    )


@needs("edit sources")
@require_POST
def add_name(request: HttpRequest, code: str) -> HttpResponse:
    """Say what a source calls a channel."""
    found, form = get_object_or_404(ReadingSource, code=code), ChannelNameForm(request.POST, prefix="name")
    if form.is_valid():
        act.name_channel(found, **form.cleaned_data, by=user_of(request))
        messages.success(request, _("It is on record."))
        return redirect("plant:source", code)
    return source_page(request, found, name_form=form)


@needs("edit sources")
@require_POST
def drop_name(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a name off."""
    named = get_object_or_404(ChannelName.objects.select_related("source", "channel__kiln"), source__code=code, pk=pk)
    act.drop_name(named, by=user_of(request))
    messages.success(request, _("The name is taken off; the history keeps it."))
    return redirect("plant:source", code)
