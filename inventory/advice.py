"""What to order today: gathers shelf, needs, deliveries and past use of each part, and keeps the advice with why."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Count, Min, Q

from inventory.calculations import outlooks, reorder
from inventory.calculations.lots import economic_lot
from inventory.calculations.random_use import SUPPOSED, Prior, pooled_prior
from inventory.calculations.season import busier_ahead
from inventory.models import (
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    ReorderAdvice,
    Reservation,
    StockLevel,
    StockMove,
    SupplierTerms,
)
from plant import clock
from plant.basics.sentences import Sentence
from plant.models import Mill

# Past use is looked at over two whole years, or since the part is on record where that is shorter: long enough for slow
# parts, short enough to follow the mill. Our own choice.
LOOK_BACK_DAYS = 731
# A younger record is too short to tell what is usual of parts that are seldom used. Our own choice.
LEAST_DAYS = 90
ZERO = Decimal(0)


@dataclass
class _Gathered:
    """All that was found about one part."""

    shelf: list[outlooks.ShelfLot] = field(default_factory=list)
    planned: list[outlooks.PlannedNeed] = field(default_factory=list)
    deliveries: list[outlooks.ExpectedDelivery] = field(default_factory=list)
    issues: list[Decimal] = field(default_factory=list)
    issues_days_ago: list[float] = field(default_factory=list)
    observed_days: int = 0
    prior: Prior = SUPPOSED
    on_hand: Decimal = ZERO
    reserved: Decimal = ZERO
    terms: SupplierTerms | None = None


@transaction.atomic
def refresh_advice(day: date, parts: Iterable[Part] | None = None) -> int:
    """Work out the advice for the parts given, or for all that are in use; return how many should be ordered today.

    Planned need is what reservations still want, set aside or foreseen. Random use is what was issued without a
    reservation that had been planned: counting planned use again would order it twice. A handful of queries for any
    number of parts.
    """
    chosen = sorted(Part.objects.in_use() if parts is None else parts, key=lambda part: part.pk)
    # The rows are locked before anything is read, always in one order: whoever comes second sees what the first saw
    # and wrote. A part's first advice has no row to lock; two of them become one row, and the later is kept.
    kept = ReorderAdvice.objects.filter(part__in=chosen).order_by("part").select_for_update()
    list(kept.values_list("pk", flat=True))
    gathered = _gather(chosen, day)
    as_of = clock.now()
    fresh = [_advise(part, gathered[part.pk], day, as_of) for part in chosen]
    columns = [column.name for column in ReorderAdvice._meta.concrete_fields if column.name not in ("id", "part")]
    ReorderAdvice.objects.bulk_create(
        fresh, update_conflicts=True, unique_fields=["part"], update_fields=columns, batch_size=200
    )
    if parts is None:
        ReorderAdvice.objects.exclude(part__in=Part.objects.in_use()).delete()
    return sum(1 for advice in fresh if advice.order_quantity > 0)


def _gather(parts: list[Part], day: date) -> dict[int, _Gathered]:
    zone = Mill.objects.current().zone
    ids = [part.pk for part in parts]
    found: dict[int, _Gathered] = defaultdict(_Gathered)
    for level in StockLevel.objects.filter(part__in=ids, on_hand__gt=0).select_related("lot"):
        found[level.part_id].shelf.append(outlooks.ShelfLot(level.on_hand, level.lot.expires_on if level.lot else None))
        found[level.part_id].on_hand += level.on_hand
    _gather_needs(found, ids)
    lines = PurchaseOrderLine.objects.filter(part__in=ids, order__in=PurchaseOrder.objects.on_the_way())
    for line in lines.select_related("order"):
        if line.quantity > line.received:
            due_on = _expected_on(line.order, day)
            delivery = outlooks.ExpectedDelivery(line.quantity - line.received, due_on, line.order.number)
            found[line.part_id].deliveries.append(delivery)
    for part_id, terms in _terms_of(ids).items():
        found[part_id].terms = terms
    _gather_use(found, parts, day, zone)
    _pool(found, day, zone)
    return found


def _terms_of(ids: Iterable[int]) -> dict[int, SupplierTerms]:
    """Return part -> the terms it is ordered on: the preferred ones, else the cheapest."""
    rows = SupplierTerms.objects.filter(part__in=list(ids)).select_related("part")
    # The last one stays.
    return {terms.part_id: terms for terms in rows.order_by("is_preferred", "-unit_price")}


def days_to_arrive(ids: Iterable[int]) -> dict[int, int]:
    """Return part -> days within which an order is there, its usual spread allowed for; none without a supplier.

    Need that lies so many days ahead, or nearer, is in the advice of the day.
    """
    return {
        part_id: reorder.days_to_arrive(_supply_terms(terms), outlooks.CYCLE_SERVICE[terms.part.criticality])
        for part_id, terms in _terms_of(ids).items()
    }


def _supply_terms(terms: SupplierTerms) -> outlooks.SupplyTerms:
    return outlooks.SupplyTerms(terms.lead_time_days, terms.lead_time_sd_days, terms.pack_size, terms.least_order)


def _gather_needs(found: dict[int, _Gathered], ids: list[int]) -> None:
    wanted = Reservation.objects.still_wanted().filter(part__in=ids)
    set_aside = set(wanted.set_aside().values_list("pk", flat=True))
    for claim in wanted:
        left = claim.quantity - claim.used
        if left > 0:
            found[claim.part_id].planned.append(outlooks.PlannedNeed(left, claim.needed_on, claim.source))
            found[claim.part_id].reserved += left if claim.pk in set_aside else ZERO


def _gather_use(found: dict[int, _Gathered], parts: list[Part], day: date, zone: ZoneInfo) -> None:
    """Collect what was issued unplanned, and over how many whole days of each part's own record that was."""
    until_at = clock.start_of_day(day + timedelta(days=1), zone)
    moves = StockMove.objects.filter(part__in=parts, at__lt=until_at)
    first_moves = dict(moves.order_by().values_list("part").annotate(Min("at")))
    for part in parts:
        found[part.pk].observed_days = _days_on_record(part.since_at, first_moves.get(part.pk), until_at)
    issues = moves.that_stand().filter(kind=StockMove.Kind.ISSUE, at__gte=until_at - timedelta(days=LOOK_BACK_DAYS + 1))
    unplanned = issues.exclude(reservation__is_planned=True)
    for part_id, quantity, at in unplanned.values_list("part_id", "quantity", "at"):
        found[part_id].issues.append(-quantity)
        found[part_id].issues_days_ago.append((until_at - at) / timedelta(days=1))
        # What was issued was looked at for a day at least.
        found[part_id].observed_days = max(found[part_id].observed_days, 1)


def _days_on_record(since_at: datetime, first_move_at: datetime | None, until_at: datetime) -> int:
    """Return the whole days of a part's own record that are looked at."""
    return min(LOOK_BACK_DAYS, max(0, (until_at - min(since_at, first_move_at or since_at)).days))


def _pool(found: dict[int, _Gathered], day: date, zone: ZoneInfo) -> None:
    """Let parts for the same kind of component tell of each other: two queries for any number of parts.

    Of the ledger only such parts are looked at: every booking asks for the advice of its part. A part without a kind,
    or alone in it, has only what is supposed of any part.
    """
    until_at = clock.start_of_day(day + timedelta(days=1), zone)
    from_at = until_at - timedelta(days=LOOK_BACK_DAYS)
    unplanned = Q(reservation__isnull=True) | Q(reservation__is_planned=False)
    recent = Q(kind=StockMove.Kind.ISSUE, at__gte=from_at, taken_back_by__isnull=True)
    asked = Part.objects.filter(pk__in=found).order_by().values("kind__component_kind")
    alike = Part.objects.in_use().filter(kind__component_kind__in=asked)
    moved = StockMove.objects.filter(at__lt=until_at, part__in=alike).order_by().values_list("part")
    told = moved.annotate(first=Min("at"), issued=Count("pk", filter=recent & unplanned))
    records = {part_id: (first_at, issued) for part_id, first_at, issued in told}
    own: dict[int, tuple[int, int, int]] = {}
    of_kind: dict[int, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for part_id, kind, since_at in alike.values_list("pk", "kind__component_kind", "since_at"):
        first_at, issued = records.get(part_id, (None, 0))
        days = _days_on_record(since_at, first_at, until_at)
        own[part_id] = (kind, issued, days)
        of_kind[kind] = (of_kind[kind][0] + issued, of_kind[kind][1] + days)
    for part_id, seen in found.items():
        if part_id in own:
            kind, issued, days = own[part_id]
            seen.prior = pooled_prior(of_kind[kind][0] - issued, of_kind[kind][1] - days)


def _expected_on(order: PurchaseOrder, day: date) -> date:
    """The promised day; an order without one is expected today, so that it neither counts as late nor is left out."""
    return order.promised_on or day


def _advise(part: Part, seen: _Gathered, day: date, as_of: datetime) -> ReorderAdvice:
    terms = seen.terms
    supply = _supply_terms(terms) if terms else outlooks.SupplyTerms(0)
    lead_days = float(supply.lead_time_days)
    busier = busier_ahead(seen.issues_days_ago, seen.observed_days, lead_days)
    use_a_day = float(sum(seen.issues, ZERO)) / max(seen.observed_days, LEAST_DAYS)
    lot = economic_lot(use_a_day, terms.unit_price, seen.observed_days, part.shelf_life_days) if terms else ZERO
    advice = reorder.reorder_advice(
        outlooks.PartOutlook(
            today_on=day,
            terms=supply,
            shelf=tuple(seen.shelf),
            planned=tuple(seen.planned),
            deliveries=tuple(seen.deliveries),
            past_use=outlooks.PastUse(tuple(seen.issues), seen.observed_days, LEAST_DAYS, seen.prior, busier),
            stops_the_kiln=part.criticality == Part.Criticality.STOPS,
            wanted_cycle_service=outlooks.CYCLE_SERVICE[part.criticality],
            economic_lot=lot,
        )
    )
    reason = advice.reason
    if terms is None:
        reason += (Sentence.of("reorder.no_supplier"),)
    return ReorderAdvice(
        part=part,
        as_of=as_of,
        on_hand=seen.on_hand,
        reserved=seen.reserved,
        on_order=advice.on_order,
        planned_need=advice.planned_in_interval,
        reorder_point=advice.reorder_point,
        order_quantity=advice.quantity,
        stockout_risk=round(Decimal(advice.run_out_chance), 4),
        is_late=bool(advice.late),
        reason=reason,
    )
