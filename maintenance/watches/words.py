"""What watches look at and say, in words and in the mill's units."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from math import isfinite, isnan
from typing import Any

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from maintenance.models import Watch
from maintenance.watches.calculations.charge_rules import Seen
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.rule_kinds import (
    Disagreement,
    KOfN,
    Limit,
    Message,
    NoData,
    RateOfChange,
    RunningSince,
)
from maintenance.watches.calculations.trends import Trend
from maintenance.watches.specs import spec_of
from plant.basics.periods import from_epoch_s
from plant.basics.sentences import Sentence
from plant.basics.units import FAHRENHEIT
from plant.frame.figures import DASH, quantity
from plant.frame.saying import current_mill
from plant.frame.units import temperature_scale
from plant.models import Channel, Mill, Phase
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.charge_figures import FIGURES, figure_unit
from plant.readings.calculations.climate_signals import DIFFERENCE, SIGNALS, unit_of

# How units are written; temperatures and their differences follow the mill.
WRITTEN = {
    "percent": "%",
    "percent/h": "%/h",
    "ampere": "A",
    "kilowatt": "kW",
    "one": "",
    "number": "",
    "min": "min",
}
PER_DEGREE = {"K": "°F", "K/h": "°F/h"}
CHARGES = "charges"


@dataclass(frozen=True, slots=True)
class InUnit:
    """How a figure is shown: ``shown = kept * factor + offset``, with the unit as it is written."""

    word: str
    factor: float = 1.0
    offset: float = 0.0

    def number(self, value: float | None) -> str:
        """Write a figure without its unit: two decimals below 1, none from 100 on."""
        if value is None or not isfinite(value):
            return DASH
        shown = value * self.factor + self.offset
        decimals = 2 if abs(shown) < 1 else 1 if abs(shown) < 100 else 0
        return quantity(Decimal(str(round(shown, decimals))), decimals)

    def words(self, value: float | None) -> str:
        """Write a figure with its unit."""
        return f"{self.number(value)} {self.word}".strip()


def shown_unit(unit: str, mill: Mill) -> InUnit:
    """Return how the mill is shown figures of a unit of signals, figures and quantities."""
    is_fahrenheit = temperature_scale(mill) is FAHRENHEIT
    if unit == "degC":
        scale = temperature_scale(mill)
        return InUnit(scale.unit, float(scale.factor), float(scale.offset))
    if unit in PER_DEGREE and is_fahrenheit:
        return InUnit(PER_DEGREE[unit], float(FAHRENHEIT.factor))
    if unit == CHARGES:
        return InUnit(_("charges"))
    return InUnit(WRITTEN.get(unit, unit))


def unit_for(spec: WatchSpec, mill: Mill) -> InUnit:
    """Return how the mill is shown what a watch's rule compares."""
    return shown_unit(kept_unit(spec), mill)


def kept_unit(spec: WatchSpec) -> str:
    """Return the code of the unit in which a watch's rule compares."""
    if isinstance(spec.rule, NoData):
        return "min"
    if isinstance(spec.rule, RunningSince):
        return "h" if spec.rule.hours is not None else CHARGES
    if isinstance(spec.rule, Message):
        return ""
    unit = figure_unit(spec.signal) if spec.is_per_charge else unit_of(spec.signal)
    if isinstance(spec.rule, Drift) or DIFFERENCE in spec.signal or isinstance(spec.rule, RateOfChange):
        # What is compared is a difference: a step of 1 °C is one of 1 K.
        unit = "K" if unit == "degC" else unit
    return f"{unit}/h" if isinstance(spec.rule, RateOfChange) else unit


def limit_of(spec: WatchSpec) -> float | None:
    """Return the number that a watch's rule compares with; None where there is not one."""
    rule = spec.rule
    if isinstance(rule, Limit | KOfN | Disagreement | Trend):
        return rule.limit
    if isinstance(rule, RateOfChange):
        return rule.per_hour
    if isinstance(rule, NoData):
        return rule.minutes
    if isinstance(rule, RunningSince):
        return rule.hours if rule.hours is not None else rule.charges
    return None


@dataclass(frozen=True, slots=True)
class Heard:
    """The numbers of one firing: the worst value, since when, and of figures of charges over how many, until when."""

    value: float
    since_s: int
    charges: int | None = None
    crosses_on: date | None = None


def heard_of(seen: Seen, mill: Mill) -> Heard:
    """Return the numbers of what a watch saw, its day in the mill's zone."""
    crosses_on = localtime(from_epoch_s(seen.crosses_s), mill.zone).date() if seen.crosses_s is not None else None
    return Heard(seen.worst, seen.since_s, seen.charges, crosses_on)


def sentence(spec: WatchSpec, heard: Heard) -> Sentence:
    """Return what a watch says of one firing: its words as they stand now, with the numbers to be filled in."""
    # A sentence about a fall says “less”: it names how much, without a sign.
    falls = isinstance(spec.rule, Drift) and spec.rule.side == "below"
    numbers = {
        "value": -heard.value if falls else heard.value,
        "limit": limit_of(spec),
        "charges": heard.charges,
        "crosses_on": heard.crosses_on,
    }
    known = {name: one for name, one in numbers.items() if not (one is None or (isinstance(one, float) and isnan(one)))}
    return Sentence.of(
        "watch.says",
        words=spec.sentence,
        place=spec.place,
        unit=kept_unit(spec),
        since_at=from_epoch_s(heard.since_s),
        **known,
    )


def say_watch(told: Sentence) -> str:
    """Fill the words of a watch with the numbers of one firing, in the mill's units and time."""
    values: dict[str, Any] = dict(told.values)
    mill = current_mill()
    unit, crosses_on = shown_unit(values["unit"], mill), values.get("crosses_on")
    said = {
        "place": place_words(values["place"]),
        "value": unit.number(values.get("value")),
        "limit": unit.number(values.get("limit")),
        "unit": unit.word,
        "since": date_format(localtime(values["since_at"], mill.zone), "j M H:i"),
        "charges": str(values.get("charges", DASH)),
        "day": date_format(crosses_on, "j M Y") if crosses_on else DASH,
    }
    return _filled(values["words"], said)


def sentence_to_come(spec: WatchSpec, mill: Mill) -> str:
    """Say what a watch will say, with gaps where the numbers of a firing will stand."""
    unit = unit_for(spec, mill)
    known = {"place": place_words(spec.place), "limit": unit.number(limit_of(spec)), "unit": unit.word}
    return _filled(spec.sentence, {**dict.fromkeys(("value", "since", "charges", "day"), "…"), **known})


def _filled(sentence: str, said: Mapping[str, str]) -> str:
    """Fill the gaps of a sentence; a gap that stays empty takes the space before it along."""
    filled = re.sub(r"\{(\w+)\}", lambda gap: said.get(gap[1], gap[0]), sentence)
    return re.sub(r" +([.,;:]?)", lambda gap: gap[1] or " ", filled).strip()


def place_words(place: str) -> str:
    """Say a place."""
    return {"left": _("on the left"), "right": _("on the right")}.get(place, place)


def signal_words(signal: str, *, is_figure: bool = False) -> str:
    """Say what a watch looks at."""
    said = []
    for part in signal.split(DIFFERENCE):
        stem, _colon, place = part.partition(":")
        if stem in QUANTITIES:
            name = str(dict(Channel.Quantity.choices)[stem])
        else:
            name = _(FIGURES[stem].name if is_figure else SIGNALS[stem].name)
        said.append(" ".join(filter(None, (name, place_words(place)))))
    return _(" less ").join(said)


def phase_words(watch: Watch) -> str:
    """Say in which phases a watch looks."""
    if not watch.phases:
        return _("always") if not spec_of(watch).is_per_charge else _("over charges")
    names = {**dict(Phase.Kind.choices), "between": _("between charges")}
    return ", ".join(str(names[phase]) for phase in watch.phases)


def value_words(watch: Watch, value: float | None) -> str:
    """Write a firing's worst value as the mill reads it."""
    return unit_for(spec_of(watch), watch.kiln.mill).words(value)


def rule_words(watch: Watch) -> str:
    """Say the rule in one sentence, in the mill's units."""
    return spec_words(spec_of(watch), watch.kiln.mill)


def spec_words(spec: WatchSpec, mill: Mill) -> str:
    """Say the rule of a watch that may not be on record yet, as `rule_words` does."""
    what = signal_words(spec.signal, is_figure=spec.is_per_charge)
    return f"{what[:1].upper()}{what[1:]}: {_rule_words(spec, unit_for(spec, mill))}"


def _rule_words(spec: WatchSpec, unit: InUnit) -> str:
    rule = spec.rule
    match rule:
        case Limit():
            way = _("above %s") if rule.side == "above" else _("below %s")
            return f"{way % unit.words(rule.limit)}{_held(rule.hold_minutes)}; {_over(unit, rule.clear)}"
        case Disagreement():
            said = _("further from 0 than %s") % unit.words(rule.limit)
            return f"{said}{_held(rule.hold_minutes)}; {_over(unit, rule.clear)}"
        case KOfN():
            way = (
                _("%(k)d of %(n)d readings above %(limit)s")
                if rule.side == "above"
                else _("%(k)d of %(n)d readings below %(limit)s")
            )
            return way % {"k": rule.k, "n": rule.n, "limit": unit.words(rule.limit)}
        case RateOfChange():
            ways = {
                "rise": _("rises by more than %s"),
                "fall": _("falls by more than %s"),
                "either": _("changes by more than %s"),
            }
            return ways[rule.side] % unit.words(rule.per_hour)
        case NoData():
            return _("no usable reading for %d min") % rule.minutes
        case Message():
            return _("message %s") % ", ".join(map(str, rule.numbers))
        case RunningSince():
            return _("%s since the last work") % unit.words(limit_of(spec))
        case Drift():
            names = {"ewma": _("weighted mean (EWMA)"), "cusum": _("cumulative sum (CUSUM)")}
            return _("drifts away from its first %(charges)d charges, by %(chart)s") % {
                "charges": rule.baseline_charges,
                "chart": names[rule.chart],
            }
        case Trend():
            return _("will cross %(limit)s within %(days)d days, by the trend of %(charges)d charges") % {
                "limit": unit.words(rule.limit),
                "days": rule.horizon_days,
                "charges": rule.charges,
            }


def _held(minutes: float) -> str:
    """Say how long it must last; nothing where a single moment is enough."""
    return _(" for %d min") % minutes if minutes else ""


def _over(unit: InUnit, clear: float) -> str:
    return _("over at %s") % unit.words(clear)
