"""What a kiln's readings say of its charge, proposed as a telling: confirmed or refused in one tap, or taken at once.

A sign (``ClimateSign``) says what the climate did; what can be told for it is asked of the record each time, so that a
sign somebody was quicker than proposes nothing any more.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import NAMESPACE_OID, UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.charges import telling
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.told import Span
from plant.charges.programme import Basis, basis_of, stand_of
from plant.charges.telling import ACT, What
from plant.models import Charge, ChargeWord, ClimateSign, Kiln, User
from plant.warnings.running_bars import lock_kiln

Kind, Answer = ClimateSign.Kind, ClimateSign.Answer
# Nobody asks any more about what the readings said so long ago.
SHOWN = timedelta(days=3)
# What is on record so near to what the readings say is the same.
SAME_START = timedelta(hours=3)
LEAST_SHIFT = timedelta(hours=1)
# A charge that should begin so much later is not the one that was started.
FARTHEST_START = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class Proposal:
    """What could be told of a charge for a sign; ``charge`` is None where no charge is planned that could be meant."""

    sign: ClimateSign
    charge: Charge | None
    what: What
    at: datetime

    @property
    def key(self) -> UUID:
        """Told twice for one sign it is told once."""
        return _key(self.sign, self.what, self.charge.pk if self.charge else 0)

    @property
    def is_open_door(self) -> bool:
        """Whether it says that the doors are open, or the timber out."""
        return self.what in (What.OPENED, What.UNLOADED)


def _key(sign: ClimateSign, what: str, charge_pk: int) -> UUID:
    return uuid5(NAMESPACE_OID, f"climate sign {sign.pk} {what} {charge_pk}")


def proposals(kilns: Collection[Kiln], now: datetime) -> dict[int, Proposal]:
    """Return kiln id -> the proposal that is to be answered first; three queries, one where there is no sign."""
    signs: dict[int, list[ClimateSign]] = defaultdict(list)
    found = ClimateSign.objects.filter(kiln__in=kilns, answer=Answer.OPEN, at__gt=now - SHOWN, at__lte=now)
    for sign in found.select_related("kiln").order_by("at", "id"):
        signs[sign.kiln_id].append(sign)
    if not signs:
        return {}
    charges: dict[int, list[Charge]] = defaultdict(list)
    rows = Charge.objects.lately([kiln for kiln in kilns if kiln.pk in signs], now)
    for charge in rows.select_related("kiln").prefetch_related("phases"):
        charges[charge.kiln_id].append(charge)
    words = telling.words_of(charge for of_kiln in charges.values() for charge in of_kiln)
    return {
        pk: first
        for pk, of_kiln in signs.items()
        if (first := next(_proposed(of_kiln, charges[pk], words, now), None)) is not None
    }


def _proposed(
    signs: Sequence[ClimateSign], charges: Sequence[Charge], words: dict[int, list[ChargeWord]], now: datetime
) -> Iterator[Proposal]:
    for sign in signs:
        found = proposal_for(sign, charges, words, now)
        if found is not None:
            yield found


def proposal_for(
    sign: ClimateSign, charges: Sequence[Charge], words: dict[int, list[ChargeWord]], now: datetime
) -> Proposal | None:
    """Say what could be told for a sign of a kiln, given its charges by begin and what was told of them."""
    inside = next((one for one in reversed(charges) if basis_of(one, now) == Basis.RUNNING), None)
    if inside is None:
        return _start(sign, charges, now) if sign.kind == Kind.HEATING else None
    known = {word.what for word in words.get(inside.pk, ())}
    times = stand_of(inside).times
    if sign.at < times.begin_at and sign.kind != Kind.HEATING:
        return None
    match sign.kind:
        case Kind.HEATING:
            if What.STARTED not in known and What.OPENED not in known and _is_other(sign.at, times.heating_at):
                return Proposal(sign, inside, What.STARTED, sign.at) if _is_near(sign.at, times.heating_at) else None
            # Heated anew once its doors were opened, or its time is over: it is out, and another is in.
            is_over = What.OPENED in known or times.end_at <= sign.at
            return Proposal(sign, inside, What.UNLOADED, sign.at) if is_over and sign.at > times.heating_at else None
        case Kind.DOOR:
            is_new = What.OPENED not in known and sign.at > times.heating_at
            return Proposal(sign, inside, What.OPENED, sign.at) if is_new else None
    if What.OPENED in known or any(word.at > sign.noted_at for word in words.get(inside.pk, ())):
        return None
    return _expected(sign, inside, times.spans, times.end_at, now)


def _start(sign: ClimateSign, charges: Sequence[Charge], now: datetime) -> Proposal | None:
    last_end = max((one.end_at for one in charges if basis_of(one, now) == Basis.DONE), default=None)
    if last_end is not None and sign.at < last_end:
        return None
    ahead = [one for one in charges if basis_of(one, now) == Basis.PLANNED]
    if ahead and ahead[0].begin_at < sign.at + FARTHEST_START:
        return Proposal(sign, ahead[0], What.STARTED, sign.at)
    return Proposal(sign, None, What.STARTED, sign.at)


def _is_other(at: datetime, on_record: datetime) -> bool:
    return abs(at - on_record) > SAME_START


def _is_near(at: datetime, on_record: datetime) -> bool:
    return abs(at - on_record) < FARTHEST_START


def _expected(
    sign: ClimateSign, inside: Charge, spans: Sequence[Span], end_at: datetime, now: datetime
) -> Proposal | None:
    """Say when a charge is expected out whose setting was reached, or whose cooling began, at another time."""
    by_kind = {span.kind: span for span in spans}
    if sign.kind == Kind.SETTING:
        on_record = by_kind[PhaseKind.HEATING_UP].end_at if PhaseKind.HEATING_UP in by_kind else None
        # The air is there long before the timber is warm: only where it comes later than that, all comes later.
        if on_record is not None and sign.at < on_record:
            return None
    else:
        on_record = by_kind[PhaseKind.COOLING].begin_at if PhaseKind.COOLING in by_kind else None
    if on_record is None or abs(sign.at - on_record) < LEAST_SHIFT:
        return None
    at = (end_at + (sign.at - on_record)).replace(second=0, microsecond=0)
    return Proposal(sign, inside, What.EXPECTED, at) if at > now else None


@transaction.atomic
def confirm(sign: ClimateSign, what: str, charge_pk: int, *, by: User) -> ChargeWord:
    """Tell what a sign proposes, as the person saw it proposed. Sent twice it is told once. Raises ValidationError."""
    require(by, ACT)
    kiln, sign = _locked(sign)
    known = ChargeWord.objects.filter(key=_key(sign, what, charge_pk)).first()
    if known is not None:
        return known
    found = _now_proposed(kiln, sign)
    if found is None or found.charge is None or (found.what, found.charge.pk) != (what, charge_pk):
        raise ValidationError(
            _("Something else was told of %(kiln)s since, or this was answered. Look at what stands there now."),
            code="stale",
            params={"kiln": kiln.tag},
        )
    word = telling.tell(found.charge, found.what, found.at, key=found.key, by=by)
    _answer(found, word, Answer.CONFIRMED, by)
    return word


@transaction.atomic
def refuse(sign: ClimateSign, *, by: User) -> ClimateSign:
    """Say that a sign tells nothing: it proposes nothing any more. Refused twice it is refused once."""
    require(by, ACT)
    _kiln, sign = _locked(sign)
    if sign.answer == Answer.OPEN:
        sign.answer, sign.by, sign.answered_at = Answer.REFUSED, by, clock.now()
        sign.save(update_fields=["answer", "by", "answered_at"])
    return sign


def take_at_once(kiln: Kiln, now: datetime) -> list[ChargeWord]:
    """Tell what readings surely say, as said by them; what is refused waits for a person. The kiln must be locked."""
    taken: list[ChargeWord] = []
    while (found := proposals([kiln], now).get(kiln.pk)) is not None:
        if not found.sign.is_sure or found.charge is None:
            break
        try:
            with transaction.atomic():
                word = telling.tell(found.charge, found.what, found.at, key=found.key, by=None, by_source="")
        except ValidationError:
            break
        _answer(found, word, Answer.TAKEN, None)
        taken.append(word)
    return taken


def _locked(sign: ClimateSign) -> tuple[Kiln, ClimateSign]:
    kiln = lock_kiln(sign.kiln_id)
    return kiln, ClimateSign.objects.select_related("kiln").get(pk=sign.pk)


def _now_proposed(kiln: Kiln, sign: ClimateSign) -> Proposal | None:
    if sign.answer != Answer.OPEN:
        return None
    now = clock.now()
    charges = list(Charge.objects.lately([kiln], now).select_related("kiln").prefetch_related("phases"))
    return proposal_for(sign, charges, telling.words_of(charges), now)


def _answer(found: Proposal, word: ChargeWord, answer: str, by: User | None) -> None:
    """Keep what was made of a sign; heating that says that a charge is out goes on to say that the next was started."""
    sign = found.sign
    goes_on = sign.kind == Kind.HEATING and found.what == What.UNLOADED
    sign.answer = Answer.OPEN if goes_on else answer
    sign.by, sign.answered_at, sign.word = by, clock.now(), word
    sign.save(update_fields=["answer", "by", "answered_at", "word"])
