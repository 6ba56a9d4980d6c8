"""A function check: its points split by state, one point at a time, its sittings, and its end."""

from collections import defaultdict
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.checks import checks as act
from maintenance.checks.calculations.sensor_sides import Quantity, Sensor, Side, missing_sensors
from maintenance.checks.check_points import substitutes_of
from maintenance.checks.check_sittings import LEAST_MINUTES, MINUTES_A_POINT, ask_for_sittings, parts_of_check
from maintenance.checks.findings_page import about_findings, what_follows
from maintenance.checks.forms import FindingForm, ReasonForm, SittingForm
from maintenance.checks.rounds_page import parts_of
from maintenance.entry.bars import bars_of
from maintenance.entry.forms import PermitForm
from maintenance.entry.lifting import mended_by
from maintenance.entry.now import entry_of
from maintenance.entry.permits import NotSafe, open_permit, open_permit_of
from maintenance.models import Caution, CheckItem, CheckPoint, Defect, Finding, FunctionCheck, Sitting, TaskSheet
from maintenance.models.versions import put_as_asked
from plant.access import needs
from plant.frame.requests import mill_of, person_of, refusal_on, refusal_said, user_of
from plant.models import Change, Component, Kiln
from plant.pictures.marks import OPEN, worst

SeenIn = CheckPoint.SeenIn


def _check(number: str) -> FunctionCheck:
    return get_object_or_404(FunctionCheck.objects.select_related("kiln__mill", "started_by__person"), number=number)


def _items(check: FunctionCheck) -> list[CheckItem]:
    items = list(
        check.items.needed()
        .with_latest()
        .select_related("point__kind", "component")
        .order_by("point__end_view_no", "point__code", "component__tag")
    )
    put_as_asked(items)
    return items


def _open_sitting(check: FunctionCheck, request: HttpRequest) -> Sitting | None:
    return Sitting.objects.filter(check_up=check, by=user_of(request), ended_at__isnull=True).first()


@needs("see rounds")
def check(request: HttpRequest, number: str) -> HttpResponse:
    """Show a check: the end view, how far it is, and its points by state."""
    one = _check(number)
    items = _items(one)
    disputed = set(one.items.disputed().values_list("pk", flat=True))
    sitting = _open_sitting(one, request)
    groups = defaultdict(list)
    for item in items:
        groups[item.point.seen_in].append(item)
    parts = parts_of({state: (sum(1 for i in rows if _result(i)), len(rows)) for state, rows in groups.items()})
    left = [item for item in items if not _result(item)]
    is_open = not (one.completed_at or one.withdrawn_at)
    as_work = parts_of_check(one)
    context = {
        "place": "rounds",
        "check": one,
        "is_open": is_open,
        "parts": [(part, groups[part.state]) for part in parts],
        "marks": _marks(items),
        "sitting": sitting,
        "next_item": next((item for item in left if sitting and _fits(item, sitting)), None),
        "sittings": one.sittings.select_related("by__person"),
        "as_work": [part for part in as_work if part.order or (is_open and part.left)],
        "may_ask": is_open and user_of(request).may("place work") and any(part.is_wanted for part in as_work),
        "minutes": {state.value: minutes for state, minutes in MINUTES_A_POINT.items()} | {"least": LEAST_MINUTES},
        "left": left,
        "disputed": disputed,
        "blocking": bars_of(one.kiln),
        "permit": open_permit_of(one.kiln),
        "missing_sides": _missing_sides(one.kiln),
        "history": Change.objects.about(one),
        "lead": _lead(one, left, len(items)),
    }
    return render(request, "checks/check.html", context)


def _result(item: CheckItem) -> str | None:
    result: str | None = item.latest_result  # type: ignore[attr-defined]
    return result


def _fits(item: CheckItem, sitting: Sitting) -> bool:
    return item.point.seen_in in (SeenIn.EITHER, sitting.kiln_state)


def _marks(items: list[CheckItem]) -> dict[int, dict[str, str]]:
    """Return the mark of each number of the end view: the worst of its points; waited for while one waits."""
    results: dict[int, set[str]] = defaultdict(set)
    for item in items:
        results[item.point.end_view_no].add(_result(item) or OPEN.code)
    return {number: {"state": worst(found), "url": f"#number-{number}"} for number, found in results.items()}


def _missing_sides(kiln: Kiln) -> list[str]:
    """Say which sensors a reversing kiln lacks."""
    components = Component.objects.in_use().filter(kiln=kiln).select_related("kind")
    sensors = [Sensor(component.kind.code, component.side) for component in components]
    words = {
        (Quantity.TEMPERATURE, Side.LEFT): _("no thermometer on the left"),
        (Quantity.TEMPERATURE, Side.RIGHT): _("no thermometer on the right"),
        (Quantity.HUMIDITY, Side.LEFT): _("no humidity sensor on the left"),
        (Quantity.HUMIDITY, Side.RIGHT): _("no humidity sensor on the right"),
    }
    return [words[one.quantity, one.side] for one in missing_sensors(sensors, kiln.is_reversing)]


def _lead(one: FunctionCheck, left: list[CheckItem], count: int) -> str:
    if one.withdrawn_at:
        return _("Withdrawn: %(why)s") % {"why": one.withdrawn_why}
    if one.completed_at:
        return _("Complete: every one of its %(count)d points has a finding.") % {"count": count}
    if not left:
        return _("Every point has a finding: complete the check.")
    return _("%(left)d of %(count)d points wait for a finding.") % {"left": len(left), "count": count}


# sittings


@needs("do rounds")
def sit(request: HttpRequest, number: str) -> HttpResponse:
    """Start a sitting: cautions first, and the door where one goes in."""
    one = _check(number)
    state = request.POST.get("kiln_state") or request.GET.get("kiln_state", "")
    if state not in (SeenIn.RUNNING, SeenIn.OPEN_EMPTY):
        return redirect(one)
    is_inside = state == SeenIn.OPEN_EMPTY
    blocking = bars_of(one.kiln)
    data = request.POST or None
    has_permit = is_inside and open_permit_of(one.kiln) is not None
    permit_form = None
    if is_inside and not has_permit and not blocking:
        permit_form = PermitForm(data, mill=mill_of(request), kiln=one.kiln, person=person_of(request))
    stand, person = entry_of(one.kiln), person_of(request)
    goes_in = is_inside and not (stand and person and stand.is_inside(person))
    form = SittingForm(data, initial={"kiln_state": state}, goes_in=goes_in, has_door=permit_form is not None)
    if request.method == "POST" and form.is_valid() and (permit_form is None or permit_form.is_valid()):
        user = user_of(request)
        with refusal_on(form), refusal_on(permit_form or form, NotSafe):
            with transaction.atomic():
                if permit_form:
                    key = permit_form.cleaned_data["permit_key"]
                    open_permit(one.kiln, permit_form.answers(), by=user, key=key)
                said = form.cleaned_data
                act.start_sitting(
                    one,
                    state,
                    by=user,
                    is_cautions_read=said["is_cautions_read"],
                    note=said.get("note", ""),
                    is_own_lock_on=said.get("is_own_lock_on", False),
                )
            return redirect("maintenance:check", number=number)
    context = {
        "place": "rounds",
        "check": one,
        "form": form,
        "permit_form": permit_form,
        "permit": open_permit_of(one.kiln) if is_inside else None,
        "cautions": Caution.objects.for_sitting(one, state),
        "blocking": blocking,
        "is_inside": is_inside,
        "state_label": SeenIn(state).label,
    }
    return render(request, "checks/check_sit.html", context)


@require_POST
@needs("do rounds")
def end_sitting(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """End a sitting; whoever was inside is counted out next."""
    one = _check(number)
    sitting = act.end_sitting(get_object_or_404(Sitting, pk=pk, check_up=one), by=user_of(request))
    messages.success(request, _("The sitting has ended; what was found is kept."))
    permit = open_permit_of(one.kiln) if sitting.kiln_state == SeenIn.OPEN_EMPTY else None
    if permit and permit.work_order_id is None:
        return redirect(permit)
    return redirect(one)


@require_POST
@needs("place work")
def ask_sittings(request: HttpRequest, number: str) -> HttpResponse:
    """Ask for what is left of a check as work orders, one for each state of the kiln."""
    one = _check(number)
    with refusal_said(request):
        raised = ask_for_sittings(one, by=user_of(request))
        numbers = ", ".join(order.number for order in raised)
        messages.success(request, _("Raised as work, to be placed: %(numbers)s.") % {"numbers": numbers})
    return redirect(one)


# one point


@needs("see rounds")
def item(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Show one point and take what was found."""
    one = _check(number)
    related = ("point__kind", "point__substitute", "component")
    this = get_object_or_404(CheckItem.objects.select_related(*related), pk=pk, check_up=one)
    put_as_asked([this])
    sitting = _open_sitting(one, request)
    form = FindingForm(request.POST or None, item=this, reason=_usual_reason(this, one.kiln))
    if request.method == "POST":
        finding = _take(request, this, sitting, form)
        if finding:
            return _after(request, one, this, finding, sitting)
        form.shown_anew()
    context = _item_context(one, this, sitting, form) | about_findings(this, sitting, user_of(request))
    return render(request, "checks/check_item.html", context)


def _take(request: HttpRequest, this: CheckItem, sitting: Sitting | None, form: FindingForm) -> Finding | None:
    user = user_of(request)
    if sitting is None:
        form.add_error(None, _("Start a sitting first: it says in which state the kiln is."))
    if sitting is None or not form.is_valid():
        return None
    with refusal_on(form):
        if form.is_to_be_said_again:
            act.refuse_incomplete(this, form.answer())
            form.asks_again = True
            return None
        return act.record_finding(this, sitting, form.answer(), by=user, key=form.cleaned_data["key"])
    return None


def _item_context(one: FunctionCheck, this: CheckItem, sitting: Sitting | None, form: FindingForm) -> dict[str, Any]:
    fits = sitting is not None and _fits(this, sitting)
    fitting = [other for other in _items(one) if sitting is None or _fits(other, sitting)]
    ids = [other.pk for other in fitting]
    at = ids.index(this.pk) if this.pk in ids else None
    standing = list(this.findings.standing().in_order().select_related("against__failure_mode"))
    latest = standing[-1].counting if standing else None
    return {
        "place": "rounds",
        "check": one,
        "item": this,
        "sitting": sitting,
        "fits": fits,
        "form": form,
        "chosen": form["failure_mode"].value(),
        "latest": latest,
        "following": what_follows(form, one.kiln) if form.asks_again else "",
        "defect": act.still_to_mend(one.kiln, this) or Defect.objects.not_cured().filter(finding__item=this).first(),
        "sheets": TaskSheet.objects.in_use().filter(kind=this.point.kind_id, is_proof_test=False),
        "substitutes": substitutes_of(this),
        "cautions": Caution.objects.for_point(this.point, sitting.kiln_state if sitting and fits else None),
        "blocking": bars_of(one.kiln),
        "marks": {this.point.end_view_no: {"state": latest.result if latest else OPEN.code}},
        "missing_sides": _missing_sides(one.kiln) if this.point.code.endswith("-both-sides") else [],
        "before": fitting[at - 1] if at else None,
        "after": fitting[at + 1] if at is not None and at + 1 < len(fitting) else None,
        "nth": at + 1 if at is not None else None,
        "count": len(fitting),
    }


def _usual_reason(this: CheckItem, kiln: Kiln) -> str:
    is_clad = this.point.kind.code == "inner-skin" and not kiln.is_inner_skin_visible
    return _("The inner skin is clad.") if is_clad else ""


def _after(
    request: HttpRequest, one: FunctionCheck, this: CheckItem, finding: Finding, sitting: Sitting | None
) -> HttpResponse:
    """Go on to the next point; stay where a defect offers to become work or a substitute is asked for."""
    if this.point.blocks_entry and finding.result != Finding.Result.SOUND:
        _say_closed(request, one, this)
        return redirect(_item_url(one, this))
    if finding.result == Finding.Result.DEFECT:
        return redirect(_item_url(one, this))
    if finding.result == Finding.Result.NOT_SEEN and this.point.substitute:
        messages.info(request, _("Look at its substitute instead: %(what)s.") % {"what": this.point.substitute})
    waiting = [other for other in _items(one) if not _result(other) and sitting and _fits(other, sitting)]
    if not waiting:
        messages.success(request, _("Everything that can be seen in this state has a finding."))
        return redirect(one)
    here = (this.point.end_view_no, this.point.code, this.component.tag if this.component else "")
    keys = [(o.point.end_view_no, o.point.code, o.component.tag if o.component else "") for o in waiting]
    following = next((other for other, key in zip(waiting, keys, strict=True) if key > here), waiting[0])
    return redirect(_item_url(one, following))


def _say_closed(request: HttpRequest, one: FunctionCheck, this: CheckItem) -> None:
    """Say that the chamber is barred from now on, and which work order was raised for it."""
    said = _("%(kiln)s is barred to entry from now on. Get everybody out and put a sign at every door.")
    defect = act.still_to_mend(one.kiln, this)
    mending = mended_by(defect) if defect else None
    if mending:
        said += " " + _("%(number)s was raised by itself and is to mend it, from outside.")
    messages.error(request, said % {"kiln": one.kiln, "number": mending.number if mending else ""})


def _item_url(one: FunctionCheck, this: CheckItem) -> str:
    return reverse("maintenance:check-item", args=[one.number, this.pk])


# the end


@require_POST
@needs("do rounds")
def complete(request: HttpRequest, number: str) -> HttpResponse:
    """Complete a check."""
    one = _check(number)
    with refusal_said(request):
        act.complete_check(one, by=user_of(request))
        messages.success(request, _("%(number)s is complete.") % {"number": number})
    return redirect(one)


@needs("do rounds")
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    """Give a check up."""
    one = _check(number)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusal_on(form):
            act.withdraw_check(one, by=user_of(request), why=form.cleaned_data["why"])
            messages.success(request, _("%(number)s is withdrawn.") % {"number": number})
            return redirect("maintenance:rounds")
    return render(request, "checks/check_withdraw.html", {"place": "rounds", "check": one, "form": form})
