"""Change the particulars of a job that has not begun."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from maintenance.models import WorkOrder
from maintenance.work.particulars import Changed, change_particulars
from maintenance.work.particulars_form import ParticularsForm
from plant.access import needs
from plant.frame.requests import refusal_on, user_of
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


def _tell(request: HttpRequest, order: WorkOrder, changed: Changed) -> None:
    if not changed.names:
        messages.info(request, _("Nothing was different: %(number)s stays as it was.") % {"number": order.number})
        return
    messages.success(request, _("%(number)s is changed.") % {"number": order.number})
    if changed.lost_place_why:
        words = _("%(why)s The next run of the day looks for another place.")
        messages.warning(request, words % {"why": say(changed.lost_place_why)})
