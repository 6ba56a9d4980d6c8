"""Working times: the list of them, a new one, and changes; days off for everybody."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.frame.requests import day_of, refusal_on, user_of
from plant.models import DayOff, Shift
from plant.people.forms import DayOffForm, NewShiftForm, ShiftForm
from plant.people.keeping import add_day_off as keep_day_off
from plant.people.keeping import add_shift, edit_shift
from plant.people.keeping import drop_day_off as take_day_off_back
from plant.warnings.consequences import what_is_lost_said


@needs("see people")
def shifts(request: HttpRequest) -> HttpResponse:
    """Show the working times, how many people are on each now, and the days off to come."""
    return _page(request)


def _page(request: HttpRequest, form: DayOffForm | None = None) -> HttpResponse:
    today = day_of(request)
    is_now = Q(duties__from_on__lte=today) & (Q(duties__until_on__isnull=True) | Q(duties__until_on__gte=today))
    is_here = Q(duties__person__is_active=True)
    found = Shift.objects.annotate(people_count=Count("duties__person", filter=is_now & is_here, distinct=True))
    context = {
        "shifts": found.order_by("start_time", "code"),
        "days_off": DayOff.objects.filter(on__gte=today),
        "form": form or DayOffForm(),
    }
    return render(request, "people/shifts.html", context)


@needs("edit people")
@require_POST
def add_day_off(request: HttpRequest) -> HttpResponse:
    """Put a day off for everybody on record."""
    form = DayOffForm(request.POST)
    if form.is_valid():
        with refusal_on(form), what_is_lost_said(request):
            made = keep_day_off(**form.cleaned_data, by=user_of(request))
            said = _("%(name)s is on record: no shift begins on that day. The board names work that was placed on it.")
            messages.success(request, said % {"name": made.name})
            return redirect("plant:shifts")
    return _page(request, form)


@needs("edit people")
@require_POST
def drop_day_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Let the shifts of a day begin after all."""
    found = DayOff.objects.filter(pk=pk).first()
    if found is not None:
        with what_is_lost_said(request):
            take_day_off_back(found, by=user_of(request))
            messages.success(request, _("The shifts of that day begin as on any other."))
    return redirect("plant:shifts")


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
    with what_is_lost_said(request):
        is_kept = form.keep(request, edit_shift, _("The shift is changed for all who are on it."))
    if is_kept:
        return redirect("plant:shifts")
    return render(request, "people/person_form.html", {"form": form, "heading": heading})
