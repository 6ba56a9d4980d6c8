"""Looking in a kiln's readings for what happened to its charge, and keeping what was recognised."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from django.db import transaction

from plant import clock
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.sentences import Sentence, Sentences
from plant.charges.proposals import take_at_once
from plant.models import Channel, ClimateSign, Kiln
from plant.readings.calculations.charge_sign_frame import QUANTITIES, STEP_S, climate_of
from plant.readings.calculations.charge_signs import ChargeSign, Says, SeenSign, charge_signs
from plant.readings.spans import load_frame
from plant.warnings.running_bars import lock_kiln

TASK = "look what happened to charges"
# Longer than the slowest heating takes; what became certain before FRESH is the past of a file.
LOOK_BACK = timedelta(days=4)
FRESH = timedelta(days=1)
# Two signs of a kind so near one another are one, looked at again with later readings.
SAME = timedelta(hours=6)


@transaction.atomic
def notice(kiln: Kiln) -> list[ClimateSign]:
    """Look at the last days of a kiln, keep what was recognised and not known yet; take it at once where so set."""
    now = clock.now()
    keys = [one.key for one in Channel.objects.filter(kiln=kiln, is_active=True, quantity__in=QUANTITIES)]
    if not any(key.startswith(str(Channel.Quantity.AIR_TEMPERATURE)) for key in keys):
        return []
    # On whole moments, so that a later look sees the same ones.
    last_s = to_epoch_s(now) // STEP_S * STEP_S
    frame = load_frame(kiln, last_s - int(LOOK_BACK.total_seconds()), last_s + 1, STEP_S, keys=keys)
    found = [one for one in charge_signs(climate_of(frame)) if from_epoch_s(one.seen_s) >= now - FRESH]
    kiln = lock_kiln(kiln.pk)
    kept = [sign for one in found if (sign := _keep(kiln, one, now)) is not None]
    if kiln.mill.tells_by_readings:
        take_at_once(kiln, now)
    return kept


def _keep(kiln: Kiln, found: SeenSign, now: datetime) -> ClimateSign | None:
    at, seen_at = from_epoch_s(found.at_s), from_epoch_s(found.seen_s)
    known = ClimateSign.objects.filter(kiln=kiln, kind=found.sign)
    if known.filter(at__gte=at - SAME).exists() or known.filter(seen_at__gte=at).exists():
        return None
    return ClimateSign.objects.create(
        kiln=kiln,
        kind=found.sign,
        at=at,
        seen_at=seen_at,
        noted_at=now,
        is_sure=found.is_sure,
        why=tuple(_why(found, at, seen_at)),
    )


def _why(found: SeenSign, at: datetime, seen_at: datetime) -> Iterator[Sentence]:
    facts = {"from_c": found.from_c, "to_c": found.to_c, "since_at": at, "seen_clock": seen_at}
    match found.sign:
        case ChargeSign.HEATING:
            yield Sentence.of("climate.rose", **facts)
            yield from _for_heating(found.says)
        case ChargeSign.SETTING:
            yield Sentence.of("climate.held", to_c=found.to_c, since_at=at)
            if Says.SET in found.says:
                yield Sentence.of("climate.set_reached")
        case ChargeSign.COOLING:
            yield Sentence.of("climate.fell", **facts)
            yield from _for_cooling(found.says)
        case ChargeSign.DOOR:
            yield from _for_door(found, facts)
    if Says.ALONE in found.says:
        yield Sentence.of("climate.alone")


def _for_heating(says: Iterable[Says]) -> Sentences:
    known = {
        Says.HEAT: Sentence.of("climate.heat_on"),
        Says.FANS: Sentence.of("climate.fans_on"),
        Says.SET: Sentence.of("climate.set_up"),
        Says.OUTSIDE: Sentence.of("climate.above_outside"),
        Says.MOIST: Sentence.of("climate.moister"),
        Says.GAP: Sentence.of("climate.in_a_gap"),
    }
    return tuple(known[one] for one in says if one in known)


def _for_cooling(says: Iterable[Says]) -> Sentences:
    known = {
        Says.SET: Sentence.of("climate.set_down"),
        Says.HEAT: Sentence.of("climate.heat_off"),
        Says.FANS: Sentence.of("climate.fans_on"),
    }
    return tuple(known[one] for one in says if one in known)


def _for_door(found: SeenSign, facts: dict[str, object]) -> Sentences:
    if Says.SENSOR in found.says:
        return (Sentence.of("climate.door_open", since_at=facts["since_at"]),)
    fell = Sentence.of("climate.fell", **facts)
    return (fell, Sentence.of("climate.drier")) if Says.MOIST in found.says else (fell,)
