"""Recurring tasks, what was missed of them, and the days that were worked out."""

from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from maintenance.models.catalogue import TaskSheet
from maintenance.models.querysets import DayRunQuerySet, StandingTaskQuerySet
from plant import clock
from plant.fields import MoneyField, QuantityField, SentencesField
from plant.models import Component, Kiln


def day_of_entry() -> date:
    """Return the present day where nobody says which day it is at the mill."""
    return clock.now().date()


class StandingTask(models.Model):
    """A task sheet that recurs on a kiln or one of its components."""

    class Unit(models.TextChoices):
        DAY = "day", _("days")
        WEEK = "week", _("weeks")
        MONTH = "month", _("months")

    class MonthEnd(models.TextChoices):
        LAST_DAY = "last_day", _("on the last day of the month")
        SKIP = "skip", _("not in that month")
        NEXT_FIRST = "next_first", _("on the first day of the month after")

    class Reset(models.TextChoices):
        ANCHORED = "anchored", _("the series stays where it was")
        COMPLETION = "completion", _("the series starts again from the day it was done")

    code = models.SlugField(_("code"), max_length=60, unique=True)
    sheet = models.ForeignKey(TaskSheet, on_delete=models.PROTECT, related_name="standing_tasks")
    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="standing_tasks")
    component = models.ForeignKey(
        Component, on_delete=models.PROTECT, null=True, blank=True, related_name="standing_tasks"
    )
    anchor_on = models.DateField(_("counted from"))
    every = models.PositiveIntegerField(_("every"), null=True, blank=True)
    every_unit = models.CharField(_("unit"), max_length=6, choices=Unit.choices, blank=True)
    rrule = models.CharField(
        _("calendar rule"), max_length=200, blank=True, help_text=_("RFC 5545, for example FREQ=MONTHLY;BYDAY=1MO")
    )
    month_end = models.CharField(
        _("where a month has no such day"), max_length=12, choices=MonthEnd.choices, default=MonthEnd.LAST_DAY
    )
    every_running_h = models.PositiveIntegerField(_("every … running hours"), null=True, blank=True)
    every_charges = models.PositiveIntegerField(_("every … charges"), null=True, blank=True)
    window_before_days = models.PositiveIntegerField(_("may be done … days before"), default=0)
    window_after_days = models.PositiveIntegerField(_("and … days after"), default=0)
    window_before_running_h = models.PositiveIntegerField(
        _("may be done … running hours before"), default=0, blank=True
    )
    window_after_running_h = models.PositiveIntegerField(_("and … running hours after"), default=0, blank=True)
    window_before_charges = models.PositiveIntegerField(_("may be done … charges before"), default=0, blank=True)
    window_after_charges = models.PositiveIntegerField(_("and … charges after"), default=0, blank=True)
    reset_early = models.CharField(_("done too early"), max_length=12, choices=Reset.choices, default=Reset.COMPLETION)
    reset_inside = models.CharField(
        _("done inside the window"), max_length=12, choices=Reset.choices, default=Reset.ANCHORED
    )
    reset_late = models.CharField(_("done too late"), max_length=12, choices=Reset.choices, default=Reset.COMPLETION)
    is_safety = models.BooleanField(_("safety work"), default=False)
    is_interval_published = models.BooleanField(_("interval is published"), default=False)
    cost_of_delay_per_day = MoneyField(_("cost of delay per day"), default=0)
    last_done_on = models.DateField(_("last done"), null=True, blank=True)
    last_done_running_h = QuantityField(_("running hours when last done"), null=True, blank=True)
    last_done_charges = models.PositiveIntegerField(_("charges when last done"), null=True, blank=True)
    # What the last work had been due at: the reset rules are judged by it, also when the dates are worked out again.
    last_due_on = models.DateField(null=True, blank=True)
    last_due_running_h = QuantityField(null=True, blank=True)
    last_due_charges = models.PositiveIntegerField(null=True, blank=True)
    # The last occurrence that was withdrawn since the last work: its day, and the use since then at which it was due.
    passed_over_on = models.DateField(_("withdrawn occurrence"), null=True, blank=True)
    passed_over_running_h = QuantityField(null=True, blank=True)
    passed_over_charges = QuantityField(null=True, blank=True)
    entered_on = models.DateField(_("entered"), default=day_of_entry)
    next_due_on = models.DateField(_("next due"), null=True, blank=True)
    next_due_why = SentencesField()
    is_active = models.BooleanField(_("recurs"), default=True)
    version = models.PositiveIntegerField(default=0)

    objects = StandingTaskQuerySet.as_manager()

    class Meta:
        ordering = ["kiln", "next_due_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(every__gte=1) | ~Q(rrule="") | Q(every_running_h__gte=1) | Q(every_charges__gte=1),
                name="standing_task_recurs_somehow",
            ),
            models.CheckConstraint(condition=Q(every__isnull=True) | ~Q(every_unit=""), name="standing_task_has_unit"),
            models.CheckConstraint(condition=Q(every__isnull=True) | Q(rrule=""), name="standing_task_one_calendar"),
            *(
                models.CheckConstraint(
                    condition=Q(**{f"window_before_{meter}": 0, f"window_after_{meter}": 0})
                    | Q(**{f"every_{meter}__isnull": False, f"every_{meter}__gt": F(f"window_before_{meter}")}),
                    name=f"standing_task_window_fits_{meter}",
                )
                for meter in ("running_h", "charges")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.component or self.kiln}: {self.sheet}"

    def get_absolute_url(self) -> str:
        """Return the recurring task's page."""
        return reverse("maintenance:standing-task", args=[self.code])


class MissedOccurrence(models.Model):
    """A date of a recurring task on which nothing was done; the next one catches up for all of them."""

    standing_task = models.ForeignKey(StandingTask, on_delete=models.PROTECT, related_name="missed")
    due_on = models.DateField()
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["standing_task", "due_on"]
        constraints = [models.UniqueConstraint(fields=["standing_task", "due_on"], name="missed_once")]

    def __str__(self) -> str:
        return f"{self.standing_task} {self.due_on}"


class ChangedDate(models.Model):
    """A date of a recurring task that is skipped, or moved to another day, and why; taken back, it stands as before."""

    standing_task = models.ForeignKey(StandingTask, on_delete=models.PROTECT, related_name="changed_dates")
    due_on = models.DateField(_("date"))
    # Empty: skipped.
    moved_to_on = models.DateField(_("moved to"), null=True, blank=True)
    why = models.CharField(_("why"), max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    # The job that was raised for it and was withdrawn as it was skipped.
    work_order = models.ForeignKey(
        "maintenance.WorkOrder", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # Where running hours or charges count: the use at which it was due, and after which work it counts.
    passed_running_h = QuantityField(null=True, blank=True)
    passed_charges = QuantityField(null=True, blank=True)
    after_done_on = models.DateField(null=True, blank=True)
    taken_back_at = models.DateTimeField(_("taken back"), null=True, blank=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["standing_task", "due_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["standing_task", "due_on"], condition=Q(taken_back_at__isnull=True), name="changed_date_once"
            ),
            models.CheckConstraint(condition=~Q(why=""), name="changed_date_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.standing_task} {self.due_on}"

    @property
    def is_skipped(self) -> bool:
        """Say whether nothing is done for it."""
        return self.moved_to_on is None


class DayRun(models.Model):
    """A run of the day's work and what it found."""

    #: What the background calls it.
    TASK = "the day's work"

    day = models.DateField()
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    summary = models.JSONField(default=dict)

    objects = DayRunQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at"]

    def __str__(self) -> str:
        return f"{self.day}"
