"""Watches: the list for all kilns, one with what it raised, its switch, and the word whether it was right."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from maintenance.losses.price_of_waiting import KINDS
from maintenance.models import Firing, Watch
from maintenance.pricing.prefill import cannot_say
from maintenance.watches.forms import JudgeForm, KilnWithoutWatchesForm, WatchFilter
from maintenance.watches.settings import set_up_watches, switch_off, switch_on
from maintenance.watches.specs import channel_keys, shipped_specs, spec_of, unsuited_why
from maintenance.watches.verdicts import judge
from maintenance.watches.words import phase_words, rule_words, sentence_to_come, signal_words, value_words
from plant import clock
from plant.access import needs
from plant.frame.requests import query_without_page, refusal_said, say_errors, user_of, version_of
from plant.models import Change, FailureMode, Kiln
from plant.readings.hot_kilns import signal_words_of

PER_PAGE = 50
FIRINGS_PER_PAGE = 10
GOING_ON_SHOWN = 20
CHANGES_SHOWN = 30
AROUND = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class Row:
    """A watch in the list, and its rule in words."""

    watch: Any
    rule: str

    @property
    def judged(self) -> int:
        """Return how many of its firings were judged."""
        return int(self.watch.right + self.watch.wrong)


@needs("see watches")
def watches(request: HttpRequest) -> HttpResponse:
    """List the watches of all kilns, and above them what they say now."""
    asked = WatchFilter(request.GET)
    asked.is_valid()
    kiln: Kiln | None = asked.cleaned_data.get("kiln")
    found, state = _found(asked.cleaned_data), asked.cleaned_data.get("state") or ""
    if not state and not _shown(found, "").exists():
        # Where none has spoken yet, an empty list would hide that they look.
        state = "all"
    page = Paginator(_shown(found, state), PER_PAGE).get_page(request.GET.get("page"))
    going_on = Firing.objects.for_list().going_on().filter(watch__is_on=True)
    if kiln:
        going_on = going_on.filter(watch__kiln=kiln)
    bare = Kiln.objects.in_use().filter(watches__isnull=True, channels__is_active=True).distinct()
    context = {
        "place": "rounds",
        "sub": "watches",
        "filter": asked,
        "kiln": kiln,
        "page": page,
        "rows": [Row(watch, rule_words(watch)) for watch in page],
        "query": query_without_page(request),
        "silent": 0 if state else _shown(found, "silent").count(),
        "other_query": urlencode([(name, value) for name, value in request.GET.items() if name in ("kiln", "q")]),
        "going_on": going_on.order_by("is_notice", "-begin_at")[:GOING_ON_SHOWN],
        "going_on_count": going_on.count(),
        "bare": bare,
        "unsuited": _unsuited(kiln) if kiln else [],
        "lead": _lead(going_on, kiln),
    }
    return render(request, "watches/watches.html", context)


def _found(asked: dict[str, Any]) -> "QuerySet[Watch]":
    """Return the watches of the kiln and with the words asked for, whatever their state."""
    found = Watch.objects.with_counts().select_related("kiln__mill", "component_kind", "sheet", "component")
    if asked.get("kiln"):
        found = found.filter(kiln=asked["kiln"])
    for word in (asked.get("q") or "").split():
        found = found.filter(Q(name__icontains=word) | Q(kiln__tag__iexact=word) | Q(code__icontains=word))
    return found.order_by("kiln__tag", "-is_on", "name", "pk")


def _shown(found: "QuerySet[Watch]", state: str) -> "QuerySet[Watch]":
    """Return those to be shown: if nothing is asked for, those that have spoken at least once."""
    if state in ("on", "off"):
        return found.filter(is_on=state == "on")
    if state == "all":
        return found
    has_spoken = Q(pk__in=Firing.objects.values("watch"))
    return found.filter(~has_spoken if state == "silent" else has_spoken)


def _unsuited(kiln: Kiln) -> list[tuple[str, str]]:
    """Return what ships and does not suit a kiln's channels, with the reason."""
    keys = channel_keys(kiln)
    found = ((spec.name, unsuited_why(spec, keys, kiln)) for spec in shipped_specs())
    return [(name, why) for name, why in found if why]


def _lead(going_on: "QuerySet[Firing]", kiln: Kiln | None) -> str:
    switched_on = Watch.objects.switched_on()
    on = (switched_on.filter(kiln=kiln) if kiln else switched_on).count()
    work = going_on.filter(is_notice=False).count()
    count = going_on.count()
    looking = ngettext("%d watch looks.", "%d watches look.", on) % on
    if not count:
        return f"{_('None speaks up now.')} {looking}" if on else _("No watch is switched on.")
    said = ngettext("One speaks up now, ", "%d speak up now, ", count)
    raised = ngettext("%d of them with a work order.", "%d of them with work orders.", work) % work
    return f"{said % count if count > 1 else said}{raised if work else _('none with a work order.')} {looking}"


@needs("see watches")
def watch(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a watch: what it looks at, how often it was right, and all that it raised."""
    found = _watch(pk)
    spec = spec_of(found)
    page = Paginator(Firing.objects.for_list().filter(watch=found), FIRINGS_PER_PAGE).get_page(request.GET.get("page"))
    for firing in page:
        firing.watch = found
    context = {
        "place": "rounds",
        "sub": "watches",
        "watch": found,
        "row": Row(found, rule_words(found)),
        "signal": signal_words(found.signal, is_figure=found.rule in ("drift", "trend")),
        "phases": phase_words(found),
        "too_hot": signal_words_of(found.signal, found.kiln),
        "no_price": cannot_say(found.kiln, found.loss_kind, clock.now()) if found.loss_kind in KINDS else (),
        "says": sentence_to_come(spec, found.kiln.mill),
        "blind_why": unsuited_why(spec, channel_keys(found.kiln), found.kiln),
        "modes": _modes(found),
        "page": page,
        "firings": [(firing, value_words(found, firing.worst_value), _about_then(firing)) for firing in page],
        "query": query_without_page(request),
        "changes": Change.objects.about(found).select_related("by__person").order_by("-at", "-id")[:CHANGES_SHOWN],
    }
    return render(request, "watches/watch.html", context)


def _watch(pk: int) -> Any:
    related = ("kiln__mill", "component", "component_kind", "sheet")
    return get_object_or_404(Watch.objects.with_counts().select_related(*related), pk=pk)


def _modes(found: Watch) -> list[str]:
    """Return the names of the failure modes that a watch suspects, the most likely first.

    Those of another kind of component than the suspected one come with the name of it.
    """
    modes = FailureMode.objects.filter(code__in=found.failure_modes).select_related("kind")
    own_kind = found.component_kind_id or (found.component and found.component.kind_id)
    names = {mode.code: mode.name if mode.kind_id == own_kind else f"{mode.name} ({mode.kind.name})" for mode in modes}
    return [names.get(code, code) for code in found.failure_modes]


def _about_then(firing: Firing) -> str:
    """Return the query for the climate some hours before and after a firing."""
    until = min((firing.end_at or firing.begin_at) + AROUND, clock.now())
    span = {"from": firing.begin_at - AROUND, "until": max(until, firing.begin_at + AROUND / 2)}
    return urlencode({name: at.strftime("%Y-%m-%dT%H:%M:%SZ") for name, at in span.items()})


@require_POST
@needs("set watches")
def switch(request: HttpRequest, pk: int, is_on: bool) -> HttpResponse:
    """Switch a watch on or off."""
    found = get_object_or_404(Watch, pk=pk)
    with refusal_said(request):
        (switch_on if is_on else switch_off)(found, by=user_of(request), version=version_of(request))
        done = _("It looks from now on.") if is_on else _("It looks no more; what it had seen is over.")
        messages.success(request, done)
    return redirect(found)


@require_POST
@needs("set watches")
def set_up(request: HttpRequest) -> HttpResponse:
    """Give a kiln the watches that ship, as far as its sensors can serve them."""
    form = KilnWithoutWatchesForm(request.POST)
    if not form.is_valid():
        messages.error(request, say_errors(form))
        return redirect("maintenance:watches")
    kiln = form.cleaned_data["kiln"]
    done = set_up_watches(kiln, by=user_of(request))
    said = ngettext(
        "%(kiln)s has %(count)d new watch, switched off. Try it on the past, then switch it on.",
        "%(kiln)s has %(count)d new watches, switched off. Try each on the past, then switch it on.",
        done.new,
    )
    messages.success(request, said % {"kiln": kiln.tag, "count": done.new})
    return redirect(f"{reverse('maintenance:watches')}?kiln={kiln.tag}&state=all")


@require_POST
@needs("judge watches")
def judge_firing(request: HttpRequest, pk: int) -> HttpResponse:
    """Say whether a watch was right, or take that back."""
    firing = get_object_or_404(Firing.objects.select_related("watch"), pk=pk)
    form = JudgeForm(request.POST)
    if form.is_valid():
        with refusal_said(request):
            judge(firing, by=user_of(request), verdict=form.cleaned_data["verdict"], why=form.cleaned_data["why"])
            done = _("Kept, with your name and the time.") if form.cleaned_data["verdict"] else _("It is open again.")
            messages.success(request, done)
    else:
        messages.error(request, say_errors(form))
    return redirect(f"{firing.watch.get_absolute_url()}#firing-{firing.pk}")
