"""The stock ledger, what lies where, what is set aside, and what should be ordered."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models.parts import Bin, Lot, Part
from inventory.querysets import ReservationQuerySet, StockMoveQuerySet
from plant.fields import ExactDecimalField, QuantityField, SentencesField


class StockLevel(models.Model):
    """What lies in one bin of one lot: the running sum of the ledger, kept so that it can never fall below zero."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="levels")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="levels")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="levels")
    on_hand = QuantityField(_("on hand"), default=0)

    class Meta:
        ordering = ["part", "bin"]
        constraints = [
            models.CheckConstraint(condition=Q(on_hand__gte=0), name="stock_not_below_zero"),
            models.UniqueConstraint(fields=["part", "bin", "lot"], name="stock_level_once_per_lot"),
            # Null lots would count as different from one another.
            models.UniqueConstraint(fields=["part", "bin"], condition=Q(lot__isnull=True), name="stock_level_once"),
        ]

    def __str__(self) -> str:
        return f"{self.part} {self.bin} {self.on_hand}"


class Reservation(models.Model):
    """A quantity set aside for a purpose; ``source`` is the number of what wants it (for example WO-0412)."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="reservations")
    quantity = QuantityField(_("quantity"))
    used = QuantityField(_("taken so far"), default=0)
    needed_on = models.DateField(_("needed on"))
    source = models.CharField(_("for"), max_length=40)
    purpose = models.CharField(_("purpose"), max_length=160, blank=True)
    is_planned = models.BooleanField(
        _("planned need"), default=True, help_text=_("Planned need is not counted again as random use.")
    )
    created_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = ReservationQuerySet.as_manager()

    class Meta:
        ordering = ["needed_on", "source"]
        # Serves the planned need of a part within a lead time.
        indexes = [models.Index(fields=["part", "needed_on"], name="reservation_by_part_day")]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0, used__gte=0), name="reservation_quantity"),
            models.UniqueConstraint(fields=["source", "part"], name="reservation_once_per_source"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.part} for {self.source}"


class StockMove(models.Model):
    """One entry of the stock ledger; the table refuses UPDATE and DELETE. What leaves the shelf is negative."""

    class Kind(models.TextChoices):
        RECEIPT = "receipt", _("receipt")
        ISSUE = "issue", _("issue")
        RETURN = "return", _("return")
        COUNT = "count", _("count")
        SCRAP = "scrap", _("scrap")
        TRANSFER = "transfer", _("transfer")
        UNDONE = "undone", _("taken back")

    key = models.UUIDField(
        unique=True, help_text=_("Made where the move was entered, so that a second try changes nothing.")
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="moves")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="moves")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="moves")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    quantity = QuantityField(_("quantity"))
    at = models.DateTimeField(_("when"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reservation = models.ForeignKey(Reservation, on_delete=models.PROTECT, null=True, blank=True, related_name="moves")
    order_line = models.ForeignKey(
        "inventory.PurchaseOrderLine", on_delete=models.PROTECT, null=True, blank=True, related_name="moves"
    )
    takes_back = models.OneToOneField(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="taken_back_by",
        help_text=_("The wrong booking that this one takes back."),
    )
    reason = models.CharField(_("reason"), max_length=160, blank=True)

    objects = StockMoveQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        # Serves the past use of a part.
        indexes = [models.Index(fields=["part", "kind", "at"], name="move_by_part_kind")]
        constraints = [models.CheckConstraint(condition=~Q(quantity=0), name="move_moves_something")]

    def __str__(self) -> str:
        return f"{self.kind} {self.quantity} {self.part}"


class ReorderAdvice(models.Model):
    """What the day's work found about ordering a part, with the reason."""

    part = models.OneToOneField(Part, on_delete=models.CASCADE, related_name="advice")
    as_of = models.DateTimeField()
    on_hand = QuantityField()
    reserved = QuantityField()
    on_order = QuantityField()
    planned_need = QuantityField()
    reorder_point = QuantityField()
    order_quantity = QuantityField(default=0)
    stockout_risk = ExactDecimalField(decimal_places=4, default=0)
    is_late = models.BooleanField(default=False)
    reason = SentencesField()

    class Meta:
        ordering = ["-order_quantity", "part__name"]

    def __str__(self) -> str:
        return f"{self.part}: {self.order_quantity}"
