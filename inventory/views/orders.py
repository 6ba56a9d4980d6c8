"""Purchase orders: the list, an order, and what is done with it."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from inventory import actions
from inventory.forms.orders import QuantitiesForm, SendForm, WithdrawForm
from inventory.models import PurchaseOrder, SupplierTerms
from inventory.order_pdf import OrderPaper
from inventory.querysets import PurchaseOrderQuerySet
from inventory.shelf import Claim, gather_shelves
from inventory.words import history_words, order_tag, quantity_warning, waiting_words
from plant.access import needs
from plant.frame.requests import refusal_on, today_of, user_of
from plant.models import Change, Mill, User

PER_PAGE = 50
SHOWN = {
    "": gettext_lazy("Open"),
    "arrived": gettext_lazy("Arrived"),
    "withdrawn": gettext_lazy("Withdrawn"),
    "all": gettext_lazy("All"),
}


@needs("see stores")
def orders(request: HttpRequest) -> HttpResponse:
    """List the orders, late ones first."""
    day = today_of(request)
    show = request.GET.get("show", "")
    chosen = _chosen(show).select_related("supplier").prefetch_related("lines__part")
    page = Paginator(chosen.most_urgent_first(day), PER_PAGE).get_page(request.GET.get("page"))
    found = list(page.object_list)
    waiting = _waiting(found, day)
    context = {
        "page": page,
        "rows": [(order, order_tag(order, day), waiting_words(waiting[order.pk])) for order in found],
        "lead": _lead(day),
        "shown": SHOWN,
        "show": show if show in SHOWN else "",
        "place": "storeroom",
    }
    return render(request, "inventory/orders.html", context)


@needs("see stores")
def order(request: HttpRequest, number: str) -> HttpResponse:
    """Show an order."""
    return _page(request, _order(number))


@needs("see stores")
def order_paper(request: HttpRequest, number: str) -> HttpResponse:
    """Give an order as PDF, to be sent to its supplier."""
    found, mill = _order(number), Mill.objects.current()
    paper = OrderPaper(found, mill.name, mill.currency, found.sent_at or found.drawn_up_at)
    answer = HttpResponse(paper.to_bytes(), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{found.number}.pdf"'
    return answer


@needs("draw up orders")
@require_POST
def draw_up(request: HttpRequest) -> HttpResponse:
    """Draw up today's orders."""
    drawn = actions.draw_up_orders(today_of(request), user_of(request))
    if drawn.lines:
        lines = ngettext("%(n)d line", "%(n)d lines", len(drawn.lines)) % {"n": len(drawn.lines)}
        numbers = ", ".join(one.number for one in drawn.orders)
        messages.success(
            request,
            _("Drawn up: %(numbers)s with %(lines)s. Look at them, then send them.")
            % {"numbers": numbers, "lines": lines},
        )
    if drawn.without_supplier:
        names = ", ".join(part.name for part in drawn.without_supplier)
        messages.warning(
            request, _("Nobody delivers these yet, enter a supplier on their pages: %(names)s.") % {"names": names}
        )
    if not drawn.lines and not drawn.without_supplier:
        messages.info(request, _("Nothing to order today that does not stand in an order already."))
    return redirect("inventory:orders")


@needs("draw up orders")
@require_POST
def change_quantities(request: HttpRequest, number: str) -> HttpResponse:
    """Change how many are ordered."""

    def change(found: PurchaseOrder, by: User, version: int, **typed: Decimal) -> None:
        actions.change_quantities(found, {int(name.removeprefix("line_")): typed[name] for name in typed}, version, by)

    return _act(request, number, QuantitiesForm, "lines", change, _("The quantities of %(order)s are changed."))


@needs("draw up orders")
@require_POST
def send(request: HttpRequest, number: str) -> HttpResponse:
    """Mark an order as sent."""
    return _act(request, number, SendForm, "send", actions.send, _("%(order)s is marked as sent."))


@needs("draw up orders")
@require_POST
def promise(request: HttpRequest, number: str) -> HttpResponse:
    """Keep another promised day."""
    return _act(request, number, SendForm, "send", actions.promise, _("The new day of %(order)s is kept."))


@needs("draw up orders")
@require_POST
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    """Withdraw an order."""
    return _act(request, number, WithdrawForm, "withdraw", actions.withdraw, _("%(order)s is withdrawn."))


Form = QuantitiesForm | SendForm | WithdrawForm


def _act(
    request: HttpRequest, number: str, kind: type[Form], prefix: str, act: Callable[..., None], told: str
) -> HttpResponse:
    """Do what the form asks; a refusal stands above the form, which keeps what was typed."""
    found = _order(number)
    form = kind(request.POST, order=found, prefix=prefix)
    if form.is_valid():
        with refusal_on(form):
            act(found, by=user_of(request), **form.cleaned_data)
            messages.success(request, told % {"order": found})
            return redirect(found)
        found = form.order = _order(number)
        form.renew()
    return _page(request, found, form)


def _page(request: HttpRequest, found: PurchaseOrder, bound: Form | None = None) -> HttpResponse:
    day = today_of(request)
    due_on = found.promised_on or actions.likely_arrival(found, day)
    forms: dict[str, Any] = {
        "quantities_form": QuantitiesForm(order=found, prefix="lines"),
        "send_form": SendForm(order=found, prefix="send", initial={"promised_on": max(due_on, day)}),
        "withdraw_form": WithdrawForm(order=found, prefix="withdraw"),
    }
    if bound is not None:
        forms = {name: bound if type(form) is type(bound) else form for name, form in forms.items()}
    quantities = forms["quantities_form"]
    warnings = _warnings(found)
    context = {
        "order": found,
        "tag": order_tag(found, day),
        "late_days": found.late_days(day),
        "waiting": waiting_words(_waiting([found], day)[found.pk]),
        "lines": [(line, quantities[f"line_{line.pk}"], warnings[line.pk]) for line in found.lines.all()]
        if found.state == found.State.DRAWN_UP
        else [(line, None, "") for line in found.lines.all()],
        "history": [(change, history_words(change)) for change in Change.objects.about(found)],
        "place": "storeroom",
        **forms,
    }
    return render(request, "inventory/order.html", context, status=200 if bound is None else 422)


def _warnings(found: PurchaseOrder) -> dict[int, str]:
    """Return line id -> what is odd about its quantity; only an order that is not sent yet can still be mended."""
    lines = found.lines.all()
    if found.state != found.State.DRAWN_UP:
        return {}
    terms = SupplierTerms.objects.filter(supplier=found.supplier_id, part__in=[line.part_id for line in lines])
    by_part = {one.part_id: one for one in terms}
    return {line.pk: quantity_warning(line.quantity, by_part.get(line.part_id)) for line in lines}


def _order(number: str) -> PurchaseOrder:
    found = PurchaseOrder.objects.select_related("supplier", "drawn_up_by__person").prefetch_related("lines__part__bin")
    return get_object_or_404(found, number=number)


def _chosen(show: str) -> PurchaseOrderQuerySet:
    orders = PurchaseOrder.objects.all()
    if show == "all":
        return orders
    return orders.filter(state=show) if show in ("arrived", "withdrawn") else orders.still_open()


def _waiting(found: list[PurchaseOrder], day: date) -> dict[int, list[Claim]]:
    """Return order id -> the claims that wait for what it still brings."""
    parts = {line.part for order in found for line in order.lines.all() if order.is_on_the_way and line.missing}
    shelves = gather_shelves(parts, day)
    return {
        order.pk: [
            claim
            for line in order.lines.all()
            if order.is_on_the_way and line.missing
            for claim in shelves[line.part_id].waiting
        ]
        for order in found
    }


def _lead(day: date) -> str:
    late = PurchaseOrder.objects.late(day).count()
    to_send = PurchaseOrder.objects.filter(state=PurchaseOrder.State.DRAWN_UP).count()
    coming = PurchaseOrder.objects.on_the_way().count()
    words = [
        ngettext("%(n)d delivery is late", "%(n)d deliveries are late", late) % {"n": late} if late else "",
        ngettext("%(n)d order waits to be sent", "%(n)d orders wait to be sent", to_send) % {"n": to_send}
        if to_send
        else "",
        ngettext("%(n)d order is on its way", "%(n)d orders are on their way", coming) % {"n": coming}
        if coming
        else "",
    ]
    return "; ".join(word for word in words if word) + "." if any(words) else _("No order is open.")
