"""The first hour: what is still missing, the mill's name, and a new kiln by questions."""

from collections import defaultdict
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.recurring.pages import rule_words
from maintenance.setting_up.first_hour import steps
from maintenance.setting_up.forms import NewKilnForm, NewMillForm
from maintenance.setting_up.making import Choice, begin_mill, make_kiln
from maintenance.setting_up.proposed_watches import own_numbers, watch_row
from maintenance.setting_up.proposing import Proposal, ProposedTask, propose
from plant import clock
from plant.access import needs
from plant.frame.requests import refusal_on, user_of
from plant.models import Kiln, Mill

MOST_BETWEEN = 100_000


@needs("see kilns")
def first_hour(request: HttpRequest) -> HttpResponse:
    """Show what the mill still needs, what pays first coming first."""
    found = steps(user_of(request))
    first = next((step for step in found if not step.is_done), None)
    return render(request, "setting_up/first_hour.html", {"place": "kilns", "steps": found, "first": first})


@needs("edit mill")
def begin(request: HttpRequest) -> HttpResponse:
    """Name the mill of an empty database."""
    if request.method == "GET" and Mill.objects.exists():
        return redirect("plant:mill")
    form = NewMillForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        with refusal_on(form):
            mill = begin_mill(form.cleaned_data, by=user_of(request))
            messages.success(request, _("%(mill)s is on record. Next comes its first kiln.") % {"mill": mill.name})
            return redirect("maintenance:first-hour")
    return render(request, "setting_up/mill_begin.html", {"place": "kilns", "form": form})


@needs("edit kilns")
def new_kiln(request: HttpRequest) -> HttpResponse:
    """Ask a few questions of a new kiln, propose what it has and what recurs on it, and keep what stays ticked."""
    mill = Mill.objects.first()
    if mill is None:
        return redirect("maintenance:first-hour")
    form = NewKilnForm(request.POST if request.method == "POST" else None, mill=mill)
    if not form.is_valid() or "back" in request.POST:
        return render(request, "setting_up/kiln_new.html", {"place": "kilns", "form": form})
    kiln = form.save(commit=False)
    proposal = propose(kiln, form.answers(), clock.today(mill.zone))
    if "keep" in request.POST:
        choice, faults = _choice(request, proposal, mill)
        if not faults:
            with refusal_on(form):
                made = make_kiln(kiln, proposal, choice, by=user_of(request))
                messages.success(request, _said_made(made))
                return redirect("maintenance:kiln", made.tag)
        for fault in faults:
            form.add_error(None, fault)
    return render(request, "setting_up/kiln_proposed.html", _proposed(request, form, proposal))


def _said_made(kiln: Kiln) -> str:
    count = kiln.components.count()
    told = {"kiln": kiln, "count": count, "tasks": kiln.standing_tasks.count(), "watches": kiln.watches.count()}
    said = ngettext(
        "%(kiln)s is on record, with %(count)d component; recurring tasks: %(tasks)d; watches: %(watches)d.",
        "%(kiln)s is on record, with %(count)d components; recurring tasks: %(tasks)d; watches: %(watches)d.",
        count,
    )
    return said % told


def _choice(request: HttpRequest, proposal: Proposal, mill: Mill) -> tuple[Choice, list[str]]:
    """Return what is ticked, with the numbers typed beside it, and what cannot be."""
    intervals, faults = _intervals(request, proposal)
    codes = set(request.POST.getlist("watch"))
    ticked = [one for one in proposal.watches if one.spec.code in codes]
    typed = {one.spec.code: request.POST.get(f"number-{one.spec.code}", "") for one in ticked}
    numbers, more = own_numbers(ticked, mill, typed)
    return Choice(request.POST.getlist("position"), intervals, codes, numbers), faults + more


def _intervals(request: HttpRequest, proposal: Proposal) -> tuple[dict[str, int], list[str]]:
    """Return every how many each task that is ticked shall recur, and what cannot be."""
    chosen = set(request.POST.getlist("task"))
    found: dict[str, int] = {}
    faults = []
    for one in proposal.tasks:
        if one.key not in chosen:
            continue
        text = request.POST.get(f"every-{one.key}", "").strip()
        if text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_BETWEEN:
            found[one.key] = int(text)
        else:
            faults.append(
                _("%(task)s: every how many? Write a whole number from 1, or untick it.")
                % {"task": one.task.sheet.title}
            )
    return found, faults


def _proposed(request: HttpRequest, form: NewKilnForm, proposal: Proposal) -> dict[str, Any]:
    """Gather the page on which what is proposed is ticked; what was ticked before stays so."""
    is_first = "keep" not in request.POST
    ticked = set(request.POST.getlist("position")) | set(request.POST.getlist("task"))
    rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for one in proposal.positions:
        tag = one.position.tag
        rows[one.kind.get_group_display()].append({"proposed": one, "is_ticked": is_first or tag in ticked})
    groups = [
        {
            "name": name,
            "rows": found,
            "names": list(dict.fromkeys(row["proposed"].kind.name for row in found)),
            "is_whole": all(row["is_ticked"] for row in found),
        }
        for name, found in rows.items()
    ]
    tasks: list[dict[str, Any]] = [
        {
            "proposed": one,
            "rule": rule_words(one.task),
            "every": request.POST.get(f"every-{one.key}", one.every),
            "is_ticked": one.is_proposed if is_first else one.key in ticked,
        }
        for one in proposal.tasks
    ]
    # What somebody else asks for, or what bars entry, is looked at; the rest can be left as it is.
    first_tasks = [row for row in tasks if _is_to_be_seen(row["proposed"])]
    kinds = {one.kind.code: one.points for one in proposal.positions}
    watching = set(request.POST.getlist("watch"))
    watches = [
        watch_row(
            one,
            form.instance.mill,
            request.POST.get(f"number-{one.spec.code}"),
            is_ticked=is_first or one.spec.code in watching,
        )
        for one in proposal.watches
    ]
    surveys = [row for row in tasks if row["proposed"].why is not None]
    return {
        "place": "kilns",
        "form": form,
        "has_no_way_out": form.answers().escape_doors == 0,
        "is_survey_open": bool(surveys) and not any(row["proposed"].is_proposed for row in surveys),
        "groups": groups,
        "first_tasks": first_tasks,
        "other_tasks": [row for row in tasks if row not in first_tasks],
        "is_looked_at": not is_first,
        "watches": watches,
        "count": len(proposal.positions),
        "points": sum(kinds.values()),
    }


def _is_to_be_seen(one: ProposedTask) -> bool:
    return one.is_published or one.why is not None or one.task.is_safety
