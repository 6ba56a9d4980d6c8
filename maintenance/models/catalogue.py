"""The catalogue: check points, task sheets and cautions, as they ship with the product."""

from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inventory.models import PartKind
from maintenance.models.querysets import CautionQuerySet
from maintenance.models.versions import Kept
from plant.fields import QuantityField
from plant.models import ComponentKind, Skill


class NeedsState(models.TextChoices):
    """The state of the kiln that a job needs."""

    RUNNING = "running", _("running")
    EMPTY = "empty", _("open and empty")
    STILL = "still", _("stopped")
    ANY = "any", _("any")


# As the catalogue's files write it.
ALL_STATES = "running; still; empty"


class Sourced(models.Model):
    """A row of the catalogue says where it comes from and how sure that is."""

    source = models.CharField(_("source"), max_length=400, blank=True)
    source_status = models.CharField(_("how sure"), max_length=160, blank=True)

    class Meta:
        abstract = True


class Caution(Sourced):
    """A hazard of a kind of work, and what must be so before it starts."""

    code = models.SlugField(max_length=60, unique=True)
    title = models.CharField(_("title"), max_length=120)
    text = models.TextField(_("hazard"))
    # In which states of the kiln it holds, and what can be so there: with the kiln off, and beside it while it runs.
    states = models.CharField(_("holds with the kiln"), max_length=40, default=ALL_STATES)
    is_inside = models.BooleanField(_("holds inside the chamber alone"), default=False)
    energies = models.CharField(_("energies to lock out"), max_length=120, blank=True)
    before_start = models.TextField(_("before the start"), blank=True)
    beside_running = models.TextField(_("beside the running kiln"), blank=True)

    objects = CautionQuerySet.as_manager()

    # What must be so in the state for which it was asked for: see maintenance.models.cautions.
    must_be_so: str

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.title


class CheckPoint(Kept, Sourced):
    """A point of the function check, and the state of the kiln in which it can be seen."""

    class SeenIn(models.TextChoices):
        RUNNING = "running", _("running")
        OPEN_EMPTY = "open_empty", _("open and empty")
        EITHER = "either", _("either")

    class Per(models.TextChoices):
        COMPONENT = "component", _("each component")
        KILN = "kiln", _("the kiln once")

    class IntervalIs(models.TextChoices):
        PUBLISHED = "published", _("published")
        OWN_CHOICE = "own_choice", _("the mill's own choice")

    code = models.SlugField(max_length=60, unique=True)
    kind = models.ForeignKey(ComponentKind, on_delete=models.PROTECT, related_name="check_points")
    end_view_no = models.PositiveSmallIntegerField(_("number in the end view"))
    what = models.CharField(_("what"), max_length=200)
    seen_in = models.CharField(_("can be seen"), max_length=12, choices=SeenIn.choices)
    method = models.TextField(_("how to look"))
    criterion = models.TextField(_("sound when"))
    substitute = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="stands_in_for"
    )
    substitute_when = models.CharField(_("substitute where"), max_length=200, blank=True)
    blocks_entry = models.BooleanField(_("a fault blocks entry"), default=False)
    per = models.CharField(max_length=10, choices=Per.choices, default=Per.KILN)
    interval_text = models.CharField(_("interval"), max_length=200, blank=True)
    interval_days = models.PositiveIntegerField(_("interval in days"), null=True, blank=True)
    interval_is = models.CharField(max_length=12, choices=IntervalIs.choices, default=IntervalIs.OWN_CHOICE)
    cautions = models.ManyToManyField(Caution, blank=True, related_name="check_points")

    class Meta:
        ordering = ["end_view_no", "code"]
        constraints = [models.CheckConstraint(condition=~Q(substitute=F("id")), name="check_point_not_own_substitute")]

    def __str__(self) -> str:
        return self.what

    def get_absolute_url(self) -> str:
        """Return the check point's page."""
        return reverse("maintenance:check-point", args=[self.code])


class TaskSheet(Kept, Sourced):
    """How a job is done: steps, state of the kiln, skills, crew, hours, parts, cautions."""

    code = models.SlugField(max_length=60, unique=True)
    title = models.CharField(_("title"), max_length=160)
    kind = models.ForeignKey(ComponentKind, on_delete=models.PROTECT, related_name="task_sheets")
    needs_state = models.CharField(_("needs the kiln"), max_length=8, choices=NeedsState.choices)
    hours = QuantityField(_("hours"))
    crew = models.PositiveSmallIntegerField(_("crew"), default=1)
    is_proof_test = models.BooleanField(_("proof test"), default=False)
    is_safety = models.BooleanField(_("safety work"), default=False)
    purpose = models.TextField(_("purpose"), blank=True)
    cautions = models.ManyToManyField(Caution, blank=True, related_name="task_sheets")

    class Meta:
        ordering = ["kind__end_view_no", "title"]
        constraints = [models.CheckConstraint(condition=Q(hours__gt=0, crew__gte=1), name="task_sheet_takes_time")]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        """Return the task sheet's page."""
        return reverse("maintenance:task-sheet", args=[self.code])


class TaskSkill(models.Model):
    """How many people of a skill a task sheet asks for."""

    sheet = models.ForeignKey(TaskSheet, on_delete=models.CASCADE, related_name="skills")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="+")
    persons = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["sheet", "skill"], name="task_skill_once")]

    def __str__(self) -> str:
        return f"{self.persons} x {self.skill}"


class TaskStep(models.Model):
    """A step of a task sheet, with the reading it asks for."""

    sheet = models.ForeignKey(TaskSheet, on_delete=models.CASCADE, related_name="steps")
    no = models.PositiveSmallIntegerField()
    text = models.TextField(_("step"))
    reading_name = models.CharField(_("reading"), max_length=80, blank=True)
    reading_unit = models.CharField(_("unit"), max_length=20, blank=True)
    low = QuantityField(_("not below"), null=True, blank=True)
    high = QuantityField(_("not above"), null=True, blank=True)
    is_required = models.BooleanField(_("must be done"), default=True)

    class Meta:
        ordering = ["sheet", "no"]
        constraints = [models.UniqueConstraint(fields=["sheet", "no"], name="task_step_once")]

    def __str__(self) -> str:
        return f"{self.no}. {self.text}"


class TaskPart(models.Model):
    """What a task sheet uses up."""

    sheet = models.ForeignKey(TaskSheet, on_delete=models.CASCADE, related_name="parts")
    part_kind = models.ForeignKey(PartKind, on_delete=models.PROTECT, related_name="+")
    quantity = QuantityField(_("quantity"))

    class Meta:
        constraints = [models.UniqueConstraint(fields=["sheet", "part_kind"], name="task_part_once")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.part_kind}"


class StandingDefault(Sourced):
    """The interval that a mill may start from; nearly always the mill's own choice."""

    sheet = models.OneToOneField(TaskSheet, on_delete=models.CASCADE, related_name="standing_default")
    every = models.PositiveIntegerField()
    every_unit = models.CharField(max_length=14)
    window_before = models.PositiveIntegerField(default=0)
    window_after = models.PositiveIntegerField(default=0)
    reset_early = models.CharField(max_length=12)
    reset_inside = models.CharField(max_length=12)
    reset_late = models.CharField(max_length=12)
    interval_is = models.CharField(max_length=12, choices=CheckPoint.IntervalIs.choices)

    def __str__(self) -> str:
        return f"{self.sheet} every {self.every} {self.every_unit}"
