"""Whether a job may start at its kiln: by the list inside, or from outside while entry is barred."""

from collections.abc import Collection
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from maintenance.entry.bars import bars_of
from maintenance.entry.now import entry_of
from maintenance.entry.permits import (
    lock_out_fault,
    open_permit_of,
    refuse_where_it_runs,
    takes_people_inside,
    watch_faults,
)
from maintenance.models import WorkOrder
from plant.models import Person


def check_entry(
    order: WorkOrder, team: Collection[Person], locked_out_outside_by: Person | None, stays_outside: Person | None
) -> dict[str, Any]:
    """Refuse a job inside without an open permit, or with the one who is to stay outside.

    Where entry is barred, only the work that mends or proves what bars it may start, from outside: then no permit is
    possible, but the lock-out is by name all the same. The proof test tries the door from inside, with the main door
    held open: it names who stays outside as well.
    """
    if not takes_people_inside(order):
        return {}
    bars = bars_of(order.kiln)
    permit = open_permit_of(order.kiln)
    if not bars:
        if permit is None:
            raise ValidationError(
                _("Open %(kiln)s for entry first: open, cooled, locked out, escape door tried.") % {"kiln": order.kiln},
                code="permit",
            )
        stand = entry_of(order.kiln)
        if stand and stand.outside in team:
            raise ValidationError(
                _("%(person)s stays outside %(kiln)s and cannot do work inside as well: name another person.")
                % {"person": stand.outside, "kiln": order.kiln},
                code="watch",
            )
        return {}
    what = "; ".join(str(bar) for bar in bars)
    if not any(order.pk in bar.ended_by for bar in bars):
        raise ValidationError(
            _("Nobody may enter %(kiln)s: %(what)s. Only the work that mends or proves this may start, from outside.")
            % {"kiln": order.kiln, "what": what},
            code="blocked",
        )
    if permit:
        raise ValidationError(
            _("%(kiln)s is still open for entry. Count everybody out and close it before this work starts.")
            % {"kiln": order.kiln},
            code="permit",
        )
    if locked_out_outside_by is None:
        raise ValidationError(
            _("Nobody may step in: %(what)s. Work from outside, main door held open, and name who locked the kiln out.")
            % {"what": what},
            code="outside",
        )
    refuse_where_it_runs(order.kiln)
    faults = lock_out_fault(locked_out_outside_by, order.kiln)
    said = {"from_outside": True, "locked_out_by": locked_out_outside_by.name}
    if order.sheet and order.sheet.is_proof_test:
        if stays_outside is None or stays_outside in (*team, locked_out_outside_by):
            faults.append(
                _(
                    "The tester tries the door from inside: name who stays outside at the main door, which is held "
                    "open; nobody of the team."
                )
            )
        else:
            faults += watch_faults(stays_outside, order.kiln)
            said["stays_outside"] = stays_outside.name
    if faults:
        raise ValidationError(faults)
    return said
