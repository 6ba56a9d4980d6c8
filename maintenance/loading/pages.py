"""A mill's files by page: brought, looked at and taken in; templates."""

import io
import tempfile
import zipfile
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from maintenance.loading import bringing
from maintenance.loading.brought import FolderProgress
from maintenance.loading.describe import template
from maintenance.loading.forms import FilesForm
from maintenance.loading.loader import TABLES
from maintenance.loading.out import FORMS, write_archive
from maintenance.models import FilesBrought
from plant import clock
from plant.access import needs
from plant.background.queueing import waits_long
from plant.frame.requests import user_of
from plant.models import Job, Kiln, Mill
from plant.warnings.running_bars import running_bars, say_bar

PER_PAGE = 20
State = FilesBrought.State


@needs("bring files in")
def files(request: HttpRequest) -> HttpResponse:
    """Show what can be brought and was; keep what is sent and lead to what it is understood as."""
    form = FilesForm(request.POST, request.FILES) if request.method == "POST" else FilesForm()
    if request.method == "POST" and form.is_valid():
        try:
            found = bringing.send(form.cleaned_data["sent"], key=form.cleaned_data["key"], by=user_of(request))
        except ValidationError as error:
            form.add_error("sent", error)
        else:
            return redirect(found)
    page = Paginator(FilesBrought.objects.select_related("by__person"), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "loading/files.html", {"form": form, "page": page, "tables": TABLES})


@needs("bring files in")
@require_safe
def seen(request: HttpRequest, key: UUID) -> HttpResponse:
    """Show how files are understood, what they would change and what is at fault; afterwards what became of them."""
    found = get_object_or_404(FilesBrought.objects.select_related("by__person", "ended_by__person"), key=key)
    if found.is_under_way:
        bringing.give_back(found)
        found.refresh_from_db()
    return render(request, "loading/brought.html", _context(found))


@needs("bring files in")
@require_safe
def progress(request: HttpRequest, key: UUID) -> HttpResponse:
    """Say how far the background is; once it is done, the whole page comes anew."""
    found = get_object_or_404(FilesBrought, key=key)
    bringing.give_back(found)
    found.refresh_from_db()
    if not found.is_under_way:
        answer = HttpResponse(status=204)
        answer["HX-Refresh"] = "true"
        return answer
    return render(request, "loading/progress.html", _context(found))


def _context(found: FilesBrought) -> dict[str, Any]:
    report = found.report
    context: dict[str, Any] = {"found": found, "report": report, "State": State}
    if found.is_under_way:
        job = Job.objects.filter(key=bringing.job_key(found)).first()
        context |= {
            "far": FolderProgress(found.key).read(),
            "waits_long": job is not None and waits_long(job),
        }
    same = FilesBrought.objects.filter(state=State.TAKEN, files=found.files).exclude(pk=found.pk)
    changes: dict[str, list[Any]] = {}
    for one in report.get("changes", ()):
        names = [(name, one["before"][name], value) for name, value in one["after"].items()]
        changes.setdefault(one["table"], []).append({"row": one["row"], "key": one["key"], "cells": names})
    return context | {
        "changes": changes,
        "over_people": _over_people(report) if found.state == State.LOOKED_AT else [],
        "may_take_in": found.state == State.LOOKED_AT and not report.get("faults") and report.get("has_changes"),
        "same": same.select_related("by__person").first(),
        "is_of_two": any(one.get("is_of_two") for one in found.files),
    }


def _over_people(report: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the kilns that run by the files although people may be in or at them, as it is now, and who they are."""
    said = report.get("runs", ())
    kilns = {kiln.tag: kiln for kiln in Kiln.objects.filter(tag__in={one["kiln"] for one in said})} if said else {}
    bars = running_bars(list(kilns.values())) if kilns else {}
    return [
        {
            "kiln": one["kiln"],
            "charge": one["charge"],
            "begin_at": datetime.fromisoformat(one["begin_at"]),
            "bar": say_bar(kiln, bars[kiln.pk]),
            "url": bars[kiln.pk].url,
        }
        for one in said
        if (kiln := kilns.get(one["kiln"])) is not None and kiln.pk in bars
    ]


@needs("bring files in")
@require_POST
def take_in(request: HttpRequest, key: UUID) -> HttpResponse:
    """Take files in as they were shown."""
    try:
        found = bringing.agree(key, request.POST.get("digest", ""), by=user_of(request))
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
        return redirect("maintenance:files-brought", key)
    if found.state == State.TAKEN:
        messages.success(request, _("The files are taken in."))
    elif found.state == State.LOOKED_AT:
        messages.warning(
            request,
            _("Nothing was taken in: the mill has changed since you looked, and the files would do something else."),
        )
    return redirect(found)


@needs("bring files in")
@require_POST
def decide(request: HttpRequest, key: UUID) -> HttpResponse:
    """Say what is to be of charges that were taken out of the programme."""
    what = request.POST.get("taken_out", "")
    if what not in FilesBrought.TakenOut or not bringing.decide(key, what, by=user_of(request)):
        messages.warning(request, _("These files are being taken in or are no longer kept here."))
    return redirect("maintenance:files-brought", key)


@needs("bring files in")
@require_POST
def put_aside(request: HttpRequest, key: UUID) -> HttpResponse:
    """Clear files away that are not wanted."""
    if bringing.put_aside(key, by=user_of(request)):
        messages.success(request, _("The files are cleared away; nothing of them was kept."))
        return redirect("maintenance:files")
    messages.warning(request, _("These files are being taken in or are no longer kept here."))
    return redirect("maintenance:files-brought", key)


@needs("take files out")
@require_safe
def out(request: HttpRequest, form: str) -> HttpResponseBase:
    """Give all tables of the mill in one archive: as CSV, as XLSX, or both."""
    forms = {"everything": FORMS, "csv": FORMS[:1], "xlsx": FORMS[1:]}.get(form)
    if forms is None:
        raise Http404
    # Closed, and thus gone, once it was sent.
    packed = tempfile.TemporaryFile()  # noqa: SIM115
    try:
        write_archive(packed, forms, by=user_of(request))
    except Mill.DoesNotExist:
        packed.close()
        messages.warning(request, _("There is no mill yet: nothing can be taken out."))
        return redirect("maintenance:first-hour")
    packed.seek(0)
    return FileResponse(packed, as_attachment=True, filename=f"mill-{clock.now():%Y-%m-%d}-{form}.zip")


@needs("bring files in")
@require_safe
def one_template(request: HttpRequest, table: str) -> HttpResponse:
    """Give the template of a table: its columns and an example row."""
    for one in TABLES:
        if one.name == table:
            answer = HttpResponse("\ufeff" + template(one), content_type="text/csv; charset=utf-8")
            answer["Content-Disposition"] = f'attachment; filename="{table}.csv"'
            return answer
    raise Http404


@needs("bring files in")
@require_safe
def all_templates(request: HttpRequest) -> HttpResponse:
    """Give all templates in one archive."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as packed:
        for one in TABLES:
            packed.writestr(f"{one.name}.csv", "\ufeff" + template(one))
    answer = HttpResponse(buffer.getvalue(), content_type="application/zip")
    answer["Content-Disposition"] = 'attachment; filename="templates.zip"'
    return answer
