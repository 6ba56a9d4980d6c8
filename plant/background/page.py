"""The page of background work: what runs, what waits, what failed, and whether the worker lives."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from plant.access import needs
from plant.background.queueing import start_again
from plant.background.seen import worker_seen
from plant.frame.requests import user_of
from plant.models import Job

# So many rows of each list are shown; the heading counts all.
SHOWN = 30


@needs("see background work")
@require_safe
def background(request: HttpRequest) -> HttpResponse:
    """Show the lists; to htmx, which asks every few seconds, only what changes."""
    jobs = Job.objects.for_the_page()
    counts = Job.objects.counts()
    moment = timezone.now()
    context = {
        "place": "background",
        "counts": counts,
        "worker": worker_seen(moment, counts["under_way"]),
        "under_way": jobs.under_way()[:SHOWN],
        "waiting": jobs.waiting().order_by("not_before_at", "id")[:SHOWN],
        "failed": jobs.failed().order_by("-finished_at")[:SHOWN],
        "finished": jobs.finished().order_by("-finished_at")[:SHOWN],
        "moment": moment,
        "shown": SHOWN,
    }
    only_part = request.headers.get("HX-Target") == "background-now"
    return render(request, "background/background_now.html" if only_part else "background/background.html", context)


@needs("see background work")
@require_safe
def background_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one job with its attempts and, where it failed, the whole reason."""
    job = get_object_or_404(Job.objects.for_the_page(), pk=pk)
    return render(request, "background/background_job.html", {"place": "background", "job": job})


@needs("steer background work")
@require_POST
def background_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Start a failed job again."""
    job = get_object_or_404(Job, pk=pk)
    if start_again(job.pk, user_of(request)):
        messages.success(request, _("“%(job)s” waits for a worker again.") % {"job": job})
    else:
        messages.warning(request, _("“%(job)s” has not failed, or was started again already.") % {"job": job})
    return redirect("plant:background")
