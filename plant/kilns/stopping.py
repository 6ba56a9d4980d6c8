"""A stop is reported with what it does to the charge in its kiln, and both are taken back together."""

from datetime import datetime
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, typed
from plant.charges import telling
from plant.downtime.keeping import DowntimeFacts, report_downtime, take_back_downtime
from plant.models import Charge, ChargeWord, Downtime, Kiln, User
from plant.warnings.running_bars import lock_kiln


def charge_inside(kiln: Kiln, at: datetime) -> Charge | None:
    """Return the charge that was shut in a kiln at an instant by what was told, and still is."""
    begun = Charge.objects.filter(kiln=kiln, basis=Charge.Basis.RUNNING, begin_at__lte=at).with_what_was_told()
    last = begun.order_by("-begin_at").first()
    return last if last and last.opened_at is None else None  # type: ignore[attr-defined]


@transaction.atomic
def report_stop(
    kiln: Kiln, facts: DowntimeFacts, *, charge_end_at: datetime | None, key: UUID, by: User | None
) -> Downtime:
    """Put a downtime on record, and tell when the charge in the kiln will be out.

    Where that is None nobody knows: it comes later by as long as the kiln stands, until somebody tells it. Sent twice
    with one ``key`` it is reported once.
    """
    require(by, "report downtime")
    kiln = lock_kiln(kiln.pk)
    known = Downtime.objects.filter(key=key).first()
    if known:
        return known
    charge = charge_inside(kiln, facts.start_at) if facts.is_stop else None
    if charge is None and charge_end_at is not None:
        raise ValidationError(
            {"charge_end_at": _("No charge stands still for this: leave its end empty, or tell it on its page.")}
        )
    is_unknown = charge is not None and charge_end_at is None
    record = report_downtime(kiln, facts, by=by, key=key, charge_end_unknown_at=clock.now() if is_unknown else None)
    if charge is not None and charge_end_at is not None:
        said = _stands_for(record)
        try:
            telling.tell(charge, telling.What.EXPECTED, charge_end_at, key=_key_of_word(key), by=by, said=said)
        except ValidationError as refusal:
            raise ValidationError({"charge_end_at": refusal.messages}) from None
    return record


@transaction.atomic
def take_back_stop(record: Downtime, *, why: str, by: User | None) -> None:
    """Take a report back, and with it what was told with it of the charge, unless something was told of it since."""
    lock_kiln(record.kiln_id)
    word = ChargeWord.objects.filter(key=_key_of_word(record.key)).first() if record.key else None
    take_back_downtime(record, why=why, by=by)
    if word is not None and telling.words_of([word.charge])[word.charge_id][-1:] == [word]:
        telling.take_back(word, key=uuid5(word.key, "back"), by=by, why=why)


def _stands_for(record: Downtime) -> Sentence:
    """Say for what a kiln stands: the cause as it was typed, else what kind of stop it is."""
    if record.cause:
        return Sentence.of("stop.cause", kiln=record.kiln.tag, cause=typed(record.cause))
    match record.kind:
        case Downtime.Kind.PLANNED:
            return Sentence.of("stop.planned", kiln=record.kiln.tag)
        case Downtime.Kind.EXTERNAL:
            return Sentence.of("stop.external", kiln=record.kiln.tag)
    return Sentence.of("stop.unplanned", kiln=record.kiln.tag)


def _key_of_word(key: UUID) -> UUID:
    return uuid5(key, "charge")
