"""Work orders, their steps, parts and people, and where they were placed."""

from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inventory.models import Part, Reservation
from maintenance.models.catalogue import NeedsState, TaskSheet
from maintenance.models.checks import Defect, FunctionCheck
from maintenance.models.querysets import FINISHED_STATES, STATES_BEFORE_START, WorkOrderQuerySet
from maintenance.models.standing import StandingTask
from plant import clock
from plant.fields import MoneyField, QuantityField, SentencesField
from plant.models import Charge, Component, Downtime, Kiln, Person, Skill


class WorkOrder(models.Model):
    """A job to be done on a kiln."""

    class State(models.TextChoices):
        RAISED = "raised", _("raised")
        READY = "ready", _("ready")
        PLACED = "placed", _("placed")
        UNDER_WAY = "under_way", _("under way")
        DONE = "done", _("done")
        SIGNED_OFF = "signed_off", _("signed off")
        WITHDRAWN = "withdrawn", _("withdrawn")

    BEFORE_START = STATES_BEFORE_START

    class Origin(models.TextChoices):
        STANDING_TASK = "standing_task", _("recurring task")
        FINDING = "finding", _("finding")
        WATCH = "watch", _("watch")
        ASKED_FOR = "asked_for", _("asked for")
        FUNCTION_CHECK = "function_check", _("function check")

    number = models.CharField(_("number"), max_length=20, unique=True)
    title = models.CharField(_("job"), max_length=160)
    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="work_orders")
    component = models.ForeignKey(
        Component, on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders"
    )
    # The components of a job that names several: each has its own steps.
    covers = models.ManyToManyField(Component, blank=True, related_name="covered_by")
    # What asked for it first. What joined since stands beside it: recurring task, finding, firings of watches.
    origin = models.CharField(_("origin"), max_length=14, choices=Origin.choices)
    standing_task = models.ForeignKey(
        StandingTask, on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders"
    )
    occurrence_on = models.DateField(_("occurrence"), null=True, blank=True)
    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders")
    # The function check whose points are to be looked at; the state that the job needs says which part of it.
    check_up = models.ForeignKey(
        FunctionCheck, on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders"
    )
    sheet = models.ForeignKey(TaskSheet, on_delete=models.PROTECT, null=True, blank=True, related_name="work_orders")
    # The version of the sheet that it is done by; empty: its first.
    sheet_version = models.PositiveIntegerField(_("version of the task sheet"), null=True, blank=True)
    state = models.CharField(max_length=12, choices=State.choices, default=State.RAISED)
    needs_state = models.CharField(_("needs the kiln"), max_length=8, choices=NeedsState.choices)
    hours = QuantityField(_("hours"))
    crew = models.PositiveSmallIntegerField(_("crew"), default=1)
    earliest_at = models.DateTimeField(_("not before"), null=True, blank=True)
    due_at = models.DateTimeField(_("due"))
    safety_at = models.DateTimeField(_("safety date"), null=True, blank=True)
    is_safety = models.BooleanField(_("safety work"), default=False)
    cost_of_delay_per_day = MoneyField(_("cost of delay per day"), default=0)
    # Why a watch could not say what waiting costs; until somebody enters a cost, that is no cost of 0.
    cost_unknown_why = SentencesField(_("why waiting has no price"))
    why = SentencesField(_("why"))
    no_place_why = SentencesField(_("why it has no place"))
    # It was kept at a place that no longer held, and lost that: told until somebody keeps it anew or lets it move.
    pin_lost_why = SentencesField(_("why it was not kept at its place"))
    # Taken out of the plan by hand: it stays out until it is put back, or has no place before a day.
    left_out_at = models.DateTimeField(_("left out of the plan"), null=True, blank=True)
    left_out_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    left_out_why = models.CharField(_("why it is left out"), max_length=200, blank=True)
    not_before_on = models.DateField(_("not wanted before"), null=True, blank=True)
    raised_at = models.DateTimeField(_("raised"))
    started_at = models.DateTimeField(_("started"), null=True, blank=True)
    # The people are out and the work is not finished; empty while somebody is at it.
    paused_at = models.DateTimeField(_("paused"), null=True, blank=True)
    done_at = models.DateTimeField(_("done"), null=True, blank=True)
    signed_off_at = models.DateTimeField(_("signed off"), null=True, blank=True)
    signed_off_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_why = models.CharField(_("why withdrawn"), max_length=200, blank=True)
    result = models.TextField(_("what was done"), blank=True)
    caused_downtime = models.ForeignKey(
        Downtime, on_delete=models.PROTECT, null=True, blank=True, related_name="caused_by"
    )
    cured_downtime = models.ForeignKey(
        Downtime, on_delete=models.PROTECT, null=True, blank=True, related_name="cured_by"
    )
    version = models.PositiveIntegerField(default=0)

    objects = WorkOrderQuerySet.as_manager()

    class Meta:
        ordering = ["due_at", "number"]
        indexes = [
            # Serves the lists of open work and a kiln's page.
            models.Index(fields=["state", "due_at"], name="work_by_state_due"),
            models.Index(fields=["kiln", "state"], name="work_by_kiln_state"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["standing_task", "occurrence_on"],
                # What was withdrawn may be raised again where its date was skipped, and that is taken back.
                condition=Q(standing_task__isnull=False) & ~Q(state="withdrawn"),
                name="work_order_once_per_occurrence",
            ),
            models.UniqueConstraint(
                fields=["defect"],
                condition=Q(defect__isnull=False) & ~Q(state="withdrawn"),
                name="work_order_once_per_defect",
            ),
            # Done work may be sent back, so it counts until it is signed off.
            models.UniqueConstraint(
                fields=["check_up", "needs_state"],
                condition=Q(check_up__isnull=False) & ~Q(state__in=["signed_off", "withdrawn"]),
                name="work_order_once_per_part_of_check",
            ),
            models.CheckConstraint(condition=Q(hours__gt=0, crew__gte=1), name="work_order_takes_time"),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | ~Q(withdrawn_why=""), name="work_order_withdrawn_says_why"
            ),
            models.CheckConstraint(
                condition=(Q(left_out_at__isnull=True) & Q(not_before_on__isnull=True)) | ~Q(left_out_why=""),
                name="work_order_left_out_says_why",
            ),
            models.CheckConstraint(
                condition=Q(standing_task__isnull=True) | Q(occurrence_on__isnull=False),
                name="work_order_names_occurrence",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    def get_absolute_url(self) -> str:
        """Return the work order's page."""
        return reverse("maintenance:work-order", args=[self.number])

    @property
    def is_wanted_at_once(self) -> bool:
        """Say whether it mends what keeps everybody out of a chamber, and is still to be done."""
        if self.state in FINISHED_STATES or self.defect is None:
            return False
        return self.defect.blocks_entry and self.defect.cured_at is None

    @property
    def is_overdue(self) -> bool:
        """Say whether its due date has passed and it is still to be done."""
        return self.state not in FINISHED_STATES and self.due_at < clock.now()

    @property
    def is_paused(self) -> bool:
        """Say whether it is begun and not finished, and nobody is at it."""
        return self.state == self.State.UNDER_WAY and self.paused_at is not None

    @property
    def is_left_out(self) -> bool:
        """Say whether it stays out of the plan until somebody puts it back."""
        return self.left_out_at is not None and self.not_before_on is None

    @property
    def minutes(self) -> int:
        """Return how long it takes, in whole minutes."""
        return max(1, round(Decimal(self.hours) * 60))

    @property
    def latest_at(self) -> datetime | None:
        """Return by when safety work must be done: its safety date, else when it is due; None for other work."""
        return (self.safety_at or self.due_at) if self.is_safety or self.safety_at else None

    @property
    def is_cost_unknown(self) -> bool:
        """Whether nobody can say yet what waiting costs."""
        return bool(self.cost_unknown_why) and not self.cost_of_delay_per_day

    @property
    def delay_cents_per_hour(self) -> Fraction:
        """Return what an hour's delay costs, to the fraction of a cent."""
        return Fraction(Decimal(self.cost_of_delay_per_day)) * 100 / 24

    @property
    def cost_of_delay_per_work_h(self) -> Decimal:
        """Return the cost of a day's delay for each hour of work: the rank among jobs."""
        return Decimal(self.cost_of_delay_per_day) / Decimal(self.hours)


class WorkSkill(models.Model):
    """How many people of a skill a work order needs."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="skills")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="+")
    persons = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["work_order", "skill"], name="work_skill_once")]

    def __str__(self) -> str:
        return f"{self.persons} x {self.skill}"


class WorkStep(models.Model):
    """A step of a work order, taken from its task sheet when it was raised."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="steps")
    no = models.PositiveSmallIntegerField()
    text = models.TextField(_("step"))
    reading_name = models.CharField(max_length=80, blank=True)
    reading_unit = models.CharField(max_length=20, blank=True)
    low = QuantityField(null=True, blank=True)
    high = QuantityField(null=True, blank=True)
    is_required = models.BooleanField(default=True)

    class Meta:
        ordering = ["work_order", "no"]
        constraints = [models.UniqueConstraint(fields=["work_order", "no"], name="work_step_once")]

    def __str__(self) -> str:
        return f"{self.no}. {self.text}"


class StepRecord(models.Model):
    """That a step was done, with its reading; a later record corrects an earlier one. Refuses UPDATE and DELETE."""

    key = models.UUIDField(unique=True)
    step = models.ForeignKey(WorkStep, on_delete=models.PROTECT, related_name="records")
    is_done = models.BooleanField(default=True)
    reading = QuantityField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.step_id} {self.is_done}"


class WorkPart(models.Model):
    """A part that a work order needs, and what was set aside for it."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="parts")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    quantity = QuantityField(_("quantity"))
    reservation = models.OneToOneField(
        Reservation, on_delete=models.PROTECT, null=True, blank=True, related_name="work_part"
    )

    class Meta:
        ordering = ["work_order", "part__name"]
        constraints = [
            models.UniqueConstraint(fields=["work_order", "part"], name="work_part_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="work_part_quantity"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.part}"


class Assignment(models.Model):
    """Somebody who is to do a work order."""

    work_order = models.ForeignKey(WorkOrder, on_delete=models.CASCADE, related_name="assignments")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="assignments")

    class Meta:
        ordering = ["work_order", "person__name"]
        constraints = [models.UniqueConstraint(fields=["work_order", "person"], name="assignment_once")]

    def __str__(self) -> str:
        return f"{self.person}"


class Labour(models.Model):
    """Time that somebody worked on a work order. Refuses UPDATE and DELETE; a negative entry corrects."""

    key = models.UUIDField(unique=True)
    work_order = models.ForeignKey(WorkOrder, on_delete=models.PROTECT, related_name="labour")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    minutes = models.IntegerField(_("minutes"))
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["at", "id"]
        constraints = [models.CheckConstraint(condition=~Q(minutes=0), name="labour_takes_time")]

    def __str__(self) -> str:
        return f"{self.person} {self.minutes} min"


class Placement(models.Model):
    """Where a work order has its place: a span of time in an opening or a running phase, and why there."""

    work_order = models.OneToOneField(WorkOrder, on_delete=models.CASCADE, related_name="placement")
    start_at = models.DateTimeField(_("from"))
    end_at = models.DateTimeField(_("until"))
    after_charge = models.ForeignKey(
        Charge,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="placements_after",
        verbose_name=_("after charge"),
    )
    during_charge = models.ForeignKey(
        Charge,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="placements_during",
        verbose_name=_("during charge"),
    )
    is_pinned = models.BooleanField(_("keeps its place"), default=False)
    why = SentencesField(_("why here"))

    class Meta:
        ordering = ["start_at"]
        constraints = [models.CheckConstraint(condition=Q(end_at__gt=F("start_at")), name="placement_in_order")]

    def __str__(self) -> str:
        return f"{self.work_order_id} {self.start_at:%Y-%m-%d %H:%M}"

    @property
    def is_after_safety_date(self) -> bool:
        """Say whether it ends after a safety date of its job that is still ahead."""
        order = self.work_order
        if not order.is_safety or order.safety_at is None:
            return False
        return self.end_at > order.safety_at > clock.now()
