"""What was entered at a point: shown with a way to take it back, and decided where two people differ."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.checks import findings as act
from maintenance.checks.forms import DecisionForm, FindingForm, TakeBackForm
from maintenance.models import CheckItem, Finding, Sitting
from plant.access import needs
from plant.frame.requests import refusal_said, user_of
from plant.models import Kiln, User

Result = Finding.Result


def about_findings(item: CheckItem, sitting: Sitting | None, user: User) -> dict[str, Any]:
    """Return what a point's page says of findings: its own, those that differ, and what was entered last."""
    findings = list(item.findings.in_order().select_related("defect", "item__point"))
    differing = act.in_dispute(item)
    return {
        "findings": [(one, _may_take_back(one, user)) for one in findings],
        "has_finding": any(not one.is_taken_back for one in findings),
        "differing": [(one, _decision(one, item, user)) for one in differing],
        "entered": _entered_last(sitting, item) if sitting else None,
    }


def _may_take_back(finding: Finding, user: User) -> TakeBackForm | None:
    is_own = act.is_own_and_open(finding, user) and not finding.confirms_id
    return TakeBackForm() if is_own and not act.bars_by_itself(finding) else None


def _decision(finding: Finding, item: CheckItem, user: User) -> DecisionForm | None:
    if not act.may_decide(item, finding, user):
        return None
    return DecisionForm(initial={"finding": finding.pk}, item=item, auto_id=f"id_{finding.pk}_%s")


def _entered_last(sitting: Sitting, item: CheckItem) -> tuple[Finding, TakeBackForm | None] | None:
    """Return what was entered last in a sitting at another point, and the form that takes it back."""
    related = ("item__point", "item__component", "sitting")
    own = Finding.objects.standing().filter(sitting=sitting, by=sitting.by_id, confirms__isnull=True)
    last = own.exclude(item=item).select_related(*related).order_by("at", "id").last()
    if last is None:
        return None
    return last, None if act.bars_by_itself(last) else TakeBackForm()


def what_follows(form: FindingForm, kiln: Kiln) -> str:
    """Say what follows from an answer at a point where a fault bars entry, before it is entered."""
    return {
        Result.SOUND: _("Whoever goes into %(kiln)s relies on it. Enter it only if you have just tried it."),
        Result.DEFECT: _("Get everybody out; put a sign at every door. From now on nobody may enter %(kiln)s."),
        Result.WORN: _("Get everybody out. Nobody may enter %(kiln)s until somebody else says why people may go in."),
        Result.NOT_SEEN: _(
            "Get everybody out. Nobody may enter %(kiln)s until this was seen, or somebody else says why people may "
            "go in."
        ),
    }[Result(form.cleaned_data["result"])] % {"kiln": kiln}


def _url(item: CheckItem) -> str:
    return reverse("maintenance:check-item", args=[item.check_up.number, item.pk])


@require_POST
@needs("do rounds")
def take_back(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take back what one entered, and return to its point."""
    related = ("item__check_up", "item__point", "item__component", "sitting")
    finding = get_object_or_404(Finding.objects.select_related(*related), pk=pk, item__check_up__number=number)
    form = TakeBackForm(request.POST)
    with refusal_said(request):
        if form.is_valid():
            act.take_back(finding, by=user_of(request), key=form.cleaned_data["key"])
            words = {"what": finding.item.point, "result": finding.get_result_display()}
            messages.success(request, _("Taken back: %(what)s, %(result)s.") % words)
    return redirect(_url(finding.item))


@require_POST
@needs("do rounds")
def decide(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Say which of two findings holds."""
    items = CheckItem.objects.select_related("check_up", "point", "component")
    item = get_object_or_404(items, pk=pk, check_up__number=number)
    form = DecisionForm(request.POST, item=item)
    if not form.is_valid():
        messages.error(request, _("Say why this one holds."))
        return redirect(_url(item))
    said = form.cleaned_data
    with refusal_said(request):
        decision = act.decide(item, said["finding"], by=user_of(request), key=said["key"], why=said["why"])
        words = {"what": item.point, "result": decision.get_result_display()}
        messages.success(request, _("Decided: %(what)s is %(result)s.") % words)
    return redirect(_url(item))
