"""Book what comes onto the shelf and what leaves it: first choose the part, then say the rest."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.actions.refusals import MoveRefused
from inventory.actions.taking_back import refuse_what_stands
from inventory.forms.moves import (
    CountForm,
    IssueForm,
    MoveForm,
    ReceiveForm,
    ReturnForm,
    ScrapForm,
    TakeBackForm,
    TransferForm,
)
from inventory.models import Part, PurchaseOrderLine, StockMove
from inventory.shelf import gather_shelves
from inventory.words import waiting_words
from plant.access import needs
from plant.frame.requests import refusal_on, today_of, typed, user_of

MATCHES = 30


@dataclass(frozen=True)
class Booking:
    """One kind of booking: its page's words and its form."""

    url: str
    heading: str | Promise
    button: str | Promise
    lead: str | Promise
    form: type[MoveForm]


RECEIVE = Booking(
    "inventory:receive", _("Receive"), _("Book in"), _("Goods came: count them before you book them in."), ReceiveForm
)
ISSUE = Booking(
    "inventory:issue", _("Issue"), _("Book out"), _("Parts leave the shelf; what expires first goes first."), IssueForm
)
RETURN = Booking("inventory:return", _("Return"), _("Book back"), _("Parts came back unused."), ReturnForm)
COUNT = Booking(
    "inventory:count", _("Count"), _("Put the record right"), _("Count the shelf; the difference is booked."), CountForm
)
SCRAP = Booking(
    "inventory:scrap", _("Scrap"), _("Throw away"), _("Parts are spoiled, damaged or out of date."), ScrapForm
)
TRANSFER = Booking("inventory:transfer", _("Transfer"), _("Move"), _("Parts get another bin."), TransferForm)


@needs("move stock")
def receive(request: HttpRequest) -> HttpResponse:
    """Book goods in."""
    line = _line(request)
    if line is not None and not _is_awaited(line) and request.method != "POST":
        # Without a word the goods would come in without an order, and the order would never show them.
        messages.warning(request, _say_not_awaited(line))
        return redirect(line.order)
    initial = {"order_line": line.pk, "quantity": f"{line.missing.normalize():f}"} if line else {}
    return _book(request, RECEIVE, initial=initial)


@needs("take parts")
def issue(request: HttpRequest) -> HttpResponse:
    """Take parts out."""
    return _book(request, ISSUE, for_work_only=not user_of(request).may("move stock"))


@needs("take parts")
def give_back(request: HttpRequest) -> HttpResponse:
    """Bring unused parts back."""
    return _book(request, RETURN, for_work_only=not user_of(request).may("move stock"))


@needs("move stock")
def count(request: HttpRequest) -> HttpResponse:
    """Count what lies there."""
    return _book(request, COUNT)


@needs("move stock")
def scrap(request: HttpRequest) -> HttpResponse:
    """Throw parts away."""
    return _book(request, SCRAP)


@needs("move stock")
def transfer(request: HttpRequest) -> HttpResponse:
    """Move parts to another bin."""
    return _book(request, TRANSFER)


@needs("move stock")
def take_back(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a wrong booking back."""
    wrong = get_object_or_404(
        StockMove.objects.select_related("part__bin", "bin", "lot", "by__person", "reservation", "order_line__order"),
        part__code=code,
        pk=pk,
    )
    form = TakeBackForm(request.POST if request.method == "POST" else None, wrong=wrong)
    if form.is_valid():
        with refusal_on(form):
            messages.success(request, form.book(user_of(request)))
            _say_who_waits(request, wrong.part)
            return redirect(wrong.part)
    refused = ""
    if request.method != "POST":
        try:
            refuse_what_stands(wrong)
        except MoveRefused as refusal:
            refused = str(refusal)
    context = {"move": wrong, "part": wrong.part, "form": form, "refused": refused, "place": "storeroom"}
    return render(request, "inventory/take_back.html", context)


def _book(request: HttpRequest, booking: Booking, **options: Any) -> HttpResponse:
    part = _part(request)
    if part is None:
        return _choose_part(request, booking)
    form = booking.form(request.POST if request.method == "POST" else None, part=part, **options)
    if form.is_valid():
        with refusal_on(form):
            told = form.book(user_of(request))
            messages.success(request, told)
            _say_who_waits(request, part)
            return redirect(_after(form, part))
    shelf = gather_shelves([part], today_of(request))[part.pk]
    context = {"booking": booking, "part": part, "form": form, "shelf": shelf, "place": "storeroom"}
    return render(request, "inventory/booking.html", context)


def _part(request: HttpRequest) -> Part | None:
    """Return the part named in the address by its code, or the only one that matches what was typed."""
    wanted = typed(request, "part")
    if not wanted:
        return None
    parts = Part.objects.select_related("bin", "advice")
    exact = parts.filter(code=wanted).first()
    if exact:
        return exact
    matches = list(parts.in_use().matching(wanted)[:2])
    return matches[0] if len(matches) == 1 else None


def _choose_part(request: HttpRequest, booking: Booking) -> HttpResponse:
    wanted = typed(request, "part")
    matches = Part.objects.in_use().select_related("bin").matching(wanted).order_by("name")[:MATCHES] if wanted else []
    context = {"booking": booking, "typed": wanted, "matches": matches, "most": MATCHES, "place": "storeroom"}
    return render(request, "inventory/choose_part.html", context)


def _line(request: HttpRequest) -> PurchaseOrderLine | None:
    """Return the order's line that the address names."""
    number = request.GET.get("line", "")
    lines = PurchaseOrderLine.objects.select_related("order", "part")
    return lines.filter(pk=number).first() if number.isdecimal() else None


def _is_awaited(line: PurchaseOrderLine) -> bool:
    return PurchaseOrderLine.objects.awaited().filter(pk=line.pk).exists()


def _say_not_awaited(line: PurchaseOrderLine) -> str:
    facts = {"order": line.order.number, "part": line.part.name, "state": line.order.get_state_display()}
    if line.missing > 0:
        return _now("Nothing can be booked in on %(order)s: the order is %(state)s.") % facts
    return (
        _now(
            "%(part)s of %(order)s is all in already: nothing more is to come. More came than that? Book it in at the "
            "part, without an order, and say so in the note."
        )
        % facts
    )


def _after(form: MoveForm, part: Part) -> str:
    line = form.cleaned_data.get("order_line")
    return str(line.order.get_absolute_url() if line else part.get_absolute_url())


def _say_who_waits(request: HttpRequest, part: Part) -> None:
    """Point at work that the shelf does not serve any more."""
    shelf = gather_shelves([part], today_of(request))[part.pk]
    if shelf.waiting:
        messages.warning(request, waiting_words(shelf.waiting))
