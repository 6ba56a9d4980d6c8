"""Papers to take along."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from maintenance.models import FunctionCheck, WorkOrder
from maintenance.telling.pages import chosen_day
from plant import clock
from plant.access import needs
from plant.frame.requests import mill_of
from plant.models import Mill, Person


def _pdf(content: bytes, number: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{number}.pdf"'
    return response


@needs("see work")
def work_order_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """Give a work order as paper."""
    # The PDF library takes its time to load: only who asks for paper waits for it.
    from maintenance.work.paper import WorkOrderPaper

    try:
        paper = WorkOrderPaper.of(number, Mill.objects.current())
    except (Mill.DoesNotExist, WorkOrder.DoesNotExist):
        raise Http404(_("There is no work order %(number)s.") % {"number": number}) from None
    return _pdf(paper.to_bytes(), number)


@needs("see rounds")
def check_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """Give the sheet of a function check as paper."""
    from maintenance.checks.round_sheet import RoundSheet

    try:
        paper = RoundSheet.of(number, Mill.objects.current())
    except (Mill.DoesNotExist, FunctionCheck.DoesNotExist):
        raise Http404(_("There is no function check %(number)s.") % {"number": number}) from None
    return _pdf(paper.to_bytes(), number)


@needs("see openings")
def day_sheet_pdf(request: HttpRequest) -> HttpResponse:
    """Give the work of a day as paper: by kiln, by person with a sheet for each, or one person's alone."""
    from maintenance.telling.day_sheet import DaySheet

    if Mill.objects.first() is None:
        raise Http404(_("No mill is loaded yet."))
    mill = mill_of(request)
    on, code = chosen_day(request, "day", clock.today(mill.zone)), request.GET.get("person", "")
    person = get_object_or_404(Person, code=code) if code else None
    paper = DaySheet.of(on, mill, by_person=request.GET.get("by") == "person" or person is not None, person=person)
    return _pdf(paper.to_bytes(), f"day-{on:%Y-%m-%d}")
