"""What a stop of a kiln moves: shown at once where it was reported."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from maintenance.kilns.seen_stop import gather
from plant import clock
from plant.access import needs
from plant.models import Downtime


@needs("see kilns")
def stop(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Show until when a stop may last, and which charges, openings and places it moves."""
    records = Downtime.objects.select_related("kiln__mill", "component")
    record = get_object_or_404(records, kiln__tag=tag, pk=pk)
    context = {"place": "kilns", **gather(record, record.kiln, clock.now())}
    return render(request, "kilns/kiln_stop.html", context)
