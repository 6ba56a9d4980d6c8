"""The chambers: all of them this morning, and one with all that belongs to it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from maintenance.end_view_marks import marks_of, number_of_work
from maintenance.models import Defect
from maintenance.morning import Card, morning
from plant import clock
from plant.access import needs
from plant.models import Mill


@needs("see kilns")
def kilns(request: HttpRequest) -> HttpResponse:
    """Show what each chamber needs this morning, and what the next opening holds."""
    mill = Mill.objects.first()
    if mill is None:
        return render(request, "maintenance/kilns_none.html", {"place": "kilns"})
    now = clock.now()
    this_morning = morning(mill, now)
    chosen = this_morning.chosen(request.GET.get("kiln"))
    context = {
        "place": "kilns",
        "morning": this_morning,
        "chosen": chosen,
        "marks": marks_of(chosen.kiln, now) if chosen else {},
        "jobs": _rows(chosen),
        "blocking": Defect.objects.blocking_entry().filter(kiln=chosen.kiln) if chosen else (),
    }
    is_partial = getattr(request, "htmx", False)
    return render(request, "maintenance/kilns_chambers.html" if is_partial else "maintenance/kilns.html", context)


def _rows(card: Card | None) -> list[dict[str, object]]:
    """Return the jobs of the opening, each with its number in the end view."""
    if card is None:
        return []
    return [
        {"order": job.work_order, "why": job.why or job.work_order.why, "number": number_of_work(job.work_order)}
        for job in card.jobs
    ]
