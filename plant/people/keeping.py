"""Changes of people: particulars, skills, turns on shifts, absences."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.frame.particulars import refuse_stale, save_changed
from plant.models import Absence, Change, DayOff, Mill, Person, Qualification, Shift, ShiftDuty, Skill, User

PERSON_FIELDS = ("name", "email", "phone", "is_active")
SHIFT_FIELDS = ("name", "weekdays", "start_time", "end_time", "overtime_minutes")


def _lock(person: Person) -> Person:
    return Person.objects.select_for_update().get(pk=person.pk)


@transaction.atomic
def add_person(
    values: dict[str, Any],
    skills: Iterable[Skill] = (),
    shift: Shift | None = None,
    from_on: date | None = None,
    *,
    by: User | None,
) -> Person:
    """Put somebody on record, with what they may do and a shift from a day on where these are said at once."""
    require(by, "edit people")
    person = Person.objects.create(**values)
    Change.record(person, "put on record", by=by, after={name: str(value) for name, value in values.items()})
    for skill in skills:
        set_qualification(person, skill, None, by=by)
    if shift is not None and from_on is not None:
        add_duty(person, shift, from_on, None, by=by)
    return person


@transaction.atomic
def edit_person(person: Person, values: dict[str, Any], *, seen: str, by: User | None) -> Person:
    """Change a person's particulars unless somebody else changed them meanwhile."""
    require(by, "edit people")
    person = _lock(person)
    refuse_stale(person, values, seen)
    save_changed(person, values, "particulars changed", by=by)
    return person


@transaction.atomic
def set_qualification(person: Person, skill: Skill, valid_until: date | None, *, by: User | None) -> Qualification:
    """Put a skill and the last day on which it counts on record, or renew it."""
    require(by, "edit people")
    person = _lock(person)
    known = Qualification.objects.filter(person=person, skill=skill).first()
    before = {"skill": skill.name, "valid_until": _told(known.valid_until)} if known else {}
    held, _is_new = Qualification.objects.update_or_create(
        person=person, skill=skill, defaults={"valid_until": valid_until}
    )
    after = {"skill": skill.name, "valid_until": _told(valid_until)}
    Change.record(person, "skill", by=by, before=before, after=after)
    return held


@transaction.atomic
def drop_qualification(held: Qualification, *, by: User | None) -> None:
    """Take a skill off a person's record; the history keeps it."""
    require(by, "edit people")
    before = {"skill": held.skill.name, "valid_until": _told(held.valid_until)}
    Change.record(held.person, "skill taken off", by=by, before=before)
    held.delete()


@transaction.atomic
def add_duty(
    person: Person, shift: Shift, from_on: date, until_on: date | None, every_weeks: int = 1, *, by: User | None
) -> ShiftDuty:
    """Put a person on a shift, every week or in one of so many weeks, the first that of ``from_on``."""
    require(by, "edit people")
    person = _lock(person)
    if until_on is not None and until_on < from_on:
        raise ValidationError(
            {"until_on": _("The last day lies before the first. Correct one of them, or leave the last day empty.")}
        )
    same = ShiftDuty.objects.filter(person=person, shift=shift)
    clash = next((d for d in same if _days_meet(d, from_on, until_on)), None)
    if clash:
        raise ValidationError(
            _("%(person)s is on this shift from %(from)s until %(until)s already. End that turn first.")
            % {"person": person, "from": clash.from_on, "until": clash.until_on or _("further notice")}
        )
    duty = ShiftDuty.objects.create(
        person=person, shift=shift, from_on=from_on, until_on=until_on, every_weeks=every_weeks
    )
    after = {"shift": shift.name, "from_on": _told(from_on), "until_on": _told(until_on)}
    after |= {"every_weeks": str(every_weeks)} if every_weeks > 1 else {}
    Change.record(person, "turn on a shift", by=by, after=after)
    return duty


def _days_meet(duty: ShiftDuty, from_on: date, until_on: date | None) -> bool:
    return (until_on is None or duty.from_on <= until_on) and (duty.until_on is None or from_on <= duty.until_on)


@transaction.atomic
def end_duty(duty: ShiftDuty, until_on: date, *, by: User | None) -> None:
    """End a person's turn on a shift with a day."""
    require(by, "edit people")
    duty = ShiftDuty.objects.select_for_update(of=("self",)).select_related("person", "shift").get(pk=duty.pk)
    if until_on < duty.from_on:
        raise ValidationError({"until_on": _("The last day lies before the first, %s.") % duty.from_on})
    before = {"shift": duty.shift.name, "until_on": _told(duty.until_on)}
    duty.until_on = until_on
    duty.save(update_fields=["until_on"])
    after = {"shift": duty.shift.name, "until_on": _told(until_on)}
    Change.record(duty.person, "turn on a shift ends", by=by, before=before, after=after)


@transaction.atomic
def add_absence(person: Person, start_at: datetime, end_at: datetime, reason: str, *, by: User | None) -> Absence:
    """Put an absence on record."""
    require(by, "edit people")
    person = _lock(person)
    if end_at <= start_at:
        raise ValidationError({"end_at": _("The absence must end after it begins. Correct one of the two.")})
    if Absence.objects.filter(person=person, start_at__lt=end_at, end_at__gt=start_at).exists():
        raise ValidationError(
            _("%(person)s is absent in that time already. Take that absence off first, or choose other times.")
            % {"person": person}
        )
    absence = Absence.objects.create(person=person, start_at=start_at, end_at=end_at, reason=reason)
    Change.record(person, "absence", by=by, after=_absence_told(absence))
    return absence


@transaction.atomic
def drop_absence(absence: Absence, *, by: User | None) -> None:
    """Take an absence off the record; the history keeps it."""
    require(by, "edit people")
    Change.record(absence.person, "absence taken off", by=by, before=_absence_told(absence))
    absence.delete()


def _absence_told(absence: Absence) -> dict[str, str]:
    return {"from": absence.start_at.isoformat(), "until": absence.end_at.isoformat(), "reason": absence.reason}


def _told(day: date | None) -> str | None:
    return day.isoformat() if day else None


@transaction.atomic
def add_shift(values: dict[str, Any], *, by: User | None) -> Shift:
    """Put a working time on record; people take turns on it afterwards."""
    require(by, "edit people")
    shift = Shift.objects.create(**values)
    Change.record(shift, "put on record", by=by, after={name: str(value) for name, value in values.items()})
    return shift


@transaction.atomic
def edit_shift(shift: Shift, values: dict[str, Any], *, seen: str, by: User | None) -> Shift:
    """Change a working time for all who are on it, unless somebody else changed it meanwhile."""
    require(by, "edit people")
    shift = Shift.objects.select_for_update().get(pk=shift.pk)
    refuse_stale(shift, values, seen)
    save_changed(shift, values, "particulars changed", by=by)
    return shift


@transaction.atomic
def add_day_off(on: date, name: str, *, by: User | None) -> DayOff:
    """Put a day on record on which no shift begins; work that was placed on it no longer holds, and is named.

    Raises ValidationError for a day that is over.
    """
    require(by, "edit people")
    if on < clock.today(Mill.objects.current().zone):
        raise ValidationError({"on": _("This day is over. Choose one from today on.")})
    made = DayOff.objects.create(on=on, name=name)
    Change.record(Mill.objects.current(), "day off", by=by, after={"on": _told(on), "name": name})
    return made


@transaction.atomic
def drop_day_off(day_off: DayOff, *, by: User | None) -> None:
    """Let the shifts of a day begin after all; the history keeps what was meant."""
    require(by, "edit people")
    before = {"on": _told(day_off.on), "name": day_off.name}
    Change.record(Mill.objects.current(), "day off taken back", by=by, before=before)
    day_off.delete()
