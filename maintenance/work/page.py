"""A work order: its page, and what is done on it."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from http import HTTPStatus
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.board.leaving_out import say_left_out
from maintenance.checks.check_sittings import Part, part_of
from maintenance.entry.bars import bars_of
from maintenance.entry.lifting import said_of_own_work, waiting_proof
from maintenance.entry.permits import open_permit_of, takes_people_inside
from maintenance.models import Caution, KilnStop, StepRecord, WorkOrder, WorkStep
from maintenance.models.catalogue import NeedsState
from maintenance.models.versions import FIRST, purpose_of
from maintenance.orders.four_eyes import is_safety_work
from maintenance.orders.origins import is_nothing_left, origins_of
from maintenance.orders.supply import missing_parts, needed_on, say_supply
from maintenance.plans.desk import has_place
from maintenance.plans.places_now import failing_places
from maintenance.plans.taking_back import last_of_job
from maintenance.pricing.sureness import sure_of_orders
from maintenance.work import course as act
from maintenance.work import records as enter
from maintenance.work.forms import (
    FinishForm,
    LabourForm,
    PartForm,
    ProofForm,
    SignOffForm,
    StepForm,
    StopEndedForm,
    StopForm,
    WhyForm,
    WithdrawForm,
)
from maintenance.work.list_page import work_order_url
from plant import clock
from plant.access import needs
from plant.basics.sentences import Sentences
from plant.frame.requests import mill_of, person_of, refusal_on, user_of
from plant.frame.saying import say
from plant.models import Change

State = WorkOrder.State
FIRINGS_SHOWN = 5
# Nobody goes to work any more: the cautions would only hide what is of use.
CLOSED = (State.DONE, State.SIGNED_OFF, State.WITHDRAWN)


@dataclass(frozen=True)
class StepLine:
    """A step as the page shows it."""

    step: WorkStep
    record: StepRecord | None
    form: StepForm | None
    limits: str
    is_outside: bool


def order_of(number: str) -> WorkOrder:
    related = (
        "kiln__mill",
        "component__kind",
        "sheet",
        "standing_task",
        "defect",
        "check_up",
        "placement__after_charge",
        "placement__during_charge",
    )
    more = ("caused_downtime", "cured_downtime", "signed_off_by__person", "left_out_by__person")
    return get_object_or_404(WorkOrder.objects.select_related(*related, *more), number=number)


@needs("see work")
def work_order(request: HttpRequest, number: str) -> HttpResponse:
    """Show a work order."""
    return _page(request, order_of(number))


def _page(request: HttpRequest, order: WorkOrder, **bound: forms.Form) -> HttpResponse:
    """Show the page; ``bound`` holds a form that was refused, by its place: step-3, time, part, stop, stop-ended."""
    user, person = user_of(request), person_of(request)
    is_under_way, part = order.state == State.UNDER_WAY, part_of(order)
    may_work = user.may("do work")
    context: dict[str, Any] = {
        "place": "rounds",
        "order": order,
        "lead": _lead(order, part),
        "steps": _step_lines(order, bound, is_under_way and may_work),
        "cautions": Caution.objects.for_work_order(order) if order.state not in CLOSED else [],
        "blocking": bars_of(order.kiln),
        "is_inside": takes_people_inside(order),
        "permit": open_permit_of(order.kiln) if takes_people_inside(order) else None,
        "is_before_start": order.state in WorkOrder.BEFORE_START,
        "take_back": last_of_job(order) if user.may("place work") and order.state in WorkOrder.BEFORE_START else None,
        "part": part,
        "origins": origins_of(order),
        "purpose": purpose_of(order),
        "sheet_no": order.sheet_version or FIRST,
        "covers": order.covers.all(),
        "nothing_left": order.state not in CLOSED and order.state != State.DONE and is_nothing_left(order),
        "broken": failing_places(clock.now()).of(order.number) if has_place(order) else "",
        "lock_out": KilnStop.objects.around(order).for_people().first() if order.state not in CLOSED else None,
        "left_out": "" if order.is_left_out else say(say_left_out(order)),
        "supply": _supply_words(order) if order.state in WorkOrder.BEFORE_START else [],
        "is_under_way": is_under_way,
        "people": order.assignments.select_related("person"),
        "skills": order.skills.select_related("skill"),
        "parts": order.parts.select_related("part__bin", "reservation"),
        "labour": order.labour.select_related("person"),
        "minutes": sum(entry.minutes for entry in order.labour.all()),
        "proofs": order.proof_tests.select_related("tested_by", "component"),
        "firings": order.firings.for_list().order_by("-begin_at")[:FIRINGS_SHOWN],
        "firing_count": order.firings.count(),
        "history": Change.objects.about(order),
        "today": clock.today(order.kiln.mill.zone),
        "now_at": clock.now(),
        "order_sure": sure_of_orders([order])[order.pk],
    }
    if may_work and order.state in enter.OPEN_FOR_TIME:
        context["labour_form"] = bound.get("time") or LabourForm(person=person)
        if user.may("report downtime") and order.caused_downtime is None:
            context["stop_form"] = bound.get("stop") or StopForm(initial={"start_at": order.started_at})
        if user.may("report downtime") and order.cured_downtime is None:
            ended = bound.get("stop_ended") or StopEndedForm(order=order)
            context["stop_ended_form"] = ended if ended.fields["downtime"].queryset.exists() else None  # type: ignore[attr-defined]
    if is_under_way and user.may("take parts"):
        context["part_form"] = bound.get("part") or PartForm(initial=_first_part(order))
    if order.state == State.DONE and user.may("sign off work"):
        context["own_work"] = said_of_own_work(order, user)
        context["sign_off_form"] = bound.get("sign_off") or SignOffForm(order=order)
        context["send_back_form"] = WhyForm(version=order.version, auto_id="back-%s")
    return render(request, "work/work_order.html", context)


def _supply_words(order: WorkOrder) -> list[Sentences]:
    """Say of each part that is not on the shelf where it is to come from, and by when it must be ordered."""
    zone = order.kiln.mill.zone
    return say_supply(missing_parts([order]).get(order.pk, []), needed_on(order, zone), clock.today(zone))


def _first_part(order: WorkOrder) -> dict[str, Any]:
    line = order.parts.select_related("reservation").first()
    if line is None:
        return {}
    used = line.reservation.used if line.reservation else Decimal(0)
    left = line.quantity - used
    return {"part": line.part_id, "quantity": f"{left.normalize():f}"} if left > 0 else {}


def _step_lines(order: WorkOrder, bound: dict[str, forms.Form], can_enter: bool) -> list[StepLine]:
    latest = act.latest_records(order)
    lines = []
    mill = order.kiln.mill
    for step in order.steps.all():
        record = latest.get(step.pk)
        form = bound.get(f"step_{step.no}") or StepForm(step=step, mill=mill)
        outside = bool(record and record.reading is not None and act.is_outside_limits(step, record.reading))
        shown = form if can_enter and isinstance(form, StepForm) else None
        lines.append(StepLine(step, record, shown, enter.say_limits(step, mill), outside))
    return lines


def _lead(order: WorkOrder, part: Part | None) -> str:
    """Say what the job waits for, or how it ended."""
    if order.state == State.WITHDRAWN:
        return _("Withdrawn: %(why)s") % {"why": order.withdrawn_why}
    if order.state == State.SIGNED_OFF:
        return _("Signed off by %(who)s.") % {"who": order.signed_off_by or _("the program")}
    if order.state == State.DONE:
        return _("Done; it waits to be signed off.")
    if order.is_paused:
        return _("Paused: begun and not finished, and nobody is at it.")
    if order.state == State.UNDER_WAY and part:
        return _("Under way; points left to look at: %(left)d.") % {"left": part.left}
    if order.state == State.UNDER_WAY:
        left = len(act.steps_left(order))
        return _("Under way; %(left)d steps left.") % {"left": left} if left else _("Under way; every step is done.")
    if order.no_place_why:
        return say(order.no_place_why)
    place = getattr(order, "placement", None)
    if place:
        when = date_format(timezone.localtime(place.start_at), "D j M H:i")
        if order.needs_state == NeedsState.ANY:
            return _("%(when)s; %(kiln)s may be in any state.") % {"when": when, "kiln": order.kiln}
        return _("%(when)s; needs %(kiln)s %(state)s.") % {
            "when": when,
            "kiln": order.kiln,
            "state": order.get_needs_state_display(),
        }
    return say(order.why) or _("Not started yet.")


def _run(
    request: HttpRequest, order: WorkOrder, form: forms.Form, place: str, change: Callable[..., object], done: str
) -> HttpResponse:
    """Run a change with what a form on the page says; a refusal comes back with what was typed."""
    if form.is_valid():
        with refusal_on(form):
            change(**form.cleaned_data, by=user_of(request))
            messages.success(request, done)
            return redirect(work_order_url(order, place))
    return _page(request, order_of(order.number), **{place.replace("-", "_"): form})


# while it is under way


@require_POST
@needs("do work")
def record_step(request: HttpRequest, number: str, no: int) -> HttpResponse:
    """Enter a step: done, not done, or done with a reading that becomes a defect."""
    order = order_of(number)
    step = get_object_or_404(WorkStep, work_order=order, no=no)
    form = StepForm(request.POST, step=step, mill=mill_of(request))
    how = request.POST.get("act", "done")
    change = partial(enter.record_step, step, is_done=how != "not_done", makes_defect=how == "defect")
    done = _("Step %(no)d is entered.") % {"no": no}
    return _run(request, order, form, f"step-{no}", change, done)


@require_POST
@needs("do work")
def record_labour(request: HttpRequest, number: str) -> HttpResponse:
    """Enter time."""
    order = order_of(number)
    form = LabourForm(request.POST, person=person_of(request))
    return _run(request, order, form, "time", partial(enter.record_labour, order), _("The time is entered."))


@require_POST
@needs("take parts")
def use_part(request: HttpRequest, number: str) -> HttpResponse:
    """Take a part off the shelf."""
    order = order_of(number)
    change = partial(enter.use_part, order)
    return _run(request, order, PartForm(request.POST), "part", change, _("The part is booked out."))


@require_POST
@needs("report downtime")
def record_stop(request: HttpRequest, number: str) -> HttpResponse:
    """Put the stop that the job caused on record."""
    order = order_of(number)

    def change(percent_lost: int, **said: Any) -> None:
        enter.cause_downtime(order, share_lost=Decimal(percent_lost) / 100, **said)

    return _run(request, order, StopForm(request.POST), "stop", change, _("The stop is on record."))


@require_POST
@needs("report downtime")
def end_stop(request: HttpRequest, number: str) -> HttpResponse:
    """Put on record that the job ended a stop."""
    order = order_of(number)
    form = StopEndedForm(request.POST, order=order)
    return _run(request, order, form, "stop-ended", partial(enter.cure_downtime, order), _("The stop has ended."))


# the end


@needs("do work")
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """Call a job done; a proof test says how it went."""
    order = order_of(number)
    if order.state != State.UNDER_WAY:
        messages.info(request, _("%(number)s is %(state)s.") % {"number": number, "state": order.get_state_display()})
        return redirect(order)
    data = request.POST or None
    is_test = bool(order.sheet and order.sheet.is_proof_test)
    form = ProofForm(data, order=order, person=person_of(request)) if is_test else FinishForm(data, order=order)
    if request.method == "POST" and form.is_valid():
        proof = form.answers() if isinstance(form, ProofForm) else None
        said = form.cleaned_data
        with refusal_on(form):
            act.finish(
                order,
                by=user_of(request),
                version=said["version"],
                result=said["result"],
                proof=proof,
                **form.said_found(),
            )
            _tell_outcome(request, order, proof)
            return redirect(order)
    context = {
        "place": "rounds",
        "order": order,
        "form": form,
        "left": act.steps_left(order),
        "is_test": is_test,
        "permit": open_permit_of(order.kiln) if takes_people_inside(order) else None,
    }
    return render(request, "work/work_order_finish.html", context)


def _tell_outcome(request: HttpRequest, order: WorkOrder, proof: object) -> None:
    blocking = bars_of(order.kiln) if proof else []
    if blocking:
        messages.error(
            request,
            _("%(kiln)s is barred to entry. Get everybody out, put a sign at every door, tell the person in charge.")
            % {"kiln": order.kiln},
        )
    done = _("%(number)s is done. It waits to be signed off.") % {"number": order.number}
    if is_safety_work(order):
        done += " " + _("It is safety work: somebody who did not do it signs it off.")
    if retest := waiting_proof(order):
        done += " " + _("The bar stays until the proof test %(number)s is passed and signed off.") % {"number": retest}
    messages.success(request, done)


@require_POST
@needs("sign off work")
def sign_off(request: HttpRequest, number: str) -> HttpResponse:
    """Accept finished work."""
    order = order_of(number)
    form = SignOffForm(request.POST, order=order)
    done = _("%(number)s is signed off.") % {"number": number}
    answer = _run(request, order, form, "sign-off", partial(act.sign_off, order), done)
    bars = bars_of(order.kiln) if order.defect and order.defect.blocks_entry else []
    if bars and answer.status_code != HTTPStatus.OK:
        said = " ".join(f"{bar.what}. {bar.remedy}" for bar in bars)
        messages.error(request, _("Nobody may enter %(kiln)s: %(what)s") % {"kiln": order.kiln.tag, "what": said})
    return answer


@needs("sign off work")
def send_back(request: HttpRequest, number: str) -> HttpResponse:
    """Give finished work back."""
    order = order_of(number)
    form = WhyForm(request.POST or None, version=order.version)
    return _with_reason(request, order, form, act.send_back, _("Send back"), _("What is still to be done"))


@needs("withdraw work")
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    """Give a job up."""
    order = order_of(number)
    form = WithdrawForm(request.POST or None, order=order)
    change = partial(act.withdraw, found_nothing=bool(form.data.get("found_nothing")))
    return _with_reason(request, order, form, change, _("Withdraw"), _("Why it is not done"))


def _with_reason(
    request: HttpRequest,
    order: WorkOrder,
    form: WhyForm,
    change: Callable[..., WorkOrder],
    heading: str,
    question: str,
) -> HttpResponse:
    form.fields["why"].label = question
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        with refusal_on(form):
            order = change(order, by=user_of(request), version=said["version"], why=said["why"])
            state = order.get_state_display()
            messages.success(request, _("%(number)s is %(state)s.") % {"number": order.number, "state": state})
            return redirect(order)
    context = {"place": "rounds", "order": order, "form": form, "heading": heading}
    return render(request, "work/work_order_reason.html", context)
