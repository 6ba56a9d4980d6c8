"""Plans that are worked out beside the one that is issued, until the planner accepts one; and the lock-outs of that one."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.timezone import localtime
from django.utils.translation import gettext_lazy as _

from maintenance.models.querysets import PLAN_TO_DECIDE, STATES_WITH_LOCK_OUT, KilnStopQuerySet, PlanQuerySet
from maintenance.models.work import WorkOrder
from plant.models import Charge, Kiln, Person


class Plan(models.Model):
    """A plan for all jobs: the problem as it was drawn, the best plan found, what it costs and the proven bound.

    Minute 0 of problem and plan is ``base_at``. Nothing of it touches a work order before it is accepted.
    """

    class State(models.TextChoices):
        WANTED = "wanted", _("wanted")
        UNDER_WAY = "under_way", _("being worked out")
        WORKED_OUT = "worked_out", _("worked out")
        # It was cut off, and the best plan by then is kept: as good as any, but nobody knows what more time had brought.
        ENDED_EARLY = "ended", _("ended early")
        ACCEPTED = "accepted", _("accepted")
        SET_ASIDE = "set_aside", _("set aside")
        FAILED = "failed", _("failed")

    name = models.CharField(_("name"), max_length=120, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WANTED)
    wanted_at = models.DateTimeField(_("wanted"))
    wanted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # What is supposed to be otherwise than on record: a charge that slips, somebody away, a kiln kept, a late part.
    suppositions = models.JSONField(default=list, blank=True)
    # The jobs whose place on record did not hold when it was wanted.
    mends = models.JSONField(default=list, blank=True)
    seconds_allowed = models.PositiveIntegerField(_("seconds allowed"), default=60)
    wants_stop = models.BooleanField(default=False)
    # So often the solver was started for the problem as it is drawn.
    starts = models.PositiveSmallIntegerField(default=0)
    base_at = models.DateTimeField(_("drawn"), null=True, blank=True)
    # placing-problem/1; the ids of the charges by kiln, and of the charge before them; the version of each work order.
    problem = models.JSONField(default=dict, blank=True)
    charge_ids = models.JSONField(default=dict, blank=True)
    last_charge_ids = models.JSONField(default=dict, blank=True)
    versions = models.JSONField(default=dict, blank=True)
    # What is worth knowing of the drawing; jobs that could not be taken along, and safety dates that cannot be kept.
    notes = models.JSONField(default=list, blank=True)
    aside = models.JSONField(default=dict, blank=True)
    unsafe = models.JSONField(default=dict, blank=True)
    # Jobs that somebody keeps at a place that no longer holds: by work order, why, and when they begin there.
    pins_let_go = models.JSONField(default=dict, blank=True)
    # placing-plan/1 of the best plan found, checked before it is kept; and of the places that stood when it was drawn.
    plan = models.JSONField(default=dict, blank=True)
    as_it_stood = models.JSONField(default=dict, blank=True)
    # By work order, what a day of its delay costs by physics, by the mill's own charges and as assumed, in cents.
    sureness = models.JSONField(default=dict, blank=True)
    cost_cents = models.BigIntegerField(null=True, blank=True)
    bound_cents = models.BigIntegerField(null=True, blank=True)
    due_date_cents = models.BigIntegerField(null=True, blank=True)
    as_it_stood_cents = models.BigIntegerField(null=True, blank=True)
    is_best = models.BooleanField(_("proven best"), default=False)
    # Seconds, cost and bound of each step on the way.
    progress = models.JSONField(default=list, blank=True)
    ended_at = models.DateTimeField(_("worked out at"), null=True, blank=True)
    failure = models.TextField(_("failure"), blank=True)
    decided_at = models.DateTimeField(_("decided"), null=True, blank=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # What changed against the places that stood when it was accepted: number -> from, to, why.
    changes = models.JSONField(default=list, blank=True)
    version = models.PositiveIntegerField(default=0)

    objects = PlanQuerySet.as_manager()

    class Meta:
        ordering = ["-wanted_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(state__in=["worked_out", "ended", "accepted"])
                | Q(cost_cents__isnull=False, base_at__isnull=False),
                name="plan_worked_out_has_cost",
            ),
            models.CheckConstraint(
                condition=Q(bound_cents__isnull=True) | Q(bound_cents__lte=F("cost_cents")),
                name="plan_bound_below_cost",
            ),
            models.CheckConstraint(
                condition=~Q(state="accepted") | Q(decided_at__isnull=False), name="plan_accepted_says_when"
            ),
            models.CheckConstraint(condition=Q(seconds_allowed__gt=0), name="plan_takes_time"),
        ]

    def __str__(self) -> str:
        return self.name or f"{localtime(self.wanted_at):%Y-%m-%d %H:%M}"

    def get_absolute_url(self) -> str:
        """Return the plan's page."""
        return reverse("maintenance:plan", args=[self.pk])

    @property
    def is_at_work(self) -> bool:
        """Say whether it waits for the solver or is being worked out."""
        return self.state in (self.State.WANTED, self.State.UNDER_WAY)

    @property
    def is_to_decide(self) -> bool:
        """Say whether it came to an end with a plan that nobody has decided about."""
        return self.state in PLAN_TO_DECIDE

    @property
    def gap_pct(self) -> float | None:
        """Return what is left to gain at most, in % of the cost."""
        if self.cost_cents is None or self.bound_cents is None:
            return None
        return 100 * (self.cost_cents - self.bound_cents) / self.cost_cents if self.cost_cents else 0.0


class KilnStop(models.Model):
    """A kiln that is to be locked out for work: by whom and when, and when it is ready again."""

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="stops")
    after_charge = models.ForeignKey(Charge, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    during_charge = models.ForeignKey(Charge, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    lock_out_at = models.DateTimeField(_("locked out from"))
    ready_at = models.DateTimeField(_("ready again"))
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="lock_outs")
    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, null=True, blank=True, related_name="stops")

    objects = KilnStopQuerySet.as_manager()

    class Meta:
        ordering = ["lock_out_at"]
        indexes = [models.Index(fields=["person", "lock_out_at"], name="stop_by_person_start")]
        constraints = [models.CheckConstraint(condition=Q(ready_at__gt=F("lock_out_at")), name="stop_in_order")]

    def __str__(self) -> str:
        return f"{self.kiln} {self.lock_out_at:%Y-%m-%d %H:%M}"

    @property
    def locked_at(self) -> datetime:
        """Return when the locking-out is to be over, so that work may begin."""
        return self.lock_out_at + timedelta(minutes=self.kiln.lock_out_minutes)

    def holds(self, order: WorkOrder) -> bool:
        """Say whether a placed job needs this lock-out and has its place in it."""
        if order.kiln_id != self.kiln_id or order.needs_state not in STATES_WITH_LOCK_OUT:
            return False
        return order.placement.start_at >= self.lock_out_at and order.placement.end_at <= self.ready_at


class PlacingAct(models.Model):
    """A plan, a part of one or a place by hand that was put on record: what it changed, so that it can be taken back.

    ``before`` and ``after`` have what differs, and nothing else: ``jobs`` by number, ``stops`` by kiln, ``charges`` by
    id as ``Stand.as_json`` has them, ``downtimes`` by id; ``before`` also the jobs that were ``failing``, and ``plan``.
    """

    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, null=True, blank=True, related_name="acts")
    # The job that was placed by hand; empty for a plan.
    work_order = models.ForeignKey(WorkOrder, on_delete=models.PROTECT, null=True, blank=True, related_name="acts")
    at = models.DateTimeField(_("put on record"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    before = models.JSONField(default=dict, blank=True)
    after = models.JSONField(default=dict, blank=True)
    taken_back_at = models.DateTimeField(_("taken back"), null=True, blank=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(plan__isnull=True, work_order__isnull=False)
                | Q(plan__isnull=False, work_order__isnull=True),
                name="act_of_plan_or_of_job",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan or self.work_order} {self.at:%Y-%m-%d %H:%M}"


class PlaceLook(models.Model):
    """The last look at all places on record: which no longer held, and why. One row; large mills read it."""

    KEY = 1

    key = models.PositiveSmallIntegerField(unique=True, default=KEY)
    looked_at = models.DateTimeField()
    # The last entry in the history then: what was recorded since may have changed the answer.
    change = models.BigIntegerField()
    faults = models.JSONField(default=dict, blank=True)

    def __str__(self) -> str:
        return f"{self.looked_at:%Y-%m-%d %H:%M}"
