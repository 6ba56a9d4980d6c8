"""Defects: the list, and what is done with one."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from maintenance.checks.defects import own_judgement, strike_defect, work_order_from_defect
from maintenance.checks.forms import ReasonForm
from maintenance.entry.bars import bars_to_entry
from maintenance.models import Defect, TaskSheet, WorkOrder
from maintenance.pricing.sureness import sure_of_defects
from plant.access import needs
from plant.frame.requests import query_without_page, refusal_on, refusal_said, user_of
from plant.models import Kiln


@needs("see rounds")
def defects(request: HttpRequest) -> HttpResponse:
    """List defects, of one kiln or of all: those that block entry first."""
    found = Defect.objects.select_related("kiln", "component__kind", "found_by__person", "finding__item__check_up")
    kiln = get_object_or_404(Kiln, tag=request.GET["kiln"]) if request.GET.get("kiln") else None
    if kiln:
        found = found.filter(kiln=kiln)
    shows_cured = bool(request.GET.get("cured"))
    if not shows_cured:
        found = found.not_cured()
    live = WorkOrder.objects.exclude(state=WorkOrder.State.WITHDRAWN)
    found = found.prefetch_related(Prefetch("work_orders", queryset=live, to_attr="live_orders"))
    page = Paginator(found.order_by("-blocks_entry", "-is_safety", "-found_at", "-id"), 50).get_page(
        request.GET.get("page")
    )
    sure = sure_of_defects(list(page))
    for defect in page:
        defect.sure = sure[defect.pk]  # type: ignore[attr-defined]
    context = {
        "place": "rounds",
        "page": page,
        "kiln": kiln,
        "kilns": Kiln.objects.in_use(),
        "shows_cured": shows_cured,
        "query": query_without_page(request),
        "lead": _lead(kiln),
    }
    return render(request, "checks/defects.html", context)


def _lead(kiln: Kiln | None) -> str:
    found = Defect.objects.not_cured().filter(**({"kiln": kiln} if kiln else {}))
    bars = bars_to_entry([kiln] if kiln else Kiln.objects.in_use())
    if bars:
        return _("Nobody may enter %(kilns)s until all that bars entry is lifted.") % {
            "kilns": ", ".join(sorted(of_kiln[0].kiln_tag for of_kiln in bars.values()))
        }
    all_ = found.count()
    if not all_:
        return _("No defect is on record.")
    idle = found.exclude(work_orders__in=WorkOrder.objects.exclude(state=WorkOrder.State.WITHDRAWN)).count()
    said = ngettext("%(count)d defect is on record", "%(count)d defects are on record", all_) % {"count": all_}
    if not idle:
        return _("%(said)s; each has its work order.") % {"said": said}
    return ngettext(
        "%(said)s; %(count)d has no work order yet.", "%(said)s; %(count)d have no work order yet.", idle
    ) % {"said": said, "count": idle}


@require_POST
@needs("raise work")
def make_work_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a defect a work order."""
    defect = get_object_or_404(Defect, pk=pk)
    code = request.POST.get("sheet")
    sheet = get_object_or_404(TaskSheet, code=code) if code else None
    with refusal_said(request):
        order = work_order_from_defect(defect, user_of(request), sheet=sheet)
        messages.success(request, _("%(number)s is to mend it.") % {"number": order.number})
        return redirect(order)
    return redirect("maintenance:defects")


@needs("sign off work")
def strike(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a defect off the list because it never was one."""
    defect = get_object_or_404(Defect.objects.select_related("kiln", "component"), pk=pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusal_on(form):
            strike_defect(defect, by=user_of(request), why=form.cleaned_data["why"])
            messages.success(request, _("The defect is struck; the history keeps the reason."))
            return redirect("maintenance:defects")
    context: dict[str, Any] = {
        "place": "rounds",
        "defect": defect,
        "form": form,
        "refusal": own_judgement(defect, user_of(request)),
    }
    return render(request, "checks/defect_strike.html", context)
