"""What holds on every page whatever the storey: signing in again, and addresses that only take what a form sends."""

import time
from collections.abc import Callable
from typing import Any

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.signals import user_logged_in
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import SuspiciousOperation
from django.db import DataError
from django.dispatch import receiver
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import resolve_url

from config.kept_forms import keep_words
from config.views import bad_request, mill_is_missing, only_for_forms, page_of, say_not_stored
from plant.frame.typed_numbers import LARGEST
from plant.models import Mill

HTTP_NOT_ALLOWED = 405
# Sent with what a page asks again and again while nobody may be there.
UNATTENDED = "X-Unattended"


class SignInMiddleware(LoginRequiredMiddleware):
    """Leads whoever was signed out meanwhile back to the page they were on, not to where its form is sent."""

    def handle_no_permission(  # type: ignore[override]
        self, request: HttpRequest, view_func: Callable[..., Any]
    ) -> HttpResponseBase:
        """Ask for the sign-in; say that a form that was sent was not stored."""
        is_htmx = bool(getattr(request, "htmx", False))
        if request.method in ("GET", "HEAD") and not is_htmx:
            return super().handle_no_permission(request, view_func)
        page = page_of(request)
        if request.method == "POST":
            say_not_stored(request, is_kept=keep_words(request, page) is not None)
        answer = redirect_to_login(page, resolve_url(self.get_login_url(view_func)))
        # A part of a page cannot be replaced by the sign-in: the whole page goes there.
        return HttpResponse(headers={"HX-Redirect": answer.url}) if is_htmx else answer


class OddRequestMiddleware:
    """Refuses what no page can mean and no database keeps: the character NUL, and numbers beyond any row's.

    A form says in words what is wrong with a field; this is for what no form has looked at.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Look at the address before anything else does."""
        if "\0" in request.path or "\0" in request.META.get("HTTP_COOKIE", ""):
            return bad_request(request, SuspiciousOperation("NUL in the address"))
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, gaps: dict[str, Any]) -> None:
        """Look at the numbers that the address names."""
        if any(isinstance(value, int) and value > LARGEST for value in gaps.values()):
            raise Http404

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponseBase | None:
        """Say that a text with NUL was refused by the database (PostgreSQL)."""
        is_nul = isinstance(fault, ValueError | DataError) and "NUL" in str(fault)
        return bad_request(request, fault) if is_nul else None


@receiver(user_logged_in)
def note_sign_in(request: HttpRequest, **kwargs: Any) -> None:
    """Count the use of a sign-in from here on."""
    request.session["used_s"] = int(time.time())


class SessionUseMiddleware:
    """Lets a sign-in last from use to use; what a page asks by itself is no use of it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Renew the session, seldom enough that reading pages does not mean writing rows."""
        session = request.session
        if SESSION_KEY in session and UNATTENDED not in request.headers:
            now_s, used_s = int(time.time()), session.get("used_s", 0)
            if abs(now_s - used_s) > session.get_expiry_age() / 20:
                session["used_s"] = now_s
        return self.get_response(request)


class FormAddressMiddleware:
    """Says something readable where an address that takes only forms is opened as a page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Replace the empty refusal by a page."""
        response = self.get_response(request)
        # What answers by JSON has said it already.
        is_json = response.headers.get("Content-Type", "").startswith("application/json")
        if response.status_code != HTTP_NOT_ALLOWED or request.method != "GET" or is_json:
            return response
        page = only_for_forms(request)
        page.headers["Allow"] = response.headers.get("Allow", "POST")
        return page


class NoMillMiddleware:
    """Leads to the first hour from every page that needs a mill before there is one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponseBase | None:
        """Say what comes first where a view asked for the mill of an empty database."""
        is_before_the_mill = isinstance(fault, Mill.DoesNotExist) and getattr(request, "mill", None) is None
        return mill_is_missing(request) if is_before_the_mill else None
