"""Who may go into a chamber: opened for entry by name, and closed again when everybody is out.

Switched off is not the same as safe. Nobody enters while a defect blocks entry; otherwise a permit says that the
chamber is open, cooled and locked out, that the escape door was tried from inside, and who stands outside.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from maintenance.entry_bars import ESCAPE_DOOR_KIND, bars_of
from maintenance.models import EntryPermit, Sitting, WorkOrder
from maintenance.models.catalogue import NeedsState
from plant import clock
from plant.access import Role, require
from plant.calculations.kiln_state import CheckState
from plant.kilns_now import kilns_now
from plant.models import Change, Component, Kiln, Person, Qualification, RoleHeld, Skill, User
from plant.querysets import PersonQuerySet
from plant.templatetags.units import temperature_in

# A job in these states of the kiln takes people into the chamber or in front of its machinery.
INSIDE_STATES = (NeedsState.EMPTY, NeedsState.STILL)
LOCK_OUT_SKILL = "lock-out"
# Whoever has no other role stands at a door only with a skill on record.
READING_ROLES = (Role.AUDITOR, Role.MANAGER)


class NotSafe(ValidationError):  # noqa: N818 (a refusal at the door, not a fault)
    """What is not so yet at the door of a chamber."""


@dataclass(frozen=True)
class EntryAnswers:
    """What somebody says at the door before anybody goes in."""

    locked_out_by: Person
    watch_outside: Person
    temperature_c: Decimal
    is_open: bool
    is_locked_out: bool
    is_escape_door_tried: bool
    note: str = ""
    # Asked for only where a flame burns in the air of the chamber.
    is_air_checked: bool = False


def takes_people_inside(work_order: WorkOrder) -> bool:
    """Say whether the job needs the chamber opened for entry."""
    return work_order.needs_state in INSIDE_STATES


def open_permit_of(kiln: Kiln) -> EntryPermit | None:
    """Return the permit under which a chamber is open for entry now, if it is."""
    return (
        EntryPermit.objects.filter(kiln=kiln, act=EntryPermit.Act.OPENED, closing__isnull=True)
        .select_related("locked_out_by", "watch_outside", "work_order", "by__person")
        .first()
    )


def refuse_where_blocked(kiln: Kiln) -> None:
    """Refuse entry while something bars it, and say what ends that."""
    bars = bars_of(kiln)
    if bars:
        raise ValidationError(
            _("Nobody may enter %(kiln)s: %(what)s")
            % {"kiln": kiln.tag, "what": " ".join(f"{bar.what}. {bar.remedy}" for bar in bars)},
            code="blocked",
        )


@transaction.atomic
def open_permit(
    kiln: Kiln, answers: EntryAnswers, *, by: User | None, key: UUID, work_order: WorkOrder | None = None
) -> EntryPermit:
    """Open a chamber for entry. Raises ValidationError with everything that is not so yet."""
    require(by, "permit entry")
    known = EntryPermit.objects.filter(key=key).first()
    if known:
        return known
    # One at a time for each kiln, so that two people cannot each open it.
    kiln = Kiln.objects.select_for_update().select_related("mill").get(pk=kiln.pk)
    refuse_where_blocked(kiln)
    if open_permit_of(kiln):
        raise ValidationError(
            _("%(kiln)s is open for entry already: read on its page who locked it out.") % {"kiln": kiln}
        )
    missing = _what_is_not_so(kiln, answers)
    if missing:
        raise NotSafe(missing)
    permit = EntryPermit.objects.create(
        key=key,
        kiln=kiln,
        work_order=work_order,
        act=EntryPermit.Act.OPENED,
        at=clock.now(),
        by=by,
        locked_out_by=answers.locked_out_by,
        watch_outside=answers.watch_outside,
        temperature_c=answers.temperature_c,
        is_escape_door_tried=True,
        note=answers.note,
    )
    after: dict[str, object] = {
        "locked_out_by": answers.locked_out_by.name,
        "watch_outside": answers.watch_outside.name,
        "temperature_c": str(answers.temperature_c),
        "escape_doors_tried": escape_doors(kiln) or [_("the escape door")],
    }
    if needs_air_check(kiln):
        after["inside_air"] = _("checked for gas (carbon monoxide, oxygen) against the mill's own limit")
    Change.record(work_order or kiln, "opened for entry", by=by, after=after, note=answers.note)
    return permit


def needs_air_check(kiln: Kiln) -> bool:
    """Say whether the air inside must be checked for gas: a direct flame burns oxygen and can leave carbon monoxide."""
    return kiln.heating_medium == Kiln.HeatingMedium.DIRECT_FIRED


def escape_doors(kiln: Kiln) -> list[str]:
    """Name the escape doors of a chamber that are on record."""
    doors = Component.objects.in_use().filter(kiln=kiln, kind__code=ESCAPE_DOOR_KIND)
    return list(doors.order_by("tag").values_list("name", flat=True))


def may_lock_out(day: date) -> PersonQuerySet:
    """Return who may lock out on a day; everybody where the mill keeps no such skill."""
    people = Person.objects.working_here()
    if not Skill.objects.filter(code=LOCK_OUT_SKILL).exists():
        return people
    return people.filter(pk__in=Person.objects.qualified(LOCK_OUT_SKILL, day))


def may_watch_outside(day: date) -> PersonQuerySet:
    """Return who may stay at a door: not those who only read and have no skill on record."""
    working = Person.objects.working_here()
    held = Qualification.objects.filter(Q(valid_until__isnull=True) | Q(valid_until__gte=day), person=OuterRef("pk"))
    roles = RoleHeld.objects.filter(user__person=OuterRef("pk"))
    reads = Exists(roles.filter(role__in=READING_ROLES)) & ~Exists(roles.exclude(role__in=READING_ROLES))
    return working.exclude(reads & ~Exists(held))


def _what_is_not_so(kiln: Kiln, answers: EntryAnswers) -> list[str]:
    missing = []
    if not answers.is_open:
        missing.append(_("Open the main doors and hold them open."))
    if not answers.is_locked_out:
        missing.append(_("Lock out fans, heat and spray, and try to start them."))
    if not answers.is_escape_door_tried:
        missing.append(_("Try the escape door from inside, with the main door held open and a second person outside."))
    if needs_air_check(kiln) and not answers.is_air_checked:
        missing.append(_("Check the air inside for gas (carbon monoxide, oxygen) against the mill's own limit."))
    mill = kiln.mill
    if answers.temperature_c > mill.entry_limit_c:
        warm, limit = (temperature_in(one, mill) for one in (answers.temperature_c, mill.entry_limit_c))
        missing.append(
            _("%(kiln)s is %(temperature)s warm; the mill's limit is %(limit)s. Wait until it has cooled.")
            % {"kiln": kiln, "temperature": warm, "limit": limit}
        )
    if answers.locked_out_by == answers.watch_outside:
        missing.append(_("Whoever locked out goes in with the key: name another person who stays outside."))
    missing.extend(lock_out_fault(answers.locked_out_by, kiln))
    missing.extend(_watch_fault(answers.watch_outside, kiln))
    missing.extend(_record_fault(kiln, answers.note))
    return missing


def _watch_fault(person: Person, kiln: Kiln) -> list[str]:
    """Say where else the one who is to stay outside is needed: nobody can stand at two doors."""
    elsewhere = EntryPermit.objects.filter(act=EntryPermit.Act.OPENED, closing__isnull=True, watch_outside=person)
    faults = [
        _("%(person)s stays outside %(kiln)s already: nobody can stand at two doors. Name another person.")
        % {"person": person, "kiln": permit.kiln}
        for permit in elsewhere.exclude(kiln=kiln).select_related("kiln")
    ]
    sittings = Sitting.objects.filter(by__person=person, kiln_state="open_empty", ended_at__isnull=True)
    return faults + [
        _("%(person)s is inside %(kiln)s by the record of the check: name another person.")
        % {"person": person, "kiln": sitting.check_up.kiln}
        for sitting in sittings.select_related("check_up__kiln")
    ]


def _record_fault(kiln: Kiln, note: str) -> list[str]:
    """Ask for a reason where the charge record says that the kiln runs: it may be the wrong chamber."""
    state = kilns_now([kiln], clock.now())[0].state
    if CheckState.RUNNING not in state.check_states or note.strip():
        return []
    return [
        _("By its charge record %(kiln)s runs now. See that this is the right chamber; say in the note why it is open.")
        % {"kiln": kiln}
    ]


def lock_out_fault(person: Person, kiln: Kiln) -> list[str]:
    """Say what stands against a person's locking out today: authorised people apply the locks (29 CFR 1910.147)."""
    if not Skill.objects.filter(code=LOCK_OUT_SKILL).exists():
        return []
    held = Qualification.objects.filter(person=person, skill__code=LOCK_OUT_SKILL).first()
    if held is None:
        return [_("%(person)s is not on record as authorised to lock out.") % {"person": person}]
    if not held.is_valid_on(clock.today(kiln.mill.zone)):
        return [
            _("%(person)s's leave to lock out ran out on %(day)s.")
            % {"person": person, "day": f"{held.valid_until:%Y-%m-%d}"}
        ]
    return []


@transaction.atomic
def close_permit(
    permit: EntryPermit, *, by: User | None, key: UUID, is_everybody_out: bool, note: str = ""
) -> EntryPermit:
    """Close a chamber for entry once everybody is out."""
    require(by, "permit entry")
    Kiln.objects.select_for_update().get(pk=permit.kiln_id)
    known = EntryPermit.objects.filter(opening=permit).first()
    if known:
        return known
    if not is_everybody_out:
        raise ValidationError(
            _("Count: everybody must be out of %(kiln)s before it is closed.") % {"kiln": permit.kiln}
        )
    closing = EntryPermit.objects.create(
        key=key,
        kiln=permit.kiln,
        work_order=permit.work_order,
        act=EntryPermit.Act.CLOSED,
        opening=permit,
        at=clock.now(),
        by=by,
        note=note,
    )
    Change.record(
        permit.work_order or permit.kiln,
        "everybody is out",
        by=by,
        after={"opened_at": permit.at.isoformat(), "closed_at": closing.at.isoformat()},
        note=note,
    )
    return closing


def is_somebody_at_work_inside(kiln: Kiln, besides: WorkOrder | None = None) -> bool:
    """Say whether a job or a sitting goes on in the chamber, one job left out."""
    jobs = WorkOrder.objects.filter(kiln=kiln, state=WorkOrder.State.UNDER_WAY, needs_state__in=INSIDE_STATES)
    if besides is not None:
        jobs = jobs.exclude(pk=besides.pk)
    sittings = Sitting.objects.filter(check_up__kiln=kiln, kiln_state="open_empty", ended_at__isnull=True)
    return jobs.exists() or sittings.exists()
