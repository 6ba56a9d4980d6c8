"""How far the demo is filled, for pages that are looked at meanwhile."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from maintenance.demo.filling import seen_filling
from plant.access import needs


@needs("see home")
@require_safe
def filling(request: HttpRequest) -> HttpResponse:
    """Say anew how far it is; 204, which changes nothing, where the page says so already."""
    found = seen_filling()
    if found is not None and request.GET.get("seen") == found.mark:
        return HttpResponse(status=204)
    return render(request, "demo/filling.html", {"filling": found, "is_over": found is None})
