"""Report that a kiln stands, is slowed or has no timber, and take such a report back."""

from uuid import uuid4

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from plant import clock
from plant.access import needs
from plant.downtime.forms import ReportForm, TakeBackForm
from plant.frame.requests import refusal_on, user_of
from plant.kilns.stopping import charge_inside, report_stop, take_back_stop
from plant.models import Downtime, Kiln
from plant.warnings.running_bars import running_bars, say_bar

KILN_PAGE, STOP_PAGE = "maintenance:kiln", "maintenance:kiln-stop"


@needs("report downtime")
def report(request: HttpRequest, tag: str) -> HttpResponse:
    """Report that a kiln stands, is slowed, or has no timber."""
    kiln = get_object_or_404(Kiln, tag=tag)
    data = request.POST if request.method == "POST" else None
    form = ReportForm(data, kiln=kiln, inside=charge_inside(kiln, clock.now()))
    if form.is_valid():
        with refusal_on(form):
            typed, facts = form.cleaned_data, form.facts()
            record = report_stop(
                kiln, facts, charge_end_at=typed.get("charge_end_at"), key=typed["key"] or uuid4(), by=user_of(request)
            )
            messages.success(request, _("The downtime of %(kiln)s is on record.") % {"kiln": kiln})
            return _after(request, kiln, record, is_stop=facts.is_stop)
    return _page(request, kiln, form, _("Report downtime of %(kiln)s") % {"kiln": kiln}, None)


def _after(request: HttpRequest, kiln: Kiln, record: Downtime, *, is_stop: bool) -> HttpResponse:
    """Lead to what falls by a stop that is not over; say who is inside meanwhile."""
    bar = running_bars([kiln]).get(kiln.pk)
    if bar is not None:
        messages.warning(request, say_bar(kiln, bar))
    if is_stop and (record.end_at is None or record.end_at > clock.now()):
        return redirect(STOP_PAGE, kiln.tag, record.pk)
    return redirect(KILN_PAGE, kiln.tag)


@needs("report downtime")
def take_back(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Take a report back that was never so."""
    record = get_object_or_404(Downtime.objects.select_related("kiln"), kiln__tag=tag, pk=pk)
    form = TakeBackForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        with refusal_on(form):
            take_back_stop(record, why=form.cleaned_data["why"], by=user_of(request))
            messages.success(request, _("That is taken back; the history of %(kiln)s keeps it.") % {"kiln": tag})
            return redirect(KILN_PAGE, tag)
    return _page(request, record.kiln, form, _("Take back a downtime of %(kiln)s") % {"kiln": tag}, record)


def _page(request: HttpRequest, kiln: Kiln, form: Form, heading: str, record: Downtime | None) -> HttpResponse:
    context = {"kiln": kiln, "form": form, "heading": heading, "record": record, "place": "kilns"}
    return render(request, "downtime/downtime_form.html", context)
