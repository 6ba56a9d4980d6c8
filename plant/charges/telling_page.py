"""Charges in all kilns, and what people tell of them: two taps from here."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from plant import clock
from plant.access import needs
from plant.charges import telling
from plant.charges.door_seen import open_since
from plant.charges.forms import CorrectForm, TakeBackForm, TellForm
from plant.charges.held_up import held_up_charges
from plant.charges.learnt import LikelyEnd, likely_end
from plant.charges.programme import say_at, stand_of
from plant.charges.seen import TO_TELL, ChargeRow, Window, in_order, rows_of, say_what
from plant.charges.telling import ACT, What
from plant.frame.days import LocalInput, check_year, instant_of
from plant.frame.requests import mill_of, refusal_on, typed, user_of
from plant.models import Charge, ChargeWord, Kiln
from plant.warnings.consequences import say_consequences

PAGE = "plant:charges"
KILNS_SHOWN = 20
# A charge that did not begin is proposed to be started so much from now. Our own choice.
NEXT_START = timedelta(hours=2)
# Delays that are told without typing, hours. Our own choice.
LATER_H = (2, 6, 12, 24)
WHEN = {
    What.STARTED: gettext_lazy("Doors closed and started at"),
    What.OPENED: gettext_lazy("Doors opened at"),
    What.UNLOADED: gettext_lazy("Out at"),
    What.NOT_BEGUN: gettext_lazy("Expected to be started at"),
}


@needs("see kilns")
def charges(request: HttpRequest) -> HttpResponse:
    """Show what is in each kiln and comes next, its programme over three weeks, and let it be told and planned."""
    now = clock.now()
    kilns = sorted(Kiln.objects.in_use().select_related("mill"), key=in_order)
    window = _window(request, mill_of(request).zone) if kilns else None
    page = Paginator(kilns, KILNS_SHOWN).get_page(request.GET.get("page") or _page_of(kilns, typed(request, "kiln")))
    rows = rows_of(list(page.object_list), window, now) if window else []
    context: dict[str, Any] = {"place": "kilns", "rows": rows, "now": now, "page": page, "window": window}
    if window:
        context |= {"now_left": window.share(now), "part": f"&start={window.first_on.isoformat()}"}
        context["is_now_shown"] = window.from_at <= now < window.to_at
    running = Charge.objects.filter(kiln__is_active=True, basis=Charge.Basis.RUNNING, begin_at__lte=now)
    context["sentence"] = _sentence(len(kilns), running.values("kiln").distinct().count())
    return render(request, "charges/charges.html", context)


def _page_of(kilns: Sequence[Kiln], tag: str) -> int:
    """Return on which page a kiln stands."""
    found = next((number for number, kiln in enumerate(kilns) if kiln.tag == tag), 0)
    return found // KILNS_SHOWN + 1


def _window(request: HttpRequest, zone: ZoneInfo) -> Window:
    """Return the three weeks that are asked for, else those from this Monday on."""
    today = clock.today(zone)
    try:
        first_on = date.fromisoformat(typed(request, "start"))
        check_year(first_on)
    except (ValueError, ValidationError):
        first_on = today - timedelta(days=today.weekday())
    return Window(first_on, zone)


def _sentence(kilns: int, full: int) -> str:
    return ngettext(
        "%(full)d of %(all)d kiln holds a charge. Tell what happens when it happens: openings and work follow it.",
        "%(full)d of %(all)d kilns hold a charge. Tell what happens when it happens: openings and work follow it.",
        kilns,
    ) % {"full": full, "all": kilns}


@needs(ACT)
def tell(request: HttpRequest, tag: str, pk: int, what: str) -> HttpResponse:
    """Tell what happened to a charge, or when it is expected."""
    charge = _charge(tag, pk)
    if what not in TO_TELL:
        raise Http404
    usual = _asked_for(typed(request, "at")) or _usual(charge, what)
    form = TellForm(_sent(request), initial={"at": timezone.localtime(usual)})
    form.fields["at"].label = WHEN.get(What(what)) or _when_expected(charge)
    if form.is_valid():
        with refusal_on(form):
            said = form.cleaned_data
            word = telling.tell(charge, what, said["at"], key=said["key"], by=user_of(request), why=said["why"])
            return kept(request, word)
    heading = _("%(kiln)s, charge %(number)s: %(what)s") % {
        "kiln": tag,
        "number": charge.number,
        "what": say_what(charge, What(what)),
    }
    more = _notes(what)
    if what == What.EXPECTED:
        likely = likely_end(charge, clock.now())
        more |= {"likely": likely, "at_once": _at_once(usual, likely)}
    return _page(request, charge, form, heading, more)


def _sent(request: HttpRequest) -> QueryDict | None:
    """Return what was sent; one of the instants that are told at once stands for the one in the field."""
    if request.method != "POST":
        return None
    data = request.POST.copy()
    if "at_once" in data:
        data["at"] = str(data["at_once"])
    return data


def _at_once(usual: datetime, likely: LikelyEnd | None) -> list[tuple[str, str]]:
    """Return (value, words) of the instants that need no typing: as was learnt here, and some hours later."""
    ways = [(likely.at, _("As usual here: %(at)s"), 0)] if likely else []
    ways += [(usual + timedelta(hours=hours), _("%(hours)d h later: %(at)s"), hours) for hours in LATER_H]
    field = LocalInput()
    return [
        (str(field.format_value(timezone.localtime(at))), words % {"hours": hours, "at": say_at(at)})
        for at, words, hours in ways
    ]


def tell_at(charge: Charge, what: str, at: datetime) -> HttpResponse:
    """Lead to the form of a telling with an instant proposed: it takes the reason that one tap cannot give."""
    address = reverse("plant:charge-tell", args=[charge.kiln.tag, charge.pk, what])
    return redirect(f"{address}?{urlencode({'at': at.isoformat()})}")


def _asked_for(text: str) -> datetime | None:
    """Return the instant that an address proposes; None for anything else, and for what lies far away."""
    at = instant_of(text)
    return at if at is not None and abs(at - clock.now()) < telling.FARTHEST else None


def _usual(charge: Charge, what: str) -> datetime:
    """Return the instant that is proposed: now, what is expected, what the door says, or the start on record."""
    now, times = clock.now(), stand_of(charge).times
    is_inside = telling.is_inside(charge)
    if what == What.NOT_BEGUN:
        return now + NEXT_START
    if what == What.EXPECTED:
        return max(times.end_at if is_inside else times.heating_at, now)
    if what == What.OPENED and is_inside:
        return open_since(charge.kiln, times.heating_at, now) or now
    return times.heating_at if what == What.STARTED and is_inside else now


def _notes(what: str) -> dict[str, Any]:
    opens = (What.OPENED, What.UNLOADED, What.NOT_BEGUN)
    return {"is_open": what in opens, "is_start": what == What.STARTED}


def _when_expected(charge: Charge) -> str:
    return _("Expected out at") if telling.is_inside(charge) else _("Expected to be started at")


@needs(ACT)
def correct(request: HttpRequest, tag: str, pk: int, word_pk: int) -> HttpResponse:
    """Put right what was told last of a charge."""
    charge = _charge(tag, pk)
    word = get_object_or_404(ChargeWord.objects.select_related("charge"), charge=charge, pk=word_pk)
    data = request.POST if request.method == "POST" else None
    form = CorrectForm(data, initial={"at": timezone.localtime(word.at)})
    form.fields["at"].label = WHEN.get(What(word.what)) or _when_expected(charge)
    if form.is_valid():
        with refusal_on(form):
            said = form.cleaned_data
            told = telling.correct(word, said["at"], key=said["key"], by=user_of(request), why=said["why"])
            return kept(request, told, _("%(kiln)s, charge %(number)s: %(what)s is put right."))
    heading = _("%(kiln)s, charge %(number)s: put right what was told") % {"kiln": tag, "number": charge.number}
    return _page(request, charge, form, heading, {"word": word, **_notes(word.what)})


@needs(ACT)
def take_back(request: HttpRequest, tag: str, pk: int, word_pk: int) -> HttpResponse:
    """Take back what was told last of a charge."""
    charge = _charge(tag, pk)
    word = get_object_or_404(ChargeWord.objects.select_related("charge"), charge=charge, pk=word_pk)
    form = TakeBackForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        with refusal_on(form):
            said = form.cleaned_data
            telling.take_back(word, key=said["key"], by=user_of(request), why=said["why"])
            messages.success(request, _("That is taken back; the record keeps both. Its times stand as before."))
            say_consequences(request, [charge.kiln])
            return back_to(charge.kiln)
    heading = _("%(kiln)s, charge %(number)s: take back what was told") % {"kiln": tag, "number": charge.number}
    return _page(request, charge, form, heading, {"word": word, "is_taking_back": True, **_notes(What.STARTED)})


def _charge(tag: str, pk: int) -> Charge:
    return get_object_or_404(Charge.objects.select_related("kiln__mill"), kiln__tag=tag, pk=pk)


def kept(request: HttpRequest, word: ChargeWord, said: str = "") -> HttpResponse:
    """Say that a word is on record and what gave way to it, and return to its kiln."""
    facts = {"number": word.charge.number, "what": word.get_what_display(), "kiln": word.charge.kiln.tag}
    messages.success(request, (said or _("%(kiln)s, charge %(number)s: %(what)s is on record.")) % facts)
    if word.moved:
        count = len(word.moved)
        gave_way = ngettext("%(count)d charge behind it gave way.", "%(count)d charges behind it gave way.", count)
        messages.info(request, gave_way % {"count": count})
    say_consequences(request, [word.charge.kiln])
    return back_to(word.charge.kiln)


def back_to(kiln: Kiln) -> HttpResponse:
    """Return to a kiln on the page of charges."""
    return redirect(f"{reverse(PAGE)}?{urlencode({'kiln': kiln.tag})}#kiln-{kiln.tag}")


def _page(request: HttpRequest, charge: Charge, form: Form, heading: str, more: dict[str, Any]) -> HttpResponse:
    context = {
        "place": "kilns",
        "kiln": charge.kiln,
        "charge": charge,
        "form": form,
        "heading": heading,
        "one": ChargeRow(charge, (), held_up_charges([charge.kiln_id], clock.now()).get(charge.pk)),
        "words": charge.words.select_related("by__person", "corrected_by"),
        **more,
    }
    return render(request, "charges/tell_form.html", context)
