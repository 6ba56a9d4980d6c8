"""A part: what it is, what lies there, what to do and why, and all that ever happened to it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from inventory import actions
from inventory.actions.parts import PARTICULARS, TERMS, change_part, set_terms
from inventory.actions.taking_back import CAN_BE_TAKEN_BACK
from inventory.forms.orders import OrderPartForm
from inventory.forms.parts import PartForm, TermsForm
from inventory.models import Part, StockMove, SupplierTerms
from inventory.querysets import StockMoveQuerySet
from inventory.shelf import expires_soon, gather_shelves, is_expired
from inventory.use import FOOT, HEIGHT, WIDTH, draw, months_of_use
from inventory.words import particulars_words, waiting_words, what_to_do
from plant.access import needs
from plant.frame.export import csv_response
from plant.frame.requests import refusal_on, today_of, user_of
from plant.models import Change, Mill

LEDGER_PER_PAGE = 50
CHANGES_SHOWN = 20


@needs("see stores")
def part(request: HttpRequest, code: str) -> HttpResponse:
    """Show a part."""
    found = _part(code)
    day = today_of(request)
    shelf = gather_shelves([found], day)[found.pk]
    moves = _ledger(found)
    months = months_of_use(found, day, Mill.objects.current().zone)
    context = {
        "part": found,
        "shelf": shelf,
        "tags": what_to_do(shelf),
        "waiting": waiting_words(shelf.waiting),
        "places": [(level, is_expired(level.lot, day), expires_soon(level.lot, day)) for level in shelf.levels],
        "terms": found.terms.select_related("supplier"),
        "page": Paginator(moves, LEDGER_PER_PAGE).get_page(request.GET.get("page")),
        "months": months,
        "columns": draw(months),
        "picture": {"width": WIDTH, "height": HEIGHT, "ground": HEIGHT - FOOT, "words_at": HEIGHT - 6},
        "changes": [(change, particulars_words(change)) for change in _changes(found)],
        "can_be_taken_back": CAN_BE_TAKEN_BACK,
        "is_used": any(month.total for month in months),
        "place": "storeroom",
    }
    return render(request, "inventory/part.html", context)


@needs("see stores")
def ledger_csv(request: HttpRequest, code: str) -> HttpResponse:
    """Give all moves of a part as CSV."""
    found = _part(code)
    header = ["when", "what", "quantity", "unit", "balance", "bin", "lot", "for", "order", "by", "reason"]
    rows = (
        [
            move.at,
            move.get_kind_display(),
            move.quantity,
            found.unit,
            move.balance,  # type: ignore[attr-defined]
            move.bin.code,
            move.lot.code if move.lot else "",
            move.reservation.source if move.reservation else "",
            move.order_line.order.number if move.order_line else "",
            str(move.by or ""),
            move.reason,
        ]
        for move in _ledger(found)
    )
    return csv_response(f"ledger-{found.code}.csv", header, rows)


@needs("edit parts")
def edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a part's particulars."""
    found = _part(code)
    form = PartForm(request.POST if request.method == "POST" else None, instance=found)
    if form.is_valid():
        data = form.cleaned_data
        values = {name: data[name] for name in PARTICULARS}
        with refusal_on(form):
            change_part(found, values, list(data["fits"]), seen=data["seen"], by=user_of(request))
            messages.success(request, _("The particulars of %(part)s are changed.") % {"part": data["name"]})
            return redirect("inventory:part", code)
        form.renew()
    heading = _("Change %(part)s") % {"part": _part(code).name}
    return _form_page(request, code, form, heading)


@needs("edit parts")
def terms(request: HttpRequest, code: str, supplier: str = "") -> HttpResponse:
    """Change the terms of a supplier for a part, or enter those of another."""
    found = _part(code)
    known = get_object_or_404(SupplierTerms, part=found, supplier__code=supplier) if supplier else None
    form = TermsForm(request.POST if request.method == "POST" else None, part=found, instance=known)
    if form.is_valid():
        data = form.cleaned_data
        values = {name: data[name] for name in TERMS}
        with refusal_on(form):
            set_terms(found, data["supplier"], values, seen=data["seen"], by=user_of(request))
            messages.success(request, _("The terms of %(supplier)s are kept.") % {"supplier": data["supplier"]})
            return redirect("inventory:part", code)
        form.renew()
    return _form_page(request, code, form, _("Terms for %(part)s") % {"part": found.name})


@needs("draw up orders")
def order_part(request: HttpRequest, code: str) -> HttpResponse:
    """Order a part by hand."""
    found = _part(code)
    advised = found.advice.order_quantity if hasattr(found, "advice") else None
    initial = {"quantity": f"{advised.normalize():f}"} if advised else {}
    form = OrderPartForm(request.POST if request.method == "POST" else None, part=found, initial=initial)
    if form.is_valid():
        with refusal_on(form):
            line = actions.order_part(
                found, form.cleaned_data["quantity"], user_of(request), form.cleaned_data["reason"]
            )
            messages.success(request, _("%(part)s stands in %(order)s.") % {"part": found.name, "order": line.order})
            return redirect(line.order.get_absolute_url())
    return _form_page(request, code, form, _("Order %(part)s") % {"part": found.name})


def _form_page(
    request: HttpRequest, code: str, form: PartForm | TermsForm | OrderPartForm, heading: str
) -> HttpResponse:
    context = {"part": _part(code), "form": form, "heading": heading, "place": "storeroom"}
    return render(request, "inventory/part_form.html", context)


def _part(code: str) -> Part:
    return get_object_or_404(Part.objects.select_related("bin", "kind", "advice").prefetch_related("fits"), code=code)


def _changes(found: Part) -> list[Change]:
    """The latest changes of what is written about a part; its moves stand in the ledger."""
    written = Q(act="particulars") | Q(act__startswith="terms")
    return list(Change.objects.about(found).filter(written).order_by("-at", "-id")[:CHANGES_SHOWN])


def _ledger(found: Part) -> StockMoveQuerySet:
    return (
        StockMove.objects.filter(part=found)
        .with_balance()
        .select_related("bin", "lot", "by__person", "reservation", "order_line__order", "takes_back", "taken_back_by")
    )
