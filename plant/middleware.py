"""What holds on every page: the mill's own time, and that a first password is changed before anything else."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from plant.frame.saying import saying_for
from plant.models import Mill


class MillZoneMiddleware:
    """Loads the mill once a request and activates its time zone and units."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Set ``request.mill`` (None before a mill was loaded)."""
        mill = Mill.objects.first()
        request.mill = mill  # type: ignore[attr-defined]
        if mill is None:
            return self.get_response(request)
        with timezone.override(mill.zone), saying_for(mill):
            return self.get_response(request)


class FirstPasswordMiddleware:
    """Leads whoever signed in with a password that somebody else chose to choosing one of their own."""

    OPEN = frozenset({"plant:own-password", "sign-in", "sign-out", "alive"})

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; the view is looked at once it is known."""
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *args: Any) -> HttpResponseBase | None:
        """Send to the own password instead of the view."""
        match = request.resolver_match
        if match is None or match.view_name in self.OPEN or not getattr(request.user, "has_first_password", False):
            return None
        if getattr(request, "htmx", False):
            # A part of a page cannot be replaced by a form: the whole page goes there.
            return HttpResponse(headers={"HX-Redirect": reverse("plant:own-password")})
        return redirect("plant:own-password")
