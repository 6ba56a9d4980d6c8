"""Charges that are loaded later, or take longer, because of work on their kiln."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant.charges.calculations.giving_way import give_way
from plant.charges.calculations.told import ChargeTimes, interrupted
from plant.charges.programme import Basis, Programme, say_at
from plant.models import Charge, Kiln, User
from plant.warnings.running_bars import lock_kiln, refuse_beginning


@dataclass(frozen=True)
class Shift:
    """How much later a charge is loaded; and, where it is interrupted, from when on it takes how much longer."""

    later: timedelta = timedelta(0)
    interrupted_at: datetime | None = None
    longer: timedelta = timedelta(0)


def shift_charges(kiln: Kiln, shifts: Mapping[int, Shift], *, why: str, by: User | None) -> list[Charge]:
    """Move the expected times of charges of a kiln, and of those behind them as far as they must give way.

    ``shifts`` is by charge id; those behind are loaded when the yard works. What was promised (the planned times)
    stays. Runs in the caller's transaction, whose right it rests on. Raises ValidationError for a charge that has
    begun and would be loaded later.
    """
    with transaction.atomic():
        programme = Programme(kiln)
        planned: dict[int, ChargeTimes] = {}
        begun: dict[int, ChargeTimes] = {}
        for charge, stand in programme.standing(Basis.PLANNED, Basis.RUNNING):
            shift = shifts.get(charge.pk, Shift())
            if shift.later and stand.basis != Basis.PLANNED:
                raise ValidationError(
                    _("Charge %(number)s of %(kiln)s has begun: it cannot be loaded later.")
                    % {"number": charge.number, "kiln": kiln.tag},
                    code="begun",
                )
            times = stand.times.later(shift.later)
            if shift.longer:
                times = interrupted(times, shift.interrupted_at, shift.longer)
            (planned if stand.basis == Basis.PLANNED else begun)[charge.pk] = times
        found = give_way(list(planned.values()), list(begun.values()), fit=kiln.mill.yard.next_at)
        programme.take(begun | dict(zip(planned, found, strict=True)))
        moved = programme.write()
        programme.record(moved, "moved", by=by, note=why)
    return moved


def put_back(kiln: Kiln, times: Mapping[int, ChargeTimes], *, why: str, by: User | None) -> list[Charge]:
    """Give charges of a kiln the times that they had before they gave way; nobody else gives way for it.

    ``times`` is by charge id. Runs in the caller's transaction, whose right it rests on. Raises ValidationError where
    they would meet another charge, or would begin while people rely on it that they do not.
    """
    with transaction.atomic():
        programme = Programme(lock_kiln(kiln.pk))
        for charge in programme.take(times):
            if programme.stands[charge.pk].basis == Basis.PLANNED:
                refuse_beginning(programme.kiln, times[charge.pk].begin_at, times[charge.pk].heating_at)
        in_turn = programme.standing(Basis.PLANNED, Basis.RUNNING)
        for (first, stand), (second, next_stand) in pairwise(in_turn):
            if next_stand.times.begin_at < stand.times.end_at:
                facts = {"kiln": kiln.tag, "first": first.number, "second": second.number}
                facts["end"] = say_at(stand.times.end_at)
                raise ValidationError(
                    _("%(first)s would be in %(kiln)s until %(end)s, and %(second)s begins before.") % facts,
                    code="taken",
                )
        moved = programme.write()
        programme.record(moved, "moved back", by=by, note=why)
    return moved
