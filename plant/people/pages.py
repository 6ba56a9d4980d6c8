"""People: who is there, what they may do at the kilns, and when."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from plant import clock
from plant.access import needs
from plant.frame.requests import day_of, refusal_on, user_of
from plant.models import Absence, Change, Person, Qualification, ShiftDuty
from plant.people import keeping as act
from plant.people.forms import AbsenceForm, DutyForm, EndDutyForm, NewPersonForm, PersonForm, QualificationForm
from plant.people.working_week import PersonWeek, week_of
from plant.warnings.consequences import what_is_lost_said

RUNS_OUT_SOON = timedelta(days=60)


@needs("see people")
def people(request: HttpRequest) -> HttpResponse:
    """Show who works here, with skills, this week's shifts, and absences ahead."""
    today = day_of(request)
    known = Person.objects.prefetch_related("qualifications__skill", "user__roles_held").order_by("-is_active", "name")
    page = Paginator(known, 50).get_page(request.GET.get("page"))
    first = _chosen_week(request, today)
    mill = request.mill  # type: ignore[attr-defined]
    week = week_of([person for person in page if person.is_active], first, mill.zone) if mill else []
    ahead = Absence.objects.filter(end_at__gt=clock.now(), person__is_active=True).select_related("person")
    skills = Qualification.objects.filter(person__is_active=True)
    context = {
        "page": page,
        "today": today,
        "soon": today + RUNS_OUT_SOON,
        "week": week,
        "days": [first + timedelta(days=number) for number in range(7)],
        "before": first - timedelta(days=7),
        "after": first + timedelta(days=7),
        "absences": ahead[:30],
        "sentence": _sentence(week, today, skills, today + RUNS_OUT_SOON),
    }
    return render(request, "people/people.html", context)


def _chosen_week(request: HttpRequest, today: date) -> date:
    """Return the Monday of the week asked for, this week's where the address says nothing sensible."""
    try:
        day = date.fromisoformat(request.GET.get("week", ""))
    except ValueError:
        day = today
    # Outside these years a week has no neighbours to page to.
    day = day if 2000 <= day.year <= 2200 else today
    return day - timedelta(days=day.weekday())


def _sentence(week: list[PersonWeek], today: date, skills: Any, soon: date) -> str:
    out = skills.filter(valid_until__lt=today).count()
    soon_out = skills.filter(Q(valid_until__gte=today) & Q(valid_until__lte=soon)).count()
    count = len(week)
    parts = [ngettext("%d person works here.", "%d people work here.", count) % count]
    if out:
        parts.append(ngettext("%d skill has run out.", "%d skills have run out.", out) % out)
    if soon_out:
        words = ngettext("%d skill runs out within 60 days.", "%d skills run out within 60 days.", soon_out)
        parts.append(words % soon_out)
    return " ".join(parts)


@needs("see people")
def person(request: HttpRequest, code: str) -> HttpResponse:
    """Show somebody."""
    return _page(request, get_object_or_404(Person, code=code))


def _page(request: HttpRequest, found: Person, **bound: BaseForm) -> HttpResponse:
    """Show a person's page; ``bound`` brings the form that was refused, by its name in the page."""
    today = day_of(request)
    mill = request.mill  # type: ignore[attr-defined]
    context = {
        "person": found,
        "today": today,
        "soon": today + RUNS_OUT_SOON,
        "qualifications": found.qualifications.select_related("skill"),
        "duties": found.duties.select_related("shift").order_by("-from_on"),
        "absences": found.absences.filter(end_at__gt=clock.now() - timedelta(days=90)).order_by("-start_at"),
        "week": week_of([found], today, mill.zone) if mill else [],
        "days": [today - timedelta(days=today.weekday() - number) for number in range(7)],
        "changes": Change.objects.about(found).order_by("-at", "-id")[:30],
        "skill_form": QualificationForm(prefix="skill"),
        "duty_form": DutyForm(prefix="duty", initial={"from_on": today}),
        "absence_form": AbsenceForm(prefix="absence"),
        "account": getattr(found, "user", None),
        **bound,
    }
    return render(request, "people/person.html", context)


@needs("edit people")
def add(request: HttpRequest) -> HttpResponse:
    """Put somebody on record."""
    form = NewPersonForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        values = dict(form.cleaned_data)
        skills, shift = values.pop("skills"), values.pop("shift")
        made = act.add_person(values, skills, shift, day_of(request), by=user_of(request))
        messages.success(request, _("%(person)s is on record.") % {"person": made})
        return redirect(made)
    return render(request, "people/person_form.html", {"form": form, "heading": _("Put somebody on record")})


@needs("edit people")
def edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a person's particulars."""
    found = get_object_or_404(Person, code=code)
    form = PersonForm(request.POST if request.method == "POST" else None, instance=found)
    with what_is_lost_said(request):
        is_kept = form.keep(request, act.edit_person, _("The particulars are changed."))
    if is_kept:
        return redirect("plant:person", code)
    heading = _("Particulars of %(person)s") % {"person": Person.objects.get(pk=found.pk)}
    return render(request, "people/person_form.html", {"form": form, "person": found, "heading": heading})


def _try(
    request: HttpRequest, code: str, kind: type[BaseForm], name: str, change: Callable[..., object]
) -> HttpResponse:
    """Make a change out of a form of the person's page, or show the page with what is wrong."""
    found, form = get_object_or_404(Person, code=code), kind(request.POST, prefix=name)
    if form.is_valid():
        with refusal_on(form), what_is_lost_said(request):
            change(found, **form.cleaned_data, by=user_of(request))
            messages.success(request, _("It is on record."))
            return redirect(found)
    return _page(request, found, **{f"{name}_form": form})


@needs("edit people")
@require_POST
def add_skill(request: HttpRequest, code: str) -> HttpResponse:
    """Put a skill on record or renew it."""
    return _try(request, code, QualificationForm, "skill", act.set_qualification)


@needs("edit people")
@require_POST
def drop_skill(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a skill off."""
    held = get_object_or_404(Qualification.objects.select_related("person", "skill"), person__code=code, pk=pk)
    with what_is_lost_said(request):
        act.drop_qualification(held, by=user_of(request))
        messages.success(request, _("The skill is taken off; the history keeps it."))
    return redirect(held.person)


@needs("edit people")
@require_POST
def add_duty(request: HttpRequest, code: str) -> HttpResponse:
    """Put somebody on a shift."""
    return _try(request, code, DutyForm, "duty", act.add_duty)


@needs("edit people")
def end_duty(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """End a turn on a shift."""
    duty = get_object_or_404(ShiftDuty.objects.select_related("person", "shift"), person__code=code, pk=pk)
    initial = {"until_on": duty.until_on or day_of(request)}
    form = EndDutyForm(request.POST if request.method == "POST" else None, initial=initial)
    if form.is_valid():
        with refusal_on(form), what_is_lost_said(request):
            act.end_duty(duty, form.cleaned_data["until_on"], by=user_of(request))
            messages.success(request, _("It is on record."))
            return redirect(duty.person)
    heading = _("Last day of %(person)s on the %(shift)s") % {"person": duty.person, "shift": duty.shift}
    return render(request, "people/person_form.html", {"form": form, "person": duty.person, "heading": heading})


@needs("edit people")
@require_POST
def add_absence(request: HttpRequest, code: str) -> HttpResponse:
    """Put an absence on record."""
    return _try(request, code, AbsenceForm, "absence", act.add_absence)


@needs("edit people")
@require_POST
def drop_absence(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take an absence off."""
    absence = get_object_or_404(Absence.objects.select_related("person"), person__code=code, pk=pk)
    act.drop_absence(absence, by=user_of(request))
    messages.success(request, _("The absence is taken off; the history keeps it."))
    return redirect(absence.person)
