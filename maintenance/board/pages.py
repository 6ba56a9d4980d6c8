"""The board of openings: what each kiln does, on record or in a plan, and what another place for a job would mean."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from maintenance.board import ZOOMS, build_board, lead_sentence, safety_shouts, unplaced
from maintenance.board.comparing import compare
from maintenance.board.crew import LIST_DAYS, Day, by_week, draw_crew
from maintenance.board.forms import BoardForm, CompareForm, VerdictForm
from maintenance.board.of_plan import PlanBoard, build_plan_board
from maintenance.board.record import Board
from maintenance.board.scale import Scale
from maintenance.checks.late_proof_tests import late_proof_tests
from maintenance.frame.words import in_money, time_words
from maintenance.models import DayRun, Plan, WorkOrder
from maintenance.plans.by_hand import place_by_hand
from maintenance.plans.desk import has_place
from maintenance.plans.lock_outs import shout_nobody_locks_out
from maintenance.plans.seen_plan import COST_WORDS
from maintenance.plans.standing import Standing, Verdict, standing_for, standing_now, standing_of
from maintenance.plans.taking_back import last_of_job
from plant import clock
from plant.access import needs
from plant.frame.requests import mill_of, say_errors, user_of
from plant.frame.saying import say
from plant.frame.typed_numbers import row_number
from plant.models import Charge, Mill, Person

PER_PAGE = 50
MOST_FOUND = 30
# The board shows no days that lie farther from today.
FARTHEST = timedelta(days=2 * 366)


@dataclass(frozen=True)
class Asked:
    """What part of the board is looked at, as the address says it."""

    first_on: date
    days: int
    day: date
    q: str
    plan: str

    def query(self, **changes: object) -> str:
        """Return the query of an address that shows the same, but for some changes."""
        said: dict[str, object] = {"days": self.days, "start": self.first_on.isoformat()}
        said |= {"plan": self.plan} if self.plan else {}
        said |= {"q": self.q} if self.q else {}
        return "?" + urlencode({**said, **changes})

    @property
    def earlier(self) -> str:
        """Return the query of the stretch before."""
        return self.query(start=self.first_on - timedelta(days=self.days))

    @property
    def later(self) -> str:
        """Return the query of the stretch after."""
        return self.query(start=self.first_on + timedelta(days=self.days))

    @property
    def zooms(self) -> list[tuple[int, str]]:
        """Return each length that can be shown, with its query."""
        return [(days, self.query(days=days)) for days in ZOOMS]


def _asked(request: HttpRequest, today: date) -> Asked:
    form = BoardForm(request.GET)
    form.is_valid()
    said = form.cleaned_data
    first_on: date = said.get("start") or today
    # Nothing is planned so far away, and the shifts of a century would be a long wait.
    if abs(first_on - today) > FARTHEST:
        first_on = today
    days = form.days_shown()
    last_on = first_on + timedelta(days=days - 1)
    day: date = said.get("day") or (today if first_on <= today <= last_on else first_on)
    # Somebody who picks a day outside the board wants to see that day.
    if said.get("day") and not first_on <= day <= last_on and abs(day - today) <= FARTHEST:
        first_on = day
        last_on = first_on + timedelta(days=days - 1)
    return Asked(first_on, days, min(max(day, first_on), last_on), said.get("q") or "", request.GET.get("plan", ""))


@needs("see openings")
def openings(request: HttpRequest) -> HttpResponse:
    """Show the board: what each kiln does, the work in its openings, and what has no place."""
    mill = Mill.objects.first()
    if mill is None:
        return render(request, "board/openings_none.html", {"place": "openings"})
    today = clock.today(mill.zone)
    asked = _asked(request, today)
    if asked.plan:
        return _plan_board(request, asked, today)
    board = build_board(asked.first_on, asked.days, clock.now())
    shouts = [*safety_shouts(board.desk), *shout_nobody_locks_out(board.desk), *late_proof_tests(today)]
    alarms = [shout for shout in shouts if shout.level == "alarm"]
    safety, other = unplaced(board.desk)
    page = Paginator(other, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        **_shown(request, asked, board, today),
        "barred": board.barred,
        "alarms": alarms,
        "minds": [shout for shout in shouts if shout.level != "alarm"],
        "lead": lead_sentence(board.desk, len(alarms), board.barred, board.barred_in),
        "safety": safety,
        "other": page,
        "run": DayRun.objects.last_finished(),
        "pins_lost": WorkOrder.objects.pins_lost(),
    }
    return render(request, "board/openings.html", context)


def _shown(request: HttpRequest, asked: Asked, board: Board, today: date) -> dict[str, object]:
    """Return what every board shows."""
    bars = board.days if board.scale.is_daywise else by_week(board.days)
    at = (asked.day - board.scale.first_on).days
    listed = board.days[at : at + LIST_DAYS]
    now_at = clock.now()
    return {
        "place": "openings",
        "asked": asked,
        "board": board,
        "scale": board.scale,
        "ground": _ground(board.scale, board.days, now_at),
        "bars": bars,
        "crew": draw_crew(bars),
        "today": today,
        "listed": listed,
        "list_earlier": asked.query(day=asked.day - timedelta(days=LIST_DAYS)) + "#by-day",
        "list_later": asked.query(day=asked.day + timedelta(days=LIST_DAYS)) + "#by-day",
        "mark": request.GET.get("mark", "")[:20],
        "found": _found(asked),
        "steps": 15 if board.scale.is_near else 60,
    }


def _ground(scale: Scale, days: Sequence[Day], now_at: datetime) -> dict[str, str]:
    """Return the pictures that lie behind all rows: weekends, edges of days, and the present."""
    edges = scale.edges()
    shades = [(edges[n], edges[n + 1]) for n, day in enumerate(days) if day.is_weekend]
    mondays = [edge for edge, day in zip(edges, days, strict=False) if day.on.weekday() == 0]
    lines = edges[1:-1] if scale.is_daywise else mondays
    shows_now = scale.from_at <= now_at < scale.to_at
    return {
        "shades": scale.boxes(shades, 1),
        "lines": "".join(f"M{scale.unit(at)} 0v1" for at in lines),
        "now": f"M{scale.unit(now_at)} 0v1" if shows_now else "",
    }


@dataclass(frozen=True)
class Found:
    """A job that was looked for: where it is, and the address at which the board shows it."""

    order: WorkOrder
    query: str


def _found(asked: Asked) -> list[Found]:
    """Look for jobs of any time by number, title, kiln or person."""
    if not asked.q:
        return []
    words = Q()
    for word in asked.q.split()[:6]:
        words &= (
            Q(number__icontains=word)
            | Q(title__icontains=word)
            | Q(kiln__tag__iexact=word)
            | Q(assignments__person__name__icontains=word)
        )
    known = WorkOrder.objects.unfinished().for_list().filter(words).distinct().order_by("placement__start_at", "number")
    return [Found(order, _query_of(order, asked)) for order in known[: MOST_FOUND + 1]]


def _query_of(order: WorkOrder, asked: Asked) -> str:
    """Return the query of a board that has a job in it."""
    if not has_place(order):
        return ""
    on = localtime(order.placement.start_at).date()
    first_on = asked.first_on
    if not first_on <= on < first_on + timedelta(days=asked.days):
        first_on = on
    return asked.query(start=first_on, mark=order.number) + f"#row-{order.kiln.tag}"


# --- a plan that was worked out -------------------------------------------------------------------


def _readable(text: str) -> Plan | None:
    return Plan.objects.filter(pk=row_number(text)).first()


def _standing_or_say(request: HttpRequest, plan: Plan | None) -> Standing | None:
    """Return a plan as it stands; None with a message where there is none."""
    if plan is None:
        messages.error(request, _("There is no such plan. The board shows what is on record."))
        return None
    try:
        return standing_of(plan)
    except ValueError:
        messages.error(
            request, _("“%(plan)s” is not worked out yet. The board shows what is on record.") % {"plan": plan}
        )
        return None


def _plan_board(request: HttpRequest, asked: Asked, today: date) -> HttpResponse:
    plan = _readable(asked.plan)
    standing = _standing_or_say(request, plan)
    if standing is None or plan is None:
        return redirect("maintenance:openings")
    board = build_plan_board(standing, asked.first_on, asked.days)
    context = {
        **_shown(request, asked, board, today),
        "plan": plan,
        "left_out": board.left_out,
        "cost": in_money(standing.cost.total),
        "bound": None if plan.bound_cents is None else in_money(plan.bound_cents),
        "lead": _("%(placed)d jobs placed, %(left)d left out.")
        % {"placed": len(board.jobs), "left": len(board.left_out)},
    }
    return render(request, "board/openings.html", context)


# --- two plans side by side -----------------------------------------------------------------------


@require_safe
@needs("see openings")
def compare_plans(request: HttpRequest) -> HttpResponse:
    """Show two plans below each other in one scale, and what differs."""
    form = CompareForm(request.GET)
    said = form.cleaned_data if form.is_valid() else {}
    known = list(Plan.objects.for_list().filter(plan_is_there())[:PER_PAGE])
    mill = mill_of(request)
    asked = _asked(request, clock.today(mill.zone))
    context: dict[str, object] = {"place": "openings", "known": known, "form": form, "asked": asked}
    right = said.get("right") if request.GET.get("right") else (known[0] if known else None)
    left = said.get("left")
    if not form.is_valid() or left == right:
        return render(request, "board/openings_compare.html", context)
    try:
        stands = [standing_now(clock.now()) if one is None else standing_of(one) for one in (left, right)]
    except ValueError:
        context["refusal"] = _("One of the two is not worked out yet: choose another, or wait until it is.")
        return render(request, "board/openings_compare.html", context)
    found = compare(*stands)
    boards: list[Board] = [
        build_board(asked.first_on, asked.days, clock.now(), found.refs)
        if one is None
        else build_plan_board(standing, asked.first_on, asked.days, found.refs)
        for one, standing in zip((left, right), stands, strict=True)
    ]
    sides = [_side(board, one, standing) for board, one, standing in zip(boards, (left, right), stands, strict=True)]
    titles = dict(WorkOrder.objects.filter(number__in=found.refs).values_list("number", "title"))
    context |= {
        "left": left,
        "right": right,
        "sides": sides,
        "found": found,
        "rows": [(row, titles.get(row.ref, ""), in_money(row.more_cents)) for row in found.rows],
        "parts": [(COST_WORDS[part], *map(in_money, cents)) for part, *cents in found.parts],
        "more": in_money(found.more_cents),
        "saves": in_money(-found.more_cents),
        "query": urlencode({"left": left.pk if left else "now", "right": right.pk if right else "now"}),
    }
    return render(request, "board/openings_compare.html", context)


def plan_is_there() -> Q:
    """Return the condition that a plan was worked out."""
    return Q(ended_at__isnull=False, cost_cents__isnull=False)


def _side(board: Board, plan: Plan | None, standing: Standing) -> dict[str, object]:
    bars = board.days if board.scale.is_daywise else by_week(board.days)
    return {
        "board": board,
        "scale": board.scale,
        "plan": plan,
        "name": str(plan) if plan else _("On record now"),
        "cost": in_money(standing.cost.total),
        "ground": _ground(board.scale, board.days, clock.now()),
        "bars": bars,
        "crew": draw_crew(bars),
        "places": len(board.jobs),
        "out": len(board.left_out) if isinstance(board, PlanBoard) else None,
    }


# --- another place for a job ----------------------------------------------------------------------


@require_safe
@needs("see openings")
def verdict(request: HttpRequest) -> HttpResponse:
    """Say what another place for a job would mean: a part of the page, asked for at every move of the hand."""
    form = VerdictForm(request.GET)
    if not form.is_valid():
        return render(request, "board/openings_verdict.html", {"refusal": say_errors(form)})
    said = form.cleaned_data
    try:
        standing = standing_of(said["plan"]) if said["plan"] else standing_for(said["job"], clock.now())
    except ValueError:
        refusal = _("“%(plan)s” is not worked out yet.") % {"plan": said["plan"]}
        return render(request, "board/openings_verdict.html", {"refusal": refusal})
    people = [str(person.pk) for person in said["people"]] or None
    found = standing.try_place(said["job"].number, said["start"], people)
    return render(request, "board/openings_verdict.html", _verdict_context(request, form, standing, found))


def _verdict_context(
    request: HttpRequest, form: VerdictForm, standing: Standing, found: Verdict, refusals: Sequence[str] = ()
) -> dict[str, object]:
    said = form.cleaned_data
    order: WorkOrder = said["job"]
    chosen = {person.pk for person in said["people"]}
    names = {person.pk: person.name for person in Person.objects.working_here()}
    ids = [charge_id for charge_id, _minutes in found.held_back if charge_id]
    numbers = {charge.pk: charge for charge in Charge.objects.filter(pk__in=ids).select_related("kiln")} if ids else {}
    is_open = order.state in WorkOrder.BEFORE_START
    may_place = user_of(request).may("place work") and not said["plan"] and is_open
    return {
        "order": order,
        "verdict": found,
        # A refusal says what the checker says again.
        "faults": list(dict.fromkeys([*refusals, *map(say, found.faults)])),
        "refusals": refusals,
        "start": said["start"],
        "who": [names.get(int(ref), ref) for ref in found.people],
        "chosen": chosen,
        "names": names,
        "plan": said["plan"],
        "version": order.version if said.get("version") is None else said["version"],
        "more": in_money(abs(found.more_cents)),
        "parts": _parts(found.parts),
        "held": [
            (numbers[charge_id], Decimal(minutes) / 60)
            for charge_id, minutes in found.held_back
            if charge_id in numbers
        ],
        "locks": names.get(int(found.lock_out.person_id), "") if found.lock_out else "",
        "near": [(at, in_money(abs(cents)), cents) for at, cents in found.near],
        "may_place": may_place,
        "is_pinned": has_place(order) and order.placement.is_pinned,
        "has_place": has_place(order),
        # Where it is tried elsewhere, that is the question; a drag asks for nothing more.
        "take_back": last_of_job(order) if may_place and _is_at(order, found) else None,
        "loose": standing.loose.get(order.number, ""),
    }


def _is_at(order: WorkOrder, found: Verdict) -> bool:
    return has_place(order) and found.start_at == order.placement.start_at


def _parts(parts: Mapping[str, int]) -> list[tuple[object, Decimal, bool]]:
    return [(COST_WORDS[part], in_money(abs(cents)), cents > 0) for part, cents in parts.items() if cents]


@require_POST
@needs("place work")
def put_on_board(request: HttpRequest, number: str) -> HttpResponse:
    """Store the place that was tried, after the checker has looked at it once more."""
    order = get_object_or_404(WorkOrder, number=number)
    form = VerdictForm({**request.POST.dict(), "job": number, "people": request.POST.getlist("people"), "plan": ""})
    if not form.is_valid():
        return _refused(request, order, form, [say_errors(form)])
    said = form.cleaned_data
    if said["version"] is None:
        return _refused(request, order, form, [_("This form is out of date: load the board again.")])
    people = list(said["people"]) or None
    try:
        stored = place_by_hand(order, said["start"], people, by=user_of(request), version=said["version"])
    except ValidationError as refusal:
        return _refused(request, order, form, refusal.messages)
    facts = {"number": number, "at": time_words(said["start"], mill_of(request))}
    messages.success(request, _("%(number)s has its place, %(at)s, and keeps it.") % facts)
    for warning in stored.warnings:
        messages.warning(request, say(warning))
    back = address_of_board(request, order)
    if getattr(request, "htmx", False):
        return HttpResponse(headers={"HX-Redirect": back})
    return HttpResponseRedirect(back)


def address_of_board(request: HttpRequest, order: WorkOrder) -> str:
    """Return the address of the same stretch of the board, with the job marked."""
    form = BoardForm({"days": request.POST.get("days"), "start": request.POST.get("from")})
    form.is_valid()
    query: dict[str, object] = {"days": form.days_shown(), "mark": order.number}
    first_on = form.cleaned_data.get("start")
    query |= {"start": first_on.isoformat()} if first_on else {}
    # Without a place in the page: an address that differs in nothing else would not be loaded again.
    return f"{reverse('maintenance:openings')}?{urlencode(query)}"


def _refused(request: HttpRequest, order: WorkOrder, form: VerdictForm, words: Sequence[str]) -> HttpResponse:
    """Say why a place was not stored, beside what was asked; nothing typed is lost."""
    if getattr(request, "htmx", False):
        if form.is_valid():
            standing = standing_for(order, clock.now())
            people = [str(person.pk) for person in form.cleaned_data["people"]] or None
            found = standing.try_place(order.number, form.cleaned_data["start"], people)
            context = _verdict_context(request, form, standing, found, words)
            return render(request, "board/openings_verdict.html", context)
        return render(request, "board/openings_verdict.html", {"refusal": " ".join(words)})
    for one in words:
        messages.error(request, one)
    return redirect("maintenance:place-work", number=order.number)
