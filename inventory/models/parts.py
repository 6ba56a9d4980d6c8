"""Parts, where they lie, and who delivers them."""

from datetime import date, timedelta
from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inventory.querysets import PartQuerySet
from plant import clock
from plant.fields import ExactDecimalField, MoneyField, QuantityField
from plant.models import ComponentKind


class PartKind(models.Model):
    """What a task sheet of the catalogue asks for; the mill's own parts answer to it."""

    code = models.SlugField(max_length=60, unique=True)
    name = models.CharField(_("name"), max_length=120)
    unit = models.CharField(_("unit"), max_length=12)
    component_kind = models.ForeignKey(
        ComponentKind, on_delete=models.PROTECT, null=True, blank=True, related_name="part_kinds"
    )
    shelf_life_days = models.PositiveIntegerField(_("shelf life in days"), null=True, blank=True)
    is_consumable = models.BooleanField(_("used up"), default=False)
    source = models.CharField(_("source"), max_length=300, blank=True)
    source_status = models.CharField(_("how sure"), max_length=120, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Bin(models.Model):
    """A shelf, box, rack or cabinet of the stores."""

    code = models.CharField(_("bin"), max_length=20, unique=True)
    place = models.CharField(_("where it is"), max_length=80, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


# Units of which there are no halves.
WHOLE_UNITS = frozenset({"piece", "set", "pack", "pair"})


class Part(models.Model):
    """A part that the mill keeps."""

    class Criticality(models.TextChoices):
        STOPS = "stops", _("stops the kiln")
        SLOWS = "slows", _("slows the kiln")
        WAITS = "waits", _("can wait")

    code = models.SlugField(_("code"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.ForeignKey(PartKind, on_delete=models.PROTECT, null=True, blank=True, related_name="parts")
    unit = models.CharField(_("unit"), max_length=12, default="piece")
    criticality = models.CharField(
        _("without it"), max_length=8, choices=Criticality.choices, default=Criticality.WAITS
    )
    shelf_life_days = models.PositiveIntegerField(_("shelf life in days"), null=True, blank=True)
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, related_name="parts")
    fits = models.ManyToManyField(ComponentKind, blank=True, related_name="parts", verbose_name=_("fits"))
    is_active = models.BooleanField(_("kept"), default=True)
    since_at = models.DateTimeField(
        default=clock.now, editable=False, help_text=_("Put on record; what was used of it before nobody can tell.")
    )

    objects = PartQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the part's page."""
        return reverse("inventory:part", args=[self.code])

    @property
    def unit_step(self) -> Decimal:
        """Return the least amount in which the part is counted or measured."""
        return Decimal(1) if self.unit in WHOLE_UNITS else Decimal("0.001")

    @property
    def unit_shown(self) -> str:
        """Return the unit as it stands after a number; pieces need no word."""
        return "" if self.unit == "piece" else self.unit

    def amount(self, quantity: Decimal) -> str:
        """Write a quantity with its unit."""
        return f"{Decimal(quantity).normalize():f} {self.unit_shown}".strip()

    def expires_on_after(self, received_on: date) -> date | None:
        """Return the last day of use by the part's shelf life, or None where it keeps."""
        return received_on + timedelta(days=self.shelf_life_days) if self.shelf_life_days else None


class Supplier(models.Model):
    """Somebody who delivers parts."""

    code = models.SlugField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class SupplierTerms(models.Model):
    """On what terms a supplier delivers a part."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="terms")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="terms")
    lead_time_days = ExactDecimalField(_("lead time in days"), decimal_places=1)
    lead_time_sd_days = ExactDecimalField(_("spread of the lead time in days"), decimal_places=1, default=0)
    pack_size = QuantityField(_("pack size"), default=1)
    least_order = QuantityField(_("least order"), default=1)
    unit_price = MoneyField(_("price per unit"))
    is_preferred = models.BooleanField(_("preferred"), default=True)

    class Meta:
        ordering = ["part", "-is_preferred", "unit_price"]
        constraints = [
            models.UniqueConstraint(fields=["part", "supplier"], name="terms_once"),
            models.UniqueConstraint(fields=["part"], condition=Q(is_preferred=True), name="terms_one_preferred"),
            models.CheckConstraint(
                condition=Q(
                    lead_time_days__gte=0,
                    lead_time_sd_days__gte=0,
                    pack_size__gt=0,
                    least_order__gte=0,
                    unit_price__gte=0,
                ),
                name="terms_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} {self.supplier}"


class Lot(models.Model):
    """A delivery of a part that keeps its own expiry date."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="lots")
    code = models.CharField(_("lot"), max_length=40)
    received_on = models.DateField(_("received"))
    expires_on = models.DateField(_("expires"), null=True, blank=True)

    class Meta:
        ordering = ["part", "expires_on", "received_on"]
        constraints = [models.UniqueConstraint(fields=["part", "code"], name="lot_once_per_part")]

    def __str__(self) -> str:
        return f"{self.part} {self.code}"
