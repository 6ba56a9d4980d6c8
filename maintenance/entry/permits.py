"""Whether a chamber may be opened for entry, and that it was: by name, cooled, locked out.

Switched off is not the same as safe. Nobody enters while a defect blocks entry; otherwise a permit says that the
chamber is open, cooled and locked out, that the escape door was tried from inside, and who stands outside.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from maintenance.entry.bars import ESCAPE_DOOR_KIND, LOCK_OUT_SKILL, bars_of
from maintenance.entry.now import Air, EntryNow, entry_now, work_inside
from maintenance.models import EntryPermit, Sitting, WorkOrder
from maintenance.models.catalogue import NeedsState
from maintenance.models.versions import has_caution
from plant import clock
from plant.access import Role, require
from plant.frame.saying import say
from plant.frame.units import temperature_in
from plant.kilns.calculations.kiln_state import CheckState
from plant.kilns.due_words import door_words, due_words
from plant.kilns.kilns_now import kilns_now
from plant.models import Change, Component, Kiln, Person, Qualification, RoleHeld, Skill, User
from plant.models.querysets import PersonQuerySet
from plant.readings.calculations.running_signs import Sign
from plant.readings.running_signs import signs_now, signs_told
from plant.warnings.running_bars import lock_kiln

# How long a chamber stays open where nobody says a shorter time, and at most: our own choice.
USUAL_TIME = timedelta(hours=4)
LONGEST_TIME = timedelta(hours=12)
# Air outside these is dangerous whatever a mill's own limit: oxygen by 29 CFR 1910.146(b) (US OSHA, permit-required
# confined spaces, 1993), carbon monoxide by Directive (EU) 2017/164 (8 hours). Both from memory.
OXYGEN_PCT = (Decimal("19.5"), Decimal("23.5"))
CARBON_MONOXIDE_PPM = 20
# A job in these states of the kiln takes people into the chamber or in front of its machinery.
INSIDE_STATES = (NeedsState.EMPTY, NeedsState.STILL)
DRYING_ACT = "open a drying kiln"
# What counts as a reason: a sentence, not a dot.
REASON_WORDS, REASON_LETTERS = 3, 15
HOT_AND_SHUT = "hot-chamber-shut"
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
    # Asked for only where a flame burns in the air of the chamber: the word, or what was measured.
    is_air_checked: bool = False
    oxygen_pct: Decimal | None = None
    carbon_monoxide_ppm: int | None = None
    # By when everybody is out; the usual time from now where nobody says.
    until_at: datetime | None = None


def is_sentence(text: str) -> bool:
    """Say whether a reason is at least a short sentence."""
    return len(text.split()) >= REASON_WORDS and len(text.strip()) >= REASON_LETTERS


def takes_people_inside(work_order: WorkOrder) -> bool:
    """Say whether the job needs the chamber opened for entry."""
    return work_order.needs_state in INSIDE_STATES


def runs_the_kiln(work_order: WorkOrder) -> bool:
    """Say whether the kiln runs for the job, or is shut and hot: nobody may be inside."""
    if work_order.needs_state == NeedsState.RUNNING:
        return True
    return has_caution(work_order, HOT_AND_SHUT)


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
    # One at a time for each kiln, so that two people cannot each open it, and nothing starts to run meanwhile.
    kiln = lock_kiln(kiln.pk)
    lock_people(answers.locked_out_by, answers.watch_outside)
    refuse_where_blocked(kiln)
    refuse_where_it_runs(kiln)
    if open_permit_of(kiln):
        raise ValidationError(
            _("%(kiln)s is open for entry already: read on its page who locked it out.") % {"kiln": kiln}
        )
    missing = [*_what_is_not_so(kiln, answers), *running_faults(kiln, answers.note, by)]
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
        until_at=answers.until_at or clock.now() + USUAL_TIME,
        is_air_checked=answers.is_air_checked if needs_air_check(kiln) else None,
        oxygen_pct=answers.oxygen_pct,
        carbon_monoxide_ppm=answers.carbon_monoxide_ppm,
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


def lock_people(*people: Person) -> None:
    """Lock people until the transaction ends, so that nobody goes into two chambers at once."""
    rows = Person.objects.select_for_update(no_key=True).filter(pk__in=[person.pk for person in people])
    list(rows.order_by("pk").values_list("pk"))


def refuse_where_it_runs(kiln: Kiln) -> None:
    """Refuse entry while somebody works at the running kiln, or looks at it."""
    orders = WorkOrder.objects.at_work().filter(kiln=kiln).select_related("sheet")
    running = [order.number for order in orders if runs_the_kiln(order)]
    sittings = Sitting.objects.filter(check_up__kiln=kiln, kiln_state="running", ended_at__isnull=True)
    running += [
        _("%(number)s (%(who)s looks)") % {"number": sitting.check_up, "who": sitting.by or _("somebody")}
        for sitting in sittings.select_related("check_up", "by__person")
    ]
    if running:
        raise ValidationError(
            _("%(kiln)s runs by the record: %(what)s. Finish or pause that first; nobody goes in before.")
            % {"kiln": kiln.tag, "what": ", ".join(running)},
            code="runs",
        )


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
    missing.extend(air_faults(kiln, answers))
    if answers.until_at is not None:
        missing.extend(time_faults(answers.until_at))
    if answers.locked_out_by == answers.watch_outside:
        missing.append(_("Whoever locked out may go in with the key: name another person who stays outside."))
    missing.extend(lock_out_fault(answers.locked_out_by, kiln))
    missing.extend(watch_faults(answers.watch_outside, kiln))
    return missing


def air_faults(kiln: Kiln, air: EntryAnswers | Air) -> list[str]:
    """Say what is wrong with the air inside: too warm, not checked for gas, or dangerous by what was measured."""
    faults, mill = [], kiln.mill
    if air.temperature_c > mill.entry_limit_c:
        warm, limit = (temperature_in(one, mill) for one in (air.temperature_c, mill.entry_limit_c))
        faults.append(
            _("%(kiln)s is %(temperature)s warm; the mill's limit is %(limit)s. Wait until it has cooled.")
            % {"kiln": kiln, "temperature": warm, "limit": limit}
        )
    if needs_air_check(kiln) and not air.is_air_checked:
        faults.append(_("Check the air inside for gas (carbon monoxide, oxygen) against the mill's own limit."))
    least, most = OXYGEN_PCT
    if air.oxygen_pct is not None and not least <= air.oxygen_pct <= most:
        faults.append(
            _("Oxygen inside is %(found)s %%; nobody goes in below %(least)s %% or above %(most)s %%.")
            % {"found": air.oxygen_pct, "least": least, "most": most}
        )
    if air.carbon_monoxide_ppm is not None and air.carbon_monoxide_ppm > CARBON_MONOXIDE_PPM:
        faults.append(
            _("Carbon monoxide inside is %(found)d ppm; nobody goes in above %(most)d ppm.")
            % {"found": air.carbon_monoxide_ppm, "most": CARBON_MONOXIDE_PPM}
        )
    return faults


def time_faults(until_at: datetime) -> list[str]:
    """Say what is wrong with the instant by which everybody is to be out."""
    now = clock.now()
    if until_at <= now:
        return [_("The time by which everybody is out must lie ahead.")]
    if until_at > now + LONGEST_TIME:
        hours = int(LONGEST_TIME.total_seconds() // 3600)
        return [_("At most %(hours)d hours at a time: measure again before it goes on.") % {"hours": hours}]
    return []


def watch_faults(person: Person, kiln: Kiln) -> list[str]:
    """Say why somebody cannot stay outside: not allowed to, at another door, or in a chamber."""
    faults = []
    if not may_watch_outside(clock.today(kiln.mill.zone)).filter(pk=person.pk).exists():
        faults.append(_("%(person)s may not stay at a door: name another person.") % {"person": person})
    for tag, stand in _stands_by_tag().items():
        if stand.outside == person and tag != kiln.tag:
            faults.append(
                _("%(person)s stays outside %(kiln)s already: nobody can stand at two doors. Name another person.")
                % {"person": person, "kiln": tag}
            )
        if stand.is_inside(person):
            faults.append(_("%(person)s is inside %(kiln)s: name another person.") % {"person": person, "kiln": tag})
    sittings = Sitting.objects.filter(by__person=person, kiln_state="open_empty", ended_at__isnull=True)
    return faults + [
        _("%(person)s is inside %(kiln)s by the record of the check: name another person.")
        % {"person": person, "kiln": sitting.check_up.kiln}
        for sitting in sittings.select_related("check_up__kiln")
    ]


def _stands_by_tag() -> dict[str, EntryNow]:
    return {stand.permit.kiln.tag: stand for stand in entry_now().values()}


def running_faults(kiln: Kiln, note: str, by: User | None) -> list[str]:
    """Say what speaks for its running: fans that turn are never entered; what else does is by somebody entitled.

    The charge record may be wrong, or it is the wrong chamber; so may a valve be that reads open while it is locked.
    Without a note it is what is said before anybody fills in anything.
    """
    now = clock.now()
    signs = signs_now(kiln, now)
    fans = [one for one in signs if one.sign is Sign.FANS]
    if fans:
        facts = {"kiln": kiln.tag, "said": say(signs_told(fans))}
        return [
            _("By its readings of the last minutes %(kiln)s runs: %(said)s. See that this is the right chamber.")
            % facts
            + " "
            + _("Lock the fans out and wait until they stand. Put a sensor out of use only if it is seen to be broken.")
        ]
    said = [say(signs_told(signs))] if signs else []
    stand = kilns_now([kiln], now)[0]
    if CheckState.RUNNING in stand.told.check_states:
        said.append(_("by its charge record it runs now"))
    if not said:
        return []
    untold = ""
    if CheckState.RUNNING in stand.told.check_states:
        untold = " ".join(part for part in (due_words(stand), door_words(stand, now)) if part)
    facts = {"kiln": kiln.tag, "said": "; ".join(said)}
    if by is not None and not by.may(DRYING_ACT):
        words = _("%(kiln)s is not opened like any other: %(said)s. See that this is the right chamber;")
        who = _("only the kiln master or the planner may open it, with a reason.")
        return [" ".join(part for part in (words % facts, who, untold) if part)]
    if not is_sentence(note):
        words = _("See that %(kiln)s is the right chamber: %(said)s. Say in a sentence, in the note, why it is opened.")
        return [" ".join(part for part in (words % facts, untold) if part)]
    return []


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


def is_somebody_at_work_inside(kiln: Kiln, besides: WorkOrder | None = None) -> bool:
    """Say whether a job or a sitting goes on in the chamber, one job left out."""
    sittings, jobs = work_inside([kiln.pk])
    return bool(sittings[kiln.pk]) or any(job != besides for job in jobs[kiln.pk])


def refuse_while_open_for(order: WorkOrder) -> None:
    """Refuse to give a job up for which its kiln is open for entry."""
    permit = open_permit_of(order.kiln)
    if permit and permit.work_order_id == order.pk:
        raise ValidationError(
            _("%(kiln)s is open for entry for this job. Count everybody out and close it first.") % {"kiln": order.kiln}
        )
