"""What a price of waiting starts from: the defect, its kiln, the charge in it, the kiln's last months, the mill."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _

from maintenance.losses.longer_drying import TimedCharge, longer_since
from maintenance.losses.price_of_waiting import KINDS, proposed_kind
from maintenance.losses.waiting_loss import Grounds, Price, Worth, price
from maintenance.models import Defect, PriceOfWaiting
from maintenance.pricing.usual_climate import usual_climate
from plant.basics.sentences import Sentence, Sentences
from plant.frame.figures import fixed
from plant.kilns.kilns_now import drying_rate_at, product_of
from plant.models import Charge, Component, Kiln, Phase
from plant.physics.drying_capacity import share_above_fibre_saturation
from plant.physics.emc import emc_from_psychrometer_pct

LOOK_BACK = timedelta(days=60)
LOOK_BACK_FOR_CHARGES = timedelta(days=365)
HOT = (Phase.Kind.HEATING_UP, Phase.Kind.DRYING, Phase.Kind.CONDITIONING)
CLIMATE = ("dry_bulb_c", "wet_bulb_c", "wet_bulb_shown_c", "outside_c", "outside_rh_pct")

# Oven-dry mass over green volume in kg/m³: common values, from memory; whoever knows better writes it over.
BASIC_DENSITY = {
    "spruce": 380,
    "pine": 430,
    "larch": 490,
    "fir": 370,
    "birch": 510,
    "beech": 560,
    "oak": 560,
    "ash": 560,
    "maple": 520,
    "alder": 430,
}
# Flow temperature of the heating lines in °C: common practice.
PIPE_C = {
    Kiln.HeatingMedium.HOT_WATER: 90,
    Kiln.HeatingMedium.STEAM: 160,
    Kiln.HeatingMedium.THERMAL_OIL: 200,
}
# Kinds of component beside which the whole row of fans loses a little air instead of one fan standing.
AIR_PASSES_BY = ("baffle", "stack-space")
EMC_BELOW_END = 0.8
"""An EMC near the wanted moisture would make drying endless: taken is at most this share of it. Ours."""


@dataclass(frozen=True)
class Proposal:
    """A value to start from, in the unit it is kept in, and where it comes from; empty for our usual value.

    ``is_recorded``: the kiln's records say so. ``charges``: how many of its charges it comes from.
    """

    value: Decimal | None
    why: str = ""
    is_recorded: bool = False
    charges: int = 0


def proposed_loss(defect: Defect) -> str | None:
    """Return the kind of loss that the last price, else the component and its failure mode, suggest."""
    last = defect.prices.newest_first().first()
    if last:
        return str(last.loss)
    component = defect.component.kind.code if defect.component else ""
    mode = defect.failure_mode.code if defect.failure_mode else ""
    return proposed_kind(mode, component, is_steam=defect.kiln.heating_medium == Kiln.HeatingMedium.STEAM)


def proposals(defect: Defect, loss: str, now: datetime) -> dict[str, Proposal]:
    """Return a value to start from for every assumption of a kind of loss, and for what the kiln dries a day."""
    found = proposals_for(defect.kiln, defect.component, loss, now)
    last = _fitting(_from_last_price(defect, loss), loss)
    # What the charges tell is better than what was guessed before they were dried.
    told = _fitting(_from_charges_since(defect, now), loss)
    same = {name: found[name] for name, one in last.items() if name in found and found[name].value == one.value}
    return {**found, **last, **same, **told}


def grounds_of(found: Mapping[str, Proposal], values: Mapping[str, object], *, is_measured: bool = False) -> Grounds:
    """Say what values rest on: whatever was typed over what is proposed is no longer on record."""
    kept = {name: one for name, one in found.items() if one.value is not None and values.get(name) == one.value}
    return Grounds(
        is_measured=is_measured,
        on_record=frozenset(name for name, one in kept.items() if one.is_recorded),
        charges={name: one.charges for name, one in kept.items() if one.charges},
    )


def proposals_for(kiln: Kiln, component: Component | None, loss: str, now: datetime) -> dict[str, Proposal]:
    """Return the same where there is no defect yet, only a kiln and perhaps a component that is suspected."""
    charge = _charge(kiln, now)
    known = {
        **_from_kiln(kiln, component),
        **_from_last_months(kiln, now),
        **_from_charge(charge),
        **_from_other_prices(kiln),
        **_from_readings(kiln, now),
    }
    usual = {one.name: Proposal(Decimal(str(one.default))) for one in fields(KINDS[loss])}
    return {**usual, **_fitting(known, loss), "kiln_m3_per_day": _rate(kiln, charge, now)}


class CannotBePricedError(ValueError):
    """What waiting costs cannot be worked out; it holds why."""

    def __init__(self, why: Sentences) -> None:
        super().__init__(" ".join(map(str, why)))
        self.why = why


def price_for(kiln: Kiln, component: Component | None, loss: str, now: datetime) -> Price | None:
    """Work out what a day of waiting costs from what is proposed; None where no charge tells what the kiln dries.

    Raises
    ------
    CannotBePricedError
        Where the kiln's climate lies beyond what is published.
    ValueError
        Where what is proposed contradicts itself (warmer outside than in the chamber).
    """
    if refusal := cannot_say(kiln, loss, now):
        raise CannotBePricedError(refusal)
    found = proposals_for(kiln, component, loss, now)
    grounds = grounds_of(found, {name: proposal.value for name, proposal in found.items()})
    rate = found.pop("kiln_m3_per_day").value
    if rate is None:
        return None
    terms = KINDS[loss](**{name: float(proposal.value or 0) for name, proposal in found.items()})
    return price(
        terms,
        Worth(kiln.mill.energy_price_per_kwh, kiln.mill.drying_margin_per_m3, rate, kiln.mill.pressure_pa),
        grounds,
    )


def cannot_say(kiln: Kiln, loss: str, now: datetime) -> Sentences:
    """Say in one sentence why a kind of loss cannot be worked out in a kiln's climate; empty where it can."""
    climate, ranges = _from_readings(kiln, now), {one.name: one.metadata for one in fields(KINDS[loss])}
    for name in ("dry_bulb_c", "wet_bulb_c", "wet_bulb_shown_c"):
        known = climate.get(name)
        if known and known.value is not None and name in ranges and not _lies_within(known.value, ranges[name]):
            most_c = float(ranges[name]["high"])
            return (Sentence.of("price.too_hot", kiln=kiln.tag, usual_c=float(known.value), most_c=most_c),)
    return ()


def _fitting(known: Mapping[str, Proposal], loss: str) -> dict[str, Proposal]:
    """Return what a kind of loss asks for and its form would take."""
    ranges = {one.name: one.metadata for one in fields(KINDS[loss])}
    return {
        name: proposal
        for name, proposal in known.items()
        if name in ranges and (proposal.value is None or _lies_within(proposal.value, ranges[name]))
    }


def _lies_within(value: Decimal, told: Mapping[str, float]) -> bool:
    """Say whether a form would take a value: a steam kiln's air can be warmer than the physics here goes."""
    return told["low"] <= value <= told["high"]


def _charge(kiln: Kiln, now: datetime) -> Charge | None:
    """Return the charge in the kiln, else the next one, else the last one."""
    own = Charge.objects.filter(kiln=kiln)
    ahead = own.filter(end_at__gt=now).order_by("begin_at").first()
    return ahead or own.order_by("-end_at").first()


def _rate(kiln: Kiln, charge: Charge | None, now: datetime) -> Proposal:
    rate = drying_rate_at(kiln, charge, now)
    if rate is None:
        return Proposal(None, _("No charge tells what %(kiln)s dries a day: enter it.") % {"kiln": kiln.tag})
    daily = (Decimal(rate.m3_per_h.numerator) / Decimal(rate.m3_per_h.denominator) * 24).quantize(Decimal("0.1"))
    return Proposal(
        daily,
        _("What %(kiln)s dried in its able hours: %(own)d of %(all)d charges of the past year were of this timber.")
        % {"kiln": kiln.tag, "own": rate.product_charges, "all": rate.kiln_charges},
        charges=rate.product_charges or rate.kiln_charges,
    )


def _from_charges_since(defect: Defect, now: datetime) -> dict[str, Proposal]:
    """Compare the kiln's charges since the defect was found with those of the same timber in the year before."""
    own = Charge.objects.filter(kiln=defect.kiln, basis=Charge.Basis.DONE, end_at__lte=now)
    told = longer_since(
        TimedCharge(
            product_of(charge),
            (charge.end_at - charge.begin_at).total_seconds() / 3600,
            charge.begin_at >= defect.found_at,
        )
        for charge in own.filter(end_at__gt=defect.found_at - LOOK_BACK_FOR_CHARGES)
        if charge.begin_at >= defect.found_at or charge.end_at <= defect.found_at
    )
    if told is None:
        return {}
    why = _("%(since)d charges since it was found, against %(before)d of the same timber in the year before.") % {
        "since": told.since,
        "before": told.before,
    }
    return {"longer_drying_pct": Proposal(Decimal(str(told.longer_pct)), why, charges=told.since)}


def _from_kiln(kiln: Kiln, component: Component | None) -> dict[str, Proposal]:
    found: dict[str, Proposal] = {}
    if kiln.heating_medium in PIPE_C:
        degrees = Decimal(PIPE_C[Kiln.HeatingMedium(kiln.heating_medium)])
        why = _("Common practice for %(medium)s.") % {"medium": kiln.get_heating_medium_display()}
        found |= {"pipe_c": Proposal(degrees, why), "water_c": Proposal(min(degrees, Decimal(90)), why)}
    fans = kiln.components.in_use().filter(kind__code="fan").count()
    if fans:
        found["fans"] = Proposal(Decimal(fans), _("Fans of %(kiln)s.") % {"kiln": kiln.tag})
        if component and component.kind.code in AIR_PASSES_BY:
            why = _("All of them: air passes beside the stacks. The share is our guess.")
            found |= {"affected_fans": Proposal(Decimal(fans), why), "speed_pct": Proposal(Decimal(85), why)}
    if kiln.is_reversing:
        found["lagging_pct"] = Proposal(Decimal(50), _("Fans reverse, so that the sides take turns."))
    else:
        found["lagging_pct"] = Proposal(Decimal(100), _("Fans do not reverse."))
    return found


def _from_last_months(kiln: Kiln, now: datetime) -> dict[str, Proposal]:
    start_at = now - LOOK_BACK
    spans = (
        Phase.objects.filter(charge__kiln=kiln, kind__in=HOT, begin_at__lt=now, end_at__gt=start_at)
        .exclude(charge__basis=Charge.Basis.PLANNED)
        .values_list("kind", "begin_at", "end_at")
    )
    hours = dict.fromkeys(HOT, 0.0)
    for kind, begin_at, end_at in spans:
        hours[Phase.Kind(kind)] += (min(end_at, now) - max(begin_at, start_at)).total_seconds() / 3600
    hot_h = sum(hours.values())
    if not hot_h:
        return {}
    days = LOOK_BACK.days
    daily = Decimal(min(hot_h / days, 24)).quantize(Decimal("0.1"))
    drying = Decimal(100 * hours[Phase.Kind.DRYING] / hot_h).quantize(Decimal(1))
    told = {"kiln": kiln.tag, "days": days}
    hot = Proposal(
        daily,
        _("Mean of the last %(days)d days of %(kiln)s: heating up, drying, conditioning.") % told,
        is_recorded=True,
    )
    vented = Proposal(
        drying, _("Share of drying in the hot hours of %(kiln)s: then the flaps let air out.") % told, is_recorded=True
    )
    return {"hot_h_per_day": hot, "vented_anyway_pct": vented}


def _from_charge(charge: Charge | None) -> dict[str, Proposal]:
    if charge is None:
        return {}
    found: dict[str, Proposal] = {}
    name = charge.species.lower()
    species = next((species for species in BASIC_DENSITY if species in name.split()), None)
    if species:
        why = _("%(species)s, a common value.") % {"species": charge.species.capitalize()}
        found["basic_density_kg_m3"] = Proposal(Decimal(BASIC_DENSITY[species]), why)
    start, end = charge.initial_mc_pct, charge.final_mc_pct
    if start is not None and end is not None and 0 < end < start <= 250:
        emc = min(float(emc_from_psychrometer_pct(60, 50, charge.kiln.mill.pressure_pa)), EMC_BELOW_END * float(end))
        share = Decimal(100 * share_above_fibre_saturation(float(start), float(end), emc)).quantize(Decimal(1))
        why = _("Charge %(number)s: from %(start)s to %(end)s %% moisture, by the published course.") % {
            "number": charge.number,
            "start": fixed(start, 0),
            "end": fixed(end, 0),
        }
        found["above_fibre_saturation_pct"] = Proposal(share, why)
    return found


def _from_readings(kiln: Kiln, now: datetime) -> dict[str, Proposal]:
    """Take the climate from the kiln's own readings: they know better than what was assumed once."""
    climate = usual_climate(kiln, now, LOOK_BACK)
    if climate is None:
        return {}
    inside = _("Mean of %(days)d whole days of drying in the last %(span)d, by the readings of %(kiln)s.") % {
        "days": climate.hot_days,
        "span": LOOK_BACK.days,
        "kiln": kiln.tag,
    }
    outside = _("Mean of the last %(span)d days, by the readings of %(kiln)s.") % {
        "span": LOOK_BACK.days,
        "kiln": kiln.tag,
    }
    measured = {
        "dry_bulb_c": (climate.dry_bulb_c, inside),
        "wet_bulb_c": (climate.wet_bulb_c, inside),
        "wet_bulb_shown_c": (climate.wet_bulb_c, inside),
        "outside_c": (climate.outside_c, outside),
        "outside_rh_pct": (climate.outside_rh_pct, outside),
    }
    return {
        name: Proposal(Decimal(value).quantize(Decimal("0.1")), why)
        for name, (value, why) in measured.items()
        if value is not None
    }


def _from_other_prices(kiln: Kiln) -> dict[str, Proposal]:
    """Take the climate from what was said last about the same kiln."""
    last = PriceOfWaiting.objects.filter(defect__kiln=kiln).newest_first().first()
    if last is None:
        return {}
    day = last.at.astimezone(kiln.mill.zone).date()
    why = _("As in the price of %(day)s for this kiln.") % {"day": day.isoformat()}
    return {name: Proposal(Decimal(last.assumptions[name]), why) for name in CLIMATE if name in last.assumptions}


def _from_last_price(defect: Defect, loss: str) -> dict[str, Proposal]:
    last = defect.prices.newest_first().filter(loss=loss).first()
    if last is None:
        return {}
    # The page says once that all of it is as before.
    return {name: Proposal(Decimal(value)) for name, value in last.assumptions.items()}
