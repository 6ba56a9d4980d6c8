"""Every page shows the mill's own time."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from plant.models import Mill


class MillZoneMiddleware:
    """Loads the mill once a request and activates its time zone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Set ``request.mill`` (None before a mill was loaded)."""
        mill = Mill.objects.first()
        request.mill = mill  # type: ignore[attr-defined]
        if mill is None:
            return self.get_response(request)
        with timezone.override(mill.zone):
            return self.get_response(request)
