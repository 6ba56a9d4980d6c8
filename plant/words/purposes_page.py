"""Keeps which pages somebody knows, so that their purpose stays folded."""

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.frame.requests import user_of
from plant.words.purposes import remember


@needs("see help")
@require_POST
def known(request: HttpRequest) -> HttpResponse:
    """Remember that the purpose of a page was folded away, or unfolded."""
    try:
        remember(user_of(request), request.POST.get("page", ""), is_known=request.POST.get("known") == "yes")
    except KeyError:
        raise Http404 from None
    return HttpResponse(status=204)
