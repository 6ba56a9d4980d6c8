"""Pages that belong to no storey: where one lands, and what one sees when something went wrong."""

import sys
from importlib.metadata import PackageNotFoundError, version
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.template import loader
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _

from config.kept_forms import keep_words
from plant.access import Role, needs
from plant.frame.database_away import is_away
from plant.models import User
from plant.readings.api.faults import SEND_AGAIN_AFTER_S, ApiFault, database_is_away

LANDINGS = {
    Role.PLANNER: "maintenance:openings",
    Role.KILN_MASTER: "maintenance:kilns",
    Role.STOREKEEPER: "inventory:storeroom",
    Role.TECHNICIAN: "maintenance:my-work",
    Role.MANAGER: "plant:availability",
    Role.AUDITOR: "maintenance:proof-tests",
    Role.ADMINISTRATOR: "plant:people",
}


def _is_for_machines(request: HttpRequest) -> bool:
    """Say whether the asker reads no pages."""
    return request.path.startswith("/api/")


@needs("see home")
def home(request: HttpRequest) -> HttpResponse:
    """Send everybody to what concerns them."""
    if request.mill is None:  # type: ignore[attr-defined]
        return redirect("maintenance:first-hour")
    roles = request.user.roles  # type: ignore[union-attr]
    first = next((role for role in Role if role in roles), None)
    return redirect(LANDINGS[first] if first else "maintenance:kilns")


@needs("see help")
def help_page(request: HttpRequest) -> HttpResponse:
    """Say how each role begins its day, what comes first in an emergency, and where the words are."""
    return render(request, "help.html", {"version": _version(), "place": "help"})


def _version() -> str:
    try:
        return version("kilnward")
    except PackageNotFoundError:
        return _("not installed as a package")


def alive(request: HttpRequest) -> HttpResponse:
    """Answer whoever asks whether the server is up."""
    return HttpResponse("alive\n", content_type="text/plain")


def icon(request: HttpRequest) -> HttpResponseBase:
    """Lead to the site's picture."""
    return redirect(static("kilnward/chamber.svg"))


def _trouble(request: HttpRequest, status: int, title: str, text: str) -> HttpResponse:
    return render(request, "trouble.html", {"title": title, "text": text}, status=status)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """Say that the request made no sense."""
    if _is_for_machines(request):
        words = "The request cannot be read. If it came by a name of this server, that must stand in KILNWARD_HOSTS."
        return ApiFault(400, words).answer()
    return _trouble(request, 400, _("That request could not be read"), _("Go back one page and try again."))


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """Say what is not allowed."""
    text = str(exception) or _("Your role does not allow this. An administrator of the mill can change that.")
    return _trouble(request, 403, _("Not allowed"), text)


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """Say that nothing is there."""
    return _trouble(request, 404, _("Nothing here"), _("The address is wrong, or what it named is no longer there."))


def page_of(request: HttpRequest) -> str:
    """Return the page a request came from, where it is one of ours; else the start."""
    try:
        came_from = urlsplit(request.headers.get("HX-Current-URL") or request.headers.get("Referer", ""))
    except ValueError:
        return reverse("home")
    if came_from.netloc != request.get_host() or came_from.path.startswith("//"):
        return reverse("home")
    return f"{came_from.path}?{came_from.query}" if came_from.query else came_from.path


def say_not_stored(request: HttpRequest, *, is_kept: bool) -> None:
    """Say to whoever was signed out what became of the form that was sent."""
    text = _("You were signed out. What you sent last was not stored: sign in and enter it again.")
    if is_kept:
        text = _("You were signed out. What you sent last was not stored: sign in, and you find it filled in again.")
    messages.warning(request, text)


def page_too_old(request: HttpRequest, reason: str = "") -> HttpResponseBase:
    """Lead back to the page of a form that no longer belongs to this sign-in, filled where the words are one's own."""
    page = page_of(request)
    owner = keep_words(request, page) if request.method == "POST" else None
    is_anonymous = not request.user.is_authenticated
    if owner and (is_anonymous or owner.pk == request.user.pk):
        if is_anonymous:
            say_not_stored(request, is_kept=True)
            page = redirect_to_login(page, resolve_url(settings.LOGIN_URL)).url
        # A part of a page cannot be replaced by another page: the whole page goes there.
        is_htmx = bool(getattr(request, "htmx", False)) or "HX-Request" in request.headers
        return HttpResponse(headers={"HX-Redirect": page}) if is_htmx else redirect(page)
    text = _(
        "You were signed out or signed in anew since this page was opened. Nothing was stored. Go back, load the page "
        "again and repeat it."
    )
    return _trouble(request, 403, _("This page is too old"), text)


def only_for_forms(request: HttpRequest) -> HttpResponse:
    """Say that an address only takes what a form sends."""
    text = _("This address only takes what a form sends. Nothing was changed.")
    return _trouble(request, 405, _("Nothing to see here"), text)


def mill_is_missing(request: HttpRequest) -> HttpResponseBase:
    """Lead whoever may name the mill to the first hour; say to all others who does."""
    if _is_for_machines(request):
        return ApiFault(409, "The mill is not set up yet: an administrator names it on its pages first.").answer()
    if not (isinstance(request.user, User) and request.user.may("edit mill")):
        text = _("An administrator names the mill first. Until then there is nothing to see or to enter here.")
        return _trouble(request, 409, _("The mill has no name yet"), text)
    messages.warning(request, _("That page needs the mill: name the mill first."))
    page = reverse("maintenance:first-hour")
    # A part of a page cannot be replaced by another page: the whole page goes there.
    return HttpResponse(headers={"HX-Redirect": page}) if getattr(request, "htmx", False) else redirect(page)


def _away(request: HttpRequest) -> HttpResponseBase:
    """Say that the database is away or the disk is full, and when to come again; asks nothing of the database."""
    if _is_for_machines(request):
        return database_is_away().answer()
    headers = {"Retry-After": str(SEND_AGAIN_AFTER_S)}
    return HttpResponse(loader.get_template("503.html").render(), status=503, headers=headers)


def server_error(request: HttpRequest) -> HttpResponseBase:
    """Say that the program failed; the page asks nothing of the request or the database, which may be what failed."""
    if is_away(sys.exc_info()[1]):
        return _away(request)
    if _is_for_machines(request):
        return ApiFault(500, "The program or its database failed. Nothing was stored: send again in a while.").answer()
    return HttpResponse(loader.get_template("500.html").render(), status=500)
