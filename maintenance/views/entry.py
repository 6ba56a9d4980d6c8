"""Closing a chamber when everybody is out."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from maintenance.actions.entry import INSIDE_STATES, close_permit
from maintenance.forms.entry import ClosePermitForm
from maintenance.models import EntryPermit, FunctionCheck, Sitting, WorkOrder
from maintenance.views.helpers import put_refusal, user_of
from plant.access import needs


@needs("permit entry")
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Count everybody out."""
    permit = get_object_or_404(
        EntryPermit.objects.select_related("kiln", "work_order", "locked_out_by", "watch_outside"),
        pk=pk,
        act=EntryPermit.Act.OPENED,
    )
    if request.method == "GET" and EntryPermit.objects.filter(opening=permit).exists():
        messages.info(request, _("%(kiln)s is closed for entry already.") % {"kiln": permit.kiln})
        return redirect(_back_to(permit))
    form = ClosePermitForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            close_permit(permit, by=user_of(request), key=said["key"], is_everybody_out=said["is_everybody_out"])
        except ValidationError as refusal:
            put_refusal(form, refusal)
        else:
            messages.success(request, _("%(kiln)s is closed for entry: everybody is out.") % {"kiln": permit.kiln})
            return redirect(_back_to(permit))
    jobs = WorkOrder.objects.filter(kiln=permit.kiln, state="under_way", needs_state__in=INSIDE_STATES)
    inside = Sitting.objects.filter(check_up__kiln=permit.kiln, kiln_state="open_empty", ended_at__isnull=True)
    context = {
        "place": "rounds",
        "permit": permit,
        "form": form,
        "jobs": jobs,
        "sittings": inside.select_related("by__person"),
        "back": _back_to(permit),
    }
    return render(request, "maintenance/permit_close.html", context)


def _back_to(permit: EntryPermit) -> str:
    if permit.work_order:
        return permit.work_order.get_absolute_url()
    check = FunctionCheck.objects.under_way().filter(kiln=permit.kiln).first()
    return check.get_absolute_url() if check else f"/kilns/{permit.kiln.tag}/"
