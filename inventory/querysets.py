"""What many rows of the storeroom can answer."""

from typing import TYPE_CHECKING

from django.db import models

if TYPE_CHECKING:
    from inventory.models import Part, PurchaseOrder, Reservation, StockMove  # noqa: F401


# A reservation whose source begins so is need that is foreseen for a later date; nothing is set aside for it yet.
FORESEEN = "foreseen-"


class PartQuerySet(models.QuerySet["Part"]):
    """Parts."""

    def in_use(self) -> "PartQuerySet":
        """Only parts that the mill still keeps."""
        return self.filter(is_active=True)


class StockMoveQuerySet(models.QuerySet["StockMove"]):
    """Entries of the stock ledger."""


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
        return self.filter(state__in=["sent", "part_arrived"])
