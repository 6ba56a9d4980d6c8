"""Function checks, findings, defects and proof tests."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from maintenance.models.catalogue import CheckPoint
from maintenance.models.querysets import (
    CheckItemQuerySet,
    DefectQuerySet,
    FindingQuerySet,
    FunctionCheckQuerySet,
    ProofTestQuerySet,
)
from plant.fields import MoneyField
from plant.models import Component, FailureMode, Kiln, Person
from plant.pictures import marks


class FunctionCheck(models.Model):
    """A look at every point of a kiln, over as many sittings and days as it takes."""

    number = models.CharField(_("number"), max_length=20, unique=True)
    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="checks")
    started_at = models.DateTimeField(_("started"))
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    completed_at = models.DateTimeField(_("completed"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    objects = FunctionCheckQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["kiln"],
                condition=Q(completed_at__isnull=True, withdrawn_at__isnull=True),
                name="check_one_under_way_per_kiln",
            )
        ]

    def __str__(self) -> str:
        return self.number

    def get_absolute_url(self) -> str:
        """Return the check's page."""
        return reverse("maintenance:check", args=[self.number])


class CheckItem(models.Model):
    """One point of one check on one component (or on the kiln as a whole)."""

    check_up = models.ForeignKey(FunctionCheck, on_delete=models.CASCADE, related_name="items")
    point = models.ForeignKey(CheckPoint, on_delete=models.PROTECT, related_name="+")
    # What it said when the check began; empty: its first version.
    point_version = models.PositiveIntegerField(null=True, blank=True)
    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    is_substitute = models.BooleanField(_("stands in for a point that could not be seen"), default=False)

    objects = CheckItemQuerySet.as_manager()

    class Meta:
        ordering = ["check_up", "point__end_view_no", "point__code", "component__tag"]
        constraints = [
            models.UniqueConstraint(fields=["check_up", "point", "component"], name="check_item_once_per_component"),
            models.UniqueConstraint(
                fields=["check_up", "point"], condition=Q(component__isnull=True), name="check_item_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.point}: {self.component or ''}"


class Sitting(models.Model):
    """A part of a check that was done in one go, in one state of the kiln."""

    check_up = models.ForeignKey(FunctionCheck, on_delete=models.CASCADE, related_name="sittings")
    kiln_state = models.CharField(_("kiln"), max_length=12, choices=CheckPoint.SeenIn.choices)
    started_at = models.DateTimeField(_("started"))
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["started_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["check_up", "by"], condition=Q(ended_at__isnull=True), name="sitting_one_open_per_person"
            )
        ]

    def __str__(self) -> str:
        return f"{self.check_up} {self.kiln_state}"


class Finding(models.Model):
    """What was found at a point; a later one corrects an earlier one. The table refuses UPDATE and DELETE.

    Where two people look at the same time and find different things neither corrects the other: the later entry names
    the one that it is ``against``, and the worse of the two counts until an entry ``confirms`` one of them.
    """

    class Result(models.TextChoices):
        SOUND = marks.SOUND.code, marks.SOUND.word
        WORN = marks.WORN.code, marks.WORN.word
        DEFECT = marks.DEFECT.code, marks.DEFECT.word
        NOT_SEEN = marks.NOT_SEEN.code, marks.NOT_SEEN.word

    key = models.UUIDField(unique=True)
    item = models.ForeignKey(CheckItem, on_delete=models.PROTECT, related_name="findings")
    sitting = models.ForeignKey(Sitting, on_delete=models.PROTECT, related_name="findings")
    result = models.CharField(max_length=8, choices=Result.choices)
    failure_mode = models.ForeignKey(FailureMode, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(_("why it could not be seen"), max_length=200, blank=True)
    note = models.TextField(_("note"), blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    against = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    confirms = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = FindingQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.item}: {self.result}"

    @property
    def is_taken_back(self) -> bool:
        """Say whether whoever entered it took it back."""
        return hasattr(self, "taken_back")

    @property
    def is_disputed(self) -> bool:
        """Say whether it still stands against what somebody else found."""
        return self.against is not None and not self.against.is_taken_back

    @property
    def counting(self) -> "Finding":
        """Return what counts of a finding and the one it is against: the worse."""
        if not self.is_disputed or self.against is None:
            return self
        return min(self, self.against, key=lambda one: marks.WORST_FIRST.index(one.result))


class TakenBack(models.Model):
    """That whoever entered a finding took it back in the same sitting. The table refuses UPDATE and DELETE."""

    key = models.UUIDField(unique=True)
    finding = models.OneToOneField(Finding, on_delete=models.PROTECT, related_name="taken_back")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.finding_id} {self.at:%Y-%m-%d %H:%M}"


class Defect(models.Model):
    """Something in a kiln that is not as it should be."""

    class Likelihood(models.TextChoices):
        SURE = "sure", _("it is failing now")
        SOON = "soon", _("before the next opening")
        LATER = "later", _("some time later")

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="defects")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="defects")
    failure_mode = models.ForeignKey(
        FailureMode, on_delete=models.PROTECT, null=True, blank=True, related_name="defects"
    )
    finding = models.OneToOneField(Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="defect")
    found_at = models.DateTimeField(_("found"))
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    what = models.CharField(_("what is wrong"), max_length=200)
    consequence = models.TextField(_("consequence"), blank=True)
    likelihood = models.CharField(_("likelihood"), max_length=8, choices=Likelihood.choices, default=Likelihood.SOON)
    cost_of_delay_per_day = MoneyField(_("cost of delay per day"), default=0)
    is_safety = models.BooleanField(_("safety"), default=False)
    blocks_entry = models.BooleanField(_("blocks entry"), default=False)
    cured_at = models.DateTimeField(_("mended"), null=True, blank=True)

    objects = DefectQuerySet.as_manager()

    class Meta:
        ordering = ["-found_at"]

    def __str__(self) -> str:
        return f"{self.component or self.kiln}: {self.what}"


class ProofTest(models.Model):
    """A test of something that fails unseen (an escape door). The table refuses UPDATE and DELETE."""

    class Outcome(models.TextChoices):
        PASSED = "passed", _("passed")
        FAILED = "failed", _("failed")

    key = models.UUIDField(unique=True)
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="proof_tests")
    work_order = models.ForeignKey(
        "maintenance.WorkOrder", on_delete=models.PROTECT, null=True, blank=True, related_name="proof_tests"
    )
    tested_at = models.DateTimeField(_("tested"))
    tested_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    outcome = models.CharField(max_length=8, choices=Outcome.choices)
    seal_no = models.CharField(_("number of the seal"), max_length=40, blank=True)
    next_due_on = models.DateField(_("next due"))
    note = models.TextField(_("note"), blank=True)

    objects = ProofTestQuerySet.as_manager()

    class Meta:
        ordering = ["-tested_at"]
        constraints = [
            models.CheckConstraint(condition=Q(outcome="failed") | ~Q(seal_no=""), name="proof_test_passed_has_seal")
        ]

    def __str__(self) -> str:
        return f"{self.component} {self.tested_at:%Y-%m-%d} {self.outcome}"
