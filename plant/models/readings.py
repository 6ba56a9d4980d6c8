"""Readings of the chambers: the channels, what came in by which way, days in short, and figures of a charge.

Readings are measured values, so they are floats in the unit of their quantity; ``at_s`` counts whole seconds since 1970
(UTC), because on SQLite a number compares several times as fast as a written instant.
"""

from datetime import UTC, datetime

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from plant.fields import SentencesField
from plant.models.charges import Charge
from plant.models.kilns import Component, Kiln
from plant.models.querysets import ReadingSourceQuerySet
from plant.models.tokens import SecretToken
from plant.physics.quantities import channel_key
from plant.validators import validate_time_zone


class Channel(models.Model):
    """One thing that is measured in one kiln."""

    class Quantity(models.TextChoices):
        AIR_TEMPERATURE = "air_temperature", _("air temperature")
        WET_BULB = "wet_bulb", _("wet-bulb temperature")
        RELATIVE_HUMIDITY = "relative_humidity", _("relative humidity")
        EMC = "emc", _("EMC of the plate")
        WOOD_MOISTURE = "wood_moisture", _("wood moisture")
        WOOD_TEMPERATURE = "wood_temperature", _("wood temperature")
        SET_AIR_TEMPERATURE = "set_air_temperature", _("air temperature set point")
        SET_WET_BULB = "set_wet_bulb", _("wet-bulb set point")
        SET_RELATIVE_HUMIDITY = "set_relative_humidity", _("relative humidity set point")
        SET_EMC = "set_emc", _("EMC set point")
        HEATING_VALVE = "heating_valve", _("heating valve")
        SPRAY_VALVE = "spray_valve", _("spray valve")
        FLAP_POSITION = "flap_position", _("flaps")
        FAN_DIRECTION = "fan_direction", _("direction of the air")
        FAN_SPEED = "fan_speed", _("fan speed")
        FAN_CURRENT = "fan_current", _("fan current")
        HEAT_POWER = "heat_power", _("heat")
        HEATING_SUPPLY_TEMPERATURE = "heating_supply_temperature", _("temperature of the heating medium")
        OUTSIDE_TEMPERATURE = "outside_temperature", _("outside temperature")
        OUTSIDE_HUMIDITY = "outside_humidity", _("outside humidity")
        DOOR_OPEN = "door_open", _("main door open")
        MESSAGE = "message", _("message of the controller")

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="channels")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="channels")
    quantity = models.CharField(_("quantity"), max_length=30, choices=Quantity.choices)
    place = models.SlugField(
        _("position"), max_length=12, blank=True, help_text=_("left, right or a number where there are several.")
    )
    every_s = models.PositiveIntegerField(
        _("seconds from one reading to the next"), default=60, validators=[MinValueValidator(1)]
    )
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        ordering = ["kiln", "quantity", "place"]
        constraints = [
            models.UniqueConstraint(fields=["kiln", "quantity", "place"], name="channel_once_per_kiln"),
            models.CheckConstraint(condition=Q(every_s__gte=1), name="channel_has_pace"),
        ]

    def __str__(self) -> str:
        return f"{self.kiln.tag} {self.get_quantity_display()} {self.place}".strip()

    @property
    def key(self) -> str:
        """Return the channel's key within its kiln, such as ``wet_bulb:left``."""
        return channel_key(self.quantity, self.place)


class Reading(models.Model):
    """One value of a channel at one second; its value never changes, its marks say why rules leave it out."""

    class Mark(models.IntegerChoices):
        """Reasons, as bits: a reading can have several."""

        OUT_OF_RANGE = 1, _("no sensor here can read that")
        NO_SUCH_AIR = 2, _("no air has that pair of dry and wet bulb")
        STANDS_STILL = 4, _("the value stands still")
        JUMP = 8, _("a jump away and back")
        AFTER_GAP = 16, _("the first after a gap")

    pk = models.CompositePrimaryKey("channel_id", "at_s")
    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, related_name="readings", db_index=False)
    at_s = models.BigIntegerField()
    value = models.FloatField()
    marks = models.SmallIntegerField(default=0)

    class Meta:
        constraints = [
            # Refuses what is no number as well: PostgreSQL sorts it above every number.
            models.CheckConstraint(condition=Q(value__gt=-1e12, value__lt=1e12), name="reading_is_a_number"),
            # From 2000 to 2100: everything else is a clock that was never set.
            models.CheckConstraint(condition=Q(at_s__gte=946684800, at_s__lt=4102444800), name="reading_in_our_time"),
        ]

    def __str__(self) -> str:
        return f"{self.channel_id} {self.at:%Y-%m-%d %H:%M:%S} {self.value}"

    @property
    def at(self) -> datetime:
        """Return the instant."""
        return datetime.fromtimestamp(self.at_s, UTC)


class ChannelDay(models.Model):
    """A calendar day of the mill of one channel in short, so that long spans stay fast."""

    channel = models.ForeignKey(Channel, on_delete=models.CASCADE, related_name="days")
    day = models.DateField()
    readings = models.PositiveIntegerField()
    marked = models.PositiveIntegerField()
    # Of the readings without a mark; null where every one has one.
    low = models.FloatField(null=True)
    mean = models.FloatField(null=True)
    high = models.FloatField(null=True)

    class Meta:
        ordering = ["channel", "day"]
        constraints = [
            models.UniqueConstraint(fields=["channel", "day"], name="channel_day_once"),
            models.CheckConstraint(condition=Q(marked__lte=F("readings")), name="channel_day_marks_within"),
        ]

    def __str__(self) -> str:
        return f"{self.channel_id} {self.day}"


class Unsettled(models.Model):
    """The span of a kiln's readings that came in and still waits for marks, days in short, and the watches."""

    kiln = models.OneToOneField(Kiln, on_delete=models.CASCADE, related_name="unsettled")
    from_s = models.BigIntegerField()
    until_s = models.BigIntegerField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(until_s__gte=F("from_s")), name="unsettled_in_order")]

    def __str__(self) -> str:
        return f"{self.kiln_id} {self.from_s}-{self.until_s}"


class ReadingSource(models.Model):
    """Where readings come from: files of a logger, a system that sends them, or a broker that is listened to."""

    class Way(models.TextChoices):
        FILES = "files", _("files of a logger")
        SENDS = "sends", _("a system that sends")
        BROKER = "broker", _("a broker (MQTT)")

    code = models.SlugField(_("code"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=80)
    way = models.CharField(_("way"), max_length=8, choices=Way.choices)
    is_active = models.BooleanField(_("in use"), default=True)
    last_heard_at = models.DateTimeField(_("last heard"), null=True, blank=True)
    # How its files are read, once somebody has confirmed it: delimiter, decimal sign, date form, zone, columns.
    file_form = models.JSONField(default=dict, blank=True)
    folder = models.CharField(_("folder that is watched"), max_length=300, blank=True)
    # A broker's address; its password comes from the environment, never from here.
    broker_host = models.CharField(_("broker"), max_length=200, blank=True)
    broker_port = models.PositiveIntegerField(_("port"), default=1883)
    broker_topic = models.CharField(_("topic"), max_length=200, blank=True)
    broker_user = models.CharField(_("user at the broker"), max_length=80, blank=True)
    is_broker_encrypted = models.BooleanField(_("encrypted"), default=False)
    time_zone = models.CharField(
        _("time zone"),
        max_length=64,
        blank=True,
        validators=[validate_time_zone],
        help_text=_("Of times that do not say it. Empty: the mill's."),
    )
    version = models.PositiveIntegerField(default=0)

    objects = ReadingSourceQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ChannelName(models.Model):
    """How a source calls a channel, and in which unit it writes it."""

    source = models.ForeignKey(ReadingSource, on_delete=models.CASCADE, related_name="names")
    name = models.CharField(_("name at the source"), max_length=200)
    channel = models.ForeignKey(Channel, on_delete=models.PROTECT, related_name="names")
    unit = models.CharField(_("unit at the source"), max_length=20, blank=True)

    class Meta:
        ordering = ["source", "name"]
        constraints = [models.UniqueConstraint(fields=["source", "name"], name="channel_name_once_per_source")]

    def __str__(self) -> str:
        return f"{self.name} -> {self.channel}"


class SourceToken(SecretToken):
    """What a sending system shows to be let in; kept as a digest only."""

    class Purpose(models.TextChoices):
        READINGS = "readings", _("sends readings")
        CHARGES = "charges", _("gives and takes charges")

    source = models.ForeignKey(ReadingSource, on_delete=models.CASCADE, related_name="tokens")
    purpose = models.CharField(_("for"), max_length=8, choices=Purpose.choices, default=Purpose.READINGS)

    class Meta:
        ordering = ["source", "-made_at"]

    def __str__(self) -> str:
        return f"{self.source} ...{self.tail}"


class FileIntake(models.Model):
    """A logger's file that was taken in, or refused with the reasons."""

    source = models.ForeignKey(ReadingSource, on_delete=models.PROTECT, related_name="intakes")
    file_name = models.CharField(_("file"), max_length=200)
    digest = models.CharField(max_length=64)
    at = models.DateTimeField(_("taken in"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    is_taken_in = models.BooleanField(default=True)
    read = models.PositiveIntegerField(_("readings in the file"), default=0)
    new = models.PositiveIntegerField(_("new"), default=0)
    known = models.PositiveIntegerField(_("known already"), default=0)
    differing = models.PositiveIntegerField(
        _("known with another value"), default=0, help_text=_("The first value that came is kept.")
    )
    first_at = models.DateTimeField(_("from"), null=True, blank=True)
    last_at = models.DateTimeField(_("until"), null=True, blank=True)
    faults = SentencesField()

    class Meta:
        ordering = ["-at", "-id"]
        # Serves "was this very file taken in before?".
        indexes = [models.Index(fields=["source", "digest"], name="file_intake_by_digest")]

    def __str__(self) -> str:
        return f"{self.source} {self.file_name}"


class ChargeFigure(models.Model):
    """A figure that stands for a whole charge, such as its heat-up time: what drift and trend look at."""

    charge = models.ForeignKey(Charge, on_delete=models.CASCADE, related_name="figures")
    code = models.CharField(max_length=40)
    value = models.FloatField(null=True)
    why_not = SentencesField(_("why there is none"))

    class Meta:
        ordering = ["charge", "code"]
        constraints = [
            models.UniqueConstraint(fields=["charge", "code"], name="charge_figure_once"),
            models.CheckConstraint(condition=Q(value__isnull=False) | ~Q(why_not=[]), name="charge_figure_or_why_not"),
        ]

    def __str__(self) -> str:
        return f"{self.charge_id} {self.code} {self.value}"
