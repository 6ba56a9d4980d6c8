"""What waiting with a defect costs a day, and how that was worked out."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from maintenance.losses.price_of_waiting import KINDS
from maintenance.losses.waiting_loss import Assumptions, Sureness, to_the_cent
from maintenance.models.checks import Defect
from maintenance.models.querysets import PriceOfWaitingQuerySet
from plant.fields import MoneyField, QuantityField


class PriceOfWaiting(models.Model):
    """One working-out of a defect's cost of delay; the last one counts. The table refuses UPDATE and DELETE."""

    class Loss(models.TextChoices):
        DOOR_GAP = "door_gap", _("gap at a door")
        THRESHOLD = "threshold", _("gap at a threshold")
        OPEN_DOOR = "open_door", _("door that stands open")
        OPEN_FLAP = "open_flap", _("flap that does not shut")
        POOR_WALL = "poor_wall", _("wet insulation or thermal bridge")
        BARE_PIPE = "bare_pipe", _("bare pipe")
        STEAM_LEAK = "steam_leak", _("steam that leaks")
        WATER_LEAK = "water_leak", _("hot water that leaks")
        WARM_WET_BULB = "warm_wet_bulb", _("wet bulb that reads too warm")
        LESS_AIR = "less_air", _("fans that stand or run slow")
        COLD_SIDE = "cold_side", _("one side heated less")

    class Bound(models.TextChoices):
        LOWER = "lower", _("at least")
        ESTIMATE = "estimate", _("about")
        UPPER = "upper", _("at most")

    key = models.UUIDField(unique=True)
    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="prices")
    at = models.DateTimeField(_("worked out"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    loss = models.CharField(_("what is lost"), max_length=16, choices=Loss.choices)
    assumptions = models.JSONField(help_text="Field of the kind of loss -> decimal text, temperatures in °C.")
    figures = models.JSONField(help_text="What was worked out on the way, units in the names.")
    bound = models.CharField(max_length=8, choices=Bound.choices)
    energy_price_per_kwh = MoneyField(_("energy price per kWh of heat"), decimal_places=4)
    margin_per_m3 = MoneyField(_("margin per m³ dried"))
    kiln_m3_per_day = QuantityField(_("what the kiln dries a day in m³"))
    kwh_per_day = QuantityField(_("heat in kWh a day"))
    m3_per_day = QuantityField(_("timber in m³ a day"))
    # The cost of a day in three parts, to the last decimal; it is their sum.
    physics_cost_per_day = MoneyField(_("at least, by physics"), decimal_places=6, default=0)
    experience_cost_per_day = MoneyField(_("by the mill's own charges"), decimal_places=6, default=0)
    assumption_cost_per_day = MoneyField(_("assumed"), decimal_places=6, default=0)
    experience_charges = models.PositiveIntegerField(_("charges that tell"), default=0)
    is_measured = models.BooleanField(_("measured"), default=False)

    objects = PriceOfWaitingQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        # Serves the page that says how a cost was found.
        indexes = [models.Index(fields=["defect", "at"], name="price_by_defect_at")]

    def __str__(self) -> str:
        return f"{self.defect}: {self.cost_per_day}"

    @property
    def cost_per_day(self) -> Decimal:
        """Return what the defect takes as its cost of delay: rounded here, and nowhere before."""
        return to_the_cent(self.sure.total)

    @property
    def sure(self) -> Sureness:
        """Return how sure the cost is, in three parts."""
        return Sureness(
            Decimal(self.physics_cost_per_day),
            Decimal(self.experience_cost_per_day),
            Decimal(self.assumption_cost_per_day),
            self.experience_charges,
        )

    @property
    def heat_cost_per_day(self) -> Decimal:
        """Return what the heat is worth."""
        return Decimal(self.kwh_per_day) * Decimal(self.energy_price_per_kwh)

    @property
    def timber_cost_per_day(self) -> Decimal:
        """Return what the timber is worth."""
        return Decimal(self.m3_per_day) * Decimal(self.margin_per_m3)

    def terms(self) -> Assumptions:
        """Return the assumptions as the computation takes them."""
        return KINDS[self.loss](**{name: float(value) for name, value in self.assumptions.items()})
