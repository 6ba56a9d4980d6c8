"""What many rows of the stores can answer."""

from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Case, F, Q, When, Window
from django.db.models.functions import Coalesce

from plant.fields import QuantityField

if TYPE_CHECKING:
    from inventory.models import Part, PurchaseOrder, PurchaseOrderLine, Reservation, StockMove  # noqa: F401


# A reservation whose source begins so is need that is foreseen for a later date; nothing is set aside for it yet.
FORESEEN = "foreseen-"
# States of an order that the supplier has and that has not arrived in full.
ON_THE_WAY = ("sent", "part_arrived")


class PartQuerySet(models.QuerySet["Part"]):
    """Parts."""

    def in_use(self) -> "PartQuerySet":
        """Only parts that the mill still keeps."""
        return self.filter(is_active=True)

    def matching(self, text: str) -> "PartQuerySet":
        """Parts whose code, name, kind or bin holds every word typed."""
        found = self
        for word in text.split():
            found = found.filter(
                Q(code__icontains=word)
                | Q(name__icontains=word)
                | Q(kind__name__icontains=word)
                | Q(bin__code__icontains=word)
            )
        return found

    def to_order(self) -> "PartQuerySet":
        """Parts that should be ordered today and stand in no order that waits to be sent."""
        return self.filter(advice__order_quantity__gt=0).exclude(order_lines__order__state="drawn_up")

    def none_that_stops(self, day: date) -> "PartQuerySet":
        """Parts without which a kiln stops and of which nothing lies there that is fit for use."""
        fit = Q(levels__lot__isnull=True) | Q(levels__lot__expires_on__isnull=True)
        there = self.model._base_manager.filter(fit | Q(levels__lot__expires_on__gte=day), levels__on_hand__gt=0)
        return self.filter(criticality="stops").exclude(pk__in=there.values("pk"))

    def overdue(self, day: date) -> "PartQuerySet":
        """Parts of which a delivery is late."""
        late = self.model._base_manager.filter(
            order_lines__order__state__in=ON_THE_WAY,
            order_lines__order__promised_on__lt=day,
            order_lines__received__lt=F("order_lines__quantity"),
        )
        return self.filter(pk__in=late.values("pk"))

    def expiring(self, day: date, within_days: int) -> "PartQuerySet":
        """Parts with stock on the shelf that has expired or expires within so many days."""
        last_on = day + timedelta(days=within_days)
        old = self.model._base_manager.filter(levels__on_hand__gt=0, levels__lot__expires_on__lte=last_on)
        return self.filter(pk__in=old.values("pk"))

    def most_urgent_first(self) -> "PartQuerySet":
        """What is to order first, then what is late or not there though it stops a kiln, each by what the kiln does."""
        return self.order_by(
            Case(
                When(advice__order_quantity__gt=0, then=0),
                When(advice__is_late=True, then=1),
                When(criticality="stops", advice__on_hand=0, then=1),
                default=2,
            ),
            Case(When(criticality="stops", then=0), When(criticality="slows", then=1), default=2),
            "name",
            "pk",
        )


class StockMoveQuerySet(models.QuerySet["StockMove"]):
    """Entries of the stock ledger."""

    def that_stand(self) -> "StockMoveQuerySet":
        """Entries that nobody took back as booked wrongly: what really came, left or was found."""
        return self.filter(takes_back__isnull=True, taken_back_by__isnull=True)

    def with_balance(self) -> "StockMoveQuerySet":
        """Entries of one part, newest first, each with what lay there afterwards over all bins."""
        running = Window(models.Sum("quantity"), order_by=["at", "id"], output_field=QuantityField())
        return self.annotate(balance=running).order_by("-at", "-id")


class ReservationQuerySet(models.QuerySet["Reservation"]):
    """Reservations."""

    def still_wanted(self) -> "ReservationQuerySet":
        """Reservations that are neither used nor given up."""
        return self.filter(closed_at__isnull=True)

    def foreseen(self) -> "ReservationQuerySet":
        """Need that recurs at a later date and that no work order stands for yet."""
        return self.filter(source__startswith=FORESEEN)

    def set_aside(self) -> "ReservationQuerySet":
        """Reservations that something in hand stands behind."""
        return self.exclude(source__startswith=FORESEEN)


class PurchaseOrderQuerySet(models.QuerySet["PurchaseOrder"]):
    """Purchase orders."""

    def on_the_way(self) -> "PurchaseOrderQuerySet":
        """Orders that were sent and have not arrived in full."""
        return self.filter(state__in=ON_THE_WAY)

    def still_open(self) -> "PurchaseOrderQuerySet":
        """Orders that wait to be sent or to arrive."""
        return self.filter(state__in=["drawn_up", *ON_THE_WAY])

    def late(self, day: date) -> "PurchaseOrderQuerySet":
        """Orders whose promised day has passed."""
        return self.on_the_way().filter(promised_on__lt=day)

    def most_urgent_first(self, day: date) -> "PurchaseOrderQuerySet":
        """Late ones first, the longest on top; then what is to be sent, what is to come, and what is over."""
        is_on_the_way = Q(state__in=ON_THE_WAY)
        return self.order_by(
            Case(
                When(is_on_the_way & Q(promised_on__lt=day), then=0),
                When(state="drawn_up", then=1),
                When(is_on_the_way, then=2),
                default=3,
            ),
            Case(When(is_on_the_way, then=Coalesce("promised_on", models.Value(day)))),
            "-drawn_up_at",
            "-pk",
        )


class PurchaseOrderLineQuerySet(models.QuerySet["PurchaseOrderLine"]):
    """Lines of orders."""

    def still_open(self) -> "PurchaseOrderLineQuerySet":
        """Lines of orders that wait to be sent or to arrive."""
        return self.filter(order__state__in=["drawn_up", *ON_THE_WAY])

    def awaited(self) -> "PurchaseOrderLineQuerySet":
        """Lines of which the supplier still owes something."""
        return self.filter(order__state__in=ON_THE_WAY, received__lt=F("quantity"))
