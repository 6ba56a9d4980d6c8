"""Purchase orders."""

from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inventory.models.parts import Part, Supplier
from inventory.querysets import PurchaseOrderLineQuerySet, PurchaseOrderQuerySet
from plant.fields import MoneyField, QuantityField, SentencesField


class PurchaseOrder(models.Model):
    """An order to a supplier."""

    class State(models.TextChoices):
        DRAWN_UP = "drawn_up", _("drawn up")
        SENT = "sent", _("sent")
        PART_ARRIVED = "part_arrived", _("arrived in part")
        ARRIVED = "arrived", _("arrived")
        WITHDRAWN = "withdrawn", _("withdrawn")

    number = models.CharField(_("number"), max_length=20, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=12, choices=State.choices, default=State.DRAWN_UP)
    drawn_up_at = models.DateTimeField(_("drawn up"))
    drawn_up_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    promised_on = models.DateField(_("promised for"), null=True, blank=True)
    version = models.PositiveIntegerField(default=0)

    objects = PurchaseOrderQuerySet.as_manager()

    class Meta:
        ordering = ["-drawn_up_at"]

    def __str__(self) -> str:
        return self.number

    def get_absolute_url(self) -> str:
        """Return the order's page."""
        return reverse("inventory:order", args=[self.number])

    @property
    def is_on_the_way(self) -> bool:
        """Say whether the supplier has it and owes something."""
        return self.state in (self.State.SENT, self.State.PART_ARRIVED)

    @property
    def is_open(self) -> bool:
        """Say whether it waits to be sent or to arrive."""
        return self.is_on_the_way or self.state == self.State.DRAWN_UP

    def late_days(self, day: date) -> int:
        """Return by how many days it is late; 0 where it is not."""
        if not (self.is_on_the_way and self.promised_on):
            return 0
        return max(0, (day - self.promised_on).days)

    @property
    def value(self) -> Decimal:
        """Return what its lines cost together; no query where they were fetched before."""
        value: Decimal = sum((line.value for line in self.lines.all()), Decimal(0))
        return value


class PurchaseOrderLine(models.Model):
    """A line of an order; what has arrived is the sum of its receipts."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="order_lines")
    quantity = QuantityField(_("quantity"))
    received = QuantityField(_("arrived"), default=0)
    unit_price = MoneyField(_("price per unit"))
    reason = SentencesField(_("why"))

    objects = PurchaseOrderLineQuerySet.as_manager()

    class Meta:
        ordering = ["order", "part__name"]
        constraints = [
            models.UniqueConstraint(fields=["order", "part"], name="order_line_once"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, received__gte=0, unit_price__gte=0), name="order_line_quantity"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.part}"

    @property
    def missing(self) -> Decimal:
        """Return what is still to come; 0 where more came than was ordered."""
        missing: Decimal = max(self.quantity - self.received, Decimal(0))
        return missing

    @property
    def surplus(self) -> Decimal:
        """Return what came beyond what was ordered."""
        surplus: Decimal = max(self.received - self.quantity, Decimal(0))
        return surplus

    @property
    def value(self) -> Decimal:
        """Return what the line costs."""
        value: Decimal = self.quantity * self.unit_price
        return value
