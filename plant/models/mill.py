"""The mill itself and its running numbers."""

from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import models, transaction
from django.utils.translation import gettext_lazy as _

from plant.basics.yard_hours import YardHours
from plant.fields import MoneyField, QuantityField
from plant.physics.standard_atmosphere import pressure_at_pa
from plant.validators import validate_time_zone

#: Prices of a plan -> the least and the most that make sense, in the mill's money; the factor is times the labour rate.
#: At 0 for a job left out, work without a price of waiting would never be done; more than the most, in cents, is refused
#: by the solver's problems. Our own choice, as are the defaults.
PLAN_PRICES: dict[str, tuple[int, int]] = {
    "overtime_factor": (0, 10),
    "price_per_interruption": (0, 1_000_000),
    "price_per_move": (0, 1_000_000),
    "price_per_job_left_out": (1, 1_000_000),
}


class MillManager(models.Manager["Mill"]):
    """Finds the one mill of this database."""

    def current(self) -> "Mill":
        """Return the mill; one query. Raises Mill.DoesNotExist before a mill was loaded."""
        return self.get()


class Mill(models.Model):
    """One sawmill: its time zone, units and the limits it has set itself."""

    class TemperatureUnit(models.TextChoices):
        CELSIUS = "degC", _("°C")
        FAHRENHEIT = "degF", _("°F")

    class VolumeUnit(models.TextChoices):
        CUBIC_METRES = "m3", _("m³")
        BOARD_FEET = "board_feet", _("board feet")

    name = models.CharField(_("name"), max_length=120)
    time_zone = models.CharField(
        _("time zone"), max_length=64, default="Europe/Stockholm", validators=[validate_time_zone]
    )
    currency = models.CharField(_("currency"), max_length=3, default="EUR")
    temperature_unit = models.CharField(max_length=8, choices=TemperatureUnit.choices, default=TemperatureUnit.CELSIUS)
    volume_unit = models.CharField(max_length=12, choices=VolumeUnit.choices, default=VolumeUnit.CUBIC_METRES)
    horizon_days = models.PositiveIntegerField(
        _("horizon in days"), default=56, help_text=_("How far ahead work is raised and placed.")
    )
    planned_notice_days = models.PositiveIntegerField(
        _("notice of a planned stop in days"),
        default=28,
        help_text=_("A stop announced at least so long ahead counts as planned (IAEA PRIS: four weeks)."),
    )
    entry_limit_c = QuantityField(
        _("entry limit in °C"), default=35, help_text=_("Nobody enters a chamber that is warmer. The mill's own limit.")
    )
    drying_margin_per_m3 = MoneyField(
        _("margin per m³ dried"), default=45, help_text=_("What a cubic metre that was not dried costs the mill.")
    )
    energy_price_per_kwh = MoneyField(
        _("energy price per kWh of heat"),
        decimal_places=4,
        default=Decimal("0.08"),
        help_text=_("Of heat as it reaches the kilns, losses of the boiler included: it prices leaks and bare pipes."),
    )
    height_m = QuantityField(
        _("height above the sea in m"),
        default=0,
        help_text=_("It sets the air pressure by which humidity, EMC and lost heat are reckoned (ISO 2533)."),
    )
    labour_rate_per_h = MoneyField(_("labour rate per hour"), default=48)
    weekly_crew_h = QuantityField(_("crew hours a week for upkeep"), default=80)
    overtime_factor = QuantityField(
        _("overtime factor"),
        decimal_places=2,
        default=Decimal("1.5"),
        help_text=_(
            "So many times the labour rate a plan counts for an hour that somebody works beyond the shift. The higher, "
            "the less overtime it plans; 0: overtime costs nothing."
        ),
    )
    price_per_interruption = MoneyField(
        _("interrupting a charge"),
        default=600,
        help_text=_(
            "A plan counts it for each charge that is stopped for work, besides the lock-out and the drying lost. The "
            "higher, the more rarely a charge is stopped; 0: only lock-out and lost drying count."
        ),
    )
    price_per_move = MoneyField(
        _("moving a job"),
        default=15,
        help_text=_(
            "A plan counts it for each job that gets another time or other people than they know of. The higher, the "
            "calmer the plan; 0: a job moves for the smallest gain."
        ),
    )
    price_per_job_left_out = MoneyField(
        _("leaving a job out"),
        default=200,
        help_text=_(
            "A plan counts it for each job that it gives no place, besides what waiting costs. The higher, the more "
            "it spends on fitting work in; at 0 work without a price of waiting would never be done."
        ),
    )
    #: For each weekday, Monday first, [from, to] as HH:MM or None; empty where the yard loads at any hour.
    yard_hours = models.JSONField(_("hours in which the yard loads"), default=list, blank=True)

    charges_end_by_programme = models.BooleanField(
        _("charges end as the programme says"),
        default=False,
        help_text=_(
            "For a mill that tells no charges: openings and plans take a charge to be opened and out when the "
            "programme says so. Nobody goes into a kiln by the programme: there it must be told in any case."
        ),
    )

    tells_by_readings = models.BooleanField(
        _("what readings surely say is taken at once"),
        default=False,
        help_text=_(
            "What a kiln's readings say of its charge is proposed, and a person confirms it. With this, what more than "
            "the temperature says is put on record at once, marked as said by readings. Nobody goes into a kiln by it: "
            "for that a person must tell it in any case."
        ),
    )

    objects = MillManager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(horizon_days__gte=1, horizon_days__lte=730), name="mill_horizon"),
            models.CheckConstraint(condition=models.Q(drying_margin_per_m3__gte=0), name="mill_margin_not_negative"),
            models.CheckConstraint(condition=models.Q(energy_price_per_kwh__gte=0), name="mill_energy_not_negative"),
            models.CheckConstraint(condition=models.Q(height_m__gte=-430, height_m__lte=5000), name="mill_height"),
            *(
                models.CheckConstraint(
                    condition=models.Q(**{f"{name}__gte": least, f"{name}__lte": most}), name=f"mill_{name}"
                )
                for name, (least, most) in PLAN_PRICES.items()
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def pressure_pa(self) -> float:
        """Return the usual air pressure at the mill's height in Pa."""
        return float(pressure_at_pa(float(self.height_m)))

    @property
    def yard(self) -> YardHours:
        """Return the hours in which the yard loads and unloads."""
        return YardHours.from_json(self.yard_hours, self.zone)

    @property
    def zone(self) -> ZoneInfo:
        """Return the mill's time zone."""
        return ZoneInfo(self.time_zone)


class NumberSeries(models.Model):
    """The last number given out of a running series (work orders, purchase orders, checks)."""

    name = models.CharField(max_length=40, unique=True)
    last = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name} {self.last}"

    @classmethod
    def take(cls, name: str, count: int = 1) -> int:
        """Reserve ``count`` numbers and return the first; must run inside a transaction that uses them."""
        with transaction.atomic():
            cls.objects.get_or_create(name=name)
            series = cls.objects.select_for_update().get(name=name)
            first = series.last + 1
            series.last += count
            series.save(update_fields=["last"])
        return first
