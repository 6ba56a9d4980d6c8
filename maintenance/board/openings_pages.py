"""The planner's pages: the board of openings, one opening with what could go into it, and a place for one job."""

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from maintenance.board import barred_jobs, orders_in, rank_orders
from maintenance.board.forms import LeaveOutForm, PlaceForm
from maintenance.board.leaving_out import put_back_into_plan, take_out_of_plan
from maintenance.board.pages import address_of_board
from maintenance.calculations.placing_problem import SERVED_BY, Placement, Window
from maintenance.entry.bars import bars_of
from maintenance.models import DayRun, WorkOrder
from maintenance.orders.supply import needed_on, say_supply
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.places import place_by_hand, set_pinned
from plant import clock
from plant.access import needs
from plant.background.queueing import enqueue
from plant.frame.days import check_year
from plant.frame.requests import refusal_on, refusal_said, user_of
from plant.frame.typed_numbers import row_number
from plant.models import Kiln, Mill, Person

# So many jobs of a kiln are tried against an opening, and so many windows against a job.
MOST_TRIED = 20
# Nothing is planned so far away, and the shifts of a century would be a long wait.
FARTHEST = timedelta(days=2 * 366)
# An opening far ahead is looked for up to so long after the charge before it.
OPENING_ENDS_WITHIN = timedelta(days=21)


@dataclass(frozen=True)
class Proposal:
    """A job, and where it would go: a start with people, or why not."""

    order: WorkOrder
    window: Window | None
    placement: Placement | None
    people: list[str]
    why: str


@dataclass(frozen=True)
class Refusal:
    """Times in which a job does not fit, all for the same reason."""

    windows: list[Window]
    why: str

    @property
    def times(self) -> str:
        """Count the times, by the state that the kiln is in."""
        count = len(self.windows)
        words = {
            "running": ngettext("%d running phase", "%d running phases", count),
            "empty": ngettext("%d opening", "%d openings", count),
        }.get(self.windows[0].state, ngettext("%d time at a standstill", "%d times at a standstill", count))
        return words % count


@dataclass(frozen=True)
class InOpening:
    """A job that has its place in an opening, and what of its parts is not on the shelf."""

    order: WorkOrder
    supply: list[str]


def _supply_words(desk: Desk, order: WorkOrder) -> list[str]:
    zone = desk.mill.zone
    return say_supply(desk.short.get(order.pk, []), needed_on(order, zone), desk.now_at.astimezone(zone).date())


def _propose(desk: Desk, order: WorkOrder, window: Window | None) -> Proposal:
    lacking = desk.unsupplied().get(order.number)
    if lacking:
        return Proposal(order, window, None, [], lacking)
    plan = desk.propose(order, window.ref if window else None)
    names = {worker.ref: worker.name for worker in desk.workers}
    if plan.placements:
        found = plan.placements[0]
        why = " ".join(words for words in (found.reason, desk.to_order(order, found.start_at)) if words)
        return Proposal(order, window, found, [names[ref] for ref, _skill in found.people], why)
    causes = " ".join(f"{cause.words} {cause.remedy}" for cause in plan.not_placed[0].causes)
    return Proposal(order, window, None, [], causes)


@needs("see openings")
def opening(request: HttpRequest, tag: str, key: str) -> HttpResponse:
    """Show one opening: the work in it, and for the planner the jobs that could go into it."""
    kiln = get_object_or_404(Kiln.objects.select_related("mill"), tag=tag)
    desk = load_desk(clock.now(), _until(kiln, key))
    window = next((w for w in desk.windows if w.ref == f"{tag}/{key}"), None)
    if window is None:
        raise Http404(_("This opening is over, or has shifted so that it no longer exists."))
    link = desk.links[window.ref]
    blocking = bars_of(kiln)
    placed = [order for order in orders_in(desk, kiln, link.after_charge_id) if window.state == "empty"]
    if window.state == "running":
        running = [order for order in desk.orders.values() if has_place(order) and order.kiln_id == kiln.pk]
        placed = [order for order in running if order.placement.during_charge_id == link.during_charge_id]
    candidates = [
        order
        for order in desk.orders.values()
        if order.kiln_id == kiln.pk
        and order.state in WorkOrder.BEFORE_START
        and window.state in SERVED_BY.get(order.needs_state, ())
        and order not in placed
    ]
    ranking = rank_orders(candidates)
    ranked = [desk.orders[one.ref] for one in (*ranking.safety, *ranking.other)]
    # Jobs without a place come first: moving one that has a place is the rarer wish.
    ranked.sort(key=has_place)
    may_place = user_of(request).may("place work")
    proposals = [_propose(desk, order, window) for order in ranked[:MOST_TRIED]] if may_place else []
    context = {
        "place": "openings",
        "kiln": kiln,
        "window": window,
        "link": link,
        "key": key,
        "blocking": blocking if window.state != "running" else [],
        "barred": barred_jobs(desk, {kiln.pk: blocking} if blocking else {}),
        "placed": [InOpening(order, _supply_words(desk, order)) for order in placed],
        "proposals": proposals,
        "untried": max(len(ranked) - MOST_TRIED, 0),
        "is_now": window.start_at <= desk.now_at,
    }
    template = "board/opening_detail.html" if getattr(request, "htmx", False) else "board/opening.html"
    return render(request, template, context)


def _until(kiln: Kiln, key: str) -> datetime:
    """Return up to when to look: the mill's horizon, or beyond it to an opening that the board shows farther ahead."""
    now_at = clock.now()
    until = now_at + timedelta(days=kiln.mill.horizon_days)
    _kind, _dash, number = key.partition("-")
    charge = kiln.charges.filter(pk=row_number(number)).first()
    return max(until, min(charge.end_at, now_at + FARTHEST) + OPENING_ENDS_WITHIN) if charge else until


@needs("place work")
def place_work(request: HttpRequest, number: str) -> HttpResponse:
    """Choose a place for one job: one that is proposed, or a start and people of one's own."""
    order = get_object_or_404(WorkOrder, number=number)
    desk = load_desk(clock.now())
    mine = desk.orders.get(number)
    if mine is None or mine.state not in WorkOrder.BEFORE_START:
        messages.error(request, _("Only work that has not begun can be placed."))
        return redirect(order)
    form = PlaceForm(request.POST if request.method == "POST" else None, order=mine, initial=_wished(mine))
    faults: list[str] = []
    checked = warnings = None
    if request.method == "POST" and form.is_valid():
        start_at, people = form.cleaned_data["start_at"], form.cleaned_data["people"]
        # What htmx asks for is only looked at, never stored.
        if "check" in request.POST or getattr(request, "htmx", False):
            wanted = desk.look(mine, start_at, people)
            faults, warnings, checked = list(wanted.faults), wanted.warnings, wanted.placement
        else:
            try:
                said = place_by_hand(
                    order,
                    start_at,
                    people,
                    by=user_of(request),
                    version=form.cleaned_data["version"],
                )
            except ValidationError as refusal:
                faults = refusal.messages
            else:
                return _placed(request, order, said)
    proposals = _proposals_for(desk, mine) if not getattr(request, "htmx", False) else []
    refusals = _refusals(proposals)
    context = {
        "place": "openings",
        "order": mine,
        "form": form,
        "faults": faults,
        "warnings": warnings,
        "checked": checked,
        "fits": any(one.placement for one in proposals),
        # A job for any time has no window to fold by: its one answer stands as it is.
        "proposals": [one for one in proposals if one.placement or not one.window],
        "refusals": refusals,
    }
    template = "board/place_check.html" if getattr(request, "htmx", False) else "board/place_work.html"
    return render(request, template, context)


def _wished(order: WorkOrder) -> dict[str, object]:
    if not has_place(order):
        return {}
    return {
        "start_at": order.placement.start_at,
        "people": [given.person_id for given in order.assignments.all()],
    }


def _proposals_for(desk: Desk, order: WorkOrder) -> list[Proposal]:
    if order.needs_state == "any":
        return [_propose(desk, order, None)]
    states = SERVED_BY[order.needs_state]
    windows = [w for w in desk.windows if w.kiln == order.kiln.tag and w.state in states and w.end_at > desk.now_at]
    windows.sort(key=lambda w: (w.start_at, w.ref))
    return [_propose(desk, order, window) for window in windows[:MOST_TRIED]]


def _refusals(proposals: list[Proposal]) -> list[Refusal]:
    """Fold the times without a place by state and reason, in the order in which they come."""
    found: dict[tuple[str, str], Refusal] = {}
    for one in proposals:
        if one.window and not one.placement:
            found.setdefault((one.window.state, one.why), Refusal([], one.why)).windows.append(one.window)
    return list(found.values())


def _placed(request: HttpRequest, order: WorkOrder, warnings: tuple[str, ...]) -> HttpResponse:
    messages.success(request, _("%(number)s has its place and keeps it.") % {"number": order.number})
    for warning in warnings:
        messages.warning(request, warning)
    return _back(request.POST.get("back", ""))


@require_POST
@needs("place work")
def put_here(request: HttpRequest, number: str) -> HttpResponse:
    """Take a proposal: start and people as they were shown."""
    order = get_object_or_404(WorkOrder, number=number)
    try:
        start_at = datetime.fromisoformat(request.POST.get("start_at", ""))
        check_year(start_at)
        if start_at.tzinfo is None:
            raise ValueError("an instant without a time zone")
        people = list(Person.objects.filter(pk__in=[int(pk) for pk in request.POST.getlist("people")]))
        version = int(request.POST.get("version", ""))
    except (ValueError, OverflowError, ValidationError):
        messages.error(request, _("The proposal could not be read. Choose start and people yourself."))
        return redirect("maintenance:place-work", number=number)
    with refusal_said(request):
        return _placed(request, order, place_by_hand(order, start_at, people, by=user_of(request), version=version))
    return redirect("maintenance:place-work", number=number)


@require_POST
@needs("place work")
def change_place(request: HttpRequest, number: str, act: str) -> HttpResponse:
    """Let a job keep its place, let it move again, or put it back into the plan."""
    order = get_object_or_404(WorkOrder, number=number)
    with refusal_said(request):
        if act == "put-back":
            put_back_into_plan(order, by=user_of(request))
            said = _("%(number)s is in the plan again; the day's next run looks for a place.")
        else:
            set_pinned(order, act == "keep", by=user_of(request))
            said = _("%(number)s keeps its place.") if act == "keep" else _("%(number)s may be moved again.")
        messages.success(request, said % {"number": number})
    if "job" in request.POST:
        return redirect(order)
    if "from" in request.POST:
        return redirect(address_of_board(request, order))
    return _back(request.POST.get("back", ""))


def _back(back: str) -> HttpResponse:
    """Go back to the opening that was looked at, else to the board."""
    tag, _slash, key = back.partition("/")
    return redirect("maintenance:opening", tag=tag, key=key) if key else redirect("maintenance:openings")


@needs("place work")
def take_out(request: HttpRequest, number: str) -> HttpResponse:
    """Take a job out of the plan: why, and before which day it is not wanted, if any."""
    order = get_object_or_404(WorkOrder.objects.select_related("kiln", "left_out_by"), number=number)
    first = {"version": order.version, "back": request.GET.get("back", ""), "why": order.left_out_why}
    form = LeaveOutForm(request.POST if request.method == "POST" else None, initial=first)
    if form.is_valid():
        said = form.cleaned_data
        with refusal_on(form):
            take_out_of_plan(
                order,
                why=said["why"],
                not_before_on=said["not_before_on"],
                by=user_of(request),
                version=said["version"],
            )
            messages.success(request, _("%(number)s is out of the plan.") % {"number": number})
            return _back(said["back"])
    context = {"place": "openings", "order": order, "form": form, "heading": _("Leave out of the plan")}
    return render(request, "work/work_order_reason.html", context)


@require_POST
@needs("run the day")
def run_the_day(request: HttpRequest) -> HttpResponse:
    """Want the day worked out again, beside the pages."""
    mill = get_object_or_404(Mill)
    day = clock.today(mill.zone).isoformat()
    key = f"{DayRun.TASK} {day} {uuid.uuid4().hex[:12]}"
    enqueue(DayRun.TASK, key=key, arguments={"day": day}, by=user_of(request))
    messages.success(request, _("The day is being worked out again. Look here in a moment; Background work shows it."))
    return redirect("maintenance:openings")
