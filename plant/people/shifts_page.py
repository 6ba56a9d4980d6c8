"""Working times: the list of them, a new one, and changes."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from plant.access import needs
from plant.frame.requests import day_of, user_of
from plant.models import Shift
from plant.people.forms import NewShiftForm, ShiftForm
from plant.people.keeping import add_shift, edit_shift


@needs("see people")
def shifts(request: HttpRequest) -> HttpResponse:
    """Show the working times, and how many people are on each now."""
    today = day_of(request)
    is_now = Q(duties__from_on__lte=today) & (Q(duties__until_on__isnull=True) | Q(duties__until_on__gte=today))
    is_here = Q(duties__person__is_active=True)
    found = Shift.objects.annotate(people_count=Count("duties__person", filter=is_now & is_here, distinct=True))
    return render(request, "people/shifts.html", {"shifts": found.order_by("start_time", "code")})


@needs("edit people")
def add(request: HttpRequest) -> HttpResponse:
    """Put a working time on record."""
    form = NewShiftForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        values = {name: form.cleaned_data[name] for name in form.names()}
        made = add_shift(values, by=user_of(request))
        messages.success(request, _("%(shift)s is on record. Give people turns on it.") % {"shift": made.name})
        return redirect("plant:shifts")
    return render(request, "people/person_form.html", {"form": form, "heading": _("A new shift")})


@needs("edit people")
def edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a working time for all who are on it."""
    found = get_object_or_404(Shift, code=code)
    heading = _("Shift %(shift)s") % {"shift": found.name}
    form = ShiftForm(request.POST if request.method == "POST" else None, instance=found)
    if form.keep(request, edit_shift, _("The shift is changed for all who are on it.")):
        return redirect("plant:shifts")
    return render(request, "people/person_form.html", {"form": form, "heading": heading})
