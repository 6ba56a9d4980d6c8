"""Charges that are loaded later, or take longer, because of work on their kiln."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant.models import Change, Charge, Kiln, Phase, User


@dataclass(frozen=True)
class Shift:
    """How much later a charge is loaded; and, where it is interrupted, from when on it takes how much longer."""

    later: timedelta = timedelta(0)
    interrupted_at: datetime | None = None
    longer: timedelta = timedelta(0)


def shift_charges(kiln: Kiln, shifts: Mapping[int, Shift], *, why: str, by: User | None) -> list[Charge]:
    """Move the expected times of charges of a kiln, and of those behind them as far as they must give way.

    ``shifts`` is by charge id. What was promised (the planned times) stays. Runs in the caller's transaction, whose
    right it rests on. Raises ValidationError for a charge that has begun and would be loaded later.
    """
    with transaction.atomic():
        rows = Charge.objects.select_for_update().filter(kiln=kiln).exclude(basis=Charge.Basis.DONE)
        charges = list(rows.order_by("begin_at"))
        moved: list[tuple[Charge, Shift]] = []
        free_at: datetime | None = None
        for charge in charges:
            shift = shifts.get(charge.pk, Shift())
            if shift.later and charge.basis != Charge.Basis.PLANNED:
                raise ValidationError(
                    _("Charge %(number)s of %(kiln)s has begun: it cannot be loaded later.")
                    % {"number": charge.number, "kiln": kiln.tag},
                    code="begun",
                )
            later = shift.later
            if free_at is not None and charge.begin_at + later < free_at and charge.basis == Charge.Basis.PLANNED:
                later = free_at - charge.begin_at
            shift = Shift(later, shift.interrupted_at, shift.longer)
            free_at = charge.end_at + later + shift.longer
            if later or shift.longer:
                moved.append((charge, shift))
        # The last one first, so that at no moment two charges are in the kiln.
        for charge, shift in reversed(moved):
            _move(charge, shift, why, by)
    return [charge for charge, _shift in moved]


def _move(charge: Charge, shift: Shift, why: str, by: User | None) -> None:
    before = {"begin_at": charge.begin_at.isoformat(), "end_at": charge.end_at.isoformat()}
    charge.begin_at += shift.later
    charge.end_at += shift.later + shift.longer
    charge.save(update_fields=["begin_at", "end_at"])
    phases = list(Phase.objects.filter(charge=charge))
    for phase in phases:
        phase.begin_at += shift.later
        phase.end_at += shift.later
        if shift.interrupted_at is not None and phase.end_at > shift.interrupted_at:
            phase.end_at += shift.longer
            if phase.begin_at > shift.interrupted_at:
                phase.begin_at += shift.longer
    Phase.objects.bulk_update(phases, ["begin_at", "end_at"])
    after = {"begin_at": charge.begin_at.isoformat(), "end_at": charge.end_at.isoformat()}
    Change.record(charge, "moved", by=by, before=before, after=after, note=why)
