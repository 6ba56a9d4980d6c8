"""What lies on the shelf, is set aside and is to come, part by part: a handful of queries for any number of parts."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property

from inventory.models import Lot, Part, PurchaseOrderLine, ReorderAdvice, Reservation, StockLevel

ZERO = Decimal(0)
# So far ahead a lot that runs out is pointed at. Our own choice.
EXPIRES_SOON_DAYS = 60


@dataclass(frozen=True)
class Claim:
    """What a reservation still wants, and how much of it is not on the shelf after all earlier claims."""

    reservation: Reservation
    wanted: Decimal
    missing: Decimal

    @property
    def is_for_work(self) -> bool:
        """Say whether a work order stands behind it."""
        return self.reservation.source.startswith("WO-")


@dataclass(frozen=True)
class Delivery:
    """What is still to come of an order line."""

    line: PurchaseOrderLine
    quantity: Decimal
    late_days: int


@dataclass(frozen=True)
class Bar:
    """The shelf as a picture, each part on its own scale: positions and widths in per cent."""

    reserved: str
    free_from: str
    free: str
    order_from: str
    order: str
    reorder_at: str | None


@dataclass
class Shelf:
    """All that the stores shows of one part on one day."""

    part: Part
    day: date
    levels: list[StockLevel] = field(default_factory=list)
    claims: list[Claim] = field(default_factory=list)
    deliveries: list[Delivery] = field(default_factory=list)
    drawn_up: list[PurchaseOrderLine] = field(default_factory=list)

    @cached_property
    def advice(self) -> ReorderAdvice | None:
        """Return what the day's work advised; none for a part that is new today."""
        return getattr(self.part, "advice", None)

    @property
    def reorder_point(self) -> Decimal | None:
        """Return where an order is due, as far as it was worked out."""
        return self.advice.reorder_point if self.advice else None

    @cached_property
    def on_hand(self) -> Decimal:
        """All that lies on the shelf, expired or not."""
        return sum((level.on_hand for level in self.levels), ZERO)

    @cached_property
    def expired(self) -> Decimal:
        """What lies there and must not be used any more."""
        return sum((level.on_hand for level in self.levels if is_expired(level.lot, self.day)), ZERO)

    @property
    def is_none_that_stops(self) -> bool:
        """Say whether nothing fit for use lies there of a part without which the kiln stops."""
        return self.part.criticality == Part.Criticality.STOPS and self.on_hand <= self.expired

    @cached_property
    def reserved(self) -> Decimal:
        """What is set aside, there or not."""
        return sum((claim.wanted for claim in self.claims), ZERO)

    @property
    def free(self) -> Decimal:
        """What may be taken without taking it from somebody; below zero where more is set aside than there is."""
        return self.on_hand - self.expired - self.reserved

    @cached_property
    def on_order(self) -> Decimal:
        """What the suppliers still owe."""
        return sum((delivery.quantity for delivery in self.deliveries), ZERO)

    @cached_property
    def waiting(self) -> list[Claim]:
        """Claims that the shelf does not serve."""
        return [claim for claim in self.claims if claim.missing > 0]

    @property
    def late_days(self) -> int:
        """Days by which the latest delivery is late."""
        return max((delivery.late_days for delivery in self.deliveries), default=0)

    @property
    def next_delivery(self) -> Delivery | None:
        """The delivery that is expected first."""
        dated = [delivery for delivery in self.deliveries if delivery.line.order.promised_on]
        return min(dated, key=lambda delivery: delivery.line.order.promised_on or self.day, default=None)

    @cached_property
    def first_to_expire(self) -> Lot | None:
        """The lot that runs out within the next weeks, or has."""
        soon = [level.lot for level in self.levels if expires_soon(level.lot, self.day) and level.on_hand > 0]
        return min((lot for lot in soon if lot), key=lambda lot: lot.expires_on or self.day, default=None)

    @cached_property
    def bar(self) -> Bar:
        """The picture of the shelf."""
        reorder_at = self.reorder_point
        # The tick must stand inside the picture.
        whole = max(self.on_hand + self.on_order, (reorder_at or ZERO) * Decimal("1.1"), self.reserved, Decimal(1))
        reserved = min(self.reserved, self.on_hand)

        def per_cent(quantity: Decimal) -> str:
            return f"{100 * quantity / whole:.2f}"

        return Bar(
            reserved=per_cent(reserved),
            free_from=per_cent(reserved),
            free=per_cent(self.on_hand - reserved),
            order_from=per_cent(self.on_hand),
            order=per_cent(self.on_order),
            reorder_at=None if reorder_at is None else per_cent(reorder_at),
        )


def is_expired(lot: Lot | None, day: date) -> bool:
    """Say whether a lot must not be used on a day."""
    return lot is not None and lot.expires_on is not None and lot.expires_on < day


def expires_soon(lot: Lot | None, day: date) -> bool:
    """Say whether a lot has expired or will within the next weeks."""
    return lot is not None and lot.expires_on is not None and (lot.expires_on - day).days <= EXPIRES_SOON_DAYS


def gather_shelves(parts: Iterable[Part], day: date) -> dict[int, Shelf]:
    """Return part id -> what lies there, is set aside and is to come; three queries for any number of parts."""
    shelves = {part.pk: Shelf(part, day) for part in parts}
    for level in StockLevel.objects.filter(part__in=shelves, on_hand__gt=0).select_related("bin", "lot"):
        shelves[level.part_id].levels.append(level)
    _gather_lines(shelves, day)
    _gather_claims(shelves)
    for shelf in shelves.values():
        shelf.levels.sort(key=lambda level: ((level.lot and level.lot.expires_on) or date.max, level.bin.code))
    return shelves


def _gather_lines(shelves: dict[int, Shelf], day: date) -> None:
    lines = PurchaseOrderLine.objects.filter(part__in=shelves).still_open().select_related("order__supplier")
    for line in lines:
        if line.order.state == line.order.State.DRAWN_UP:
            shelves[line.part_id].drawn_up.append(line)
        elif line.missing > 0:
            shelves[line.part_id].deliveries.append(Delivery(line, line.missing, line.order.late_days(day)))


def _gather_claims(shelves: dict[int, Shelf]) -> None:
    """Let the shelf serve the reservations in the order of the day they are needed on, then of their making."""
    claims = Reservation.objects.still_wanted().set_aside().filter(part__in=shelves)
    left = {pk: shelf.on_hand - shelf.expired for pk, shelf in shelves.items()}
    for reservation in claims.order_by("needed_on", "created_at", "id"):
        wanted = max(reservation.quantity - reservation.used, ZERO)
        served = min(wanted, left[reservation.part_id])
        left[reservation.part_id] -= served
        shelves[reservation.part_id].claims.append(Claim(reservation, wanted, wanted - served))
