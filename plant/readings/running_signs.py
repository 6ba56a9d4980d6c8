"""What a kiln's readings say against anybody's being inside, since an instant or now."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import cast

import numpy as np
from django.utils.translation import gettext as _

from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.sentences import Sentence, Sentences
from plant.frame.figures import quantity
from plant.frame.saying import current_mill
from plant.frame.units import temperature_in
from plant.models import Channel, Kiln
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE, Track
from plant.readings.calculations.running_signs import QUANTITIES, RunningSign, Sign, running_signs
from plant.readings.calculations.sent_readings import END_S
from plant.readings.spans import HELD_ON_CHANGE_S, load_channels
from plant.readings.unit_labels import kept_unit_label

# Readings so old still say what is.
FRESH = timedelta(minutes=10)


def signs_since(kiln: Kiln, since_at: datetime) -> list[RunningSign]:
    """Return what the readings since an instant say, also those of a clock that is fast; two queries."""
    return running_signs(_tracks(kiln, to_epoch_s(since_at)), float(kiln.mill.entry_limit_c))


def signs_now(kiln: Kiln, now: datetime) -> list[RunningSign]:
    """Return what the readings of the last minutes say; what is told on change holds while others come in."""
    now_s = to_epoch_s(now)
    fresh_s = now_s - int(FRESH.total_seconds())
    tracks = _tracks(kiln, now_s - HELD_ON_CHANGE_S)
    is_heard = any(len(track.at_s) and track.at_s[-1] >= fresh_s for track in tracks)
    recent = []
    for track in tracks:
        keeps = is_heard and track.quantity in TOLD_ON_CHANGE
        first = len(track.at_s) - 1 if keeps else int(np.searchsorted(track.at_s, fresh_s))
        recent.append(
            Track(track.quantity, track.place, track.every_s, track.at_s[max(first, 0) :], track.value[max(first, 0) :])
        )
    limit_c = float(kiln.mill.entry_limit_c)
    return [one for one in running_signs(recent, limit_c) if one.is_still_so]


def _tracks(kiln: Kiln, from_s: int) -> list[Track]:
    channels = list(Channel.objects.filter(kiln=kiln, is_active=True, quantity__in=QUANTITIES))
    loaded = load_channels(channels, from_s, END_S, with_marked=False)
    return [
        Track(one.quantity, one.place, one.every_s, loaded[one.key].at_s, loaded[one.key].value) for one in channels
    ]


def signs_told(signs: Iterable[RunningSign]) -> Sentences:
    """Say which readings say so, with value and time: a clause for each sign."""
    by_sign: dict[Sign, list[Sentence]] = {}
    for one in signs:
        facts = {"quantity": one.quantity, "place": one.place, "value": float(one.value)}
        reading = Sentence.of("sign.reading", **facts, read_at=from_epoch_s(one.at_s))
        by_sign.setdefault(one.sign, []).append(reading)
    return tuple(_sign_told(sign, readings) for sign, readings in by_sign.items())


def _sign_told(sign: Sign, readings: list[Sentence]) -> Sentence:
    match sign:
        case Sign.FANS:
            return Sentence.of("sign.fans", readings=readings)
        case Sign.HEAT:
            return Sentence.of("sign.heat", readings=readings)
        case Sign.SPRAY:
            return Sentence.of("sign.spray", readings=readings)
        case Sign.HOT:
            return Sentence.of("sign.hot", readings=readings)
        case Sign.WARMING:
            return Sentence.of("sign.warming", readings=readings)


def say_reading(told: Sentence) -> str:
    """Say which channel read what, and when."""
    kind, mill = str(told["quantity"]), current_mill()
    name = f"{Channel.Quantity(kind).label} {told['place']}".strip()
    value = Decimal(str(told["value"]))
    if kind == Channel.Quantity.AIR_TEMPERATURE:
        said = temperature_in(value, mill)
    else:
        said = f"{quantity(value, 1)} {kept_unit_label(kind)}".strip()
    at = f"{cast(datetime, told['read_at']).astimezone(mill.zone):%H:%M}"
    return _("%(channel)s: %(value)s at %(time)s") % {"channel": name, "value": said, "time": at}
