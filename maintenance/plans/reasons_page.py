"""Why a job is where it is, what a wish would cost, and how sure a plan is: of a plan, or of what is on record."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from maintenance.models import Plan, WorkOrder
from maintenance.plans.forms import WishForm
from maintenance.plans.seen_doubt import buffer_rows, doubt_of, holds_rows, spread_of
from maintenance.plans.seen_reason import BusyError, crew_words, price_wish, why_of, wish_of, wish_words
from maintenance.plans.standing import Standing, standing_now, standing_of
from plant import clock
from plant.access import needs
from plant.frame.requests import mill_of
from plant.frame.saying import say
from plant.models import Mill

MOST_ROWS = 200


def _of_plan(pk: int) -> tuple[Plan, Standing | None]:
    plan = get_object_or_404(Plan, pk=pk)
    return plan, standing_of(plan) if plan.plan and not plan.is_at_work else None


@needs("see openings")
def why(request: HttpRequest, pk: int, number: str) -> HttpResponse:
    """Say why a job is where a plan has it."""
    plan, standing = _of_plan(pk)
    return redirect(plan) if standing is None else _why(request, standing, number, plan)


@needs("see openings")
def why_on_record(request: HttpRequest, number: str) -> HttpResponse:
    """Say why a job is where the record has it."""
    get_object_or_404(Mill)
    return _why(request, standing_now(clock.now()), number, None)


def _why(request: HttpRequest, standing: Standing, number: str, plan: Plan | None) -> HttpResponse:
    order = get_object_or_404(WorkOrder.objects.select_related("kiln"), number=number)
    mill = mill_of(request)
    context: dict[str, Any] = {"place": "openings", "order": order, "plan": plan, "loose": standing.loose.get(number)}
    if number not in standing.frame.number_of_job:
        context["aside"] = say(standing.drawn.aside.get(number)) or _aside_words(order)
        return render(request, "plans/plan_why.html", context)
    found = why_of(standing, number, mill)
    form = WishForm(request.GET if "at" in request.GET else None)
    if form.is_bound and form.is_valid():
        wish = wish_of(standing, number, form.cleaned_data["way"], form.cleaned_data["at"])
        try:
            price = price_wish(standing, wish)
        except BusyError:
            form.add_error(None, _("Another wish is being worked out: ask again in a moment."))
        else:
            context |= {"price": price, "answer": wish_words(price, standing, wish, mill)}
    context |= {"why": found, "form": form, "crew": crew_words(found.job)}
    is_part = bool(getattr(request, "htmx", False))
    return render(request, "plans/plan_wish.html" if is_part else "plans/plan_why.html", context)


def _aside_words(order: WorkOrder) -> str:
    if order.is_left_out:
        return _("Somebody left it out of the plan until it is put back.")
    facts = {"state": order.get_state_display()}
    return _("It is %(state)s, or was not there yet when the plan was drawn: no plan moves it.") % facts


@needs("see openings")
def doubt(request: HttpRequest, pk: int) -> HttpResponse:
    """Say how sure a plan is."""
    plan, standing = _of_plan(pk)
    return redirect(plan) if standing is None else _doubt(request, standing, plan)


@needs("see openings")
def doubt_on_record(request: HttpRequest) -> HttpResponse:
    """Say how sure the places on record are."""
    get_object_or_404(Mill)
    return _doubt(request, standing_now(clock.now()), None)


def _doubt(request: HttpRequest, standing: Standing, plan: Plan | None) -> HttpResponse:
    mill = mill_of(request)
    spread = spread_of(standing)
    found = doubt_of(standing, spread)
    rows = holds_rows(standing, found)
    doubtful = [row for row in rows if row.holds < 1]
    context = {
        "place": "openings",
        "plan": plan,
        "spread": spread,
        "found": found,
        "rows": rows,
        "doubtful": doubtful[:MOST_ROWS],
        "more": max(len(doubtful) - MOST_ROWS, 0),
        "certain": [row for row in rows if row.holds == 1][:MOST_ROWS],
        "at_risk": [row for row in rows if row.is_safety and row.holds < 1],
        "sure": sum(row.holds == 1 for row in rows),
        "buffers": buffer_rows(standing, spread, mill, clock.now()),
    }
    return render(request, "plans/plan_doubt.html", context)
