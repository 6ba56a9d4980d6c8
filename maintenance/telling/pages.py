"""Somebody's own work: the day, the technician's landing, and the week."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import FunctionCheck, WorkOrder
from maintenance.telling.calendar_address import FOR_OTHERS, may_make_for
from maintenance.telling.my_week import (
    DAY,
    Entry,
    LockOut,
    OwnDay,
    OwnJob,
    as_own,
    own_days,
    say_moment,
    with_crew,
)
from plant import clock
from plant.access import needs, require
from plant.frame.requests import mill_of, person_of, user_of
from plant.models import Mill, Person

State = WorkOrder.State
WEEK = timedelta(days=7)
DAYS_AHEAD = 6
MOST_AHEAD = 8


@needs("see work")
def my_work(request: HttpRequest) -> HttpResponse:
    """Show a day: what is under way, what comes next, all that is placed; and today what lies ahead."""
    person, mill = whose(request), mill_of(request)
    today = clock.today(mill.zone)
    on = chosen_day(request, "day", today)
    context = own_frame(request, person, "day") | {
        "day": OwnDay(on, [], [], []),
        "is_today": on == today,
        "before": on - DAY,
        "after": on + DAY,
        "now": clock.now(),
    }
    if person is not None:
        context |= _day(person, on, on == today, mill)
    return render(request, "telling/my_work.html", context | {"lead": _lead(context)})


def _day(person: Person, on: date, is_today: bool, mill: Mill) -> dict[str, Any]:
    """Sort a day's jobs and lock-outs: under way, waiting, over; and what lies ahead of today."""
    days = own_days(person, on, 1 + DAYS_AHEAD if is_today else 1, mill)
    entries = days[0].entries
    mine = WorkOrder.objects.of_person(person)
    under_way = [one for one in days[0].jobs if one.is_under_way]
    if is_today:
        # What was begun goes on, wherever its place was.
        under_way = as_own(with_crew(mine.filter(state=State.UNDER_WAY)).order_by("started_at"), person)
    now = clock.now()
    open_ones = [one for one in entries if not one.is_finished and not one.is_under_way]
    missed = [one for one in open_ones if one.is_missed(now)]
    waiting = [one for one in open_ones if one not in missed]
    ahead = [one for day in days[1:] for one in day.entries if one.start_at and one.start_at >= _end_of(on, mill)]
    return {
        "day": days[0],
        "under_way": under_way,
        "next": waiting[0] if waiting and not under_way else None,
        "later": waiting if under_way else waiting[1:],
        "waiting": waiting,
        "missed": missed,
        "finished": [one for one in entries if one.is_finished],
        "ahead": ahead[:MOST_AHEAD],
        "unplaced": _unplaced(person) if is_today else [],
        "checks": FunctionCheck.objects.under_way().select_related("kiln") if is_today else [],
    }


def _end_of(on: date, mill: Mill) -> Any:
    return clock.start_of_day(on + DAY, mill.zone)


def _unplaced(person: Person) -> Iterable[WorkOrder]:
    waiting = WorkOrder.objects.of_person(person).filter(state__in=WorkOrder.BEFORE_START, placement__isnull=True)
    return waiting.for_list().order_by("due_at")[:20]


@needs("see work")
def my_week(request: HttpRequest) -> HttpResponse:
    """Show a week as a list by day, with shift hours and absences."""
    person, mill = whose(request), mill_of(request)
    today = clock.today(mill.zone)
    day = chosen_day(request, "week", today)
    monday = day - timedelta(days=day.weekday())
    days = own_days(person, monday, 7, mill) if person else []
    context = own_frame(request, person, "week") | {
        "days": days,
        "monday": monday,
        "sunday": monday + 6 * DAY,
        "today": today,
        "before": monday - WEEK,
        "after": monday + WEEK,
        "is_this_week": monday <= today < monday + WEEK,
        "now": clock.now(),
        "lead": _week_lead(days) if person else _nobody(),
    }
    return render(request, "telling/my_work_week.html", context)


def whose(request: HttpRequest, act: str = "place work") -> Person | None:
    """Return whose work is looked at: one's own; who may do the act may name anybody who is on record."""
    own, code = person_of(request), request.GET.get("person", "")
    if not code or (own is not None and own.code == code):
        return own
    require(user_of(request), act)
    return get_object_or_404(Person, code=code)


def chosen_day(request: HttpRequest, name: str, today: date) -> date:
    """Return the day that the address names, today where it says nothing sensible."""
    try:
        day = date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return today
    # Outside these years a day has no neighbours to page to.
    return day if 2000 <= day.year <= 2200 else today


def own_frame(request: HttpRequest, person: Person | None, way: str, act: str = "place work") -> dict[str, Any]:
    """What all pages of somebody's work share; who may do the act may choose somebody else."""
    own, user = person_of(request), user_of(request)
    return {
        "place": "rounds",
        "way": way,
        "person": person,
        "is_own": person is not None and person == own,
        "whose": f"person={person.code}" if person is not None and person != own else "",
        "people": Person.objects.working_here() if user.may(act) else [],
        "may_calendar": may_make_for(user, person) if person else user.may(FOR_OTHERS),
    }


def _nobody() -> str:
    return _("This sign-in belongs to nobody at the mill: an administrator can link it to a person.")


def _lead(context: dict[str, Any]) -> str:
    """Say in a sentence what the day brings, and which kilns are to be locked out."""
    if context["person"] is None:
        return _nobody()
    entries: list[Entry] = context["waiting"]
    outs = [one for one in entries if isinstance(one, LockOut)]
    said = "" if outs and len(outs) == len(entries) and not context["under_way"] else _lead_of_jobs(context)
    return " ".join(words for words in (said, _say_lock_outs(outs, context["day"].on)) if words)


def _say_lock_outs(outs: list[LockOut], on: date) -> str:
    which = ", ".join(f"{one.kiln} {say_moment(one.start_at, on)}" for one in outs)
    return _("To be locked out: %(which)s.") % {"which": which} if outs else ""


def _lead_of_jobs(context: dict[str, Any]) -> str:
    waiting = [one for one in context["waiting"] if isinstance(one, OwnJob)]
    if context["under_way"]:
        first: OwnJob = context["under_way"][0]
        facts = {"number": first.order.number, "count": len(waiting)}
        if context["is_today"]:
            return _("%(number)s is under way; %(count)d more today.") % facts
        return _("%(number)s is under way; %(count)d more on this day.") % facts
    if waiting:
        facts = {"count": len(waiting), "kiln": waiting[0].order.kiln}
        if context["is_today"]:
            words = ngettext(
                "%(count)d job today, at %(kiln)s.", "%(count)d jobs today, the first at %(kiln)s.", len(waiting)
            )
        else:
            words = ngettext(
                "%(count)d job on this day, at %(kiln)s.",
                "%(count)d jobs on this day, the first at %(kiln)s.",
                len(waiting),
            )
        return words % facts
    if not context["is_own"]:
        return _("Nothing is placed for %(person)s on this day.") % {"person": context["person"]}
    return _("Nothing is placed for you today.") if context["is_today"] else _("Nothing is placed for you on this day.")


def _week_lead(days: list[OwnDay]) -> str:
    """Say how many jobs a week holds, on how many days."""
    jobs = {job.order.pk: job for day in days for job in day.jobs}
    outs = {one.stop.pk for day in days for one in day.lock_outs}
    if not jobs and not outs:
        return _("No work is placed in this week.")
    free = sum(1 for day in days if day.shifts and not day.absences and not day.entries)
    count = len(jobs)
    words = ngettext("%(count)d job in this week", "%(count)d jobs in this week", count) % {"count": count}
    if outs:
        more = ngettext("%(count)d lock-out", "%(count)d lock-outs", len(outs)) % {"count": len(outs)}
        words = f"{words}, {more}"
    more = ngettext("%(free)d working day without.", "%(free)d working days without.", free) % {"free": free}
    return f"{words}; {more}" if free else f"{words}."
