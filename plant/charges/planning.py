"""Charges are planned, changed, moved and taken out; what is planned behind them gives way, and is shown before."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.charges.calculations.giving_way import give_way
from plant.charges.calculations.told import ChargeTimes, Span
from plant.charges.programme import ASIDE, Basis, Programme, Stand, basis_of, say_at
from plant.frame.particulars import particulars
from plant.frame.reasons import require_sentence
from plant.frame.units import volume_in
from plant.models import Change, Charge, ChargeWord, Kiln, Phase, User
from plant.warnings.running_bars import lock_kiln, refuse_beginning

ACT = "plan charges"
FACTS = (
    "number",
    "species",
    "thickness_mm",
    "volume_m3",
    "initial_mc_pct",
    "final_mc_pct",
    "promised_at",
    "late_cost_per_h",
    "end_spread_h",
)
TOLD = (*FACTS, "kiln", "begin_at", "end_at")
# By which names the history tells what people do not call as the columns are called.
SAID_AS = {
    "initial_mc_pct": "moisture_at_the_start_pct",
    "final_mc_pct": "wanted_moisture_pct",
    "late_cost_per_h": "cost_of_an_hour_late",
    "end_spread_h": "usual_shift_of_the_end_h",
}
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class GaveWay:
    """A charge that must give way: from when to when."""

    charge: Charge
    was: ChargeTimes
    now: ChargeTimes

    @property
    def later_h(self) -> float:
        """Return by how many hours it comes later."""
        return (self.now.begin_at - self.was.begin_at) / HOUR

    @property
    def late_h(self) -> float:
        """Return by how many hours more it misses what was promised; 0 where it keeps that."""
        return max(late_h(self.charge, self.now.end_at) - late_h(self.charge, self.was.end_at), 0.0)

    @property
    def late_cost(self) -> Decimal | None:
        """Return what that costs; None where nothing is lost or no price is known."""
        return late_cost(self.charge, self.late_h)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a wish comes to: the charge's times, who gives way, and a mark of both by which it is known again."""

    times: ChargeTimes
    gave_way: tuple[GaveWay, ...]
    mark: str

    @property
    def broken(self) -> list[GaveWay]:
        """Those whose promised date does not hold any more, or holds still less."""
        return [one for one in self.gave_way if one.late_h]


def late_h(charge: Charge, end_at: datetime) -> float:
    """Return by how many hours a charge that is out at an instant misses what was promised."""
    return max((end_at - charge.promised_at) / HOUR, 0.0) if charge.promised_at else 0.0


def late_cost(charge: Charge, hours: float) -> Decimal | None:
    """Return what so many hours of delay cost; None where there are none or no price is known."""
    price = charge.late_cost_per_h
    return None if price is None or not hours else price * Decimal(str(round(hours, 4)))


def next_free(kiln: Kiln, from_at: datetime, length: timedelta = timedelta(0)) -> datetime:
    """Return the first instant at which a kiln is free for so long and the yard works."""
    ahead = Charge.objects.filter(kiln=kiln, end_at__gt=from_at).exclude(basis=Basis.DONE)
    taken = [ChargeTimes(one.begin_at, one.end_at) for one in ahead]
    wish = ChargeTimes(from_at, from_at + max(length, HOUR))
    fit = kiln.mill.yard.next_at
    return give_way([wish], taken, free_at=fit(from_at), fit=fit)[0].begin_at


@transaction.atomic
def look(wanted: Charge, times: ChargeTimes) -> Outcome:
    """Say what follows when a charge stands at these times in the kiln it names. Raises ValidationError."""
    return _reckon(_programme(wanted), wanted, times)


@transaction.atomic
def keep(wanted: Charge, times: ChargeTimes, *, seen: str, key: UUID, by: User | None, why: str = "") -> Charge:
    """Put a charge that is new, changed or moved into the programme; what was shown as ``seen`` must still follow."""
    require(by, ACT)
    known = None if wanted.pk else Charge.ever.filter(key=key).first()
    if known:
        return known
    programme = _programme(wanted)
    outcome = _reckon(programme, wanted, times)
    if outcome.mark != seen:
        raise ValidationError(
            _("The programme of %(kiln)s was changed meanwhile. Look at what follows now; then put it on record.")
            % {"kiln": wanted.kiln.tag},
            code="seen",
        )
    try:
        with transaction.atomic():
            return _keep(programme, wanted, outcome, key=key, by=by, why=why)
    except IntegrityError:
        raise ValidationError(
            _("Somebody else changed the programme of %(kiln)s at the same moment. Look at what follows; try again.")
            % {"kiln": wanted.kiln.tag},
            code="at_once",
        ) from None


@transaction.atomic
def take_out(charge: Charge, *, seen: str, by: User | None, why: str) -> Charge:
    """Take a planned charge out of the programme; it is kept, with the reason."""
    require(by, ACT)
    kiln = lock_kiln(charge.kiln_id)
    charge = Charge.ever.select_for_update().get(pk=charge.pk)
    charge.kiln = kiln
    refuse_fixed(charge)
    if seen != mark_of(charge):
        raise ValidationError(_("Somebody changed this charge meanwhile. Look at it again."), code="stale")
    try:
        reason = require_sentence(why)
    except ValidationError as refusal:
        raise ValidationError({"why": refusal.messages}) from None
    charge.taken_out_at = clock.now()
    charge.save(update_fields=["taken_out_at"])
    before = _said(particulars(charge, TOLD))
    Change.record(charge, "taken out of the programme", by=by, before=before, note=reason)
    said = {"charge": charge.number, "begin_at": before["begin_at"], "end_at": before["end_at"]}
    Change.record(kiln, "charge taken out of the programme", by=by, before=said, note=reason)
    return charge


def mark_of(charge: Charge) -> str:
    """Return a short mark of what is planned of a charge."""
    return _mark([particulars(charge, TOLD)])


def _mark(facts: list[Any]) -> str:
    return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()[:20]


def _programme(wanted: Charge) -> Programme:
    """Lock the kiln that is wanted, and the one that the charge is in; in one order, so that none waits for ever."""
    ids = {wanted.kiln_id}
    if wanted.pk:
        ids.add(Charge.ever.values_list("kiln_id", flat=True).get(pk=wanted.pk))
    locked = {pk: lock_kiln(pk) for pk in sorted(ids)}
    return Programme(locked[wanted.kiln_id])


def _reckon(programme: Programme, wanted: Charge, times: ChargeTimes) -> Outcome:
    kiln, now = programme.kiln, clock.now()
    standing = Charge.ever.filter(pk=wanted.pk).first() if wanted.pk else None
    if standing is not None:
        refuse_fixed(standing)
    if not kiln.is_active:
        raise ValidationError({"kiln": _("%(kiln)s is not in use. Choose another kiln.") % {"kiln": kiln.tag}})
    refuse_impossible(wanted)
    if programme_has(programme, wanted):
        message = _("%(kiln)s has a charge %(number)s already. Give this one another number.")
        raise ValidationError({"number": message % {"kiln": kiln.tag, "number": wanted.number}})
    if times.begin_at < now:
        message = _(
            "%(begin)s has gone by. Give a begin that lies ahead; of a charge that was begun, tell that it was started."
        )
        raise ValidationError({"begin_at": message % {"begin": say_at(times.begin_at)}}, code="past")
    refuse_beginning(kiln, times.begin_at, times.heating_at)
    stay, behind = _sorted_out(programme, wanted, times)
    _refuse_taken(kiln, times, stay)
    fixed = [times, *(stand.times for _one, stand in stay)]
    found = give_way([stand.times for _one, stand in behind], fixed, fit=kiln.mill.yard.next_at)
    gave_way = tuple(
        GaveWay(one, stand.times, moved)
        for (one, stand), moved in zip(behind, found, strict=True)
        if moved != stand.times
    )
    own = particulars(standing, TOLD) if standing is not None else {}
    moves = [[one.charge.pk, _span(one.was), _span(one.now)] for one in gave_way]
    return Outcome(times, gave_way, _mark([kiln.pk, particulars(wanted, FACTS), own, _span(times), moves]))


def programme_has(programme: Programme, wanted: Charge) -> bool:
    """Say whether the number of a charge is taken in a kiln's programme."""
    same = Charge.objects.filter(kiln=programme.kiln, number=wanted.number)
    return same.exclude(pk=wanted.pk).exists()


def _span(times: ChargeTimes) -> list[str]:
    return [times.begin_at.isoformat(), times.end_at.isoformat()]


def _sorted_out(
    programme: Programme, wanted: Charge, times: ChargeTimes
) -> tuple[list[tuple[Charge, Stand]], list[tuple[Charge, Stand]]]:
    """Return the other charges that stay: begun, told of, or before the wanted begin; and those that give way."""
    others = programme.standing(*Basis.values, but=wanted.pk)
    told = _told_of([one for one, _stand in others])
    stay: list[tuple[Charge, Stand]] = []
    behind: list[tuple[Charge, Stand]] = []
    for one, stand in others:
        gives_way = stand.basis == Basis.PLANNED and one.pk not in told and stand.times.begin_at >= times.begin_at
        (behind if gives_way else stay).append((one, stand))
    return stay, behind


def _told_of(charges: list[Charge]) -> set[int]:
    words = ChargeWord.objects.that_count().filter(charge__in=[one.pk for one in charges])
    return set(words.values_list("charge_id", flat=True))


def _refuse_taken(kiln: Kiln, times: ChargeTimes, stay: list[tuple[Charge, Stand]]) -> None:
    """Refuse a wish that would share the kiln with a charge that does not give way."""
    held = [stand.times for _one, stand in stay]
    for (one, stand), span in zip(stay, held, strict=True):
        if span.begin_at >= times.end_at or span.end_at <= times.begin_at:
            continue
        if stand.basis != Basis.PLANNED:
            reason = _("it is in the kiln by the record")
        elif span.begin_at >= times.begin_at:
            reason = _("somebody told when it is expected, so it stays")
        else:
            reason = _("it begins before")
        message = _(
            "%(kiln)s holds %(number)s from %(begin)s to %(end)s: %(reason)s. This charge can begin on %(free)s."
        )
        facts = {"kiln": kiln.tag, "number": one.number, "reason": reason}
        facts |= {"begin": say_at(span.begin_at), "end": say_at(span.end_at)}
        free_at = give_way([times], held, fit=kiln.mill.yard.next_at)[0].begin_at
        raise ValidationError({"begin_at": message % {**facts, "free": say_at(free_at)}}, code="taken")


def refuse_fixed(charge: Charge) -> None:
    """Refuse to plan a charge that has begun, of which something was told, or that was taken out."""
    facts = {"number": charge.number, "begin": say_at(charge.begin_at)}
    if charge.taken_out_at is not None:
        raise ValidationError(_("%(number)s was taken out of the programme.") % facts, code="out")
    if basis_of(charge, clock.now()) != Basis.PLANNED:
        message = _("%(number)s has begun on %(begin)s: tell what happens to it; it is not planned any more.")
        raise ValidationError(message % facts, code="begun")
    if _told_of([charge]):
        message = _(
            "Somebody told when %(number)s is expected. Tell it anew, or take that back first: then it can be planned."
        )
        raise ValidationError(message % facts, code="told")


def refuse_impossible(wanted: Charge) -> None:
    """Refuse what of a charge cannot be, by field, and say how to mend it."""
    if errors := dict(_impossible(wanted, wanted.kiln)):
        raise ValidationError(errors)


def _impossible(wanted: Charge, kiln: Kiln) -> Iterator[tuple[str, str]]:
    if not 5 <= wanted.thickness_mm <= 300:
        yield "thickness_mm", _("Boards are between 5 and 300 mm thick: write the thickness in mm.")
    if wanted.volume_m3 <= 0:
        yield "volume_m3", _("Write a volume above 0.")
    elif wanted.volume_m3 > kiln.usable_m3:
        message = _("%(kiln)s holds %(most)s at most: write less, or choose a larger kiln.")
        yield "volume_m3", message % {"kiln": kiln.tag, "most": volume_in(kiln.usable_m3, kiln.mill, 1)}
    start, end = wanted.initial_mc_pct, wanted.final_mc_pct
    if start is not None and not 1 <= start <= 250:
        yield "initial_mc_pct", _("Moisture content at the start lies between 1 and 250 %.")
    if end is not None and not 1 <= end <= 60:
        yield "final_mc_pct", _("The wanted moisture content lies between 1 and 60 %.")
    elif start is not None and end is not None and end >= start:
        message = _("Timber that comes with %(start)s %% is not dried to %(end)s %%: write less than at the start.")
        yield "final_mc_pct", message % {"start": f"{start:f}", "end": f"{end:f}"}
    if wanted.late_cost_per_h is not None and wanted.late_cost_per_h < 0:
        yield "late_cost_per_h", _("An hour of delay costs nothing or more: write 0 or more.")
    if wanted.late_cost_per_h and wanted.promised_at is None:
        yield "promised_at", _("Say for when it is promised: an hour later costs something only after that.")


def _keep(programme: Programme, wanted: Charge, outcome: Outcome, *, key: UUID, by: User | None, why: str) -> Charge:
    before = particulars(Charge.objects.get(pk=wanted.pk), TOLD) if wanted.pk else {}
    times = outcome.times
    if wanted.pk:
        # On the way to its new place, perhaps in another kiln, it is in nobody's way.
        Charge.objects.filter(pk=wanted.pk).update(
            kiln=programme.kiln, begin_at=wanted.begin_at + ASIDE, end_at=wanted.end_at + ASIDE
        )
        wanted.phases.all().delete()
    programme.take({one.charge.pk: one.now for one in outcome.gave_way})
    moved = programme.write()
    wanted.kiln, wanted.basis = programme.kiln, Basis.PLANNED
    wanted.begin_at = wanted.planned_begin_at = times.begin_at
    wanted.end_at = wanted.planned_end_at = times.end_at
    if not wanted.pk:
        wanted.key = key
    wanted.save()
    Phase.objects.bulk_create(_phase(wanted, span) for span in times.spans)
    after = particulars(wanted, TOLD)
    differs = [name for name in TOLD if not before or before[name] != after[name]]
    act = "planned" if not before else ("moved" if {"kiln", "begin_at"} & set(differs) else "plan changed")
    told_before, told_after = ({name: of[name] for name in differs if name in of} for of in (before, after))
    Change.record(wanted, act, by=by, before=_said(told_before), after=_said(told_after), note=why.strip())
    programme.record(moved, "gave way to another charge", by=by)
    return wanted


def _said(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Name what the history keeps as people do, the kiln by its tag; what was never given is left out."""
    tag = Kiln.objects.filter(pk=facts.get("kiln", 0)).values_list("tag", flat=True).first()
    known = {**facts, "kiln": tag}
    return {SAID_AS.get(name, name): value for name, value in known.items() if value not in (None, "")}


def _phase(charge: Charge, span: Span) -> Phase:
    times = {"begin_at": span.begin_at, "end_at": span.end_at}
    return Phase(charge=charge, kind=span.kind, planned_begin_at=span.begin_at, planned_end_at=span.end_at, **times)
