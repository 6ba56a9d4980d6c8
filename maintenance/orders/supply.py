"""What work waits for: parts on the shelf, on the way from a supplier, or yet to be ordered, and by when."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Q

from inventory.advice import days_to_arrive
from inventory.models import Part, PurchaseOrder, PurchaseOrderLine, Reservation, StockLevel
from maintenance.models import Placement, WorkOrder, WorkPart
from plant import clock
from plant.basics.sentences import Sentence, Sentences
from plant.models import Mill

ZERO = Decimal(0)
# What arrives on a day lies on the shelf the next morning.
SHELVED = timedelta(days=1)
TIMES = "×"


@dataclass(frozen=True)
class Short:
    """A part that a work order waits for: how much is missing after all earlier claims on the shelf."""

    part: Part
    missing: Decimal
    # When what is on order will have brought it, or what is ordered today; None where nobody knows.
    arrives_on: date | None = None
    # How much of what is missing must yet be ordered, and within how many days an order is there.
    to_order: Decimal = ZERO
    lead_days: int | None = None

    def order_by(self, needed_on: date) -> date | None:
        """Return the last day to order what must yet be ordered, so that it arrives on the day it is needed."""
        return None if self.lead_days is None else needed_on - timedelta(days=self.lead_days)


def usable_on_hand(part_ids: Iterable[int]) -> dict[int, Decimal]:
    """Return part -> what lies on the shelf and has not expired."""
    today = clock.today(Mill.objects.current().zone)
    on_hand: dict[int, Decimal] = defaultdict(Decimal)
    levels = StockLevel.objects.filter(part__in=list(part_ids))
    usable = levels.filter(Q(lot__isnull=True) | Q(lot__expires_on__isnull=True) | Q(lot__expires_on__gte=today))
    for part_id, quantity in usable.values_list("part_id", "on_hand"):
        on_hand[part_id] += quantity
    return on_hand


def missing_parts(work_orders: Iterable[WorkOrder]) -> dict[int, list[Short]]:
    """Return work order id -> the parts it waits for, only for those that wait; a handful of queries for any number.

    The shelf, then what is on the way, serves reservations in the order of the day they are needed on, then of their
    making: what an earlier one claims is not there for a later one. Need that is only foreseen claims nothing. What
    is left must be ordered: it is there within the supplier's lead time and its spread, ordered today.
    """
    lines = list(
        WorkPart.objects.filter(work_order__in=list(work_orders), reservation__closed_at__isnull=True)
        .exclude(reservation__isnull=True)
        .select_related("part")
    )
    part_ids = {line.part_id for line in lines}
    supply = _supply(part_ids)
    served: dict[int, Short] = {}
    claims = Reservation.objects.still_wanted().set_aside().filter(part__in=part_ids).select_related("part")
    for claim in claims.order_by("needed_on", "created_at", "id"):
        served[claim.pk] = _serve(claim, supply[claim.part_id])
    short: dict[int, list[Short]] = defaultdict(list)
    for line in lines:
        found = served.get(line.reservation_id or 0)
        if found and found.missing > 0:
            short[line.work_order_id].append(found)
    return dict(short)


@dataclass
class _Supply:
    """What is left to give away: of the shelf, and of each delivery, the earliest first; then what can be ordered."""

    today: date
    on_hand: Decimal
    deliveries: list[tuple[date, Decimal]]
    lead_days: int | None


def _supply(part_ids: Iterable[int]) -> dict[int, _Supply]:
    zone = Mill.objects.current().zone
    today = clock.today(zone)
    on_hand, lead_days = usable_on_hand(part_ids), days_to_arrive(part_ids)
    supply = {part_id: _Supply(today, on_hand[part_id], [], lead_days.get(part_id)) for part_id in part_ids}
    coming = PurchaseOrderLine.objects.filter(part__in=supply, order__in=PurchaseOrder.objects.on_the_way())
    columns = ("part_id", "order__promised_on", "order__sent_at", "quantity", "received")
    for part_id, promised_on, sent_at, ordered, received in coming.order_by("id").values_list(*columns):
        one = supply[part_id]
        due_on: date | None = promised_on
        if due_on is None and one.lead_days is not None:
            # Sent, and no day promised: it takes what it usually takes.
            sent_on = sent_at.astimezone(zone).date() if sent_at else today
            due_on = max(sent_on + timedelta(days=one.lead_days), today)
        if due_on and ordered > received:
            one.deliveries.append((due_on, ordered - received))
    for one in supply.values():
        one.deliveries.sort(key=lambda delivery: delivery[0])
    return supply


def _serve(claim: Reservation, supply: _Supply) -> Short:
    """Serve a claim from the shelf, then from the deliveries, then by an order."""
    wanted = max(claim.quantity - claim.used, ZERO)
    taken = min(wanted, supply.on_hand)
    supply.on_hand -= taken
    missing = to_come = wanted - taken
    arrives_on: date | None = None
    while to_come > 0 and supply.deliveries:
        arrives_on, brought = supply.deliveries.pop(0)
        if brought > to_come:
            supply.deliveries.insert(0, (arrives_on, brought - to_come))
        to_come = max(to_come - brought, ZERO)
    if not to_come:
        return Short(claim.part, missing, arrives_on)
    if supply.lead_days is None:
        return Short(claim.part, missing, None, to_come)
    ordered_on = supply.today + timedelta(days=supply.lead_days)
    return Short(claim.part, missing, max(arrives_on or ordered_on, ordered_on), to_come, supply.lead_days)


def say_short(short: Iterable[Short]) -> Sentence:
    """Say which parts are missing, or that none is."""
    names = [amount(one.missing, one.part) for one in short]
    return Sentence.of("supply.waits", parts=names) if names else Sentence.of("supply.all_there")


def say_to_order(short: Iterable[Short], needed_on: date, today: date) -> Sentences:
    """Say which parts must yet be ordered, and by when, for a job that needs them on a day; or nothing."""
    said = []
    for one in short:
        order_by = one.order_by(needed_on)
        if order_by is None or one.lead_days is None:
            continue
        facts = {"part": amount(one.to_order, one.part), "by_on": order_by, "count": one.lead_days}
        if order_by > today:
            said.append(Sentence.of("supply.order_by", **facts))
        elif order_by == today:
            said.append(Sentence.of("supply.order_today", **facts))
        else:
            said.append(Sentence.of("supply.order_late", **facts))
    return tuple(said)


def say_supply(short: Iterable[Short], needed_on: date, today: date) -> list[Sentences]:
    """Say of each part that is missing where it is to come from, a sentence each."""
    said = []
    for one in short:
        ordered = say_to_order([one], needed_on, today)
        if ordered:
            said.append(ordered)
        elif one.arrives_on:
            facts = {"part": amount(one.missing, one.part), "due_on": one.arrives_on}
            is_late = one.arrives_on < today
            said.append((Sentence.of("supply.late" if is_late else "supply.on_order", **facts),))
        else:
            said.append((Sentence.of("supply.unknown", part=amount(one.missing, one.part)),))
    return said


def amount(quantity: Decimal, part: Part) -> str:
    """Name a part with how much of it; pieces need no unit."""
    return f"{quantity.normalize():f} {part.unit_shown or TIMES} {part.name}"


def needed_on(work_order: WorkOrder, zone: ZoneInfo) -> date:
    """Return the day on which a job's parts must have arrived: the day before its place, else the day it is due."""
    placed: Placement | None = getattr(work_order, "placement", None)
    if placed is None or placed.pk is None:
        return work_order.due_at.astimezone(zone).date()
    return placed.start_at.astimezone(zone).date() - SHELVED


def keep_needs_in_step(work_orders: Iterable[WorkOrder]) -> list[Part]:
    """Let what is set aside be needed when the place of its job says so; return the parts whose need moved.

    Orders look ahead to these days: a job that was placed early has its parts ordered early.
    """
    zone = Mill.objects.current().zone
    days = {order.pk: needed_on(order, zone) for order in work_orders}
    lines = WorkPart.objects.filter(work_order__in=days, reservation__closed_at__isnull=True)
    moved, parts = [], {}
    for line in lines.exclude(reservation__isnull=True).select_related("reservation", "part"):
        claim = line.reservation
        if claim is not None and claim.needed_on != days[line.work_order_id]:
            claim.needed_on = days[line.work_order_id]
            moved.append(claim)
            parts[line.part_id] = line.part
    Reservation.objects.bulk_update(moved, ["needed_on"], batch_size=500)
    return list(parts.values())
