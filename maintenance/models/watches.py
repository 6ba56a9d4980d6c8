"""Watches on the readings, what they raised, and the tests that a chamber runs on itself."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from maintenance.models.catalogue import TaskSheet
from maintenance.models.checks import Defect
from maintenance.models.querysets import FiringQuerySet, WatchQuerySet
from maintenance.models.work import WorkOrder
from plant.fields import SentencesField
from plant.models import Component, ComponentKind, Kiln


class Watch(models.Model):
    """A condition on a kiln's readings that gives a hint or raises a work order."""

    class Severity(models.TextChoices):
        NOTICE = "notice", _("gives a hint")
        WORK_ORDER = "work_order", _("raises a work order")

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="watches")
    code = models.SlugField(_("code"), max_length=60)
    name = models.CharField(_("name"), max_length=120)
    # What it looks at and when: codes and numbers that maintenance.calculations reads.
    signal = models.CharField(_("looks at"), max_length=80)
    rule = models.CharField(_("rule"), max_length=30)
    parameters = models.JSONField(default=dict)
    phases = models.JSONField(_("phases"), default=list)
    severity = models.CharField(_("when it speaks up it"), max_length=10, choices=Severity.choices)
    component_kind = models.ForeignKey(
        ComponentKind, on_delete=models.PROTECT, null=True, blank=True, related_name="watches"
    )
    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="watches")
    # Codes of failure modes, the most likely first.
    failure_modes = models.JSONField(default=list)
    sheet = models.ForeignKey(TaskSheet, on_delete=models.PROTECT, null=True, blank=True, related_name="watches")
    sentence = models.TextField(_("what it says"))
    loss_kind = models.CharField(max_length=40, blank=True)
    due_days = models.PositiveIntegerField(_("days until the work is due"), default=7)
    safety_days = models.PositiveIntegerField(_("days until the safety date"), null=True, blank=True)
    agrees_within_days = models.PositiveIntegerField(_("a second rule agrees within days"), default=14)
    is_shipped = models.BooleanField(_("ships with the software"), default=False)
    is_on = models.BooleanField(_("switched on"), default=False)
    switched_on_at = models.DateTimeField(_("switched on"), null=True, blank=True)
    source = models.CharField(_("source"), max_length=300, blank=True)
    source_status = models.CharField(_("how sure"), max_length=120, blank=True)
    version = models.PositiveIntegerField(default=0)
    # How far it has looked and the handful of numbers that it carries on.
    looked_until_s = models.BigIntegerField(null=True, blank=True)
    carried = models.JSONField(default=dict)

    objects = WatchQuerySet.as_manager()

    class Meta:
        ordering = ["kiln", "name"]
        constraints = [models.UniqueConstraint(fields=["kiln", "code"], name="watch_once_per_kiln")]

    def __str__(self) -> str:
        return f"{self.kiln.tag} {self.name}"

    def get_absolute_url(self) -> str:
        """Return the watch's page."""
        return reverse("maintenance:watch", args=[self.pk])


class Firing(models.Model):
    """That a watch fired: when, with which value, what it says and suspects, and whether it was right."""

    class Verdict(models.TextChoices):
        OPEN = "", _("not judged yet")
        RIGHT = "right", _("right")
        WRONG = "wrong", _("false")

    watch = models.ForeignKey(Watch, on_delete=models.PROTECT, related_name="firings")
    begin_at = models.DateTimeField(_("since"))
    end_at = models.DateTimeField(_("until"), null=True, blank=True)
    noticed_at = models.DateTimeField(_("noticed"))
    worst_value = models.FloatField(null=True)
    sentence = SentencesField(_("what it says"))
    # Readings before and after, thinned for a chart; the suspects, the most likely first.
    picture = models.JSONField(default=dict)
    suspects = models.JSONField(default=list)
    is_notice = models.BooleanField(_("hint only"), default=False)
    work_order = models.ForeignKey(WorkOrder, on_delete=models.PROTECT, null=True, blank=True, related_name="firings")
    verdict = models.CharField(_("was it right?"), max_length=5, choices=Verdict.choices, blank=True, default="")
    verdict_why = models.CharField(_("why"), max_length=200, blank=True)
    judged_at = models.DateTimeField(null=True, blank=True)
    judged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, null=True, blank=True, related_name="firings")

    objects = FiringQuerySet.as_manager()

    class Meta:
        ordering = ["-begin_at", "-id"]
        # Serves the list of what was raised, and whether one is open.
        indexes = [models.Index(fields=["watch", "-begin_at"], name="firing_by_watch")]
        constraints = [
            models.UniqueConstraint(fields=["watch", "begin_at"], name="firing_once"),
            models.CheckConstraint(
                condition=Q(end_at__isnull=True) | Q(end_at__gte=F("begin_at")), name="firing_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.watch} {self.begin_at:%Y-%m-%d %H:%M}"


class ChamberTest(models.Model):
    """A test that a chamber ran on itself: its figure with bounds, or why the readings cannot carry one.

    The table refuses UPDATE and DELETE.
    """

    class Kind(models.TextChoices):
        TIGHTNESS = "tightness", _("tightness")
        HEAT_LOSS = "heat_loss", _("heat loss")

    class Fans(models.TextChoices):
        ON = "on", _("fans on")
        OFF = "off", _("fans off")

    key = models.UUIDField(unique=True)
    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="chamber_tests")
    kind = models.CharField(_("test"), max_length=10, choices=Kind.choices)
    fans = models.CharField(_("fans"), max_length=3, choices=Fans.choices)
    begin_at = models.DateTimeField(_("from"))
    end_at = models.DateTimeField(_("until"))
    # Air changes per hour, or W/K.
    value = models.FloatField(null=True)
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    refused_why = models.TextField(_("why there is no figure"), blank=True)
    details = models.JSONField(default=dict)
    work_order = models.ForeignKey(
        WorkOrder, on_delete=models.PROTECT, null=True, blank=True, related_name="chamber_tests"
    )
    note = models.CharField(_("note"), max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["kiln", "kind", "begin_at"]
        constraints = [
            models.CheckConstraint(condition=Q(end_at__gt=F("begin_at")), name="chamber_test_in_order"),
            models.CheckConstraint(
                condition=Q(value__isnull=False, low__lte=F("value"), high__gte=F("value"), refused_why="")
                | (Q(value__isnull=True, low__isnull=True, high__isnull=True) & ~Q(refused_why="")),
                name="chamber_test_figure_or_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kiln} {self.kind} {self.begin_at:%Y-%m-%d}"
