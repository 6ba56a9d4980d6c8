"""A chamber is closed for entry when its list is empty: everybody out, locks off, sittings ended, jobs paused.

Whoever stays outside or locked out may close it with a reason where the list cannot be completed. That is said aloud:
it stays on record, and the planner and the kiln master are told.
"""

from collections.abc import Collection
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.entry.now import EntryNow, bars_of_entry, entry_of
from maintenance.entry.permits import is_sentence
from maintenance.models import EntryPermit, Sitting, Telling, WorkOrder
from maintenance.telling.places_told import want_telling_soon
from maintenance.work.course import pause_locked
from plant import clock
from plant.access import Role, require
from plant.models import Change, Person, User
from plant.warnings.running_bars import lock_kiln, say_bar

# How long a closing with an incomplete list is shouted: until the shift after the next has seen it.
SHOUTED = timedelta(hours=24)


@transaction.atomic
def close_permit(
    permit: EntryPermit,
    *,
    by: User | None,
    key: UUID,
    is_everybody_out: bool,
    sittings: Collection[int] = (),
    jobs: Collection[int] = (),
    note: str = "",
) -> EntryPermit:
    """Close a chamber for entry. Named sittings are ended and named jobs paused with it.

    Refused while somebody is inside by the list, a lock is on, or a sitting or job inside is not named.
    """
    require(by, "permit entry")
    kiln = lock_kiln(permit.kiln_id)
    known = EntryPermit.objects.filter(opening=permit).first()
    if known:
        return known
    stand = entry_of(kiln)
    assert stand is not None  # noqa: S101 (it is open: nobody closed it, and the kiln is locked)
    left_sittings = [one for one in stand.sittings if one.pk not in sittings]
    left_jobs = [one for one in stand.jobs if one.pk not in jobs]
    if stand.inside or stand.locks_on:
        raise ValidationError(say_bar(kiln, bars_of_entry([kiln])[kiln.pk]), code="inside")
    if left_sittings or left_jobs:
        names = [str(one.check_up) for one in left_sittings] + [one.number for one in left_jobs]
        raise ValidationError(
            _("Still going on inside %(kiln)s: %(what)s. Confirm each by name, or end it on its own page.")
            % {"kiln": kiln.tag, "what": ", ".join(names)},
            code="work",
        )
    if not is_everybody_out:
        raise ValidationError(_("Count: everybody must be out of %(kiln)s before it is closed.") % {"kiln": kiln})
    _end_work(stand, by, note)
    closing = _close(permit, by, key, note)
    Change.record(
        permit.work_order or permit.kiln,
        "everybody is out",
        by=by,
        after={"opened_at": permit.at.isoformat(), "closed_at": closing.at.isoformat()},
        note=note,
    )
    return closing


def may_force(stand: EntryNow, by: User | None) -> bool:
    """Say whether somebody may close with an incomplete list: the one outside, or the one who locked out."""
    person = by.person if by else None
    return person is not None and person in (stand.outside, stand.permit.locked_out_by)


@transaction.atomic
def force_closing(permit: EntryPermit, *, by: User, key: UUID, why: str) -> EntryPermit:
    """Close a chamber whose list cannot be completed, with a reason; sittings are ended and jobs paused with it.

    Raises PermissionDenied for all but the one outside and the one who locked out.
    """
    require(by, "permit entry")
    kiln = lock_kiln(permit.kiln_id)
    known = EntryPermit.objects.filter(opening=permit).first()
    if known:
        return known
    stand = entry_of(kiln)
    assert stand is not None  # noqa: S101 (it is open: nobody closed it, and the kiln is locked)
    if not may_force(stand, by):
        raise PermissionDenied(
            _("Only %(outside)s, who stays outside, or %(lock)s, who locked out, may close it with an incomplete list.")
            % {"outside": stand.outside, "lock": stand.permit.locked_out_by}
        )
    if stand.is_empty and not stand.work:
        raise ValidationError(_("The list is complete: close it in the ordinary way."))
    why = why.strip()
    if not is_sentence(why) or len(why) > 200:
        raise ValidationError(
            _(
                "Say in a sentence of at most 200 characters how you know that nobody is inside, and why the list is "
                "not complete."
            )
        )
    left_open = {
        "inside": list(stand.names),
        "locks_on": [person.name for person in stand.locks_on],
        "work": list(stand.work),
    }
    _end_work(stand, by, why)
    closing = _close(permit, by, key, why, left_open)
    after = {"opened_at": permit.at.isoformat(), "closed_at": closing.at.isoformat(), **left_open}
    Change.record(kiln, "closed for entry with an incomplete list", by=by, after=after, note=why)
    if permit.work_order:
        Change.record(permit.work_order, "closed for entry with an incomplete list", by=by, after=after, note=why)
    _tell(closing, left_open, by)
    return closing


def _close(
    permit: EntryPermit, by: User | None, key: UUID, note: str, left_open: dict[str, list[str]] | None = None
) -> EntryPermit:
    return EntryPermit.objects.create(
        key=key,
        kiln=permit.kiln,
        work_order=permit.work_order,
        act=EntryPermit.Act.CLOSED,
        opening=permit,
        at=clock.now(),
        by=by,
        note=note,
        left_open=left_open,
    )


def _end_work(stand: EntryNow, by: User | None, note: str) -> None:
    """End the sittings and pause the jobs that went on inside."""
    now = clock.now()
    for sitting in stand.sittings:
        Sitting.objects.filter(pk=sitting.pk, ended_at__isnull=True).update(ended_at=now)
        after = {"kiln_state": sitting.kiln_state, "by": str(sitting.by or "")}
        Change.record(sitting.check_up, "sitting ended", by=by, after=after, note=note)
    orders = WorkOrder.objects.select_for_update(of=("self",)).filter(pk__in=[order.pk for order in stand.jobs])
    for order in orders.order_by("pk"):
        pause_locked(order, by, note)


def _tell(closing: EntryPermit, left_open: dict[str, list[str]], by: User) -> None:
    """Write a mail to planners and kiln masters; it is sent as other news of work are."""
    if not settings.SENDS_MAIL:
        return
    roles = (Role.PLANNER, Role.KILN_MASTER)
    people = Person.objects.working_here().filter(user__roles_held__role__in=roles).distinct()
    kiln = closing.kiln
    with timezone.override(kiln.mill.zone):
        at = date_format(timezone.localtime(closing.at), "D j M Y, H:i")
    subject = _("%(kiln)s was closed for entry with an incomplete list") % {"kiln": kiln.tag}
    body = "\n".join(
        [
            _("%(who)s closed %(kiln)s for entry at %(at)s although the list was not complete.")
            % {"who": by, "kiln": kiln.tag, "at": at},
            _("Still inside by the list: %(names)s.") % {"names": ", ".join(left_open["inside"]) or _("nobody")},
            _("Locks still on by the list: %(names)s.") % {"names": ", ".join(left_open["locks_on"]) or _("none")},
            _("Work that was not ended: %(names)s.") % {"names": ", ".join(left_open["work"]) or _("none")},
            _("Reason: %(why)s") % {"why": closing.note},
            "",
            _("See for yourself that everybody is accounted for before the kiln runs."),
            "",
        ]
    )
    for person in people:
        Telling.objects.create(person=person, made_at=clock.now(), subject=subject, body=body)
    want_telling_soon(None)
