"""The warnings above every page, for pages that stay open."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from plant.access import needs
from plant.warnings.kiln_warnings import digest, kiln_warnings


@needs("see home")
def warnings(request: HttpRequest) -> HttpResponse:
    """Give the warnings as they stand; 204, which changes nothing, where the page shows them already."""
    request.kiln_warnings = found = kiln_warnings()  # type: ignore[attr-defined]
    if request.GET.get("seen") == digest(found):
        return HttpResponse(status=204)
    return render(request, "warnings/kiln_warnings.html")
