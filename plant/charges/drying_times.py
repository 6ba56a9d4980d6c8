"""How long a kiln dries its charges: its own level over the published model, and what that says of charges ahead."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import sqrt
from statistics import median

from django.db.models import Avg

from plant.charges.calculations.charge_phases import PhaseKind
from plant.models import Channel, ChannelDay, Charge, Kiln, Phase
from plant.physics.drying_capacity import (
    UNCALIBRATED,
    Drying,
    DryingTime,
    Level,
    calibrate,
    capacity_m3_per_day,
    drying_time,
)

ASSUMED_TEMP_C = 60.0
"""Where no readings tell: the same for every charge, so that the own level takes up the rest. Common practice."""
EMC_SHARE = 0.6
"""EMC of the chamber over the wanted moisture content; the same for every charge. Common practice."""
SLOWEST_C, WARMEST_C = 20.0, 100.0
"""The published model's range of temperature."""
LOOK_BACK = timedelta(days=730)
AT_MOST = 60
"""As many charges as are looked at: more say little more of the kiln as it is now."""
AHEAD = 6


@dataclass(frozen=True, slots=True)
class PastCharge:
    """A charge that was dried: the model's hours for it, and what its drying took."""

    charge: Charge
    temp_c: float
    is_measured: bool
    model_h: float
    actual_h: float

    @property
    def ratio(self) -> float:
        """Return actual over model."""
        return self.actual_h / self.model_h


@dataclass(frozen=True, slots=True)
class ComingCharge:
    """A charge in the kiln or ahead, what its drying will likely take, and what the programme allows."""

    charge: Charge
    level: Level
    time: DryingTime
    allowed_h: float
    m3_per_day: float
    is_own_timber: bool

    @property
    def verdict(self) -> str:
        """Say how the programme's hours stand to the likely ones: short, ample or apt."""
        low, high = self.time.low_h, self.time.high_h
        if low is None or high is None:
            return ""
        if self.allowed_h < low:
            return "short"
        return "ample" if self.allowed_h > high else "apt"


@dataclass(frozen=True, slots=True)
class Timber:
    """A kind of timber of a kiln with its level and spread."""

    species: str
    level: Level

    @property
    def spread_pct(self) -> float | None:
        """Return one standard deviation of actual over model, in %."""
        return None if self.level.log_spread is None else 100 * self.level.log_spread


@dataclass(frozen=True, slots=True)
class DryingTimes:
    """A kiln's past charges, newest first, its levels by timber, and the charges ahead."""

    past: list[PastCharge]
    timbers: list[Timber]
    coming: list[ComingCharge]
    left_out: int


def drying_times(kiln: Kiln, now: datetime) -> DryingTimes:
    """Work out a kiln's drying times; the number of queries does not depend on its charges."""
    charges = list(
        Charge.objects.filter(kiln=kiln, begin_at__gt=now - LOOK_BACK).order_by("-begin_at").prefetch_related("phases")
    )
    done = [charge for charge in charges if charge.basis == Charge.Basis.DONE][:AT_MOST]
    ahead = sorted(_not_over(charges, now), key=lambda one: one.begin_at)
    past = _all_past(kiln, done)
    by_species: dict[str, list[PastCharge]] = defaultdict(list)
    for one in past:
        by_species[one.charge.species].append(one)
    usual_c = sum(one.temp_c for one in past) / len(past) if past else ASSUMED_TEMP_C
    levels = {species: _level(own) for species, own in by_species.items()}
    whole = _level(past)
    return DryingTimes(
        past=past,
        timbers=[Timber(species, level) for species, level in sorted(levels.items())],
        coming=[
            ahead_one
            for charge in ahead[:AHEAD]
            if (ahead_one := _coming(charge, levels.get(charge.species), whole, usual_c))
        ],
        left_out=len(done) - len(past),
    )


def _all_past(kiln: Kiln, done: Sequence[Charge]) -> list[PastCharge]:
    measured = _mean_temperatures(kiln, done)
    return [found for charge in done if (found := _past(charge, measured.get(charge.pk)))]


@dataclass(frozen=True, slots=True)
class UsualLength:
    """What such timber takes by past charges: hours of each phase, and what the drying rests on.

    ``is_own`` tells that the charges are this kiln's; else they are of the mill's other kilns.
    """

    hours: dict[PhaseKind, float]
    time: DryingTime
    level: Level
    is_own: bool

    @property
    def end_sd_h(self) -> float:
        """Return the standard deviation of the drying's end in hours."""
        level = self.level
        return self.time.likely_h * (level.log_spread or 0.0) * sqrt(1 + 1 / level.charges)


def usual_length(kiln: Kiln, wanted: Charge, now: datetime) -> UsualLength | None:
    """Say how long a charge that is wanted usually takes: by this kiln's charges of the species, else by the others'.

    None where both are too few to tell; then nothing is made up. A fixed number of queries.
    """
    done = Charge.objects.filter(basis=Charge.Basis.DONE, begin_at__gt=now - LOOK_BACK)
    done = done.filter(species__iexact=wanted.species).order_by("-begin_at").prefetch_related("phases")
    own = _all_past(kiln, list(done.filter(kiln=kiln)[:AT_MOST]))
    # Of other kilns no temperature is asked: what is assumed alike for all goes into their level.
    for is_own in (True, False):
        past = own if is_own else _all_past_assumed(done.exclude(kiln=kiln)[:AT_MOST])
        level = _level(past)
        usual_c = sum(one.temp_c for one in past) / len(past) if past else ASSUMED_TEMP_C
        drying = _drying(wanted, usual_c)
        if drying is not None and level.log_spread is not None:
            time = drying_time(drying, level)
            hours = usual_handling([one.charge for one in past])
            return UsualLength({**hours, PhaseKind.DRYING: time.likely_h}, time, level, is_own)
    return None


def _all_past_assumed(done: Iterable[Charge]) -> list[PastCharge]:
    return [found for charge in done if (found := _past(charge, None))]


def usual_handling(charges: Iterable[Charge]) -> dict[PhaseKind, float]:
    """Return the usual hours (median) of all phases but drying; phases that most charges do without are left out."""
    known = list(charges)
    found: dict[PhaseKind, float] = {}
    for kind in PhaseKind:
        phases = [phase for one in known for phase in one.phases.all() if phase.kind == kind]
        if kind != PhaseKind.DRYING and 2 * len(phases) > len(known):
            found[kind] = median((phase.end_at - phase.begin_at) / timedelta(hours=1) for phase in phases)
    return found


def _mean_temperatures(kiln: Kiln, charges: Sequence[Charge]) -> dict[int, float]:
    """Return the mean air temperature of each charge's drying days, where readings tell it; one query."""
    if not charges:
        return {}
    # Days in short are the mill's.
    zone = kiln.mill.zone
    first = min(charge.begin_at for charge in charges).astimezone(zone).date()
    rows = (
        ChannelDay.objects.filter(
            channel__kiln=kiln, channel__quantity=Channel.Quantity.AIR_TEMPERATURE, day__gte=first, mean__isnull=False
        )
        .values("day")
        .annotate(daily_mean=Avg("mean"))
    )
    by_day = {row["day"]: row["daily_mean"] for row in rows}
    found: dict[int, float] = {}
    for charge in charges:
        phase = _drying_phase(charge)
        if phase is None:
            continue
        # Whole days within the drying alone: the days of its begin and end are half something else.
        begin_on, end_on = phase.begin_at.astimezone(zone).date(), phase.end_at.astimezone(zone).date()
        days = range(1, (end_on - begin_on).days)
        means = [mean for n in days if (mean := by_day.get(begin_on + timedelta(days=n))) is not None]
        if means and SLOWEST_C <= sum(means) / len(means) <= WARMEST_C:
            found[charge.pk] = sum(means) / len(means)
    return found


def _drying_phase(charge: Charge) -> Phase | None:
    return next((phase for phase in charge.phases.all() if phase.kind == Phase.Kind.DRYING), None)


def _drying(charge: Charge, temp_c: float) -> Drying | None:
    """Return what the model needs, or None where the charge's record cannot carry it."""
    start, end = charge.initial_mc_pct, charge.final_mc_pct
    if start is None or end is None or not 10 <= charge.thickness_mm <= 150 or not 0 < end < start <= 250:
        return None
    emc = float(end) * EMC_SHARE
    return Drying(float(charge.thickness_mm), temp_c, float(start), float(end), emc) if emc <= 40 else None


def _not_over(charges: Sequence[Charge], now: datetime) -> list[Charge]:
    """Leave out what is unloaded; what nobody reported so is over as well once the next one was begun."""
    begun = [one.begin_at for one in charges if one.basis != Charge.Basis.PLANNED and one.begin_at <= now]
    return [
        one
        for one in charges
        if one.basis != Charge.Basis.DONE and not any(one.end_at <= begin_at for begin_at in begun)
    ]


def _past(charge: Charge, measured_c: float | None) -> PastCharge | None:
    temp_c = ASSUMED_TEMP_C if measured_c is None else measured_c
    drying, phase = _drying(charge, temp_c), _drying_phase(charge)
    if drying is None or phase is None:
        return None
    actual_h = (phase.end_at - phase.begin_at).total_seconds() / 3600
    return PastCharge(charge, temp_c, measured_c is not None, drying.model_h, actual_h) if actual_h >= 1 else None


def _level(past: Iterable[PastCharge]) -> Level:
    pairs = ((_drying(one.charge, one.temp_c), one.actual_h) for one in past)
    return calibrate([(drying, actual_h) for drying, actual_h in pairs if drying is not None])


def _coming(charge: Charge, own: Level | None, whole: Level, usual_c: float) -> ComingCharge | None:
    drying, phase = _drying(charge, usual_c), _drying_phase(charge)
    if drying is None or phase is None:
        return None
    is_own = own is not None and own.log_spread is not None
    level = own if own is not None and is_own else (whole if whole.charges else UNCALIBRATED)
    time = drying_time(drying, level)
    whole_h = (charge.end_at - charge.begin_at).total_seconds() / 3600
    allowed_h = (phase.end_at - phase.begin_at).total_seconds() / 3600
    daily = capacity_m3_per_day(float(charge.volume_m3), time.likely_h, max(whole_h - allowed_h, 0))
    return ComingCharge(charge, level, time, allowed_h, daily, is_own)
