"""A component of a kiln: its record, what recurs on it, what was exchanged; added, changed, retired."""

from django.contrib import messages
from django.db import transaction
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from maintenance.models import Defect, StandingTask, WorkOrder
from maintenance.recurring.editing import withdraw_standing_task
from plant.access import needs
from plant.frame.requests import refusal_on, refusal_said, user_of
from plant.kilns import components as act
from plant.kilns.forms import ComponentForm, ExchangeForm, NewComponentForm, RetireForm
from plant.models import Change, Component, Fitting, Kiln, User

SHOWN = 30


def _component(tag: str, component: str) -> Component:
    return get_object_or_404(Component.objects.select_related("kiln", "kind"), kiln__tag=tag, tag=component)


@needs("see kilns")
def component(request: HttpRequest, tag: str, component: str) -> HttpResponse:
    """Show what is on record of a component."""
    return _page(request, _component(tag, component))


def _page(request: HttpRequest, found: Component, **bound: BaseForm) -> HttpResponse:
    """Show a component; ``bound`` brings the form that was refused, by its name in the page."""
    fittings = list(found.fittings.select_related("failure_mode").order_by("-fitted_at")[:SHOWN])
    context = {
        "place": "kilns",
        "kiln": found.kiln,
        "component": found,
        "fittings": fittings,
        "current": next((one for one in fittings if one.removed_at is None), None),
        "standing": StandingTask.objects.in_use().filter(component=found).select_related("sheet"),
        "orders": WorkOrder.objects.unfinished().filter(component=found),
        "defects": Defect.objects.not_cured().filter(component=found),
        "changes": Change.objects.about(found).order_by("-at", "-id")[:SHOWN],
        "exchange_form": ExchangeForm(component=found),
        "retire_form": RetireForm(),
        **bound,
    }
    return render(request, "kilns/component.html", context)


@needs("edit kilns")
def add(request: HttpRequest, tag: str) -> HttpResponse:
    """Put a component on record."""
    kiln = get_object_or_404(Kiln, tag=tag)
    form = NewComponentForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        with refusal_on(form):
            made = act.add_component(kiln, **form.cleaned_data, by=user_of(request))
            messages.success(request, _("%(component)s is on record.") % {"component": made.name})
            return redirect("maintenance:component", tag, made.tag)
    heading = _("A new component of %(kiln)s") % {"kiln": kiln}
    return render(
        request, "kilns/component_form.html", {"place": "kilns", "kiln": kiln, "form": form, "heading": heading}
    )


@needs("edit kilns")
def edit(request: HttpRequest, tag: str, component: str) -> HttpResponse:
    """Change what a component is called."""
    found = _component(tag, component)
    heading = _("Particulars of %(component)s") % {"component": found}
    form = ComponentForm(request.POST if request.method == "POST" else None, instance=found)
    if form.keep(request, act.edit_component, _("The particulars are changed.")):
        return redirect("maintenance:component", tag, component)
    context = {"place": "kilns", "kiln": found.kiln, "component": found, "form": form, "heading": heading}
    return render(request, "kilns/component_form.html", context)


@needs("do work")
@require_POST
def exchange(request: HttpRequest, tag: str, component: str) -> HttpResponse:
    """Record an exchange."""
    found = _component(tag, component)
    form = ExchangeForm(request.POST, component=found)
    if form.is_valid():
        with refusal_on(form):
            act.exchange(found, **form.cleaned_data, by=user_of(request))
            messages.success(request, _("The exchange is on record."))
            return redirect("maintenance:component", tag, component)
    return _page(request, found, exchange_form=form)


@needs("edit kilns")
@require_POST
def take_exchange_back(request: HttpRequest, tag: str, component: str, pk: int) -> HttpResponse:
    """Take the last exchange back."""
    fitting = get_object_or_404(
        Fitting.objects.select_related("component"), component__kiln__tag=tag, component__tag=component, pk=pk
    )
    with refusal_said(request):
        act.take_exchange_back(fitting, by=user_of(request))
        messages.success(request, _("The exchange is taken back."))
    return redirect("maintenance:component", tag, component)


@needs("edit kilns")
@require_POST
def retire(request: HttpRequest, tag: str, component: str) -> HttpResponse:
    """Take a component out of use; what recurred on it recurs no longer."""
    found = _component(tag, component)
    form = RetireForm(request.POST)
    if form.is_valid():
        with refusal_on(form):
            ended = _retire(found, form.cleaned_data["why"], user_of(request))
            told = {"component": found.name, "count": len(ended)}
            said = ngettext(
                "%(component)s is out of use; %(count)d recurring task ended with it.",
                "%(component)s is out of use; %(count)d recurring tasks ended with it.",
                len(ended),
            )
            messages.success(request, said % told)
            safety = [str(task) for task in ended if task.is_safety]
            if safety:
                words = _("Safety work ended with it: %(tasks)s. Local codes say whether the kiln may run without it.")
                messages.warning(request, words % {"tasks": "; ".join(safety)})
            return redirect("maintenance:component", tag, component)
    return _page(request, found, retire_form=form)


@transaction.atomic
def _retire(component: Component, why: str, by: User) -> list[StandingTask]:
    act.retire(component, why, by=by)
    tasks = list(StandingTask.objects.in_use().filter(component=component).select_related("kiln", "sheet"))
    for task in tasks:
        withdraw_standing_task(task, why, version=task.version, by=by)
    return tasks


@needs("edit kilns")
@require_POST
def bring_back(request: HttpRequest, tag: str, component: str) -> HttpResponse:
    """Take a retired component into use again."""
    found = _component(tag, component)
    act.bring_back(found, by=user_of(request))
    messages.success(request, _("%(component)s is in use again.") % {"component": found.name})
    return redirect("maintenance:component", tag, component)
