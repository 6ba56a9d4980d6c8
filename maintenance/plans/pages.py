"""Plans: the list, wanting one with or without what-ifs, its page while it is worked out and after, the decision."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from maintenance.models import Plan
from maintenance.plans.accepting import Accepted, accept_plan, set_aside, stop_plan, want_plan
from maintenance.plans.desk import load_desk
from maintenance.plans.drawing import draw_problem
from maintenance.plans.forms import LINES, DecisionForm, PlanForm, WhatIfs
from maintenance.plans.seen_changes import changes_of, parts_of
from maintenance.plans.seen_plan import (
    amount,
    chart_of,
    cost_groups,
    kiln_losses,
    late_charges,
    lead_words,
    left_out,
    pins_let_go,
    prices_of,
    steering_cents,
    steps_of,
    stopped_charges,
)
from maintenance.plans.standing import standing_of
from maintenance.plans.suppositions import suppose
from maintenance.plans.taking_back import last_of_plan, take_back_plan
from maintenance.plans.why import say_reason
from plant import clock
from plant.access import needs
from plant.background.queueing import waits_long
from plant.frame.requests import mill_of, refusal_on, refusal_said, user_of
from plant.frame.saying import say
from plant.frame.typed_numbers import row_number
from plant.models import Job, Mill

PER_PAGE = 50
#: So many jobs that are left out are named with the reason on the plan's page.
MOST_SAID = 50
#: Plans without suppositions that are no older are compared with one that has some.
COMPARED_FOR = timedelta(days=1)


@needs("see openings")
def plans(request: HttpRequest) -> HttpResponse:
    """List the plans, the newest first."""
    page = Paginator(Plan.objects.for_list(), PER_PAGE).get_page(request.GET.get("page"))
    rows = [
        {"plan": plan, "cost": amount(plan.cost_cents), "least": amount(plan.bound_cents), **_savings(plan)}
        for plan in page
    ]
    at_work = sum(plan.is_at_work for plan in page)
    to_decide = sum(plan.is_to_decide and not plan.suppositions for plan in page)
    context = {"place": "openings", "page": page, "rows": rows, "lead": _list_lead(at_work, to_decide, bool(rows))}
    return render(request, "plans/plans.html", context)


def _savings(plan: Plan) -> dict[str, Any]:
    if plan.cost_cents is None or plan.is_at_work:
        return {}
    due, stood = plan.due_date_cents, plan.as_it_stood_cents
    return {
        "by_due": None if due is None else amount(plan.cost_cents - due),
        "by_stood": None if stood is None else amount(plan.cost_cents - stood),
    }


def _list_lead(at_work: int, to_decide: int, has_any: bool) -> str:
    if not has_any:
        return _("No plan was worked out yet: each job has the place it was given by hand or by the day's work.")
    said = []
    if at_work:
        said.append(ngettext("%d plan is being worked out.", "%d plans are being worked out.", at_work) % at_work)
    if to_decide:
        words = ngettext("%d is worked out and waits for a decision.", "%d wait for a decision.", to_decide)
        said.append(words % to_decide)
    return " ".join(said) or _("None waits for a decision.")


@needs("place work")
def new(request: HttpRequest) -> HttpResponse:
    """Want a plan; lines of what is supposed are added and taken away without a script."""
    mill = get_object_or_404(Mill)
    form, what_ifs = PlanForm(), WhatIfs()
    if request.method == "POST":
        form, what_ifs = PlanForm(request.POST), WhatIfs(request.POST)
        if "add" in request.POST or "remove" in request.POST:
            what_ifs.add(request.POST.get("add", ""))
            what_ifs.remove(request.POST.get("remove", ""))
            what_ifs.leave_unread()
            form = PlanForm(initial={"name": request.POST.get("name"), "seconds": request.POST.get("seconds", "60")})
        elif form.is_valid() & what_ifs.is_valid():
            plan = _want(request, form, what_ifs)
            if plan is not None:
                return redirect(plan)
    elif "again" in request.GET:
        form, what_ifs = _again(request.GET["again"])
    kinds = [(value, made.kind.label) for value, made in LINES.items()]
    context = {"place": "openings", "form": form, "what_ifs": what_ifs, "kinds": kinds, "mill": mill}
    return render(request, "plans/plan_new.html", context)


def _want(request: HttpRequest, form: PlanForm, what_ifs: WhatIfs) -> Plan | None:
    """Want the plan, or show on the form why what is supposed makes no sense."""
    supposed = what_ifs.suppositions()
    with refusal_on(form):
        if supposed:
            # Said at once rather than by a plan that fails a minute later.
            suppose(draw_problem(load_desk(clock.now())), supposed)
        return want_plan(
            name=form.cleaned_data["name"],
            seconds=form.cleaned_data["seconds"],
            suppositions=supposed,
            by=user_of(request),
        )
    return None


def _again(number: str) -> tuple[PlanForm, WhatIfs]:
    """Fill the form as it was for another plan."""
    plan = Plan.objects.for_list().filter(pk=row_number(number)).first()
    if plan is None:
        return PlanForm(), WhatIfs()
    known = [str(value) for value, _words in PlanForm.base_fields["seconds"].choices]  # type: ignore[attr-defined]
    seconds = plan.seconds_allowed if str(plan.seconds_allowed) in known else 60
    return PlanForm(initial={"name": plan.name, "seconds": seconds}), WhatIfs(kept=plan.suppositions)


def _plan(pk: int) -> Plan:
    return get_object_or_404(Plan.objects.select_related("wanted_by__person", "decided_by__person"), pk=pk)


@needs("see openings")
def plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a plan: how far it is, or what it comes to."""
    found, mill = _plan(pk), mill_of(request)
    # All figures so far are read in peace: the page then asks for no newer ones.
    stands_still = "figures" in request.GET
    context = _context(found, mill) | {"lead": lead_words(found, mill), "stands_still": stands_still}
    return render(request, "plans/plan.html", context)


@needs("see openings")
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how far a plan is, as part of its page; once it has come to an end, the page is asked for anew."""
    found = _plan(pk)
    if not found.is_at_work:
        answer = HttpResponse(status=200)
        answer["HX-Refresh"] = "true"
        return answer
    seen = request.GET.get("seen", "")
    context = _at_work(found) | {"plan": found, "lead": lead_words(found, mill_of(request))}
    context |= {"is_polled": True, "is_news": seen != str(len(found.progress))}
    return render(request, "plans/plan_progress.html", context)


def _at_work(found: Plan) -> dict[str, Any]:
    steps = steps_of(found)
    job = Job.objects.filter(key=f"plan {found.pk}").first()
    return {
        "steps": steps,
        "last": steps[-1] if steps else None,
        "chart": chart_of(steps),
        "waits_long": found.state == Plan.State.WANTED and job is not None and waits_long(job),
        "cost": amount(found.cost_cents),
        "least": amount(found.bound_cents) if found.bound_cents else None,
        "seen": len(found.progress),
    }


def _context(found: Plan, mill: Mill) -> dict[str, Any]:
    context: dict[str, Any] = {"place": "openings", "plan": found, **_at_work(found)}
    if not found.plan or found.is_at_work:
        return context | {"pins_let_go": pins_let_go(found, None)}
    standing = standing_of(found)
    changes = changes_of(found.changes, found.decided_at or clock.now())
    context |= {
        "is_done": True,
        "pins_let_go": pins_let_go(found, standing),
        "groups": cost_groups(found),
        "prices": prices_of(standing),
        "due": amount(found.due_date_cents),
        "weighs": bool(steering_cents(found, found.plan)),
        "changes": [one for one in changes if not one.is_small],
        "small": [one for one in changes if one.is_small],
        "changed": len(changes),
        "soon": [one for one in changes if one.is_soon],
        "parts": parts_of(changes),
        "take_back": last_of_plan(found),
        "lost_places": any(one.was and one.was.broken for one in changes),
        "unchanged": len(
            standing.drawn.problem.issued.keys() & standing.plan.jobs.keys() - {one.number for one in changes}
        ),
        "late": late_charges(standing),
        "losses": kiln_losses(standing),
        "stopped": stopped_charges(standing),
        "left_out": [(ref, say_reason(standing, ref)) for ref in left_out(standing)[:MOST_SAID]],
        "left_out_count": len(left_out(standing)),
        "unsafe": sorted(found.unsafe.items()),
        "aside": sorted(found.aside.items()),
        "pinned": sorted(standing.drawn.problem.pinned),
        "placed": len(standing.plan.jobs),
        "jobs": sorted(standing.plan.jobs.items(), key=lambda one: (one[1].start_min, one[0])),
    }
    context["without"] = _without_suppositions(found) if found.suppositions else None
    return context


def _without_suppositions(found: Plan) -> dict[str, Any] | None:
    """Find the last plan for what is on record, and what this one costs more."""
    plain = Plan.objects.for_list().filter(suppositions=[], ended_at__isnull=False, cost_cents__isnull=False)
    near = plain.filter(wanted_at__gt=found.wanted_at - COMPARED_FOR, wanted_at__lt=found.wanted_at + COMPARED_FOR)
    other = near.exclude(state=Plan.State.FAILED).first()
    if other is None or other.cost_cents is None or found.cost_cents is None:
        return None
    return {
        "plan": other,
        "more": amount(found.cost_cents - other.cost_cents),
        "saves": amount(other.cost_cents - found.cost_cents),
        # What is proven: the best with it against the best without it.
        "least": amount((found.bound_cents or 0) - other.cost_cents),
        "most": amount(found.cost_cents - (other.bound_cents or 0)),
    }


@require_POST
@needs("place work")
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Let the working-out come to its end with the best found so far."""
    found = _plan(pk)
    with refusal_said(request):
        stop_plan(found, by=user_of(request))
        messages.success(request, _("It comes to its end with the best plan found so far."))
    return redirect(found)


@require_POST
@needs("place work")
def put_aside(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide against a plan."""
    return _decided(request, pk, "set aside")


@require_POST
@needs("place work")
def accept(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the work orders the places of a plan."""
    return _decided(request, pk, "accept")


@require_POST
@needs("place work")
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Let what stood before a plan, or its last part, was accepted stand again."""
    return _decided(request, pk, "take back")


def _decided(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    found, form = _plan(pk), DecisionForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("The page was not complete: look at the plan again and decide once more."))
        return redirect(found)
    version = form.cleaned_data["version"]
    with refusal_said(request):
        if act == "set aside":
            set_aside(found, by=user_of(request), version=version)
            messages.success(request, _("The plan is set aside. What is on record stays as it was."))
            return redirect("maintenance:plans")
        if act == "take back":
            returned = take_back_plan(found, by=user_of(request), version=version)
            messages.success(request, _("Taken back: %s. The plan waits for a decision again.") % returned)
            return redirect(found)
        part = _part(found, request.POST.get("part", ""))
        accepted = accept_plan(found, by=user_of(request), version=version, part=part)
        messages.success(request, _accepted_words(accepted, is_part=part is not None))
        for number, why in sorted(accepted.passed_over.items()):
            messages.warning(request, f"{number}: {say(why)}")
    return redirect(found)


def _part(found: Plan, key: str) -> tuple[str, ...] | None:
    """Return the jobs of the kiln or day that is to be accepted alone; None for all."""
    if not key:
        return None
    for one in parts_of(changes_of(found.changes, clock.now())):
        if one.key == key:
            return one.numbers
    raise ValidationError(_("This part of the plan was decided already. Nothing was changed."), code="stale")


def _accepted_words(accepted: Accepted, *, is_part: bool = False) -> str:
    """Say what accepting changed."""
    counts = (
        (len(accepted.placed), ngettext("%d job has a place", "%d jobs have a place", len(accepted.placed))),
        (len(accepted.moved), ngettext("%d moved", "%d moved", len(accepted.moved))),
        (len(accepted.without_place), ngettext("%d lost its place", "%d lost theirs", len(accepted.without_place))),
        (
            len(accepted.charges_moved),
            ngettext("%d charge is loaded later", "%d charges are loaded later", len(accepted.charges_moved)),
        ),
    )
    said = [words % count for count, words in counts if count]
    told = ", ".join(said) or _("everything stays where it was")
    if is_part:
        return _("This part of the plan is accepted: %s. The rest waits for your decision.") % told
    return _("The plan is accepted: %s.") % told
