"""The planner's pages: one opening with what could go into it, and a place for one job."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.board import barred_jobs, rank_orders
from maintenance.board.forms import LeaveOutForm, PlaceForm
from maintenance.board.leaving_out import put_back_into_plan, take_out_of_plan
from maintenance.board.pages import address_of_board
from maintenance.entry.bars import bars_of
from maintenance.models import DayRun, WorkOrder
from maintenance.orders.supply import missing_parts, needed_on, say_supply
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.desk import has_place
from maintenance.plans.drawing import OPEN_ENDED
from maintenance.plans.offers import KilnTime, Offer, offer, offers_for, times_of_kiln
from maintenance.plans.places import set_pinned
from maintenance.plans.standing import Verdict, standing_for, standing_now, standings_for
from maintenance.plans.taking_back import take_back_place
from maintenance.plans.why import times_told
from plant import clock
from plant.access import needs
from plant.background.queueing import enqueue
from plant.basics.sentences import Sentences
from plant.frame.days import check_year
from plant.frame.requests import refusal_on, refusal_said, user_of
from plant.frame.saying import say
from plant.frame.typed_numbers import row_number
from plant.models import Charge, Kiln, Mill, Person

# So many jobs of a kiln are tried against an opening, and so many times of it against a job.
MOST_TRIED = 20


@dataclass(frozen=True)
class Refusal:
    """Times in which a job does not fit, all for the same reason."""

    times: list[KilnTime]
    why: str

    @property
    def said(self) -> str:
        """Count the times, by what the kiln does then."""
        return say(times_told([time.kind for time in self.times]))


@dataclass(frozen=True)
class InOpening:
    """A job that has its place in an opening, and what of its parts is not on the shelf."""

    order: WorkOrder
    supply: list[Sentences]


def _with_supply(orders: Iterable[WorkOrder], zone: ZoneInfo, today: date) -> list[InOpening]:
    found = list(orders)
    short = missing_parts(found)
    return [InOpening(one, say_supply(short.get(one.pk, []), needed_on(one, zone), today)) for one in found]


@needs("see openings")
def opening(request: HttpRequest, tag: str, key: str) -> HttpResponse:
    """Show one opening: the work in it, and for the planner the jobs that could go into it."""
    kiln = get_object_or_404(Kiln.objects.select_related("mill"), tag=tag)
    now_at = clock.now()
    standing = standing_now(now_at)
    time = next((one for one in times_of_kiln(standing, tag, now_at) if one.key == key), None)
    is_beyond = time is None
    time = time or _beyond(kiln, key)
    if time is None:
        raise Http404(_("This opening is over, or has shifted so that it no longer exists."))
    orders = list(WorkOrder.objects.unfinished().filter(kiln=kiln).with_crew().select_related("kiln"))
    blocking = bars_of(kiln)
    placed = sorted(
        (order for order in orders if time.holds(order)), key=lambda order: (order.placement.start_at, order.number)
    )
    candidates = [
        one for one in orders if one.state in WorkOrder.BEFORE_START and time.serves(one) and one not in placed
    ]
    ranking, by_number = rank_orders(candidates), {order.number: order for order in candidates}
    ranked = [by_number[one.ref] for one in (*ranking.safety, *ranking.other)]
    # Jobs without a place come first: moving one that has a place is the rarer wish.
    ranked.sort(key=has_place)
    may_place = user_of(request).may("place work") and not is_beyond
    tried = ranked[:MOST_TRIED] if may_place else []
    standings = standings_for(tried, now_at)
    zone = kiln.mill.zone
    context = {
        "place": "openings",
        "kiln": kiln,
        "time": time,
        "is_beyond": is_beyond,
        "blocking": blocking if time.kind != "running" else [],
        "barred": barred_jobs(orders, {kiln.pk: blocking} if blocking else {}),
        "placed": _with_supply(placed, zone, now_at.astimezone(zone).date()),
        "offers": [offer(standings[order.number], order, time, now_at) for order in tried],
        "untried": max(len(ranked) - MOST_TRIED, 0) if may_place else 0,
        "end_sd_h": _end_sd_h(time),
    }
    template = "board/opening_detail.html" if getattr(request, "htmx", False) else "board/opening.html"
    return render(request, template, context)


def _beyond(kiln: Kiln, key: str) -> KilnTime | None:
    """Return an opening that begins behind the horizon, as the programme has it: nothing is placed in it yet."""
    _kind, _dash, number = key.partition("-")
    charge = kiln.charges.filter(pk=row_number(number)).first() if key.startswith("after-") else None
    if charge is None or charge.end_at <= clock.now() + timedelta(days=kiln.mill.horizon_days):
        return None
    following = kiln.charges.filter(begin_at__gte=charge.end_at).order_by("begin_at").first()
    end_at = following.begin_at if following else charge.end_at + OPEN_ENDED
    if end_at <= charge.end_at:
        return None
    set_up, restoring = timedelta(minutes=kiln.lock_out_minutes), timedelta(minutes=kiln.restore_minutes)
    return KilnTime(
        tag=kiln.tag,
        key=key,
        kind="empty",
        place=-1,
        start_at=charge.end_at,
        end_at=end_at,
        work_from_at=charge.end_at + set_up,
        work_to_at=end_at - restoring,
        after_charge_id=charge.pk,
        label=_("after charge %(number)s") % {"number": charge.number},
    )


def _end_sd_h(time: KilnTime) -> float:
    """Return by how many hours an opening usually shifts with the end of the charge before it."""
    charge = Charge.objects.filter(pk=time.after_charge_id or 0, end_at__gt=clock.now()).first()
    return float(charge.end_spread_h or 0) if charge is not None and time.kind == "empty" else 0.0


@needs("place work")
def place_work(request: HttpRequest, number: str) -> HttpResponse:
    """Choose a place for one job: one that is offered, or a start and people of one's own."""
    order = get_object_or_404(WorkOrder.objects.with_crew().select_related("kiln__mill"), number=number)
    if order.state not in WorkOrder.BEFORE_START or not order.kiln.is_active:
        messages.error(request, _("Only work that has not begun can be placed."))
        return redirect(order)
    now_at = clock.now()
    form = PlaceForm(request.POST if request.method == "POST" else None, order=order, initial=_wished(order))
    faults: list[Any] = []
    checked: Verdict | None = None
    if request.method == "POST" and form.is_valid():
        start_at, people = form.cleaned_data["start_at"], form.cleaned_data["people"]
        # What htmx asks for is only looked at, never stored.
        if "check" in request.POST or getattr(request, "htmx", False):
            chosen = [str(person.pk) for person in people]
            checked = standing_for(order, now_at).try_place(number, start_at, chosen)
            faults = list(checked.faults)
        else:
            try:
                stored = place_by_hand(
                    order, start_at, people, by=user_of(request), version=form.cleaned_data["version"]
                )
            except ValidationError as refusal:
                faults = refusal.messages
            else:
                return _placed(request, order, stored)
    is_part = getattr(request, "htmx", False)
    is_kept = has_place(order) and order.placement.is_pinned
    offers = [] if is_part or is_kept else list(offers_for(standing_for(order, now_at), order, now_at, MOST_TRIED))
    context = {
        "place": "openings",
        "order": order,
        "form": form,
        "is_kept": is_kept and not faults,
        "faults": faults,
        "checked": checked if checked is not None and checked.holds else None,
        "fits": any(one.start_at for one in offers),
        # A job for any time has no time to fold by: its one answer stands as it is.
        "offers": [one for one in offers if one.start_at or not one.time],
        "refusals": _refusals(offers),
    }
    return render(request, "board/place_check.html" if is_part else "board/place_work.html", context)


def _wished(order: WorkOrder) -> dict[str, object]:
    if not has_place(order):
        return {}
    return {
        "start_at": order.placement.start_at,
        "people": [given.person_id for given in order.assignments.all()],
    }


def _refusals(offers: Iterable[Offer]) -> list[Refusal]:
    """Fold the times without a place by what the kiln does and by reason, in the order in which they come."""
    found: dict[tuple[str, str], Refusal] = {}
    for one in offers:
        if one.time and not one.start_at:
            found.setdefault((one.time.kind, one.why), Refusal([], one.why)).times.append(one.time)
    return list(found.values())


def _placed(request: HttpRequest, order: WorkOrder, stored: Verdict) -> HttpResponse:
    messages.success(request, _("%(number)s has its place and keeps it.") % {"number": order.number})
    for warning in stored.warnings:
        messages.warning(request, say(warning))
    return _back(request.POST.get("back", ""))


@require_POST
@needs("place work")
def put_here(request: HttpRequest, number: str) -> HttpResponse:
    """Take a proposal: start and people as they were shown."""
    order = get_object_or_404(WorkOrder.objects.select_related("kiln__mill"), number=number)
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
    """Let a job keep its place, let it move again, take a place by hand back, or put it back into the plan."""
    order = get_object_or_404(WorkOrder, number=number)
    facts = {"number": number}
    with refusal_said(request):
        if act == "put-back":
            put_back_into_plan(order, by=user_of(request))
            said = _("%(number)s is in the plan again; the day's next run looks for a place.")
        elif act == "take-back":
            facts["returned"] = take_back_place(
                order, by=user_of(request), act_id=row_number(request.POST.get("act", ""))
            )
            said = _("The last place by hand of %(number)s is taken back: %(returned)s.")
        else:
            set_pinned(order, act == "keep", by=user_of(request))
            said = _("%(number)s keeps its place.") if act == "keep" else _("%(number)s may be moved again.")
        messages.success(request, said % facts)
    if "job" in request.POST:
        return redirect(order)
    if "choose" in request.POST:
        return redirect("maintenance:place-work", number=number)
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
