"""Charges in all kilns, and what people tell of them: two taps from here."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from plant import clock
from plant.access import needs
from plant.charges import telling
from plant.charges.forms import CorrectForm, TakeBackForm, TellForm
from plant.charges.programme import basis_of, stand_of
from plant.charges.telling import ACT, What
from plant.frame.requests import refusal_on, user_of
from plant.models import Charge, ChargeWord, Downtime, Kiln

PAGE = "plant:charges"
LATER_SHOWN = 4
TO_TELL = {
    What.STARTED: gettext_lazy("Loaded and started"),
    What.OPENED: gettext_lazy("Opened"),
    What.UNLOADED: gettext_lazy("Unloaded"),
    What.EXPECTED: gettext_lazy("Starts at another time"),
}
# Of a charge that is in the kiln.
INSIDE_TO_TELL = {
    What.EXPECTED: gettext_lazy("Out later or sooner"),
    What.STARTED: gettext_lazy("Started at another time"),
}
WHEN = {
    What.STARTED: gettext_lazy("Doors closed and started at"),
    What.OPENED: gettext_lazy("Doors opened at"),
    What.UNLOADED: gettext_lazy("Out at"),
}


@dataclass(frozen=True, slots=True)
class ChargeRow:
    """A charge, what was told of it and counts, and what can be told of it next."""

    charge: Charge
    words: Sequence[ChargeWord]

    @property
    def is_overdue(self) -> bool:
        """Whether it should have been started, or out, by now."""
        now = clock.now()
        basis = basis_of(self.charge, now)
        due_at = self.charge.begin_at if basis == Charge.Basis.PLANNED else self.charge.end_at
        return basis != Charge.Basis.DONE and due_at < now

    @property
    def to_tell(self) -> list[tuple[str, str]]:
        """Return (what, button), the likeliest first."""
        return [(str(what), _to_tell(self.charge, what)) for what in telling.may_tell(self.charge, self.words)]

    @property
    def stand(self) -> str:
        """What it is now, in a word."""
        return str(Charge.Basis(basis_of(self.charge, clock.now())).label)

    @property
    def last(self) -> ChargeWord | None:
        """The word that can be put right."""
        return self.words[-1] if self.words else None


@dataclass(frozen=True, slots=True)
class KilnRow:
    """A kiln with the charge in it, the last one out and those to come."""

    kiln: Kiln
    inside: ChargeRow | None
    out: ChargeRow | None
    ahead: Sequence[ChargeRow]
    later: int
    stop: Downtime | None


@needs("see kilns")
def charges(request: HttpRequest) -> HttpResponse:
    """Show what is in each kiln and comes next, and let it be told."""
    now = clock.now()
    rows = _rows(now)
    context = {"place": "kilns", "rows": rows, "now": now, "sentence": _sentence(rows)}
    return render(request, "charges/charges.html", context)


def _rows(now: datetime) -> list[KilnRow]:
    """Return the kilns in use, each with its charges; a fixed number of queries."""
    kilns = list(Kiln.objects.in_use())
    of_kiln: dict[int, list[Charge]] = {kiln.pk: [] for kiln in kilns}
    for charge in Charge.objects.lately(kilns, now).select_related("kiln"):
        of_kiln[charge.kiln_id].append(charge)
    words = telling.words_of(charge for found in of_kiln.values() for charge in found)
    stops = {stop.kiln_id: stop for stop in Downtime.objects.filter(kiln__in=kilns).stops_at(now)}
    rows = []
    for kiln in kilns:
        found = [ChargeRow(charge, words[charge.pk]) for charge in of_kiln[kiln.pk]]
        ahead = [row for row in found if basis_of(row.charge, now) == Charge.Basis.PLANNED]
        rows.append(
            KilnRow(
                kiln,
                next((row for row in found if telling.is_inside(row.charge)), None),
                next((row for row in reversed(found) if row.charge.basis == Charge.Basis.DONE and row.last), None),
                ahead[:LATER_SHOWN],
                max(0, len(ahead) - LATER_SHOWN),
                stops.get(kiln.pk),
            )
        )
    return rows


def _sentence(rows: Sequence[KilnRow]) -> str:
    full = sum(row.inside is not None for row in rows)
    return ngettext(
        "%(full)d of %(all)d kiln holds a charge. Tell what happens when it happens: openings and work follow it.",
        "%(full)d of %(all)d kilns hold a charge. Tell what happens when it happens: openings and work follow it.",
        len(rows),
    ) % {"full": full, "all": len(rows)}


@needs(ACT)
def tell(request: HttpRequest, tag: str, pk: int, what: str) -> HttpResponse:
    """Tell what happened to a charge, or when it is expected."""
    charge = _charge(tag, pk)
    if what not in TO_TELL:
        raise Http404
    data = request.POST if request.method == "POST" else None
    form = TellForm(data, initial={"at": timezone.localtime(_usual(charge, what))})
    form.fields["at"].label = WHEN.get(What(what)) or _when_expected(charge)
    if form.is_valid():
        with refusal_on(form):
            typed = form.cleaned_data
            word = telling.tell(charge, what, typed["at"], key=typed["key"], by=user_of(request), why=typed["why"])
            return _kept(request, word)
    heading = _("%(kiln)s, charge %(number)s: %(what)s") % {
        "kiln": tag,
        "number": charge.number,
        "what": _to_tell(charge, What(what)),
    }
    return _page(request, charge, form, heading, _notes(what))


def _usual(charge: Charge, what: str) -> datetime:
    """Return the instant that is proposed: now, what is expected, or the start that is on record."""
    now, times = clock.now(), stand_of(charge).times
    is_inside = telling.is_inside(charge)
    if what == What.EXPECTED:
        return max(times.end_at if is_inside else times.heating_at, now)
    return times.heating_at if what == What.STARTED and is_inside else now


def _to_tell(charge: Charge, what: ChargeWord.What) -> str:
    """Return what is told, as a button and a heading say it."""
    return str(INSIDE_TO_TELL.get(what, TO_TELL[what]) if telling.is_inside(charge) else TO_TELL[what])


def _notes(what: str) -> dict[str, Any]:
    return {"is_open": what in (What.OPENED, What.UNLOADED), "is_start": what == What.STARTED}


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
            typed = form.cleaned_data
            told = telling.correct(word, typed["at"], key=typed["key"], by=user_of(request), why=typed["why"])
            return _kept(request, told, _("%(kiln)s, charge %(number)s: %(what)s is put right."))
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
            typed = form.cleaned_data
            telling.take_back(word, key=typed["key"], by=user_of(request), why=typed["why"])
            messages.success(request, _("That is taken back; the record keeps both. Its times stand as before."))
            return redirect(PAGE)
    heading = _("%(kiln)s, charge %(number)s: take back what was told") % {"kiln": tag, "number": charge.number}
    return _page(request, charge, form, heading, {"word": word, "is_taking_back": True, **_notes(What.STARTED)})


def _charge(tag: str, pk: int) -> Charge:
    return get_object_or_404(Charge.objects.select_related("kiln__mill"), kiln__tag=tag, pk=pk)


def _kept(request: HttpRequest, word: ChargeWord, said: str = "") -> HttpResponse:
    facts = {"number": word.charge.number, "what": word.get_what_display(), "kiln": word.charge.kiln.tag}
    messages.success(request, (said or _("%(kiln)s, charge %(number)s: %(what)s is on record.")) % facts)
    if word.moved:
        count = len(word.moved)
        gave_way = ngettext("%(count)d charge behind it gave way.", "%(count)d charges behind it gave way.", count)
        messages.info(request, gave_way % {"count": count})
    return redirect(PAGE)


def _page(request: HttpRequest, charge: Charge, form: Form, heading: str, more: dict[str, Any]) -> HttpResponse:
    context = {
        "place": "kilns",
        "kiln": charge.kiln,
        "charge": charge,
        "form": form,
        "heading": heading,
        "stand": ChargeRow(charge, ()).stand,
        "words": charge.words.select_related("by__person", "corrected_by"),
        **more,
    }
    return render(request, "charges/tell_form.html", context)
