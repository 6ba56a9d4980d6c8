"""A report that a kiln runs or is hot while somebody is inside: kept, shouted at once, told, answered by name.

The alarm is raised in the transaction that keeps the report and stands as long as its fact does while the door is open;
an answer says what was done and silences nothing while the fact stands. Nobody takes it away alone.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.entry.now import entry_of
from maintenance.entry.permits import is_sentence
from maintenance.models import EntryAlarm, EntryPermit, Telling
from maintenance.models.querysets_of_alarms import EntryAlarmQuerySet
from maintenance.telling.places_told import TELL_TASK
from plant import clock
from plant.access import Role, require
from plant.background.queueing import enqueue
from plant.basics.periods import from_epoch_s
from plant.basics.sentences import Sentence, Sentences, Value
from plant.kilns.kilns_now import kilns_now
from plant.models import Change, Kiln, Person, User
from plant.readings.running_signs import signs_since, signs_told
from plant.warnings.running_bars import RunningBar, lock_kiln, running_bars

Act, Source = EntryAlarm.Act, EntryAlarm.Source
TOLD_ROLES = (Role.PLANNER, Role.KILN_MASTER)


def hear_readings(sender: Any, kiln: Kiln, from_s: int, until_s: int, **rest: Any) -> None:
    """Look at readings that came in; costs three small queries where nobody is inside."""
    bar = running_bars([kiln]).get(kiln.pk)
    since_at = began(bar)
    if since_at is not None and from_epoch_s(until_s) >= since_at:
        look_at_readings(kiln, max(since_at, from_epoch_s(from_s)))


def hear_report(sender: Any, kiln: Kiln, kind: str, facts: dict[str, Any], **rest: Any) -> None:
    """Hear that a file or another program says that a kiln runs although somebody is inside."""
    if kind == "charge begun":
        begin_at = datetime.fromisoformat(facts["begin_at"])
        said = Sentence.of("alarm.charge_begun", charge=str(facts["charge"]), begin_at=begin_at)
        raise_alarm(kiln, Source.CHARGE, (said,))
    else:
        raise_alarm(kiln, Source.STOP_ENDED, (Sentence.of("alarm.able_to_run", kind=kind),))


def began(bar: RunningBar | None) -> datetime | None:
    """Return since when a kiln must not run."""
    return None if bar is None else bar.permit_since_at or bar.since_at


@transaction.atomic
def look_at_readings(kiln: Kiln, from_at: datetime) -> EntryAlarm | None:
    """Raise an alarm where readings since an instant say that the kiln runs, and note where they no longer do."""
    kiln = lock_kiln(kiln.pk)
    bar = running_bars([kiln]).get(kiln.pk)
    since_at = began(bar)
    if bar is None or since_at is None:
        return None
    signs = signs_since(kiln, since_at)
    fresh = [one for one in signs if from_epoch_s(one.at_s) >= from_at]
    alarm = raise_alarm(kiln, Source.READINGS, signs_told(fresh)) if fresh else None
    if not any(one.is_still_so for one in signs):
        _note_over(_of_this_time(kiln, bar).filter(source=Source.READINGS), Sentence.of("alarm.readings_over"))
    return alarm


@transaction.atomic
def raise_alarm(kiln: Kiln, source: str, told: Sentences) -> EntryAlarm | None:
    """Raise an alarm; where one of that source stands already, add what it does not say yet.

    None where nobody is inside and nothing is open.
    """
    kiln = lock_kiln(kiln.pk)
    bar = running_bars([kiln]).get(kiln.pk)
    if bar is None:
        return None
    known = _of_this_time(kiln, bar).filter(source=source).first()
    if known is not None:
        causes = EntryAlarm.objects.filter(raising=known, act=Act.CAUSE)
        said = {_what(sentence) for one in [known, *causes] for sentence in one.told or ()}
        told = tuple(one for one in told if _what(one) not in said)
        if not told:
            return known
    stand = entry_of(kiln)
    alarm = EntryAlarm.objects.create(
        key=uuid4(),
        kiln=kiln,
        act=Act.CAUSE if known else Act.RAISED,
        raising=known,
        permit=stand.permit if stand else None,
        source=source,
        told=told,
        inside=list(bar.people),
        outside=bar.outside,
        at=clock.now(),
    )
    after = {"inside": list(bar.people), "outside": bar.outside}
    Change.record(kiln, "alarm: reported running or hot with people in or at it", by=None, after=after, said=told)
    _tell(alarm, stand.outside if stand else None)
    return known or alarm


def _what(one: Sentence) -> tuple[str, Value]:
    """Return what tells one cause from others: which sign, charge or stop; not the value or the minute."""
    facts = dict(one.values)
    return one.code, facts.get("charge", facts.get("kind", ""))


def _of_this_time(kiln: Kiln, bar: RunningBar) -> EntryAlarmQuerySet:
    """Return the alarms whose fact stands, of the time for which the chamber is open now."""
    return EntryAlarm.objects.still_so().filter(kiln=kiln, at__gte=began(bar) or clock.now())


def _note_over(alarms: Iterable[EntryAlarm], told: Sentence) -> None:
    for alarm in alarms:
        EntryAlarm.objects.create(
            key=uuid4(),
            kiln_id=alarm.kiln_id,
            act=Act.OVER,
            raising=alarm,
            permit_id=alarm.permit_id,
            source=alarm.source,
            told=told,
            at=clock.now(),
        )


def look_again() -> int:
    """Look anew at every chamber that is open: what was reported, and whether it still is so; say at how many."""
    kilns = list(Kiln.objects.filter(pk__in=EntryPermit.objects.still_open().values("kiln")).select_related("mill"))
    for kiln in kilns:
        bar = running_bars([kiln]).get(kiln.pk)
        since_at = began(bar)
        if bar is not None and since_at is not None:
            # What was shouted and is over is not shouted again.
            known = (
                EntryAlarm.objects.filter(kiln=kiln, source=Source.READINGS, at__gte=since_at).order_by("-at").first()
            )
            look_at_readings(kiln, known.at if known else since_at)
            look_at_charge(kiln)
    return len(kilns)


@transaction.atomic
def look_at_charge(kiln: Kiln) -> None:
    """Note where no charge runs any more by the record."""
    kiln = lock_kiln(kiln.pk)
    bar = running_bars([kiln]).get(kiln.pk)
    if bar is None:
        return
    if not kilns_now([kiln], clock.now())[0].is_shut:
        alarms = _of_this_time(kiln, bar).exclude(source=Source.READINGS)
        _note_over(alarms, Sentence.of("alarm.charge_over"))


@transaction.atomic
def answer_alarm(alarm: EntryAlarm, *, by: User, key: UUID, what: str) -> EntryAlarm:
    """Say by name what was done about an alarm. It stands on as long as its fact does and the chamber is open."""
    require(by, "answer alarms")
    known = EntryAlarm.objects.filter(key=key).first()
    if known:
        return known
    what = what.strip()
    if not is_sentence(what):
        raise ValidationError(
            {"what": _("Say in a sentence what you did: who is out, what is switched off and locked.")}
        )
    answer = EntryAlarm.objects.create(
        key=key,
        kiln_id=alarm.kiln_id,
        act=Act.ANSWERED,
        raising=alarm,
        permit_id=alarm.permit_id,
        source=alarm.source,
        said=alarm.said,
        told=alarm.told,
        at=clock.now(),
        by=by,
        note=what,
    )
    Change.record(alarm.kiln, "alarm answered", by=by, after={"at": alarm.at.isoformat()}, note=what)
    look_at_charge(alarm.kiln)
    return answer


def _tell(alarm: EntryAlarm, outside: Person | None) -> None:
    """Write to the one outside, to planners and kiln masters, and have it sent at once."""
    if not settings.SENDS_MAIL:
        return
    working = Person.objects.working_here()
    people = set(working.filter(user__roles_held__role__in=TOLD_ROLES))
    people |= {outside} if outside else set()
    kiln = alarm.kiln
    subject = _("ALARM: %(kiln)s is reported running or hot, people may be inside") % {"kiln": kiln.tag}
    with timezone.override(kiln.mill.zone):
        at = date_format(timezone.localtime(alarm.at), "D j M Y, H:i")
    lines = [
        f"{kiln.mill.name}, {at}",
        "",
        _("%(kiln)s: %(said)s.") % {"kiln": kiln.tag, "said": alarm.words},
        _("Inside by the list: %(names)s.") % {"names": ", ".join(alarm.inside) or _("nobody by name")},
        _("Outside: %(name)s.") % {"name": alarm.outside or _("nobody by name")},
        "",
        _("Stop it at its emergency stop or main switch, get everybody out, count. Then say what was done."),
    ]
    if settings.SITE_ADDRESS:
        lines += ["", f"{settings.SITE_ADDRESS}/alarms/{alarm.raising_id or alarm.pk}/"]
    for person in sorted(people, key=lambda one: one.pk):
        Telling.objects.create(person=person, made_at=clock.now(), subject=subject, body="\n".join([*lines, ""]))
    enqueue(TELL_TASK, f"{TELL_TASK} alarm {alarm.pk}")
