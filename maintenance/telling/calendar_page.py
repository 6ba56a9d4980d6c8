"""The calendar of somebody's work: its secret address on a page, and the feed that calendars fetch."""

import hashlib
from functools import partial

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from maintenance.models import CalendarAddress
from maintenance.telling.calendar_address import FOR_OTHERS, find_address, make_address, revoke_address
from maintenance.telling.pages import own_frame, whose
from plant import clock
from plant.access import needs
from plant.frame import tokens
from plant.frame.requests import person_of, user_of
from plant.frame.site_address import absolute
from plant.models import Mill, Person


def _page(request: HttpRequest, person: Person | None, fresh: str = "") -> HttpResponse:
    works = CalendarAddress.objects.filter(person=person, revoked_at__isnull=True).first() if person else None
    context = own_frame(request, person, "calendar", FOR_OTHERS) | {
        "address": works,
        "fresh": absolute(request, reverse("maintenance:calendar-feed", args=[fresh])) if fresh else "",
    }
    return render(request, "telling/my_work_calendar.html", context)


@needs("take calendar")
@never_cache
def my_calendar(request: HttpRequest) -> HttpResponse:
    """Show whether there is an address; sent as a form, make one and show it, in this answer and nowhere else."""
    person = whose(request, FOR_OTHERS)
    if request.method != "POST" or person is None:
        return _page(request, person)
    return _page(request, person, make_address(person, by=user_of(request)))


@needs("take calendar")
@require_POST
def revoke(request: HttpRequest) -> HttpResponse:
    """Let an address show nothing more."""
    person = whose(request, FOR_OTHERS)
    if person is None or not revoke_address(person, by=user_of(request)):
        messages.info(request, _("There was no address that works."))
    else:
        messages.success(request, _("The address is revoked. Calendars that use it find nothing from now on."))
    back = reverse("maintenance:my-calendar")
    return redirect(f"{back}?person={person.code}" if person and person != person_of(request) else back)


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponseBase:
    """Give the calendar to whoever has the address; what is unknown, revoked or of somebody who left is not there."""
    # Only who asks for a calendar waits for its library to load.
    from maintenance.telling.calendar_feed import feed_of

    address, mill = find_address(token), Mill.objects.first()
    if address is None or mill is None:
        raise Http404(_("There is no such calendar."))
    body = feed_of(address.person, mill, clock.now(), partial(absolute, request))
    tokens.note_use(address)
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="work.ics"'
    response["Cache-Control"] = "private, no-cache"
    response["Referrer-Policy"] = "no-referrer"
    # No Last-Modified: a job that lost its place changes the calendar and leaves no younger time behind in it.
    response["ETag"] = etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    return get_conditional_response(request, etag=etag, response=response) or response
