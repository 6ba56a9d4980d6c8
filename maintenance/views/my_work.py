"""What the person who is signed in has to do: the technician's landing."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import FunctionCheck, WorkOrder
from maintenance.views.helpers import mill_of, person_of
from plant import clock
from plant.access import needs
from plant.models import Person

State = WorkOrder.State
WAITING = (State.RAISED, State.READY, State.PLACED)


@needs("see work")
def my_work(request: HttpRequest) -> HttpResponse:
    """Show what is under way, what is placed today, and the week ahead."""
    person, mill = person_of(request), mill_of(request)
    today = clock.today(mill.zone)
    tomorrow_at = clock.start_of_day(today + timedelta(days=1), mill.zone)
    week_at = clock.start_of_day(today + timedelta(days=7), mill.zone)
    mine = WorkOrder.objects.of_person(person).for_list()
    waiting = mine.filter(state__in=WAITING)
    placed = list(waiting.filter(placement__start_at__lt=week_at).order_by("placement__start_at", "number"))
    under_way = list(mine.filter(state=State.UNDER_WAY).order_by("started_at"))
    at_hand = [order for order in placed if order.placement.start_at < tomorrow_at]
    context = {
        "place": "rounds",
        "person": person,
        "under_way": under_way,
        "today": at_hand,
        "week": [order for order in placed if order.placement.start_at >= tomorrow_at],
        "unplaced": waiting.filter(placement__isnull=True).order_by("due_at")[:20],
        "checks": FunctionCheck.objects.under_way().select_related("kiln"),
        "lead": _lead(person, under_way, at_hand),
        "now": clock.now(),
    }
    return render(request, "maintenance/my_work.html", context)


def _lead(person: Person | None, under_way: list[WorkOrder], today: list[WorkOrder]) -> str:
    if person is None:
        return _("This sign-in belongs to nobody at the mill: a planner can link it to a person.")
    if under_way:
        return _("%(number)s is under way; %(count)d more today.") % {
            "number": under_way[0].number,
            "count": len(today),
        }
    if today:
        words = ngettext(
            "%(count)d job today, at %(kiln)s.", "%(count)d jobs today, the first at %(kiln)s.", len(today)
        )
        return words % {"count": len(today), "kiln": today[0].kiln}
    return _("Nothing is placed for you today.")
