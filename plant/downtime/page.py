"""Downtime of a kiln: end it, correct it. It is reported in ``plant/kilns/stop_page.py``."""

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from plant import clock
from plant.access import needs
from plant.downtime.forms import DowntimeForm, EndDowntimeForm
from plant.downtime.keeping import FIELDS, correct_downtime, end_downtime
from plant.frame.particulars import renew_seen
from plant.frame.requests import refusal_on, user_of
from plant.models import Downtime, Kiln

KILN_PAGE = "maintenance:kiln"


@needs("report downtime")
def correct(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Correct a record of downtime; the history keeps what stood there before."""
    record = get_object_or_404(Downtime.objects.select_related("kiln"), kiln__tag=tag, pk=pk)
    form = DowntimeForm(request.POST if request.method == "POST" else None, kiln=record.kiln, record=record)
    if form.is_valid():
        data = form.cleaned_data
        with refusal_on(form):
            correct_downtime(record, form.facts(), seen=data["seen"], why=data["why"], by=user_of(request))
            messages.success(request, _("The record is corrected; the history keeps the former one."))
            return redirect(KILN_PAGE, record.kiln.tag)
        renew_seen(form, Downtime.objects.get(pk=record.pk), FIELDS)
    return _page(request, record.kiln, form, _("Correct a downtime of %(kiln)s") % {"kiln": record.kiln}, record)


@needs("report downtime")
def end(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Say that a kiln is able to dry again."""
    record = get_object_or_404(Downtime.objects.select_related("kiln"), kiln__tag=tag, pk=pk)
    initial = {"end_at": timezone.localtime(clock.now())}
    form = EndDowntimeForm(request.POST if request.method == "POST" else None, initial=initial)
    if form.is_valid():
        with refusal_on(form):
            end_downtime(record, form.cleaned_data["end_at"], by=user_of(request))
            messages.success(request, _("%(kiln)s is on record as able to dry again.") % {"kiln": record.kiln})
            return redirect(KILN_PAGE, record.kiln.tag)
    return _page(request, record.kiln, form, _("End a downtime of %(kiln)s") % {"kiln": record.kiln}, record)


def _page(request: HttpRequest, kiln: Kiln, form: Form, heading: str, record: Downtime | None) -> HttpResponse:
    context = {"kiln": kiln, "form": form, "heading": heading, "record": record, "place": "kilns"}
    return render(request, "downtime/downtime_form.html", context)
