"""The chambers: all of them this morning, and one with all that belongs to it."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.vary import vary_on_headers

from maintenance.checks.end_view_marks import marks_of, number_of_work
from maintenance.entry.bars import bars_of
from maintenance.kilns.morning import Card, find_everybody_words, morning, waits_for_timber
from maintenance.kilns.seen_kiln import downtimes_ahead, downtimes_of, gather, year_of
from plant import clock
from plant.access import needs
from plant.frame.saying import say
from plant.kilns.forms import KilnForm
from plant.kilns.keeping import edit_kiln
from plant.models import Kiln, Mill

DOWNTIMES_PER_PAGE = 25
LATEST_DOWNTIMES = 5


@needs("see kilns")
@vary_on_headers("HX-Request")
def kilns(request: HttpRequest) -> HttpResponse:
    """Show what each chamber needs this morning, and what the next opening holds."""
    mill = Mill.objects.first()
    if mill is None:
        return render(request, "kilns/kilns_none.html", {"place": "kilns"})
    now = clock.now()
    this_morning = morning(mill, now)
    chosen = this_morning.chosen(request.GET.get("kiln"))
    blocking = bars_of(chosen.kiln) if chosen else []
    is_timber_due = bool(blocking and chosen and waits_for_timber(chosen.now))
    context = {
        "place": "kilns",
        "morning": this_morning,
        "chosen": chosen,
        "marks": marks_of(chosen.kiln, now) if chosen else {},
        "jobs": _rows(chosen),
        "blocking": blocking,
        "find_everybody": find_everybody_words() if is_timber_due else "",
    }
    htmx = request.htmx  # type: ignore[attr-defined]
    is_partial = htmx and not htmx.history_restore_request
    return render(request, "kilns/kilns_chambers.html" if is_partial else "kilns/kilns.html", context)


def _rows(card: Card | None) -> list[dict[str, object]]:
    """Return the jobs of the opening, each with its number in the end view."""
    if card is None:
        return []
    return [
        {"order": job.work_order, "why": say(job.why or job.work_order.why), "number": number_of_work(job.work_order)}
        for job in card.jobs
    ]


@needs("see kilns")
def kiln(request: HttpRequest, tag: str) -> HttpResponse:
    """Show a kiln: its make-up, its state, and all that is on record about it."""
    found = get_object_or_404(Kiln.objects.select_related("mill"), tag=tag)
    now = clock.now()
    page = Paginator(downtimes_of(found, now), DOWNTIMES_PER_PAGE).get_page(request.GET.get("page"))
    records = list(page.object_list)
    latest = LATEST_DOWNTIMES if page.number == 1 else 0
    context = {
        "place": "kilns",
        "kiln": found,
        "now": now,
        "downtimes": page,
        "downtimes_ahead": downtimes_ahead(found, now),
        "latest_downtimes": records[:latest],
        "older_downtimes": records[latest:],
        **year_of(found, now),
        **gather(found, now),
    }
    return render(request, "kilns/kiln.html", context)


@needs("edit kilns")
def edit(request: HttpRequest, tag: str) -> HttpResponse:
    """Change a kiln's particulars."""
    found = get_object_or_404(Kiln, tag=tag)
    form = KilnForm(request.POST if request.method == "POST" else None, instance=found)
    if form.keep(request, edit_kiln, _("The particulars of %(kiln)s are changed.") % {"kiln": tag}):
        return redirect("maintenance:kiln", tag)
    return render(request, "kilns/kiln_form.html", {"place": "kilns", "kiln": found, "form": form})
