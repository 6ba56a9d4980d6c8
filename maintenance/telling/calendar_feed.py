"""Somebody's placed work as a calendar (RFC 5545, with the name and pace of RFC 7986).

Times are in UTC: a job is at one instant, recurs by no rule, and every calendar shows UTC in its owner's zone. A
VTIMEZONE would only carry rules along that can grow old.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from django.db.models import Max
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from maintenance.models import KilnStop, WorkOrder
from maintenance.telling.my_week import DAY, LockOut, OwnJob, as_lock_outs, as_own, placed_between, with_crew
from plant import clock
from plant.frame.figures import quantity
from plant.models import Change, Kiln, Mill, Person
from plant.warnings.kiln_warnings import KilnWarning, kiln_warnings

DAYS_BACK, DAYS_AHEAD = 14, 90
REFRESH_EVERY = timedelta(minutes=30)
# Names the events of this program; never to be changed, or every calendar would take known jobs for new ones.
SPACE = UUID("b16f0c3e-52a4-4c0c-9b0e-0f5d7b7a4d1c")
# What RFC 5545, 3.1 allows in no value; a tabulator is allowed, line ends are escaped.
CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def feed_of(person: Person, mill: Mill, now: datetime, link_to: Callable[[str], str]) -> bytes:
    """Write somebody's calendar, alike for the same work; ``link_to`` makes a whole address of a path."""
    today = now.astimezone(mill.zone).date()
    start_at = clock.start_of_day(today - DAYS_BACK * DAY, mill.zone)
    end_at = clock.start_of_day(today + (DAYS_AHEAD + 1) * DAY, mill.zone)
    orders = list(with_crew(WorkOrder.objects.of_person(person).filter(placed_between(start_at, end_at))))
    lock_outs = as_lock_outs(KilnStop.objects.filter(person=person).between(start_at, end_at))
    changed = _last_changes([*orders, *(job for one in lock_outs for job in one.jobs)])
    warnings = kiln_warnings()
    calendar = Calendar()
    calendar.add("prodid", "-//Kilnward//Own work//EN")
    calendar.add("version", "2.0")
    calendar.add("name", plain(_("Work of %(person)s") % {"person": person}))
    calendar.add("refresh-interval", REFRESH_EVERY, parameters={"VALUE": "DURATION"})
    for job in as_own(orders):
        event = event_of(job, changed.get(job.order.pk), link_to)
        calendar.add_component(_warned(event, job.kiln, warnings))
    for one in lock_outs:
        event = event_of_lock_out(one, changed, link_to)
        calendar.add_component(_warned(event, one.kiln, warnings))
    return bytes(calendar.to_ical())


def event_of(job: OwnJob, changed_at: datetime | None, link_to: Callable[[str], str]) -> Event:
    """Make the event of a placed job; everybody of its crew has the same one."""
    order, link = job.order, link_to(job.order.get_absolute_url())
    # Without a METHOD the stamp is the last change of what the event says (RFC 5545, 3.8.7.2).
    stamp = (changed_at or order.raised_at).astimezone(UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", str(uuid5(SPACE, f"{order.pk} {order.number} {order.raised_at.astimezone(UTC).isoformat()}")))
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", order.version)
    event.add("dtstart", order.placement.start_at.astimezone(UTC))
    event.add("dtend", order.placement.end_at.astimezone(UTC))
    event.add("summary", plain(f"{order.kiln.tag}: {order.title}"))
    event.add("location", plain(f"{order.kiln.tag} {order.kiln.name}".strip()))
    event.add("description", plain("\n".join([*_particulars(job), link])))
    event.add("url", link)
    event.add("status", "CONFIRMED")
    return event


def event_of_lock_out(one: LockOut, changed: Mapping[int, datetime], link_to: Callable[[str], str]) -> Event:
    """Make the event of a lock-out: the same one as long as it is in the same place of the kiln, whoever does it.

    Each plan that is accepted writes the lock-outs ahead anew, so their ids only grow: they count the revisions.
    """
    stop, link = one.stop, link_to(one.get_absolute_url())
    known = [changed.get(job.pk, job.raised_at) for job in one.jobs]
    decided_at: datetime | None = stop.decided_at  # type: ignore[attr-defined]
    stamp = max([*known, decided_at] if decided_at else known).astimezone(UTC).replace(microsecond=0)
    turn: int = stop.turn  # type: ignore[attr-defined]
    place = f"lock-out {stop.kiln_id} {stop.after_charge_id} {stop.during_charge_id} {turn}"
    event = Event()
    event.add("uid", str(uuid5(SPACE, place)))
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    event.add("sequence", stop.pk)
    event.add("dtstart", one.start_at.astimezone(UTC))
    # RFC 5545, 3.8.2.2: an end must be later than the start; without one it lasts no time.
    if one.end_at > one.start_at:
        event.add("dtend", one.end_at.astimezone(UTC))
    event.add("summary", plain(_("Lock out %(kiln)s") % {"kiln": one.kiln.tag}))
    event.add("location", plain(f"{one.kiln.tag} {one.kiln.name}".strip()))
    event.add("description", plain("\n".join([*_of_lock_out(one), link])))
    event.add("url", link)
    event.add("status", "CONFIRMED")
    return event


def _warned(event: Event, kiln: Kiln, warnings: Iterable[KilnWarning]) -> Event:
    """Put what must be said of a kiln before what an event says: a calendar shows the first words only."""
    loud = [one for one in warnings if one.kiln == kiln.tag and one.is_loud]
    if loud:
        marks = ", ".join(dict.fromkeys(one.mark for one in loud)).upper()
        said = "\n".join(one.sentence for one in loud)
        summary, description = event.pop("summary"), event.pop("description")
        event.add("summary", plain(f"{marks} · {summary}"))
        event.add("description", plain(f"{said}\n{description}"))
    return event


def _of_lock_out(one: LockOut) -> Iterable[str]:
    for job in one.jobs:
        yield _("For: %(title)s (%(number)s)") % {"title": job.title, "number": job.number}
    yield _("Ready again: %(when)s") % {"when": one.ready}
    yield _("Lock every energy and try to start, before anybody goes in. Local codes and licensed trades come first.")
    for caution in one.cautions:
        yield _("Caution: %(title)s") % {"title": caution.title}


def _particulars(job: OwnJob) -> Iterable[str]:
    order = job.order
    yield f"{order.number} · {order.get_state_display()}"
    yield _("The kiln must be: %(state)s") % {"state": job.kiln_must_be}
    yield _("Crew: %(names)s") % {"names": ", ".join(person.name for person in job.others)}
    for need in job.parts:
        facts = {"amount": quantity(need.quantity), "unit": need.part.unit, "part": need.part.name}
        yield _("Fetch: %(amount)s %(unit)s %(part)s, bin %(bin)s") % {**facts, "bin": need.part.bin.code}
    if job.takes_lock_out:
        yield _("Lock out %(kiln)s before anybody goes in.") % {"kiln": order.kiln.tag}
    for caution in job.cautions:
        yield _("Caution: %(title)s") % {"title": caution.title}


def plain(text: str) -> str:
    """Leave out what may stand in no calendar, and let all line ends be alike."""
    return CONTROLS.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def _last_changes(orders: Iterable[WorkOrder]) -> dict[int, datetime]:
    """Return order id -> when it was last changed, by the history; one query."""
    known = Change.objects.filter(
        subject_kind=WorkOrder._meta.label_lower, subject_key__in=[str(order.pk) for order in orders]
    )
    last = known.order_by().values("subject_key").annotate(last_at=Max("at")).values_list("subject_key", "last_at")
    return {int(key): at for key, at in last}
