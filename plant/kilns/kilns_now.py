"""How each kiln stands at an instant: read in a fixed number of queries, worked out in plain Python."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TypeVar

from django.db.models import OuterRef, Q, Subquery

from plant.basics.periods import Period
from plant.charges.calculations import charge_phases, downtime
from plant.charges.calculations.drying_loss import (
    CompletedCharge,
    DryingRate,
    PlannedCharge,
    Product,
    bridge,
    charge_from_records,
    drying_rate,
    product_stretches,
)
from plant.charges.calculations.known import Due, charges_as_known, due
from plant.charges.calculations.lasting import Lasting
from plant.charges.calculations.openings import Opening, Windows, windows
from plant.charges.calculations.time_account import account
from plant.charges.lasting import downtime_times, expected_ends
from plant.charges.record import known_charges, record_by_people
from plant.charges.rows import NEXT_CHARGE, RATE_HISTORY
from plant.kilns.calculations.kiln_state import STOPS, KilnState, StateAt, state_at
from plant.models import Charge, Downtime, Kiln

Row = TypeVar("Row", Charge, Downtime)

AHEAD = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class KilnNow:
    """A kiln, its state, the charges about it and the windows ahead.

    ``charge`` is in the kiln and ``phase`` is its phase under way; ``next_charge`` comes after it. ``stop`` is the open
    or running downtime that explains the state, ``lasting`` until when it may last where it goes on, ``lost_m3`` what
    it cost so far (None: not known or no stop).

    ``told`` is the state by what was told alone, by which people go in or stay out; ``state`` is another only where
    the mill lets the programme end its charges. ``is_shut`` where a charge is behind closed doors by it, whether the
    kiln stands or not. ``due`` is what should have been told of ``due_charge`` by now.
    """

    kiln: Kiln
    state: StateAt
    told: StateAt
    is_shut: bool
    due: Due | None
    due_charge: Charge | None
    charge: Charge | None
    phase: charge_phases.Phase | None
    next_charge: Charge | None
    next_load_at: datetime | None
    windows: Windows
    stop: Downtime | None = None
    lasting: Lasting | None = None
    lost_m3: Decimal | None = None

    @property
    def is_untold(self) -> bool:
        """Whether the kiln is as it is only because nobody told that its charge was opened or is out."""
        return self.due is not None and self.state.state is self.told.state

    @property
    def is_unrecorded(self) -> bool:
        """Whether no charge was ever on record in the kiln: nothing says what is in it."""
        return self.state.state is KilnState.NO_RECORD

    @property
    def opening(self) -> Opening | None:
        """The opening that is now, else the next one."""
        return self.windows.openings[0] if self.windows.openings else None


def kilns_now(kilns: Iterable[Kiln], now: datetime) -> list[KilnNow]:
    """Work out how kilns stand; the number of queries does not depend on how many they are."""
    kilns = list(kilns)
    charges = _by_kiln(_charges(kilns, now))
    found = Downtime.objects.filter(kiln__in=kilns).reaching_into(now - timedelta(days=30), now + AHEAD)
    records = list(found.select_related("component"))
    downtimes, ends = _by_kiln(records), expected_ends(records, now)
    stopped = [kiln for kiln in kilns if any(_is_stop_at(record, now) for record in downtimes[kiln.pk])]
    history = _histories(stopped, now)
    return [_kiln_now(kiln, charges[kiln.pk], downtimes[kiln.pk], ends, history.get(kiln.pk), now) for kiln in kilns]


def _charges(kilns: Sequence[Kiln], now: datetime) -> list[Charge]:
    """Return what is in the kilns or comes, and the last charge before."""
    done = Charge.objects.filter(kiln=OuterRef("pk"), basis=Charge.Basis.DONE)
    before = done.filter(begin_at__lte=now, end_at__lte=now).order_by("-begin_at")
    last_ids = Kiln.objects.filter(pk__in=[kiln.pk for kiln in kilns]).values(last=Subquery(before.values("pk")[:1]))
    wanted = Q(end_at__gt=now) | ~Q(basis=Charge.Basis.DONE) | Q(pk__in=last_ids)
    found = Charge.objects.filter(wanted, kiln__in=kilns, begin_at__lt=now + AHEAD).with_what_was_told()
    return list(found.prefetch_related("phases").order_by("begin_at"))


def _by_kiln(rows: Iterable[Row]) -> dict[int, list[Row]]:
    grouped: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row.kiln_id].append(row)
    return grouped


def _kiln_now(
    kiln: Kiln,
    charges: list[Charge],
    downtimes: list[Downtime],
    ends: Mapping[int, Lasting],
    history: "_History | None",
    now: datetime,
) -> KilnNow:
    records = [downtime_times(record, ends.get(record.pk)) for record in downtimes]
    times = known_charges(charges, records, now)
    forecasts = charge_phases.forecast_charges(times, now)
    expected = _in_or_to_come(forecasts, now)
    state = _state(expected, records, now)
    kept = [record_by_people(charge, records, now) for charge in charges]
    as_told = _in_or_to_come(charge_phases.forecast_charges(charges_as_known(kept, now), now), now)
    overdue = due(kept, now)
    by_id = {charge.pk: charge for charge in charges}
    inside = next((f for f in expected if f.charge.charge_id == state.charge_id), None)
    following = next((f for f in forecasts if not f.charge.is_begun), None)
    phase = next((p for p in inside.phases if p.start_at <= now and not p.is_over), None) if inside else None
    stop = min((d for d in downtimes if _is_stop_at(d, now)), key=_how_serious, default=None)
    return KilnNow(
        kiln=kiln,
        state=state,
        told=_state(as_told, records, now),
        is_shut=any(_is_shut_in(phase, now) for forecast in as_told for phase in forecast.phases),
        due=overdue,
        due_charge=by_id[overdue.charge_id] if overdue else None,
        charge=by_id[state.charge_id] if state.charge_id is not None else None,
        phase=phase,
        next_charge=by_id[following.charge.charge_id] if following else None,
        next_load_at=by_id[following.charge.charge_id].begin_at if following else None,
        windows=windows(kiln.pk, times, now, downtime=records),
        stop=stop,
        lasting=ends.get(stop.pk) if stop else None,
        lost_m3=_lost_m3(kiln, stop, forecasts, by_id, history, now) if stop and history else None,
    )


def _in_or_to_come(
    forecasts: Iterable[charge_phases.ChargeForecast], now: datetime
) -> list[charge_phases.ChargeForecast]:
    """Leave out a charge that has not begun, however overdue it is: it is not in the kiln."""
    return [one for one in forecasts if one.charge.is_begun or one.start_at > now]


def _state(
    forecasts: Iterable[charge_phases.ChargeForecast], records: Sequence[downtime.Downtime], now: datetime
) -> StateAt:
    return state_at(now, [phase for forecast in forecasts for phase in forecast.phases], records)


def _is_shut_in(phase: charge_phases.Phase, now: datetime) -> bool:
    is_under_way = phase.start_at <= now and (phase.end_at is None or now < phase.end_at)
    return is_under_way and phase.kind in charge_phases.RUNNING_PHASES


def _is_stop_at(record: Downtime, now: datetime) -> bool:
    is_active = record.start_at <= now and (record.end_at is None or record.end_at > now)
    return is_active and record.is_stop


def _how_serious(record: Downtime) -> tuple[int, datetime]:
    """Order as the state of the kiln does: unplanned, planned, from outside the kiln, then what began first."""
    kinds = [kind for kind, _state in STOPS]
    return kinds.index(downtime.DowntimeKind(record.kind)), record.start_at


@dataclass(frozen=True, slots=True)
class _History:
    completed: list[CompletedCharge]
    plan: PlannedCharge | None
    downtimes: list[downtime.Downtime]


def _histories(kilns: Sequence[Kiln], now: datetime) -> dict[int, _History]:
    """Return what kilns dried in the past year, from which their rate is taken; two queries."""
    if not kilns:
        return {}
    charges = _by_kiln(
        Charge.objects.filter(kiln__in=kilns, begin_at__lt=now + NEXT_CHARGE, end_at__gt=now - RATE_HISTORY).order_by(
            "begin_at"
        )
    )
    downtimes = _by_kiln(Downtime.objects.filter(kiln__in=kilns).reaching_into(now - RATE_HISTORY, now + NEXT_CHARGE))
    return {
        kiln.pk: _history(kiln, charges[kiln.pk], [downtime_times(record) for record in downtimes[kiln.pk]])
        for kiln in kilns
    }


def _history(kiln: Kiln, charges: list[Charge], records: list[downtime.Downtime]) -> _History:
    completed = []
    free_at: datetime | None = None
    for charge in charges:
        if charge.basis == Charge.Basis.DONE:
            from_at = min(free_at or charge.begin_at, charge.begin_at)
            dried = charge_from_records(product_of(charge), Decimal(charge.volume_m3), from_at, charge.end_at, records)
            completed += [dried] if dried else []
            free_at = charge.end_at
    hours = [(charge.planned_end_at - charge.planned_begin_at).total_seconds() / 3600 for charge in charges]
    mean_h = Decimal(sum(hours) / len(hours)).quantize(Decimal("0.1")) if hours else None
    plan = PlannedCharge(Decimal(kiln.usable_m3), mean_h) if mean_h else None
    return _History(completed, plan, records)


def drying_rate_at(kiln: Kiln, charge: Charge | None, now: datetime) -> DryingRate | None:
    """Return what a kiln dries in an able hour of a charge's product, from its own history; None without a charge."""
    history = _histories([kiln], now)[kiln.pk]
    if history.plan is None:
        return None
    return drying_rate(product_of(charge) if charge else None, history.completed, history.plan)


def usual_rates(kilns: Sequence[Kiln], now: datetime) -> dict[int, DryingRate | None]:
    """Return what each kiln dries in an able hour over all its timber; two queries for any number of kilns."""
    return {
        pk: drying_rate(None, history.completed, history.plan) if history.plan else None
        for pk, history in _histories(kilns, now).items()
    }


def product_of(charge: Charge) -> Product:
    """Return what a charge is, as the drying rate counts it."""
    return Product(charge.species, charge.thickness_mm)


def _lost_m3(
    kiln: Kiln,
    stop: Downtime,
    forecasts: Sequence[charge_phases.ChargeForecast],
    charges: dict[int, Charge],
    history: _History,
    now: datetime,
) -> Decimal | None:
    """Return what a stop cost so far; None where nothing says how fast the kiln dries."""
    if history.plan is None or stop.start_at >= now:
        return None
    unloadings = [
        (forecast.end_at, product_of(charges[forecast.charge.charge_id])) for forecast in forecasts if forecast.end_at
    ]
    parts = [
        (
            account(history.downtimes, stretch.period, now),
            drying_rate(stretch.product, history.completed, history.plan),
        )
        for stretch in product_stretches(Period(stop.start_at, now), unloadings)
    ]
    found = bridge(parts)
    return found.outside_m3 if stop.kind == Downtime.Kind.EXTERNAL else found.lost_to_downtime_m3
