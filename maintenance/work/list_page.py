"""The list of work orders, and asking for work."""

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import WorkOrder
from maintenance.models.querysets import WorkOrderQuerySet
from maintenance.orders.calculations.ranking import Work, rank_work
from maintenance.orders.raising import raise_work_order
from maintenance.work.filters import TO_DO, WorkOrderFilter
from maintenance.work.forms import AskForm
from plant import clock
from plant.access import needs
from plant.basics.sentences import typed
from plant.frame.requests import mill_of, query_without_page, user_of
from plant.models import Kiln

# What a phone shows in a few screens.
A_PAGE = 25


@needs("see work")
def work_orders(request: HttpRequest) -> HttpResponse:
    """List work: safety apart and above, the rest by cost of delay per hour of work."""
    said = request.GET.copy()
    said.setdefault("state", TO_DO)
    chosen = WorkOrderFilter(said, queryset=WorkOrder.objects.all())
    # A value that cannot be meant narrows nothing: the form beside it says so.
    found = chosen.qs.distinct() if chosen.is_valid() else WorkOrder.objects.unfinished()
    is_ranked = not chosen.is_valid() or said["state"] not in ("done", "signed_off", "withdrawn", "all")
    order = _ranked(found) if is_ranked else list(found.order_by("-raised_at", "-id").values_list("pk", flat=True))
    page = Paginator(order, A_PAGE).get_page(request.GET.get("page"))
    rows = _rows(list(page.object_list))
    context = {
        "place": "rounds",
        "filter": chosen,
        "page": page,
        "safety": [row for row in rows if row.is_safety] if is_ranked else [],
        "others": [row for row in rows if not (is_ranked and row.is_safety)],
        "is_ranked": is_ranked,
        "query": query_without_page(request),
        "lead": _lead(),
        "now": clock.now(),
    }
    return render(request, "work/work_orders.html", context)


def _ranked(found: WorkOrderQuerySet) -> list[int]:
    """Return ids in their rank. The cost of a day stands for that of an hour: the order is the same."""
    columns = ("number", "pk", "hours", "cost_of_delay_per_day", "is_safety", "safety_at")
    rows = list(found.order_by().values_list(*columns))
    ids = {number: pk for number, pk, *_rest in rows}
    ranking = rank_work(
        Work(number, float(hours), int(Decimal(cost) * 100), is_safety, safety_at)
        for number, _pk, hours, cost, is_safety, safety_at in rows
    )
    return [ids[work.ref] for work in (*ranking.safety, *ranking.other)]


def _rows(ids: list[int]) -> list[WorkOrder]:
    found = {order.pk: order for order in WorkOrder.objects.for_list().filter(pk__in=ids)}
    return [found[pk] for pk in ids]


def _lead() -> str:
    """Say what matters: safety dates that have passed first, then what is late."""
    now = clock.now()
    todo = WorkOrder.objects.unfinished()
    unsafe = todo.filter(Q(safety_at__lt=now) | Q(is_safety=True, due_at__lt=now)).count()
    late, all_ = todo.filter(due_at__lt=now).count(), todo.count()
    if unsafe:
        return ngettext(
            "%(count)d safety job is overdue; %(all)d jobs are still to be done.",
            "%(count)d safety jobs are overdue; %(all)d jobs are still to be done.",
            unsafe,
        ) % {"count": unsafe, "all": all_}
    if late:
        return _("%(late)d of %(all)d jobs still to be done are past their due date; no safety date is.") % {
            "late": late,
            "all": all_,
        }
    return (
        _("%(all)d jobs are still to be done, none of them late.") % {"all": all_}
        if all_
        else _("Nothing is to be done.")
    )


@needs("raise work")
def ask_for_work(request: HttpRequest) -> HttpResponse:
    """Ask for work: first for which kiln, then what."""
    kilns = Kiln.objects.in_use()
    if "kiln" not in request.GET:
        return render(request, "work/work_order_ask_kiln.html", {"place": "rounds", "kilns": kilns})
    mill = mill_of(request)
    kiln = get_object_or_404(kilns, tag=request.GET["kiln"])
    form = AskForm(request.POST or None, kiln=kiln, mill=mill)
    if request.method == "POST" and form.is_valid():
        order = _raise(form, kiln, request)
        messages.success(request, _("%(number)s is raised.") % {"number": order.number})
        return redirect(order)
    return render(request, "work/work_order_ask.html", {"place": "rounds", "kiln": kiln, "form": form})


def _raise(form: AskForm, kiln: Kiln, request: HttpRequest) -> WorkOrder:
    said: dict[str, Any] = form.cleaned_data
    # The key cannot be stored with a work order: the same words for the same kiln on the same day are the same wish.
    twin = WorkOrder.objects.unfinished().filter(
        kiln=kiln, component=said["component"], title=said["title"], due_at=form.due_at, origin="asked_for"
    )
    return twin.first() or raise_work_order(
        kiln=kiln,
        title=said["title"],
        origin=WorkOrder.Origin.ASKED_FOR,
        due_at=form.due_at,
        by=user_of(request),
        component=said["component"],
        sheet=said["sheet"],
        needs_state=said["needs_state"] or None,
        hours=said["hours"],
        crew=said["crew"],
        is_safety=said["is_safety"],
        safety_at=form.due_at if said["is_safety"] else None,
        cost_of_delay_per_day=said["cost_of_delay_per_day"] or Decimal(0),
        why=typed(said["why"]),
    )


def work_order_url(order: WorkOrder, part: str = "") -> str:
    """Return the address of a work order, with a place on its page."""
    return reverse("maintenance:work-order", args=[order.number]) + (f"#{part}" if part else "")
