"""How a chamber's test is told: why readings cannot carry a figure, and what a figure means in air, heat and money."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from maintenance.chamber_tests.calculations.figures import Refusal, Why
from maintenance.models import ChamberTest
from maintenance.pricing.usual_climate import UsualClimate
from maintenance.watches.words import shown_unit
from plant.frame.figures import fixed, quantity
from plant.frame.units import temperature_in
from plant.models import Mill
from plant.physics.leaks import Air, air_loss

REFUSALS: Final[dict[Why, Promise]] = {
    Why.NO_TEMPERATURE: gettext_lazy("No thermometer in the chamber has readings of these hours."),
    Why.NO_HUMIDITY: gettext_lazy(
        "Nothing read the humidity: a wet bulb or a humidity sensor is needed; an EMC plate is too slow."
    ),
    Why.NO_OUTSIDE: gettext_lazy("Nothing read the temperature outside."),
    Why.NO_POWER: gettext_lazy("No heat meter has readings. Without one only a cooling test can be evaluated."),
    Why.TIMBER: gettext_lazy("Timber was inside: it takes up and gives off water and heat. The chamber must be empty."),
    Why.DOOR: gettext_lazy("A door stood open for about %(minutes)s minutes."),
    Why.FLAPS: gettext_lazy("The flaps were not shut: up to %(worst)s %% for about %(minutes)s minutes."),
    Why.SPRAY: gettext_lazy("It was sprayed until the end: nothing of the decay is left."),
    Why.FANS: gettext_lazy("The fans did not do what was said: about %(minutes)s minutes were otherwise."),
    Why.HEATING: gettext_lazy("It was heated nearly to the end: too little of the cooling is left."),
    Why.GAPS: gettext_lazy("Readings are missing or impossible for about %(minutes)s minutes in all."),
    Why.SENSORS: gettext_lazy("Two sensors of one kind stand %(apart_k)s apart: at least one of them is wrong."),
    Why.TOO_SHORT: gettext_lazy("Too short: %(hours)s hours are left to evaluate, in which too little changed."),
    Why.TOO_DRY: gettext_lazy(
        "Too dry: at the beginning only %(excess_g_kg)s g of water in a kg of air more than outside."
    ),
    Why.TOO_MOIST: gettext_lazy(
        "Too moist: at %(humidity_pct)s %% water condenses on the skin. Spray less or heat more."
    ),
    Why.TOO_COOL: gettext_lazy("Too cool: only %(rise_k)s warmer than the air outside."),
    Why.NOT_STEADY: gettext_lazy("Not steady: the chamber's temperature wandered by %(drift_k)s."),
    Why.NO_PLAIN_DECAY: gettext_lazy(
        "The humidity did not fall as by a leak alone; its rate changed by %(change_pct)s %%: water was left on the "
        "floor, something moist was inside, or the leak itself changed."
    ),
    Why.TOO_WIDE: gettext_lazy("The bounds are too wide to tell anything: %(low)s to %(high)s."),
}
DECIMALS: Final = {"minutes": 0, "hours": 1, "worst": 0, "humidity_pct": 0, "change_pct": 0, "apart_k": 1, "rise_k": 0}
UNCHECKED: Final[dict[str, Promise]] = {
    "door": gettext_lazy("doors"),
    "flaps": gettext_lazy("flaps"),
    "spray": gettext_lazy("spray"),
    "fans": gettext_lazy("fans"),
}
# The climate in which a figure is told where the kiln's own is not known: ours.
STATED_DRY_C, STATED_WET_C, STATED_OUTSIDE_C, STATED_OUTSIDE_RH = 60.0, 55.0, 5.0, 80.0
HOURS_PER_DAY: Final = 24
AIR_J_M3K: Final = 1200.0
"""Heat that a cubic metre of air of room temperature takes for each K, near enough."""


def refusal_words(found: Refusal, mill: Mill) -> str:
    """Say why there is no figure; differences of temperature (``…_k``) in the mill's unit."""
    kelvin = shown_unit("K", mill)
    facts = {
        name: f"{fixed(value * kelvin.factor, DECIMALS.get(name, 2))} {kelvin.word}"
        if name.endswith("_k")
        else fixed(value, DECIMALS.get(name, 2))
        for name, value in found.facts.items()
    }
    return str(REFUSALS[found.why]) % {"minutes": "–", **facts}


def refused_words(test: ChamberTest, mill: Mill) -> str:
    """Say why a test has no figure; tests of earlier versions kept the words, not what they are about."""
    if test.refused_why not in REFUSALS:
        return test.refused_why
    return refusal_words(Refusal(Why(test.refused_why), test.details.get("facts", {})), mill)


@dataclass(frozen=True, slots=True)
class Climate:
    """In which air a figure is told, and whether it is the kiln's own."""

    dry_c: float
    wet_c: float
    outside_c: float
    outside_rh_pct: float
    is_own: bool

    @classmethod
    def of(cls, usual: UsualClimate | None) -> "Climate":
        """Take it from the kiln's last weeks where they are known; what nothing read, and what no air has, is ours."""
        if usual is None or not 20 < usual.dry_bulb_c < 95:
            return cls(STATED_DRY_C, STATED_WET_C, STATED_OUTSIDE_C, STATED_OUTSIDE_RH, False)
        wet = usual.wet_bulb_c if usual.wet_bulb_c is not None else usual.dry_bulb_c - 5
        outside = usual.outside_c if usual.outside_c is not None else STATED_OUTSIDE_C
        humidity = usual.outside_rh_pct if usual.outside_rh_pct is not None else STATED_OUTSIDE_RH
        return cls(usual.dry_bulb_c, min(wet, usual.dry_bulb_c), outside, humidity, True)

    def words(self, mill: Mill) -> str:
        """Say it in the mill's units."""
        told = {
            "dry": temperature_in(self.dry_c, mill, 0),
            "wet": temperature_in(self.wet_c, mill, 0),
            "outside": temperature_in(self.outside_c, mill, 0),
        }
        if self.is_own:
            return _("in the climate of its last weeks, %(dry)s with a wet bulb of %(wet)s, %(outside)s outside") % told
        return _("at %(dry)s with a wet bulb of %(wet)s, %(outside)s outside") % told


def verdict(test: ChamberTest, climate: Climate, mill: Mill, before: ChamberTest | None) -> list[str]:
    """Say what a test found: the figure, what it costs, and whether it differs from the one before."""
    if test.value is None or test.low is None or test.high is None:
        return [refused_words(test, mill)]
    said = _of_leak(test, climate, mill) if test.kind == ChamberTest.Kind.TIGHTNESS else _of_heat(test, climate, mill)
    if before is not None:
        said.append(change_words(test, before))
    unchecked = [str(UNCHECKED[name]) for name in test.details.get("unchecked", []) if name in UNCHECKED]
    if unchecked:
        said.append(_("No channel told how these stood, so that only your word counts: %s.") % ", ".join(unchecked))
    return said


def figure_words(test: ChamberTest) -> str:
    """Say the figure with its unit."""
    if test.value is None:
        return _("no figure")
    if test.kind == ChamberTest.Kind.TIGHTNESS:
        return _("%s air changes an hour") % fixed(test.value, 2)
    return _("%s W/K") % quantity(Decimal(round(test.value)), 0)


def bounds_words(test: ChamberTest) -> str:
    """Say the bounds."""
    if test.low is None or test.high is None:
        return "–"
    decimals = 2 if test.kind == ChamberTest.Kind.TIGHTNESS else 0
    told = {"low": fixed(test.low, decimals), "high": fixed(test.high, decimals)}
    return _("%(low)s to %(high)s") % told


def _of_leak(test: ChamberTest, climate: Climate, mill: Mill) -> list[str]:
    assert test.value is not None and test.low is not None and test.high is not None  # noqa: S101 (narrows the type)
    said = [
        _("The shut chamber changes its air %(value)s times an hour; with 95 %% certainty %(bounds)s times.")
        % {"value": fixed(test.value, 2), "bounds": bounds_words(test)}
    ]
    volume = test.details.get("volume_m3")
    if volume:
        inside = Air.by_wet_bulb(climate.dry_c, climate.wet_c, mill.pressure_pa)
        outside = Air.by_humidity(climate.outside_c, climate.outside_rh_pct / 100, mill.pressure_pa)
        kwh = [
            air_loss(inside, outside, changes * volume / 3600).heat_w * HOURS_PER_DAY / 1000
            for changes in (test.value, test.low, test.high)
        ]
        told = {"flow": fixed(test.value * volume, 0), "climate": climate.words(mill), **_kwh_words(kwh, mill)}
        said.append(_("That is %(flow)s m³ of chamber air an hour; %(climate)s it takes %(kwh)s.") % told)
    else:
        said.append(_("With the chamber's air volume entered, it is told in m³ and kWh as well."))
    return said


def _of_heat(test: ChamberTest, climate: Climate, mill: Mill) -> list[str]:
    assert test.value is not None and test.low is not None and test.high is not None  # noqa: S101 (narrows the type)
    rise = climate.dry_c - climate.outside_c
    kwh = [one * rise * HOURS_PER_DAY / 1000 for one in (test.value, test.low, test.high)]
    told = {"value": figure_words(test), "bounds": bounds_words(test)}
    said = [
        _("Skin and leak together lose %(value)s; with 95 %% certainty %(bounds)s.") % told,
        _("%(Climate)s that is %(kwh)s, the vapour of moist air not counted.")
        % {"Climate": capfirst(climate.words(mill)), **_kwh_words(kwh, mill)},
    ]
    time_constant = test.details.get("time_constant_h")
    if time_constant:
        said.append(_("It cools with a time constant of %s h.") % fixed(time_constant, 1))
    return said


def leak_share_words(heat: ChamberTest, leak: ChamberTest) -> str:
    """Say how much of the heat loss the leak makes, by the last test of tightness; empty where nothing tells it."""
    volume = leak.details.get("volume_m3") or heat.details.get("volume_m3")
    if not volume or not leak.value or not heat.value:
        return ""
    w_k = leak.value * volume / 3600 * AIR_J_M3K
    return _("Of it the leak makes about %(w_k)s W/K, after the test of tightness of %(year)s.") % {
        "w_k": fixed(w_k, 0),
        "year": leak.begin_at.astimezone(leak.kiln.mill.zone).year,
    }


def _kwh_words(kwh: list[float], mill: Mill) -> dict[str, str]:
    told = {"kwh": fixed(kwh[0], 0), "low": fixed(kwh[1], 0), "high": fixed(kwh[2], 0)}
    words = _("%(kwh)s kWh a day (%(low)s to %(high)s)") % told
    if mill.energy_price_per_kwh:
        cost = Decimal(str(kwh[0])) * mill.energy_price_per_kwh
        words += _(", some %(cost)s %(currency)s") % {"cost": fixed(cost, 0), "currency": mill.currency}
    return {"kwh": words}


def fans_words(on: ChamberTest, off: ChamberTest) -> str:
    """Compare a leak with fans on and off: what the fans press out beyond what warm air drives alone."""
    assert on.value is not None and on.low is not None and on.high is not None  # noqa: S101 (narrows the type)
    assert off.value is not None and off.low is not None and off.high is not None  # noqa: S101
    told = {"off": fixed(off.value, 2), "bounds": bounds_words(off)}
    said = _("With the fans off it was %(off)s times an hour (%(bounds)s).") % told
    allowed = ((on.high - on.low) ** 2 + (off.high - off.low) ** 2) ** 0.5 / 2
    if on.value - off.value > allowed:
        share = {"share": fixed(100 * (1 - off.value / on.value), 0)}
        return f"{said} {_('So the fans press out %(share)s %% of it.') % share}"
    return f"{said} {_('The fans make no difference that both bounds would show.')}"


def change_words(test: ChamberTest, before: ChamberTest) -> str:
    """Say whether a figure differs from an earlier one by more than both bounds allow."""
    assert test.value is not None and test.low is not None and test.high is not None  # noqa: S101 (narrows the type)
    assert before.value is not None and before.low is not None and before.high is not None  # noqa: S101
    told = {"day": date_format(localtime(before.begin_at, test.kiln.mill.zone), "j M Y"), "was": figure_words(before)}
    # Both halves of 95 % bounds: independent errors add in squares.
    allowed = ((test.high - test.low) ** 2 + (before.high - before.low) ** 2) ** 0.5 / 2
    if test.value - before.value > allowed:
        return _("More than on %(day)s (%(was)s): something gave way.") % told
    if before.value - test.value > allowed:
        return _("Less than on %(day)s (%(was)s).") % told
    return _("No difference to %(day)s (%(was)s) that both bounds would show.") % told
