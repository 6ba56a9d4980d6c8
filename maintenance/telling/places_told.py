"""Tell people by mail when a place of theirs changes, or no longer holds, at short notice.

What each person knows of each place is kept (``ToldPlace``) and compared with what stands now, at each tick and soon
after a place was changed: so it does not matter by which way a place changes. A mail is written in the same transaction
in which the person counts as told, and sent after it. Where the program ends between sending and noting it, the mail is
sent a second time: hearing twice is harmless, not hearing leads to a kiln that is shut. Both have the same Message-ID.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from smtplib import SMTPException
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import connection, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.frame.words import say_needed_state
from maintenance.models import Assignment, Telling, TellingLook, ToldPlace, WorkOrder
from maintenance.telling.doubts_told import DoubtNews, compare_doubts
from maintenance.telling.lock_outs_told import REMEMBERED, LockOutNews, compare_lock_outs, is_near
from maintenance.telling.my_week import say_times
from plant import clock
from plant.background.queueing import enqueue
from plant.models import Mill, Person

TELL_TASK = "tell people of changed places"
State = WorkOrder.State
# Whoever began to send a mail so long ago will not end it any more.
CLAIM_LASTS = timedelta(minutes=10)
# Several changes in a row become one mail.
SOON = timedelta(minutes=2)
Pair = tuple[int, int]


class MailNotSentError(RuntimeError):
    """Raised when mails could not be sent; they stay written, and the task is tried again."""


@dataclass(frozen=True)
class News:
    """What a person must know of one place: ``was`` is None for what is new, ``now`` for what is taken away."""

    order: WorkOrder
    was: tuple[datetime, datetime] | None
    now: tuple[datetime, datetime] | None

    @property
    def name(self) -> str:
        """Return what sorts it among others of the same time."""
        return self.order.number


Moved = News | LockOutNews
Told = Moved | DoubtNews


@dataclass(frozen=True)
class Untold:
    """Somebody who does not know yet what changed, and why."""

    person: Person
    telling: Telling
    why: str


def tell_people() -> dict[str, Any]:
    """Compare, write the mails, and send all that wait. Raises MailNotSentError."""
    written = compare_places(clock.now())
    return {"written": len(written), "sent": send_waiting()}


@transaction.atomic
def compare_places(now: datetime) -> list[Telling]:
    """Compare what people know with what stands, and write a mail to each whom a change at short notice concerns.

    The first time on a mill nothing is told: nobody was promised anything else.
    """
    # One comparison after the other, and none in the middle of a placing.
    mill = Mill.objects.select_for_update().get()
    look, is_first = TellingLook.objects.get_or_create(mill=mill, defaults={"at": now})
    stands = _standing(now)
    known = {(one.work_order_id, one.person_id): one for one in ToldPlace.objects.select_related("work_order__kiln")}
    news: dict[int, list[Told]] = defaultdict(list)
    for found in (_compare(stands, known, now), compare_lock_outs(now), compare_doubts(now)):
        for person_id, changed in found.items():
            news[person_id].extend(changed)
    ToldPlace.objects.filter(end_at__lt=now - REMEMBERED).delete()
    look.at = now
    look.save(update_fields=["at"])
    # Where no mail is set up nobody is told, and switching it on later tells of nothing that is old.
    if is_first or not settings.SENDS_MAIL:
        return []
    people = Person.objects.working_here().in_bulk(news)
    crews = _crews({one.order.pk for told in news.values() for one in told if isinstance(one, News) and one.now})
    with timezone.override(mill.zone):
        return [
            Telling.objects.create(
                person=people[person_id],
                made_at=now,
                subject=_subject(told),
                body=_body(told, people[person_id], crews, mill, now),
            )
            for person_id, told in news.items()
            if person_id in people
        ]


def _standing(now: datetime) -> dict[Pair, Assignment]:
    """Return order and person -> the assignment of every place that is not long over."""
    given = Assignment.objects.filter(work_order__placement__end_at__gte=now - REMEMBERED)
    given = given.select_related("work_order__kiln", "work_order__placement")
    return {(one.work_order_id, one.person_id): one for one in given}


def _compare(
    stands: Mapping[Pair, Assignment], known: Mapping[Pair, ToldPlace], now: datetime
) -> dict[int, list[News]]:
    """Bring what is known in step with what stands; return person id -> what changed at short notice."""
    news: dict[int, list[News]] = defaultdict(list)
    fresh, changed, gone = [], [], []
    for (order_id, person_id), given in stands.items():
        order, place = given.work_order, given.work_order.placement
        span, told = (place.start_at, place.end_at), known.get((order_id, person_id))
        was = (told.start_at, told.end_at) if told else None
        if was == span:
            continue
        if told is None:
            fresh.append(ToldPlace(work_order=order, person_id=person_id, start_at=span[0], end_at=span[1]))
        else:
            told.start_at, told.end_at, told.is_in_doubt = *span, False
            changed.append(told)
        # Whoever has begun knows of it.
        if order.state == State.PLACED and (is_near(span, now) or (was is not None and is_near(was, now))):
            news[person_id].append(News(order, was, span))
    for pair, told in known.items():
        if pair not in stands:
            was = (told.start_at, told.end_at)
            gone.append(told.pk)
            if is_near(was, now):
                news[told.person_id].append(News(told.work_order, was, None))
    ToldPlace.objects.bulk_create(fresh, batch_size=500)
    ToldPlace.objects.bulk_update(changed, ["start_at", "end_at", "is_in_doubt"], batch_size=200)
    ToldPlace.objects.filter(pk__in=gone).delete()
    return news


def _crews(orders: Iterable[int]) -> dict[int, list[Person]]:
    crews: dict[int, list[Person]] = defaultdict(list)
    for given in Assignment.objects.filter(work_order__in=orders).select_related("person"):
        crews[given.work_order_id].append(given.person)
    return crews


def _subject(told: list[Told]) -> str:
    """Count what changed, so that a glance at the mail says how much it is."""
    jobs = [one for one in told if isinstance(one, News)]
    doubts = [one for one in told if isinstance(one, DoubtNews)]
    outs, lost = len(told) - len(jobs) - len(doubts), sum(1 for one in doubts if one.why)
    moved = sum(1 for one in jobs if one.was and one.now)
    fresh = sum(1 for one in jobs if one.was is None)
    gone = sum(1 for one in jobs if one.now is None)
    parts = [
        ngettext("%d place that does not hold", "%d places that do not hold", lost) % lost if lost else "",
        _("%d as it was") % (len(doubts) - lost) if len(doubts) > lost else "",
        ngettext("%d job moved", "%d jobs moved", moved) % moved if moved else "",
        ngettext("%d new job", "%d new jobs", fresh) % fresh if fresh else "",
        ngettext("%d job taken away", "%d jobs taken away", gone) % gone if gone else "",
        ngettext("%d lock-out changed", "%d lock-outs changed", outs) % outs if outs else "",
    ]
    return _("Your work has changed: %(what)s") % {"what": ", ".join(part for part in parts if part)}


def _body(told: list[Told], person: Person, crews: Mapping[int, list[Person]], mill: Mill, now: datetime) -> str:
    """Say each change with its times, what the kiln must be, and with whom."""
    doubts = [one for one in told if isinstance(one, DoubtNews)]
    moved = [one for one in told if not isinstance(one, DoubtNews)]
    groups: tuple[tuple[str, list[Any]], ...] = (
        (_("Does not hold: ask the planner before you set out"), [one for one in doubts if one.why]),
        (_("Holds after all"), [one for one in doubts if not one.why]),
        (_("Moved"), [one for one in moved if one.was and one.now]),
        (_("New at short notice"), [one for one in moved if one.was is None]),
        (_("Taken away"), [one for one in moved if one.now is None]),
    )
    lines = [f"{mill.name}, {date_format(localtime(now), 'D j M Y, H:i')}"]
    for title, group in groups:
        if group:
            lines += ["", title]
            group.sort(key=lambda one: (one.now or one.was or (now, now), one.name))
            lines += [line for one in group for line in _lines(one, person, crews)]
    if any(one.now for one in told):
        lines += ["", _("Read the cautions before the start. Local codes and licensed trades come first.")]
    if settings.SITE_ADDRESS:
        lines += ["", _("Your work: %(address)s") % {"address": f"{settings.SITE_ADDRESS}/my-work/"}]
    return "\n".join([*lines, ""])


def _lines(one: Told, person: Person, crews: Mapping[int, list[Person]]) -> Iterable[str]:
    if isinstance(one, LockOutNews):
        yield from _lines_of_lock_out(one)
        return
    order = one.order
    yield f"- {order.kiln.tag}: {order.title} ({order.number})"
    if isinstance(one, DoubtNews):
        yield "  " + _when(one.now) + (f": {one.why}" if one.why else "")
        return
    if one.was:
        yield "  " + _("was: %(when)s") % {"when": _when(one.was)}
    if one.now is None:
        yield "  " + _why_gone(order)
        return
    yield "  " + _("now: %(when)s") % {"when": _when(one.now)}
    others = ", ".join(other.name for other in crews.get(order.pk, []) if other.pk != person.pk)
    facts = {"state": say_needed_state(order.needs_state), "names": others or _("nobody else")}
    yield "  " + _("kiln must be %(state)s; with %(names)s") % facts


def _lines_of_lock_out(one: LockOutNews) -> Iterable[str]:
    yield "- " + _("%(kiln)s: lock out") % {"kiln": one.kiln.tag}
    if one.was:
        yield "  " + _("was: %(when)s") % {"when": _when(one.was)}
    if one.now:
        yield "  " + _("now: %(when)s") % {"when": _when(one.now)}
    elif one.is_done_by_another:
        yield "  " + _("Somebody else does it.")
    else:
        yield "  " + _("It need not be locked out then.")


def _why_gone(order: WorkOrder) -> str:
    if order.state == State.WITHDRAWN:
        return _("The job is withdrawn.")
    if order.state in (State.RAISED, State.READY):
        return _("The job has no place now.")
    return _("Others do it.")


def _when(span: tuple[datetime, datetime]) -> str:
    return f"{date_format(localtime(span[0]), 'D j M')}, {say_times(*span)}"


def send_waiting() -> int:
    """Send every mail that waits, over one connection, and return how many; what cannot be sent stays written.

    Raises MailNotSentError with what went wrong, after all were tried.
    """
    waiting = [one for one in Telling.objects.to_send(clock.now()).select_related("person") if _may_get(one.person)]
    if not waiting or not settings.SENDS_MAIL:
        return 0
    sent, faults = 0, []
    server = get_connection()
    try:
        server.open()
        for telling in waiting:
            if not _claim(telling):
                continue
            try:
                _mail(telling, server).send()
            except (OSError, SMTPException, ValueError) as fault:
                faults.append(_note_failure(telling, fault))
            else:
                facts = {"sent_at": clock.now(), "sent_to": telling.person.email, "failure": "", "claimed_at": None}
                Telling.objects.filter(pk=telling.pk).update(**facts)
                sent += 1
    except (OSError, SMTPException) as fault:
        # The server of mails cannot be reached: that holds for all of them.
        faults += [_note_failure(telling, fault) for telling in waiting]
    finally:
        server.close()
    if faults:
        raise MailNotSentError(f"{len(faults)} of {len(waiting)} mails could not be sent. {faults[0]}")
    return sent


def _may_get(person: Person) -> bool:
    return bool(person.email) and person.is_active


def _claim(telling: Telling) -> bool:
    """Take a mail to send it; False where somebody else has it, or it was sent."""
    now = clock.now()
    # A claim of later than now comes from a day that was fixed otherwise.
    free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LASTS) | Q(claimed_at__gt=now)
    return bool(Telling.objects.filter(free, pk=telling.pk, sent_at__isnull=True).update(claimed_at=now))


def _mail(telling: Telling, server: Any) -> EmailMessage:
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].strip("> ")
    headers = {
        "Message-ID": f"<telling-{telling.pk}-{telling.made_at:%Y%m%d%H%M%S}@{domain}>",
        # RFC 3834: no absence notice shall answer it.
        "Auto-Submitted": "auto-generated",
    }
    return EmailMessage(telling.subject, telling.body, to=[telling.person.email], headers=headers, connection=server)


def _note_failure(telling: Telling, fault: Exception) -> str:
    said = f"{type(fault).__name__}: {fault}"[:300]
    Telling.objects.filter(pk=telling.pk, sent_at__isnull=True).update(failure=said, claimed_at=None)
    return said


def not_told(now: datetime) -> list[Untold]:
    """Return who could not be told of what changed, with the reason: the planner has to find another way."""
    if not settings.SENDS_MAIL:
        return []
    waiting = Telling.objects.to_send(now).filter(person__is_active=True).select_related("person")
    return [Untold(one.person, one, _say_why(one)) for one in waiting if one.failure or not one.person.email]


def _say_why(telling: Telling) -> str:
    if not telling.person.email:
        return _("no e-mail address")
    return _("the mail could not be sent, and is tried again (%(fault)s)") % {"fault": telling.failure}


def want_telling_soon(sender: Any, **about: Any) -> None:
    """Hear that a place was stored or taken away, and want the comparison once this is committed."""
    if settings.SENDS_MAIL and not any(waiting[1] is _want_soon for waiting in connection.run_on_commit):
        transaction.on_commit(_want_soon)


def _want_soon() -> None:
    """Want the comparison in a moment; whoever asks within it finds it wanted."""
    slot = int(timezone.now().timestamp() // SOON.total_seconds()) + 1
    at = datetime.fromtimestamp(slot * SOON.total_seconds(), tz=timezone.get_default_timezone())
    enqueue(TELL_TASK, f"{TELL_TASK} soon {slot}", not_before_at=at)
