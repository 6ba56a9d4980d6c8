"""What cannot be said of a hot kiln, in one sentence, before anybody relies on it."""

from datetime import timedelta

from django.db.models import Max
from django.utils.translation import gettext as _

from plant import clock
from plant.frame.units import temperature_in
from plant.models import Channel, ChannelDay, Kiln, Mill
from plant.physics.emc import HOTTEST_C
from plant.physics.saturation import saturation_temperature_c
from plant.readings.calculations.climate_signals import DIFFERENCE, SIGNALS

LOOK_BACK = timedelta(days=60)
# Signals whose name begins so rest on the EMC by the psychrometer.
RESTS_ON_EMC = ("psychrometer_emc", "plate_")


def hottest_c(kiln: Kiln) -> float | None:
    """Return the hottest air of a kiln in the last two months, by its readings; None without any; one query."""
    days = ChannelDay.objects.filter(
        channel__kiln=kiln,
        channel__quantity=Channel.Quantity.AIR_TEMPERATURE,
        day__gte=(clock.now() - LOOK_BACK).date(),
    )
    found: float | None = days.aggregate(most=Max("high"))["most"]
    return found


def emc_words(hottest: float | None, mill: Mill) -> str:
    """Say above which temperature no EMC is told; empty for a kiln that stays below."""
    if hottest is None or hottest <= HOTTEST_C:
        return ""
    said = _("Above %(limit)s no EMC can be told: the published equation ends there and is wrong beyond.")
    return said % {"limit": temperature_in(HOTTEST_C, mill, 0)}


def steam_words(hottest: float | None, mill: Mill) -> str:
    """Say from which wet bulb on two bulbs tell no humidity; empty for a kiln that stays below."""
    boiling_c = float(saturation_temperature_c(mill.pressure_pa))
    if hottest is None or hottest < boiling_c:
        return ""
    return _("Where the wet bulb reaches %(limit)s, the air is all steam, and two bulbs tell no humidity.") % {
        "limit": temperature_in(boiling_c, mill, 1)
    }


def signal_words_of(signal: str, kiln: Kiln) -> list[str]:
    """Say where a signal tells nothing because its kiln is too hot for it; empty where it can be relied on."""
    stems = {part.partition(":")[0] for part in signal.split(DIFFERENCE)}
    needs_emc = any(stem in SIGNALS and stem.startswith(RESTS_ON_EMC) for stem in stems)
    if not (needs_emc or "psychrometer_humidity" in stems):
        return []
    hottest = hottest_c(kiln)
    said = [emc_words(hottest, kiln.mill)] if needs_emc else []
    return [words for words in (*said, steam_words(hottest, kiln.mill)) if words]
