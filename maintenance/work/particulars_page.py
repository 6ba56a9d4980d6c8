"""Change the particulars of a job that has not begun."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.models import WorkOrder
from maintenance.work.newer_sheet import take_present_version
from maintenance.work.particulars import Changed, change_particulars
from maintenance.work.particulars_form import ParticularsForm
from plant.access import needs
from plant.frame.requests import refusal_on, refusal_said, user_of, version_of
from plant.frame.saying import say


@needs("place work")
def edit(request: HttpRequest, number: str) -> HttpResponse:
    """Show the form and keep what was changed."""
    order = get_object_or_404(WorkOrder.objects.select_related("kiln__mill"), number=number)
    if request.method != "POST" and order.state not in WorkOrder.BEFORE_START:
        words = _("%(number)s is %(state)s: what has begun stays as it was asked for.")
        messages.info(request, words % {"number": number, "state": order.get_state_display()})
        return redirect(order)
    form = ParticularsForm(request.POST or None, order=order)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        with refusal_on(form):
            changed = change_particulars(
                order, form.wanted(), why=said["why"], by=user_of(request), version=said["version"]
            )
            _tell(request, order, changed)
            return redirect(order)
    return render(request, "work/work_order_edit.html", {"place": "rounds", "order": order, "form": form})


@require_POST
@needs("place work")
def take_newer_sheet(request: HttpRequest, number: str) -> HttpResponse:
    """Let a job that has not begun be done by the present version of its task sheet."""
    order = get_object_or_404(WorkOrder, number=number)
    with refusal_said(request):
        lost = take_present_version(order, version=version_of(request), by=user_of(request))
        words = _("%(number)s goes by the present version of its task sheet.")
        _tell(request, order, Changed(("sheet_version",), lost), words)
    return redirect(order)


def _tell(request: HttpRequest, order: WorkOrder, changed: Changed, words: str = "") -> None:
    if not changed.names:
        messages.info(request, _("Nothing was different: %(number)s stays as it was.") % {"number": order.number})
        return
    messages.success(request, (words or _("%(number)s is changed.")) % {"number": order.number})
    if changed.lost_place_why:
        words = _("%(why)s The next run of the day looks for another place.")
        messages.warning(request, words % {"why": say(changed.lost_place_why)})
