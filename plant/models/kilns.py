"""Kilns, the kinds of components in them, and what has sat where."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from plant.fields import QuantityField
from plant.models.mill import Mill
from plant.models.querysets import ComponentQuerySet, KilnQuerySet, MeterReadingQuerySet


class Kiln(models.Model):
    """One drying chamber."""

    class HeatingMedium(models.TextChoices):
        HOT_WATER = "hot_water", _("hot water")
        STEAM = "steam", _("steam")
        THERMAL_OIL = "thermal_oil", _("thermal oil")
        DIRECT_FIRED = "direct_fired", _("direct-fired")
        ELECTRIC = "electric", _("electricity")
        HEAT_PUMP = "heat_pump", _("heat pump")

    class Humidifying(models.TextChoices):
        WATER_SPRAY = "water_spray", _("cold water spray")
        HOT_WATER_SPRAY = "hot_water_spray", _("hot water spray")
        STEAM_SPRAY = "steam_spray", _("steam spray")
        NONE = "none", _("none")

    class ClimateSensing(models.TextChoices):
        PSYCHROMETER = "psychrometer", _("psychrometer (dry and wet bulb)")
        EMC_PLATE = "emc_plate", _("EMC plates")
        HUMIDITY_SENSOR = "humidity_sensor", _("humidity sensors")

    mill = models.ForeignKey(Mill, on_delete=models.PROTECT, related_name="kilns")
    tag = models.SlugField(_("tag"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=80, blank=True)
    usable_m3 = QuantityField(_("usable volume in m³"))
    heating_medium = models.CharField(_("heated by"), max_length=20, choices=HeatingMedium.choices)
    humidifying = models.CharField(_("humidified by"), max_length=20, choices=Humidifying.choices)
    climate_sensing = models.CharField(_("climate sensed by"), max_length=20, choices=ClimateSensing.choices)
    is_reversing = models.BooleanField(_("fans reverse"), default=True)
    is_inner_skin_visible = models.BooleanField(
        _("inner skin can be seen"),
        default=True,
        help_text=_("Where it is clad, the outer skin is felt while running."),
    )
    built_on = models.DateField(_("built on"), null=True, blank=True)
    lock_out_minutes = models.PositiveIntegerField(_("minutes to lock out and cool"), default=60)
    restore_minutes = models.PositiveIntegerField(_("minutes to restore"), default=30)
    max_people_inside = models.PositiveIntegerField(
        _("most people inside"), default=4, validators=[MinValueValidator(1)]
    )
    is_active = models.BooleanField(_("in use"), default=True)

    objects = KilnQuerySet.as_manager()

    class Meta:
        ordering = ["tag"]
        constraints = [models.CheckConstraint(condition=models.Q(usable_m3__gt=0), name="kiln_has_volume")]

    def __str__(self) -> str:
        return self.tag


class ComponentKind(models.Model):
    """A kind of component of the catalogue, with its place in the chamber's end view."""

    class Group(models.TextChoices):
        ENVELOPE = "envelope", _("envelope")
        DOORS = "doors", _("doors")
        AIR = "air", _("air")
        HEAT = "heat", _("heat")
        HUMIDITY = "humidity", _("humidity")
        CLIMATE_SENSING = "climate_sensing", _("climate sensing")
        WOOD_MOISTURE_SENSING = "wood_moisture_sensing", _("wood-moisture sensing")
        SAFETY = "safety", _("safety")
        SURROUNDINGS = "surroundings", _("surroundings")

    code = models.SlugField(max_length=60, unique=True)
    name = models.CharField(_("name"), max_length=120)
    group = models.CharField(_("group"), max_length=24, choices=Group.choices)
    end_view_no = models.PositiveSmallIntegerField(
        _("number in the end view"), validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    description = models.TextField(_("description"), blank=True)
    source = models.CharField(_("source"), max_length=300, blank=True)
    source_status = models.CharField(_("how sure"), max_length=120, blank=True)

    class Meta:
        ordering = ["end_view_no", "name"]

    def __str__(self) -> str:
        return self.name


class FailureMode(models.Model):
    """The manner in which a kind of component fails (EN 13306; mechanism as in ISO 14224 Annex B)."""

    kind = models.ForeignKey(ComponentKind, on_delete=models.PROTECT, related_name="failure_modes")
    code = models.SlugField(max_length=80, unique=True)
    name = models.CharField(_("name"), max_length=160)
    mechanism = models.CharField(_("mechanism"), max_length=120, blank=True)
    sign = models.TextField(_("what one sees or reads"), blank=True)
    consequence = models.TextField(_("consequence"), blank=True)
    likelihood_hint = models.CharField(_("how likely"), max_length=300, blank=True)
    source = models.CharField(_("source"), max_length=300, blank=True)
    source_status = models.CharField(_("how sure"), max_length=120, blank=True)

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name


class Component(models.Model):
    """A position in a kiln that something of a kind sits in."""

    class Side(models.TextChoices):
        LEFT = "left", _("left")
        RIGHT = "right", _("right")
        BOTH = "both", _("both sides")
        NONE = "", _("no side")

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="components")
    kind = models.ForeignKey(ComponentKind, on_delete=models.PROTECT, related_name="components")
    tag = models.SlugField(_("tag"), max_length=60)
    name = models.CharField(_("name"), max_length=120)
    side = models.CharField(_("side"), max_length=8, choices=Side.choices, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)

    objects = ComponentQuerySet.as_manager()

    class Meta:
        ordering = ["kiln", "kind__end_view_no", "tag"]
        constraints = [models.UniqueConstraint(fields=["kiln", "tag"], name="component_tag_once_per_kiln")]

    def __str__(self) -> str:
        return f"{self.kiln.tag} {self.name}"


class Fitting(models.Model):
    """What sat in a position from when to when, and why it came out: the life record."""

    class Removal(models.TextChoices):
        FAILED = "failed", _("it failed")
        WORN = "worn", _("worn, before it failed")
        PLANNED = "planned", _("exchanged by plan")
        OTHER = "other", _("another reason")

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="fittings")
    part_code = models.CharField(_("part"), max_length=40, blank=True)
    fitted_at = models.DateTimeField(_("fitted"))
    removed_at = models.DateTimeField(_("removed"), null=True, blank=True)
    removal = models.CharField(_("why it came out"), max_length=12, choices=Removal.choices, blank=True)
    failure_mode = models.ForeignKey(
        FailureMode, on_delete=models.PROTECT, null=True, blank=True, related_name="fittings"
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["component", "fitted_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(removed_at__isnull=True) | models.Q(removed_at__gte=models.F("fitted_at")),
                name="fitting_removed_after_fitted",
            ),
            models.UniqueConstraint(
                fields=["component"], condition=models.Q(removed_at__isnull=True), name="fitting_one_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.component} {self.part_code}"


class MeterReading(models.Model):
    """A reading of a kiln's running-hours meter; an exchanged meter starts again from its own first value."""

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="meter_readings")
    read_at = models.DateTimeField(_("read"))
    running_h = QuantityField(_("running hours"))
    is_new_meter = models.BooleanField(_("first reading of a new meter"), default=False)

    objects = MeterReadingQuerySet.as_manager()

    class Meta:
        ordering = ["kiln", "read_at"]
        constraints = [
            models.UniqueConstraint(fields=["kiln", "read_at", "is_new_meter"], name="meter_read_once_at_a_time"),
            models.CheckConstraint(condition=models.Q(running_h__gte=0), name="meter_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.kiln} {self.running_h} h"
