"""The numbers of a watch: changed, copied, and tried on the past before they are kept."""

import json
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from maintenance.models import Watch
from maintenance.watches.calculations.rows import rule_parameters
from maintenance.watches.forms import CopyForm, RuleForm, TrialForm, WatchForm
from maintenance.watches.settings import change_watch, copy_watch
from maintenance.watches.specs import spec_of
from maintenance.watches.trials import is_about, run_trial, sides_of, want_trial
from maintenance.watches.words import rule_words
from plant import clock
from plant.access import needs
from plant.background.queueing import waits_long
from plant.frame.requests import mill_of, refusal_on, renew, user_of
from plant.frame.typed_numbers import row_number
from plant.models import Job


def _watch(pk: int) -> Watch:
    related = ("kiln__mill", "component", "component_kind", "sheet")
    return get_object_or_404(Watch.objects.select_related(*related), pk=pk)


def _typed(request: HttpRequest, names: list[str]) -> dict[str, Any]:
    """Return the numbers of a rule that an address brings along, as a trial hands them over."""
    return {name: request.GET[name] for name in names if name in request.GET}


@needs("set watches")
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a watch of one's own; of one that ships a copy is made instead."""
    found = _watch(pk)
    if found.is_shipped:
        return redirect(f"{reverse('maintenance:watch-copy', args=[pk])}?{request.GET.urlencode()}")
    spec = spec_of(found)
    brought = _typed(request, list(rule_parameters(spec.rule)))
    form = WatchForm(request.POST or None, watch=found, spec=spec)
    _bring(form, brought)
    if form.is_valid():
        with refusal_on(form):
            change_watch(
                found,
                by=user_of(request),
                version=form.cleaned_data["version"],
                name=form.cleaned_data["name"],
                parameters=form.parameters(),
                **form.changes(),
            )
            messages.success(request, _("It looks by these numbers from now on."))
            return redirect(found)
        renew(form, version=Watch.objects.get(pk=pk).version)
    return _form_page(request, form, found)


@needs("set watches")
def copy(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a watch of one's own from another, with other numbers or for another kiln."""
    found = _watch(pk)
    spec = spec_of(found)
    brought = _typed(request, list(rule_parameters(spec.rule)))
    form = CopyForm(request.POST or None, watch=found, spec=spec)
    _bring(form, brought)
    if form.is_valid():
        with refusal_on(form):
            made = copy_watch(
                found,
                by=user_of(request),
                name=form.cleaned_data["name"],
                parameters=form.parameters(),
                kiln=form.cleaned_data["kiln"],
                **form.changes(),
            )
            messages.success(request, _("The copy is there, switched off. Try it on the past, then switch it on."))
            return redirect(made)
    return _form_page(request, form, found)


def _bring(form: RuleForm, brought: dict[str, Any]) -> None:
    """Put numbers that were tried into the form, as they were typed there."""
    for name, value in brought.items():
        form.fields[name].initial = value


def _form_page(request: HttpRequest, form: WatchForm, found: Watch) -> HttpResponse:
    context = {"place": "rounds", "sub": "watches", "form": form, "watch": found, "rule": rule_words(found)}
    return render(request, "watches/watch_form.html", context)


@needs("set watches")
def trial(request: HttpRequest, pk: int) -> HttpResponse:
    """Try a watch on the past, as it stands and with other numbers; what takes long runs in the background."""
    found = _watch(pk)
    spec = spec_of(found)
    form = TrialForm(request.POST or None, spec=spec, mill=mill_of(request))
    context: dict[str, Any] = {"place": "rounds", "sub": "watches", "watch": found, "rule": rule_words(found)}
    if form.is_valid():
        days, parameters = form.cleaned_data["days"], form.parameters()
        if not spec.is_per_charge:
            job = want_trial(found, days, parameters, by=user_of(request), now=clock.now())
            return redirect(f"{reverse('maintenance:watch-trial', args=[pk])}?job={job.pk}")
        context |= _outcome(found, run_trial(found, days, parameters))
    elif request.method == "GET" and "job" in request.GET:
        job = _job(request, found)
        form = _as_asked(job, found, request)
        context |= {"job": job, "waits_long": waits_long(job)}
        if job.state == Job.State.FINISHED and job.result:
            context |= _outcome(found, job.result)
    context |= {"form": form, "changed": _changed(form)}
    is_part = bool(request.htmx)  # type: ignore[attr-defined]
    return render(request, "watches/watch_trial_result.html" if is_part else "watches/watch_trial.html", context)


def _job(request: HttpRequest, found: Watch) -> Job:
    job = Job.objects.filter(pk=row_number(request.GET.get("job", ""))).first()
    if job is None or not is_about(job, found):
        raise Http404
    return job


def _as_asked(job: Job, found: Watch, request: HttpRequest) -> TrialForm:
    """Show the form as it was filled in for a trial."""
    parameters = json.loads(job.arguments["parameters"])
    form = TrialForm(spec=spec_of(found), mill=mill_of(request), changed=parameters)
    form.fields["days"].initial = job.arguments["days"]
    return form


def _outcome(found: Watch, result: dict[str, Any]) -> dict[str, Any]:
    return {"sides": sides_of(found, result), "is_done": True}


def _changed(form: TrialForm) -> str:
    """Return the numbers of the form as part of an address, for the page that keeps them."""
    query = QueryDict(mutable=True)
    for field in form.rule_fields:
        value = field.value()
        if value not in (None, ""):
            query[field.name] = str(value)
    return query.urlencode()
