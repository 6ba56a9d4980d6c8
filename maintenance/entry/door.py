"""At the door of a chamber that is open for entry: who goes in under a lock of their own, who comes out, who watches.

Every act locks the kiln, then the people, and adds to the ledger ``EntryMove``; one tap is one key. What was entered by
mistake is taken back by a further entry.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.entry.now import Air, EntryNow, entry_now, entry_of
from maintenance.entry.permits import (
    air_faults,
    lock_people,
    refuse_where_blocked,
    refuse_where_it_runs,
    time_faults,
    watch_faults,
)
from maintenance.models import EntryAlarm, EntryMove, EntryPermit
from plant import clock
from plant.access import require
from plant.models import Change, Kiln, Person, User
from plant.warnings.running_bars import lock_kiln

Act = EntryMove.Act


@dataclass(frozen=True)
class Measured:
    """What was measured again, and by when everybody is out from now on (None: as before)."""

    temperature_c: Decimal
    is_air_checked: bool | None = None
    oxygen_pct: Decimal | None = None
    carbon_monoxide_ppm: int | None = None
    until_at: datetime | None = None
    note: str = ""


def lock_door(permit: EntryPermit) -> EntryNow:
    """Return how an open chamber stands, its kiln locked. Raises ValidationError where it was closed meanwhile."""
    kiln = lock_kiln(permit.kiln_id)
    stand = entry_of(kiln)
    if stand is None or stand.permit.pk != permit.pk:
        raise ValidationError(
            _("%(kiln)s is closed for entry: nobody goes in before it is opened again.") % {"kiln": kiln.tag},
            code="closed",
        )
    return stand


@transaction.atomic
def go_in(permit: EntryPermit, person: Person, *, by: User | None, key: UUID, is_own_lock_on: bool) -> None:
    """Enter that somebody goes in, with a lock of their own."""
    require(by, "permit entry")
    stand = lock_door(permit)
    if _is_known(key, permit, Act.IN, person):
        return
    take_in(stand, [person], by=by, key=key, is_own_lock_on=is_own_lock_on)


def take_in(stand: EntryNow, people: list[Person], *, by: User | None, key: UUID, is_own_lock_on: bool) -> None:
    """Enter that people go in; the kiln is locked and the right was asked for."""
    kiln = Kiln.objects.select_related("mill").get(pk=stand.permit.kiln_id)
    lock_people(*people)
    refuse_where_blocked(kiln)
    refuse_where_it_runs(kiln)
    _refuse_while_alarmed(stand)
    faults = [*_door_faults(kiln, stand), *_crowd_faults(kiln, stand, people)]
    for person in people:
        faults += _person_faults(kiln, person)
        if not (is_own_lock_on or stand.has_lock(person)):
            faults.append(_("%(person)s has no lock of their own on: nobody goes in without one.") % {"person": person})
    if faults:
        raise ValidationError(faults, code="door")
    for person in people:
        if not stand.has_lock(person):
            _enter(stand.permit, Act.LOCK_ON, person, by=by, key=key)
        _enter(stand.permit, Act.IN, person, by=by, key=key)


def see_in(stand: EntryNow, people: Collection[Person], *, by: User | None, is_own_lock_on: bool) -> list[Person]:
    """See that all who work or look inside are in by the list; who is not goes in now, with their word for the lock.

    Returns who went in. The kiln is locked. Refuses too where a chamber is not fit to be in for those already inside.
    """
    outside = [person for person in people if not stand.is_inside(person)]
    if outside and not is_own_lock_on:
        raise ValidationError(
            _("Not in by the list: %(names)s. Confirm that each goes in with a lock of their own.")
            % {"names": ", ".join(str(person) for person in outside)},
            code="list",
        )
    take_in(stand, outside, by=by, key=uuid4(), is_own_lock_on=is_own_lock_on)
    return outside


def barring_alarm(stand: EntryNow) -> EntryAlarm | None:
    """Return the newest alarm that keeps everybody out: one that nobody has answered, or that readings still say."""
    alarms = EntryAlarm.objects.raised().filter(permit=stand.permit)
    is_said = Q(is_answered=False) | Q(is_over=False, source=EntryAlarm.Source.READINGS)
    return alarms.filter(is_said).order_by("-at").first()


def _refuse_while_alarmed(stand: EntryNow) -> None:
    alarm = barring_alarm(stand)
    if alarm is not None:
        raise ValidationError(
            _("Alarm at %(kiln)s: %(what)s Nobody goes in before somebody sees why and answers it; get everybody out.")
            % {"kiln": stand.permit.kiln.tag, "what": alarm.words},
            code="alarm",
        )


def _crowd_faults(kiln: Kiln, stand: EntryNow, people: Collection[Person]) -> list[str]:
    """Say that more would be inside than the chamber's record allows."""
    if not people or stand.count + len(people) <= kiln.max_people_inside:
        return []
    words = ngettext(
        "%(kiln)s takes %(most)d person at most, and %(count)d are inside: first somebody comes out.",
        "%(kiln)s takes %(most)d people at most, and %(count)d are inside: first somebody comes out.",
        kiln.max_people_inside,
    )
    return [words % {"kiln": kiln.tag, "most": kiln.max_people_inside, "count": stand.count}]


def _door_faults(kiln: Kiln, stand: EntryNow) -> list[str]:
    faults = air_faults(kiln, stand.air)
    if stand.is_overdue:
        faults.append(
            _("The time for which %(kiln)s is open is over: measure again and say by when everybody is out.")
            % {"kiln": kiln.tag}
        )
    return faults


def _person_faults(kiln: Kiln, person: Person) -> list[str]:
    """Say why somebody cannot go in: not at work here, at a door, or in a chamber already."""
    faults = []
    if not person.is_active:
        faults.append(_("%(person)s does not work here any more.") % {"person": person})
    for stand in entry_now().values():
        facts = {"person": person, "kiln": stand.permit.kiln.tag}
        if stand.outside == person and stand.permit.kiln_id == kiln.pk:
            faults.append(
                _("%(person)s stays outside %(kiln)s and cannot go in as well: somebody must relieve them first.")
                % facts
            )
        elif stand.outside == person:
            faults.append(_("%(person)s stays outside %(kiln)s: somebody must relieve them first.") % facts)
        if stand.is_inside(person):
            faults.append(_("%(person)s is inside %(kiln)s by the list: enter first that they came out.") % facts)
    return faults


@transaction.atomic
def come_out(permit: EntryPermit, person: Person, *, by: User | None, key: UUID, is_lock_off: bool = True) -> None:
    """Enter that somebody comes out; the own lock comes off with it, unless they go in again at once."""
    require(by, "permit entry")
    stand = lock_door(permit)
    if _is_known(key, permit, Act.OUT, person):
        return
    if not stand.is_inside(person):
        raise ValidationError(
            _("%(person)s is not inside %(kiln)s by the list.") % {"person": person, "kiln": permit.kiln.tag}
        )
    _enter(permit, Act.OUT, person, by=by, key=key)
    if is_lock_off and stand.has_lock(person):
        _enter(permit, Act.LOCK_OFF, person, by=by, key=key)


@transaction.atomic
def take_lock_off(permit: EntryPermit, person: Person, *, by: User | None, key: UUID) -> None:
    """Enter that somebody outside took their own lock off."""
    require(by, "permit entry")
    stand = lock_door(permit)
    if _is_known(key, permit, Act.LOCK_OFF, person):
        return
    if stand.is_inside(person):
        raise ValidationError(
            _("%(person)s is inside: the own lock comes off only when they are out.") % {"person": person}
        )
    if not stand.has_lock(person):
        raise ValidationError(_("No lock of %(person)s is on by the list.") % {"person": person})
    _enter(permit, Act.LOCK_OFF, person, by=by, key=key)


@transaction.atomic
def relieve(permit: EntryPermit, person: Person, *, by: User | None, key: UUID) -> None:
    """Enter that somebody else stays outside from now on."""
    require(by, "permit entry")
    stand = lock_door(permit)
    if _is_known(key, permit, Act.OUTSIDE, person):
        return
    lock_people(person)
    kiln = Kiln.objects.select_related("mill").get(pk=permit.kiln_id)
    faults = watch_faults(person, kiln)
    if stand.outside == person:
        faults = [_("%(person)s stays outside already.") % {"person": person}]
    if stand.permit.locked_out_by == person:
        faults.append(_("Whoever locked out may go in with the key: name another person who stays outside."))
    if faults:
        raise ValidationError(faults, code="watch")
    _enter(permit, Act.OUTSIDE, person, by=by, key=key)
    Change.record(
        kiln,
        "relieved at the door",
        by=by,
        before={"watch_outside": stand.outside.name},
        after={"watch_outside": person.name},
    )


@transaction.atomic
def measure(permit: EntryPermit, measured: Measured, *, by: User | None, key: UUID) -> list[str]:
    """Enter what was measured again, whatever it is; return what keeps people from being inside by it."""
    require(by, "permit entry")
    stand = lock_door(permit)
    kiln = Kiln.objects.select_related("mill").get(pk=permit.kiln_id)
    now = clock.now()
    who = (by.person if by else None) or stand.outside
    faults = air_faults(
        kiln,
        Air(
            now,
            measured.temperature_c,
            measured.is_air_checked,
            measured.oxygen_pct,
            measured.carbon_monoxide_ppm,
        ),
    )
    if _is_known(key, permit, Act.MEASURED, who):
        return faults
    if measured.until_at is not None:
        wrong = time_faults(measured.until_at)
        if wrong:
            raise ValidationError(wrong)
    _enter(
        permit,
        Act.MEASURED,
        who,
        by=by,
        key=key,
        note=measured.note,
        temperature_c=measured.temperature_c,
        is_air_checked=measured.is_air_checked,
        oxygen_pct=measured.oxygen_pct,
        carbon_monoxide_ppm=measured.carbon_monoxide_ppm,
        # Where it is not fit to be in, nobody gets more time.
        until_at=None if faults else measured.until_at,
    )
    if faults:
        Change.record(kiln, "not fit to be in by what was measured", by=by, after={"faults": faults})
    return faults


def may_be_taken_back(permit: EntryPermit) -> set[int]:
    """Return the ids of the ways in and out that may be taken back: the last entry of each person."""
    moves = [move for move in EntryMove.objects.that_count([permit]) if move.act not in (Act.OUTSIDE, Act.MEASURED)]
    last = {move.person_id: move.key for move in moves}
    return {move.pk for move in moves if move.act in (Act.IN, Act.OUT) and move.key == last[move.person_id]}


@transaction.atomic
def take_back(move: EntryMove, *, by: User | None, key: UUID, why: str) -> None:
    """Take back somebody's last way in or out, entered by mistake; both stay on record.

    A lock that was entered with it is taken back with it.
    """
    require(by, "permit entry")
    permit = move.permit
    stand = lock_door(permit)
    if _is_known(key, permit, Act.TAKEN_BACK, move.person):
        return
    why = why.strip()
    if not why:
        raise ValidationError(_("Say in a few words what was wrong: the record keeps both."))
    lock_people(move.person)
    if move.pk not in may_be_taken_back(permit):
        raise ValidationError(
            _("Only the last entry of %(person)s can be taken back.") % {"person": move.person}, code="order"
        )
    if move.act == Act.IN and any(one.by and one.by.person == move.person for one in stand.sittings):
        raise ValidationError(
            _("%(person)s looks inside by the record of the check: end that sitting first.") % {"person": move.person}
        )
    if move.act == Act.OUT:
        # They were inside all the time: nowhere else, and not outside.
        faults = _person_faults(Kiln.objects.select_related("mill").get(pk=permit.kiln_id), move.person)
        if faults:
            raise ValidationError(faults)
    for one in EntryMove.objects.that_count([permit]).filter(person=move.person, key=move.key):
        EntryMove.objects.create(
            key=key,
            permit=permit,
            act=Act.TAKEN_BACK,
            person=move.person,
            takes_back=one,
            at=clock.now(),
            by=by,
            note=why[:200],
        )
    Change.record(
        permit.kiln,
        "entry taken back",
        by=by,
        before={"person": move.person.name, "entry": str(Act(move.act).label), "at": move.at.isoformat()},
        note=why,
    )


def _is_known(key: UUID, permit: EntryPermit, act: str, person: Person) -> bool:
    """Say whether this tap was entered before."""
    return EntryMove.objects.filter(key=key, permit=permit, act=act, person=person).exists()


def _enter(
    permit: EntryPermit, act: str, person: Person, *, by: User | None, key: UUID, note: str = "", **measured: Any
) -> EntryMove:
    return EntryMove.objects.create(
        key=key, permit=permit, act=act, person=person, at=clock.now(), by=by, note=note, **measured
    )
