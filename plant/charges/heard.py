"""What other programs and files say of charges: planned and told as they say, or kept beside what a person said.

Who said something last of a charge leads it. Where that was a person, and another source says something else, it is
kept as a claim and shown beside ours; nothing is overwritten. By what a program tells nobody goes in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import NAMESPACE_OID, UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant import clock
from plant.charges import planning, telling
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.laying import lay, lengths_of, stretched
from plant.charges.calculations.told import ChargeTimes
from plant.charges.claims import claim
from plant.charges.drying_times import usual_handling
from plant.charges.programme import Basis, basis_of, stand_of
from plant.charges.telling import What
from plant.models import Change, Charge, ChargeClaim, ChargeWord, Kiln
from plant.signals import runs_against_bar
from plant.warnings.running_bars import lock_kiln

# What is so near to what is on record is the same: clocks differ, and people tell a little later.
SAME = timedelta(minutes=15)
NEEDED: Final = ("species", "thickness_mm", "volume_m3")
PLANS: Final = ("planned", "moved", "plan changed", "taken out of the programme")


@dataclass(frozen=True, slots=True)
class ToldThere:
    """What a source says that happened, or is expected, and when."""

    what: str
    at: datetime


@dataclass(frozen=True, slots=True)
class HeardCharge:
    """What a source says of one charge: of its timber only what it gives."""

    kiln: str
    number: str
    facts: Mapping[str, Any]
    begin_at: datetime | None = None
    end_at: datetime | None = None
    told: tuple[ToldThere, ...] = ()

    @property
    def is_plan(self) -> bool:
        """Whether it says anything of what is planned."""
        return bool(self.facts) or self.begin_at is not None or self.end_at is not None


@dataclass(slots=True)
class Heard:
    """What became of it: charges planned or changed, what was told, what was known, and what differs from ours."""

    planned: int = 0
    changed: int = 0
    told: int = 0
    known: int = 0
    differing: int = 0


class NotHeardError(ValueError):
    """Nothing was kept; ``faults`` are (place in the list, what is wrong)."""

    def __init__(self, faults: Sequence[tuple[int, str]]) -> None:
        super().__init__(f"{len(faults)} faults")
        self.faults = faults


@transaction.atomic
def hear(charges: Sequence[HeardCharge], source: str) -> Heard:
    """Take in what a source says, all of it or nothing. Said twice it changes nothing. Raises NotHeardError."""
    heard, faults = Heard(), []
    wanted = Kiln.objects.in_use().filter(tag__in={one.kiln for one in charges})
    kilns = {kiln.tag: lock_kiln(kiln.pk) for kiln in wanted.order_by("pk")}
    for place, one in enumerate(charges):
        kiln = kilns.get(one.kiln)
        try:
            if kiln is None:
                raise ValidationError(_("No kiln “%(kiln)s” is in use.") % {"kiln": one.kiln})
            with transaction.atomic():
                _hear(kiln, one, source, heard)
        except ValidationError as refusal:
            faults.append((place, " ".join(refusal.messages)))
    if faults:
        raise NotHeardError(faults)
    return heard


def _hear(kiln: Kiln, one: HeardCharge, source: str, heard: Heard) -> None:
    charge = Charge.objects.filter(kiln=kiln, number=one.number).prefetch_related("phases").first()
    if charge is None:
        gone = Charge.ever.filter(kiln=kiln, number=one.number).order_by("-taken_out_at").first()
        if gone is not None and is_led_by_person(gone, source):
            if one.is_plan:
                claim(gone, ChargeClaim.PLAN, _said(one), source)
            heard.differing += 1
            return
        charge = _plan(kiln, one, source)
        heard.planned += 1
    elif one.is_plan:
        charge.kiln = kiln
        _hear_plan(charge, one, source, heard)
    for told in one.told:
        _hear_told(charge, told, source, heard)


def is_led_by_person(charge: Charge, source: str) -> bool:
    """Say whether a person planned a charge last, or told of it, and took nothing from this source since."""
    planned = Change.objects.filter(subject_kind=charge._meta.label_lower, subject_key=str(charge.pk), act__in=PLANS)
    last = planned.order_by("-id").first()
    at = [last.at] if last is not None and last.by_id is not None else []
    word = ChargeWord.objects.that_count().by_people().filter(charge=charge).order_by("-id").first()
    if word is not None:
        at.append(word.told_at)
    if not at:
        return False
    taken = ChargeClaim.objects.filter(charge=charge, source=source, answer=ChargeClaim.Answer.THEIRS)
    return not taken.filter(answered_at__gte=max(at)).exists()


# What is planned.


def _plan(kiln: Kiln, one: HeardCharge, source: str) -> Charge:
    missing = [name for name in NEEDED if one.facts.get(name) is None]
    missing += [name for name in ("begin_at", "end_at") if getattr(one, name) is None]
    if missing:
        message = _("%(kiln)s has no charge %(number)s. To plan it, send this too: %(missing)s.")
        raise ValidationError(message % {"kiln": kiln.tag, "number": one.number, "missing": ", ".join(missing)})
    wanted = Charge(kiln=kiln, number=one.number, **one.facts)
    return _keep(wanted, _times(wanted, one), _key(source, kiln.tag, one.number, "plan", repr(_said(one))))


def _hear_plan(charge: Charge, one: HeardCharge, source: str, heard: Heard) -> None:
    said = differing(charge, one)
    if not said or basis_of(charge, clock.now()) != Basis.PLANNED:
        heard.known += 1
        return
    if is_led_by_person(charge, source) or telling.words_of([charge])[charge.pk]:
        claim(charge, ChargeClaim.PLAN, said, source)
        heard.differing += 1
        return
    take_plan(charge, one, _key(source, charge.pk, "plan", repr(said)))
    heard.changed += 1


def differing(charge: Charge, one: HeardCharge) -> dict[str, Any]:
    """Return what a source says of a plan otherwise than it stands, as a claim keeps it."""
    ours = {"begin_at": charge.begin_at, "end_at": charge.end_at}
    said = {name: value for name, value in one.facts.items() if getattr(charge, name) != value}
    said |= {name: at for name in ours if (at := getattr(one, name)) is not None and at != ours[name]}
    return {name: _as_kept(value) for name, value in said.items()}


def take_plan(charge: Charge, one: HeardCharge, key: UUID, *, by: Any = None) -> Charge:
    """Change a planned charge to what a source says of it. Raises ValidationError."""
    for name, value in one.facts.items():
        setattr(charge, name, value)
    return _keep(charge, _times(charge, one), key, by=by)


def plan_anew(gone: Charge, one: HeardCharge, key: UUID, *, by: Any = None) -> Charge:
    """Plan a charge that was taken out once more, as a source says. Raises ValidationError."""
    facts = {name: getattr(gone, name) for name in planning.FACTS if name != "number"} | dict(one.facts)
    wanted = Charge(kiln=gone.kiln, number=gone.number, begin_at=gone.begin_at, end_at=gone.end_at, **facts)
    return _keep(wanted, _times(wanted, one), key, by=by)


def _times(charge: Charge, one: HeardCharge) -> ChargeTimes:
    """Return the times that a source gives; drying takes what the other phases leave."""
    begin_at, end_at = one.begin_at or charge.begin_at, one.end_at or charge.end_at
    if charge.pk and one.begin_at is not None and one.end_at is None:
        end_at = begin_at + (charge.end_at - charge.begin_at)
    if end_at <= begin_at:
        raise ValidationError(_("It cannot be out before it is loaded: give a later end_at, or an earlier begin_at."))
    lengths = lengths_of(stand_of(charge).times) if charge.pk else _usual_handling(charge.kiln)
    fitted = stretched(lengths, end_at - begin_at)
    return lay(begin_at, fitted or {PhaseKind.DRYING: end_at - begin_at})


def _usual_handling(kiln: Kiln) -> dict[PhaseKind, timedelta]:
    done = Charge.objects.filter(kiln=kiln, basis=Basis.DONE).order_by("-begin_at").prefetch_related("phases")
    return {kind: timedelta(minutes=round(hours * 60)) for kind, hours in usual_handling(done[:20]).items()}


def _keep(charge: Charge, times: ChargeTimes, key: UUID, *, by: Any = None) -> Charge:
    outcome = planning.look(charge, times)
    return planning.keep(charge, times, seen=outcome.mark, key=key, by=by)


# What is told.


def _hear_told(charge: Charge, told: ToldThere, source: str, heard: Heard) -> None:
    key = _key(source, charge.pk, told.what, told.at.isoformat())
    if ChargeWord.objects.filter(key=key).exists():
        heard.known += 1
        return
    words = telling.words_of([charge])[charge.pk]
    known = telling.last_word(words, told.what)
    if _is_so(charge, known, told):
        heard.known += 1
        return
    if known is not None and (known.is_by_people or known != words[-1]):
        claim(charge, told.what, _when(told), source)
        heard.differing += 1
        return
    try:
        with transaction.atomic():
            if known is not None and told.what != What.EXPECTED:
                telling.correct(known, told.at, key=key, by=None, why=source, by_source=source)
            else:
                telling.tell(charge, told.what, told.at, key=key, by=None, by_source=source)
    except ValidationError as refusal:
        _disagree(charge, told, source, refusal)
        heard.differing += 1
    else:
        heard.told += 1


def hear_told(charge: Charge, told: Sequence[ToldThere], source: str) -> Heard:
    """Tell what a source says that happened to one charge, in the caller's transaction. Raises ValidationError."""
    heard = Heard()
    charge.kiln = lock_kiln(charge.kiln_id)
    for one in told:
        _hear_told(charge, one, source, heard)
    return heard


def _is_so(charge: Charge, known: ChargeWord | None, told: ToldThere) -> bool:
    """Say whether that is on record already, told or not."""
    if known is not None:
        return abs(known.at - told.at) <= SAME
    if told.what == What.STARTED and charge.basis == Basis.RUNNING:
        return abs(stand_of(charge).times.heating_at - told.at) <= SAME
    if told.what == What.EXPECTED:
        # Of a planned charge it is said when it will be started.
        is_planned = basis_of(charge, clock.now()) == Basis.PLANNED
        return abs((stand_of(charge).times.heating_at if is_planned else charge.end_at) - told.at) <= SAME
    is_out = told.what == What.UNLOADED and charge.basis == Basis.DONE
    return is_out and abs(charge.end_at - told.at) <= SAME


def _disagree(charge: Charge, told: ToldThere, source: str, refusal: ValidationError) -> None:
    """Keep what the record stands against beside it; a message that cannot be meant is refused."""
    if "at" in getattr(refusal, "error_dict", {}):
        raise refusal
    if getattr(refusal, "code", "") == "inside" and told.what == What.STARTED:
        # Somebody is inside, and a program says that the kiln was started: that is an alarm.
        facts = {"charge": charge.number, "begin_at": told.at.isoformat()}
        runs_against_bar.send(Charge, kiln=charge.kiln, kind="charge begun", facts=facts)
    claim(charge, told.what, _when(told), source)


def contest(charge: Charge, one: HeardCharge, source: str) -> bool:
    """Say whether a file must leave a charge alone because a person leads it; what differs is kept as claims."""
    if not is_led_by_person(charge, source):
        return False
    words = telling.words_of([charge])[charge.pk]
    said = differing(charge, one) if basis_of(charge, clock.now()) == Basis.PLANNED else {}
    if said:
        claim(charge, ChargeClaim.PLAN, said, source)
    for told in one.told:
        known = next((word for word in reversed(words) if word.what == told.what), None)
        if not _is_so(charge, known, told):
            claim(charge, told.what, _when(told), source)
    return bool(said or words or one.told)


def _when(told: ToldThere) -> dict[str, Any]:
    return {"at": _as_kept(told.at)}


def _said(one: HeardCharge) -> dict[str, Any]:
    times = {"begin_at": one.begin_at, "end_at": one.end_at}
    return {name: _as_kept(value) for name, value in {**one.facts, **times}.items() if value is not None}


def _as_kept(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return value if value is None or isinstance(value, int) else str(value)


def _key(*parts: object) -> UUID:
    return uuid5(NAMESPACE_OID, "\n".join(map(str, ("heard", *parts))))
