"""Letting people into a chamber although a point that bars entry is in doubt, and barring it again."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from maintenance.entry import letting_in as act
from maintenance.entry.bars import say_finding
from maintenance.entry.forms import LetInForm
from maintenance.models import Finding, LetIn
from plant.access import needs
from plant.frame.requests import refusal_on, user_of


def _findings() -> Any:
    return Finding.objects.select_related(
        "item__check_up__kiln__mill", "item__point", "item__component", "by__person", "failure_mode", "against__by"
    )


def _context(finding: Finding) -> dict[str, Any]:
    check = finding.item.check_up
    return {
        "place": "rounds",
        "finding": finding,
        "found": say_finding(finding),
        "kiln": check.kiln,
        "number": check.number,
        "item_url": reverse("maintenance:check-item", args=[check.number, finding.item_id]),
    }


@needs(act.ACT)
def let_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Say why people may go in despite a finding."""
    finding = get_object_or_404(_findings(), pk=pk)
    kiln, user = finding.item.check_up.kiln, user_of(request)
    form = LetInForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        with refusal_on(form):
            act.let_in(finding, by=user, key=said["key"], why=said["why"])
            messages.success(
                request,
                _(
                    "On your word this no longer bars %(kiln)s. It must still be opened for entry. Your name and "
                    "sentence are shown at every entry."
                )
                % {"kiln": kiln.tag},
            )
            return redirect("maintenance:kiln", kiln.tag)
    context = {
        **_context(finding),
        "form": form,
        "refusal": act.refusal_of(finding, user),
        "heading": _("Why people may go in"),
        "button": _("Lift this bar on my word"),
    }
    return render(request, "entry/let_in.html", context)


@needs("do rounds")
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Bar the chamber again."""
    said = get_object_or_404(LetIn.objects.select_related("by__person"), pk=pk, act=LetIn.Act.LET_IN)
    finding = _findings().get(pk=said.finding_id)
    form = LetInForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        with refusal_on(form):
            act.take_back(said, by=user_of(request), key=typed["key"], why=typed["why"])
            kiln = finding.item.check_up.kiln
            messages.success(request, _("%(kiln)s is barred again.") % {"kiln": kiln.tag})
            return redirect("maintenance:kiln", kiln.tag)
    context = {
        **_context(finding),
        "said": said,
        "form": form,
        "heading": _("Bar it again"),
        "button": _("Bar the chamber"),
    }
    return render(request, "entry/let_in.html", context)
