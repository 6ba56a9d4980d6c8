"""The start of a work order: cautions first, the door, then who."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from maintenance.entry.bars import bars_of
from maintenance.entry.forms import PermitForm
from maintenance.entry.permits import NotSafe, open_permit, open_permit_of, runs_the_kiln, takes_people_inside
from maintenance.models import Caution, WorkOrder
from maintenance.work import course as act
from maintenance.work.forms import StartForm
from maintenance.work.page import order_of
from plant.access import needs
from plant.frame.requests import mill_of, person_of, refusal_on, user_of


@needs("do work")
def start(request: HttpRequest, number: str) -> HttpResponse:
    """Start a job: cautions first, the door, then who."""
    order, user, person = order_of(number), user_of(request), person_of(request)
    if order.state not in WorkOrder.BEFORE_START and not order.is_paused:
        messages.info(request, _("%(number)s is %(state)s.") % {"number": number, "state": order.get_state_display()})
        return redirect(order)
    blocking = bars_of(order.kiln) if takes_people_inside(order) else []
    from_outside = any(order.pk in bar.ended_by for bar in blocking)
    needs_permit = takes_people_inside(order) and not blocking and open_permit_of(order.kiln) is None
    data = request.POST or None
    form = StartForm(data, order=order, person=person, from_outside=from_outside)
    permit_form = _permit_form(request, order) if needs_permit else None
    if request.method == "POST" and form.is_valid() and (permit_form is None or permit_form.is_valid()):
        with refusal_on(form), refusal_on(permit_form or form, NotSafe):
            with transaction.atomic():
                if permit_form:
                    _open(order, permit_form, request)
                said = form.cleaned_data
                act.start(
                    order,
                    by=user,
                    version=said["version"],
                    is_cautions_read=said["is_cautions_read"],
                    people=list(said["people"]),
                    locked_out_outside_by=said.get("locked_out_outside_by"),
                    is_own_lock_on=said.get("is_own_lock_on", False),
                    stays_outside=said.get("stays_outside"),
                )
            messages.success(request, _("%(number)s is under way.") % {"number": number})
            return redirect(order)
    context = {
        "place": "rounds",
        "order": order,
        "form": form,
        "permit_form": permit_form,
        "permit": open_permit_of(order.kiln) if takes_people_inside(order) else None,
        "cautions": Caution.objects.for_work_order(order),
        "blocking": blocking,
        "is_barred": bool(blocking) and not from_outside,
        "from_outside": from_outside,
        "runs_the_kiln": runs_the_kiln(order),
        "skills": order.skills.select_related("skill"),
    }
    return render(request, "work/work_order_start.html", context)


def _permit_form(request: HttpRequest, order: WorkOrder) -> PermitForm:
    crew = list(order.assignments.values_list("person", flat=True))
    data = request.POST or None
    return PermitForm(data, mill=mill_of(request), kiln=order.kiln, person=person_of(request), crew=crew)


def _open(order: WorkOrder, form: PermitForm, request: HttpRequest) -> None:
    key = form.cleaned_data["permit_key"]
    open_permit(order.kiln, form.answers(), by=user_of(request), key=key, work_order=order)


@needs("permit entry")
def permit(request: HttpRequest, number: str) -> HttpResponse:
    """Open the chamber again for a job that is under way."""
    order = order_of(number)
    form = _permit_form(request, order)
    if request.method == "POST" and form.is_valid():
        with refusal_on(form):
            _open(order, form, request)
            messages.success(request, _("%(kiln)s is open for entry.") % {"kiln": order.kiln})
            return redirect(order)
    context = {
        "place": "rounds",
        "order": order,
        "kiln": order.kiln,
        "form": form,
        "blocking": bars_of(order.kiln),
        "cautions": Caution.objects.for_work_order(order),
    }
    return render(request, "door/permit_open.html", context)
