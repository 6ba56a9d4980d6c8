"""A logger's file comes in: sent, looked at and confirmed; and what came of it."""

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count, F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.frame.requests import user_of
from plant.models import Channel, FileIntake, Mill, Reading, ReadingSource, Unsettled
from plant.readings.files import uploads
from plant.readings.files.calculations.faults import FaultyFileError, OtherHeadError
from plant.readings.files.calculations.reading import read_all
from plant.readings.files.file_intake import confirm_and_take_in, latest_s, take_in_file
from plant.readings.files.forms import UploadForm
from plant.readings.files.seen_file import IntakePage
from plant.readings.files.watched_folder import file_of
from plant.readings.sources_page import source_page
from plant.readings.unit_labels import UNIT_LABELS

GAPS_SHOWN = 20


@needs("take in readings")
@require_POST
def send(request: HttpRequest, code: str) -> HttpResponse:
    """Take a file that was sent in at once where its head is known; else lead to the page that confirms it."""
    source = get_object_or_404(ReadingSource, code=code, way=ReadingSource.Way.FILES)
    form = UploadForm(request.POST, request.FILES)
    if not form.is_valid():
        return source_page(request, source, upload_form=form)
    file = form.cleaned_data["file"]
    if file.size > settings.MAX_LOAD_BYTES:
        limit = settings.MAX_LOAD_BYTES // 1024**2
        form.add_error("file", _("The file has more than %d MB. Split it, or ask whoever keeps the server.") % limit)
        return source_page(request, source, upload_form=form)
    if not form.cleaned_data["look_first"] and source.file_form:
        raw = file.read()
        try:
            intake = take_in_file(source, raw, file.name, by=user_of(request))
        except OtherHeadError:
            messages.info(request, _("Not all of this file's head or names is known yet: look at how it is read."))
        except FaultyFileError:
            messages.warning(request, _("Nothing was stored. What is wrong with the file stands below."))
        except ValidationError as error:
            messages.warning(request, " ".join(error.messages))
            return redirect("plant:source", code)
        else:
            return _taken(request, intake)
        file.seek(0)
    upload = uploads.keep(request.session, source.pk, file.name, file.chunks())
    return redirect("plant:logger-file", code, upload.token)


def _taken(request: HttpRequest, intake: FileIntake) -> HttpResponse:
    if intake.new:
        messages.success(request, _("%(file)s is taken in.") % {"file": intake.file_name})
    else:
        messages.info(request, _("%(file)s was read, but nothing in it was new.") % {"file": intake.file_name})
    return redirect("plant:intake", intake.source.code, intake.pk)


@needs("take in readings")
def confirm(request: HttpRequest, code: str, token: str) -> HttpResponse:
    """Show how a file is understood; take it in as it is confirmed."""
    source = get_object_or_404(ReadingSource, code=code, way=ReadingSource.Way.FILES)
    mill = Mill.objects.first()
    upload = uploads.find(request.session, source.pk, token)
    if upload is None or mill is None:
        messages.warning(request, _("The file is no longer kept here: send it again."))
        return redirect("plant:source", code)
    page = IntakePage(source, upload.read(), upload.name, mill, request.POST if request.method == "POST" else None)
    try:
        page.look()
    except FaultyFileError as fault:
        page.faults = fault.told()
        context = {"place": "kilns", "source": source, "upload": upload, "faults": page.faults}
        return render(request, "readings/logger_file_faulty.html", context)
    if request.method == "POST" and "take_in" in request.POST:
        intake = _try(request, page)
        if intake is not None:
            uploads.drop(request.session, upload)
            return _taken(request, intake)
    elif request.method != "POST" and source.file_form and not page.faults:
        _try_whole(page)
    groups = page.groups()
    context = {
        "place": "kilns",
        "source": source,
        "upload": upload,
        "page": page,
        "groups": groups,
        "unsure": [group for group in groups if not group["point"].is_sure],
        "sure": [group for group in groups if group["point"].is_sure],
        "columns": [{"column": column, "offered": page.offered(column)} for column in page.columns],
        "units": UNIT_LABELS,
        "preview": page.preview,
        "hints": [column for column in page.columns if column.hint],
        "is_undecided": not page.form.date_order,
    }
    return render(request, "readings/logger_file.html", context)


def _try_whole(page: IntakePage) -> None:
    """Say at once what is wrong with a file whose columns are known."""
    try:
        if page.form.is_complete:
            read_all(page.raw, page.form, page.assigned, page.left_out, latest_s=latest_s())
    except FaultyFileError as fault:
        page.faults = fault.told()


def _try(request: HttpRequest, page: IntakePage) -> FileIntake | None:
    """Take the file in, or say what is still to be done."""
    if not page.is_as_shown:
        messages.warning(request, _("With what you chose the file is understood differently: look at it once more."))
    elif not page.form.date_order:
        messages.warning(request, _("Say first which is the day and which the month."))
    elif any(column.trouble for column in page.columns):
        messages.warning(request, _("Look at the columns: something does not fit."))
    elif not page.assigned:
        messages.warning(request, _("Give at least one column a channel."))
    elif any(column.hint for column in page.columns) and "accept" not in request.POST:
        messages.warning(request, _("Some units make values impossible: correct them, or tick that it is meant so."))
    else:
        try:
            return confirm_and_take_in(
                page.source,
                page.raw,
                page.file_name,
                page.form,
                page.assigned,
                page.left_out,
                by=user_of(request),
            )
        except FaultyFileError as fault:
            page.faults = fault.told()
            messages.warning(request, _("Nothing was stored. What is wrong with the file stands below."))
        except ValidationError as error:
            messages.warning(request, " ".join(error.messages))
    return None


@needs("take in readings")
@require_POST
def drop(request: HttpRequest, code: str, token: str) -> HttpResponse:
    """Clear a file away that was sent and is not wanted."""
    source = get_object_or_404(ReadingSource, code=code)
    upload = uploads.find(request.session, source.pk, token)
    if upload is not None:
        uploads.drop(request.session, upload)
        messages.success(request, _("The file is cleared away; nothing of it was stored."))
    return redirect("plant:source", code)


@needs("take in readings")
@require_POST
def open_refused(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Look at a file of the watched folder that was refused."""
    intake = get_object_or_404(FileIntake.objects.select_related("source"), source__code=code, pk=pk, is_taken_in=False)
    raw = file_of(intake)
    if raw is None:
        messages.warning(request, _("The file does not lie in the folder any more as it was then."))
        return redirect("plant:intake", code, pk)
    upload = uploads.keep(request.session, intake.source_id, intake.file_name, [raw])
    return redirect("plant:logger-file", code, upload.token)


@needs("see readings")
def intake(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Show what a file brought."""
    found = get_object_or_404(FileIntake.objects.select_related("source", "by__person"), source__code=code, pk=pk)
    context = {"place": "kilns", "intake": found, "source": found.source}
    if found.is_taken_in and found.first_at and found.last_at:
        context |= _marks(found, to_epoch_s(found.first_at), to_epoch_s(found.last_at))
    else:
        context["may_open"] = bool(found.source.folder) and found.by_id is None
    return render(request, "readings/intake.html", context)


def _marks(found: FileIntake, from_s: int, until_s: int) -> dict[str, object]:
    """Return the marks of the source's channels in the span of a file, and its gaps."""
    channels = {
        channel.pk: channel
        for channel in Channel.objects.filter(names__source=found.source).select_related("kiln").distinct()
    }
    marked = Reading.objects.filter(channel_id__in=channels, at_s__gte=from_s, at_s__lte=until_s).exclude(marks=0)
    counts: dict[tuple[int, Reading.Mark], int] = {}
    for channel_id, bits, count in marked.values_list("channel_id", "marks").annotate(count=Count("at_s")):
        for mark in Reading.Mark:
            if bits & mark:
                counts[channel_id, mark] = counts.get((channel_id, mark), 0) + count
    rows = [(channels[pk], mark, count) for (pk, mark), count in counts.items()]
    after_gap = marked.annotate(bit=F("marks").bitand(Reading.Mark.AFTER_GAP)).filter(bit=Reading.Mark.AFTER_GAP)
    gaps = [
        (channels[channel_id], from_epoch_s(at_s))
        for channel_id, at_s in after_gap.order_by("at_s", "channel_id").values_list("channel_id", "at_s")[:GAPS_SHOWN]
    ]
    kilns = {channel.kiln_id for channel in channels.values()}
    waiting = Unsettled.objects.filter(kiln__in=kilns, from_s__lte=until_s, until_s__gte=from_s)
    return {
        "marks": sorted(rows, key=lambda row: (row[0].kiln.tag, row[0].key, row[1])),
        "gaps": gaps,
        "is_unsettled": waiting.exists(),
    }
