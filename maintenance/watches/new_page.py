"""A watch of one's own where none that ships is like it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from maintenance.watches.new_form import NewWatchForm, WhatForm
from maintenance.watches.settings import make_watch
from plant.access import needs
from plant.frame.requests import refusal_on, user_of


@needs("set watches")
def new(request: HttpRequest) -> HttpResponse:
    """Ask on which kiln, by which rule and at what it looks, then for its numbers, and make it."""
    what = WhatForm(request.GET or None)
    context = {"place": "rounds", "sub": "watches", "what": what}
    if not what.is_complete:
        return render(request, "watches/watch_new.html", context)
    kiln = what.cleaned_data["kiln"]
    form = NewWatchForm(request.POST or None, spec=what.spec, kiln=kiln)
    if form.is_valid():
        said = form.cleaned_data
        with refusal_on(form):
            made = make_watch(
                kiln,
                by=user_of(request),
                name=said["name"],
                signal=what.cleaned_data["signal"],
                rule=what.cleaned_data["rule"],
                parameters=form.parameters(),
                component_kind=said["component"].kind,
                component=said["component"],
                sentence=said["sentence"],
                sheet=said["sheet"],
                **form.changes(),
            )
            messages.success(request, _("The watch is there, switched off. Try it on the past, then switch it on."))
            return redirect(made)
    return render(request, "watches/watch_new.html", {**context, "form": form})
