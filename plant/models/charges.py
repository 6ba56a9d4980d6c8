"""The charge programme, its phases, and the time a kiln was down."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from plant.fields import ExactDecimalField, MoneyField, QuantityField, SentencesField
from plant.models.kilns import Component, FailureMode, Kiln
from plant.models.querysets import ChargeQuerySet, ChargeWordQuerySet, DowntimeQuerySet


class InTheProgramme(models.Manager["Charge"]):
    """Charges without those that were taken out of the programme."""

    def get_queryset(self) -> ChargeQuerySet:
        """Leave out what was taken out."""
        return ChargeQuerySet(self.model, using=self._db).filter(taken_out_at__isnull=True)


class Charge(models.Model):
    """One load of timber in one kiln; ``begin_at`` and ``end_at`` hold the best that is known.

    One that was taken out of the programme is kept, and found by ``ever`` alone.
    """

    class Basis(models.TextChoices):
        PLANNED = "planned", _("planned")
        RUNNING = "running", _("running")
        DONE = "done", _("unloaded")

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="charges")
    number = models.CharField(_("number"), max_length=20)
    species = models.CharField(_("species"), max_length=60)
    thickness_mm = models.PositiveIntegerField(_("thickness in mm"))
    volume_m3 = QuantityField(_("volume in m³"))
    initial_mc_pct = ExactDecimalField(_("moisture content at the start in %"), decimal_places=1, null=True, blank=True)
    final_mc_pct = ExactDecimalField(_("wanted moisture content in %"), decimal_places=1, null=True, blank=True)
    basis = models.CharField(max_length=8, choices=Basis.choices, default=Basis.PLANNED)
    planned_begin_at = models.DateTimeField(_("planned begin"))
    planned_end_at = models.DateTimeField(_("planned end"))
    begin_at = models.DateTimeField(_("begin"))
    end_at = models.DateTimeField(_("end"))
    end_spread_h = ExactDecimalField(
        _("usual shift of the end in hours"), decimal_places=1, default=0, help_text=_("Standard deviation.")
    )
    promised_at = models.DateTimeField(_("promised for"), null=True, blank=True)
    late_cost_per_h = MoneyField(_("cost of each hour after that"), null=True, blank=True)
    taken_out_at = models.DateTimeField(_("taken out of the programme"), null=True, editable=False)
    # Made with the form by which it was planned: sent twice, it is planned once.
    key = models.UUIDField(null=True, unique=True, editable=False)

    objects = InTheProgramme.from_queryset(ChargeQuerySet)()
    ever = ChargeQuerySet.as_manager()

    class Meta:
        ordering = ["kiln", "begin_at"]
        # Serves the state of a kiln now and the openings ahead.
        indexes = [models.Index(fields=["kiln", "begin_at"], name="charge_by_kiln_begin")]
        constraints = [
            models.UniqueConstraint(
                fields=["kiln", "number"],
                condition=Q(taken_out_at__isnull=True),
                name="charge_number_once_in_programme",
            ),
            models.CheckConstraint(condition=Q(late_cost_per_h__gte=0), name="charge_late_cost_not_negative"),
            models.CheckConstraint(condition=Q(end_at__gt=F("begin_at")), name="charge_ends_after_begin"),
            models.CheckConstraint(condition=Q(planned_end_at__gt=F("planned_begin_at")), name="charge_plan_in_order"),
            models.CheckConstraint(condition=Q(volume_m3__gt=0), name="charge_has_volume"),
        ]

    def __str__(self) -> str:
        return f"{self.kiln.tag} {self.number}"

    def get_absolute_url(self) -> str:
        """Return the address of its page."""
        return reverse("plant:charge", args=[self.kiln.tag, self.pk])


class Phase(models.Model):
    """A phase of a charge, with the best that is known of its span."""

    class Kind(models.TextChoices):
        LOADING = "loading", _("loading")
        HEATING_UP = "heating_up", _("heating up")
        DRYING = "drying", _("drying")
        CONDITIONING = "conditioning", _("conditioning")
        COOLING = "cooling", _("cooling")
        UNLOADING = "unloading", _("unloading")

    charge = models.ForeignKey(Charge, on_delete=models.CASCADE, related_name="phases")
    kind = models.CharField(max_length=14, choices=Kind.choices)
    planned_begin_at = models.DateTimeField()
    planned_end_at = models.DateTimeField()
    begin_at = models.DateTimeField()
    end_at = models.DateTimeField()

    class Meta:
        ordering = ["charge", "begin_at"]
        constraints = [
            models.UniqueConstraint(fields=["charge", "kind"], name="phase_once_per_charge"),
            models.CheckConstraint(condition=Q(end_at__gte=F("begin_at")), name="phase_ends_after_begin"),
        ]

    def __str__(self) -> str:
        return f"{self.charge_id} {self.kind}"


class ChargeWord(models.Model):
    """What somebody told of a charge, and when: started, not begun, opened, out, or expected. Rows are only ever added.

    ``corrects`` is the word that it takes the place of; a word that is ``taken_back`` puts back what stood before the
    word it corrects. ``before`` and ``after`` hold the charge's times and basis, ``moved`` those of the charges behind
    that gave way. ``by_source`` is None where a person told it, empty where it was taken from the kiln's own readings,
    else the code of the program that sent it: nobody goes into a chamber by such words. The table refuses UPDATE and
    DELETE. ``why`` is what somebody typed, ``said`` what the program has to say, None where that is nothing.
    """

    class What(models.TextChoices):
        STARTED = "started", _("loaded and started")
        NOT_BEGUN = "not_begun", _("did not begin")
        OPENED = "opened", _("opened")
        UNLOADED = "unloaded", _("unloaded")
        EXPECTED = "expected", _("expected at another time")
        TAKEN_BACK = "taken_back", _("taken back")

    key = models.UUIDField(unique=True)
    charge = models.ForeignKey(Charge, on_delete=models.PROTECT, related_name="words")
    what = models.CharField(max_length=10, choices=What.choices)
    at = models.DateTimeField(_("when"))
    told_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")
    why = models.CharField(_("why"), max_length=300, blank=True)
    # These may be null, so that the ledger's table is not built anew for them and keeps its guard both ways.
    said = SentencesField(null=True, default=None, editable=False)
    by_source = models.CharField(max_length=40, null=True, editable=False)
    before = models.JSONField()
    after = models.JSONField()
    moved = models.JSONField(default=list)

    objects = ChargeWordQuerySet.as_manager()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.charge} {self.what}"

    @property
    def is_by_people(self) -> bool:
        """Whether a person told it."""
        return self.by_source is None

    @property
    def is_by_readings(self) -> bool:
        """Whether it was taken from the kiln's own readings."""
        return self.by_source == ""


class Downtime(models.Model):
    """A time in which a kiln could not do all that was asked of it, or had no timber.

    EXTERNAL is what no work on the kiln could have prevented: a power cut, no crew, no heat from the plant.
    While it goes on, ``expected_end_at`` is until when somebody said that it may last. Where ``charge_end_unknown_at``
    stands, nobody knew then when the charge in the kiln will be out: it comes later by as long as the kiln stands,
    until somebody tells its end.
    """

    class Kind(models.TextChoices):
        PLANNED = "planned", _("planned")
        UNPLANNED = "unplanned", _("unplanned")
        EXTERNAL = "external", _("cause outside the kiln")
        NO_TIMBER = "no_timber", _("no timber")

    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="downtimes")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="downtimes")
    failure_mode = models.ForeignKey(
        FailureMode, on_delete=models.PROTECT, null=True, blank=True, related_name="downtimes"
    )
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices)
    start_at = models.DateTimeField(_("start"))
    end_at = models.DateTimeField(_("end"), null=True, blank=True)
    announced_at = models.DateTimeField(_("announced"), null=True, blank=True)
    share_lost = ExactDecimalField(_("share of capacity lost"), decimal_places=3, default=1)
    cause = models.CharField(_("cause"), max_length=200, blank=True)
    expected_end_at = models.DateTimeField(_("may last until"), null=True, blank=True)
    charge_end_unknown_at = models.DateTimeField(
        _("since when nobody knows the end of its charge"), null=True, editable=False
    )
    key = models.UUIDField(null=True, unique=True, editable=False)

    objects = DowntimeQuerySet.as_manager()

    class Meta:
        ordering = ["kiln", "start_at"]
        # Serves the time account: all records of a kiln that reach into a period.
        indexes = [models.Index(fields=["kiln", "start_at"], name="downtime_by_kiln_start")]
        constraints = [
            models.CheckConstraint(
                condition=Q(end_at__isnull=True) | Q(end_at__gt=F("start_at")), name="downtime_in_order"
            ),
            models.CheckConstraint(condition=Q(share_lost__gt=0, share_lost__lte=1), name="downtime_share"),
            models.UniqueConstraint(fields=["kiln", "start_at", "kind"], name="downtime_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kiln} {self.kind} {self.start_at:%Y-%m-%d %H:%M}"

    @property
    def is_open(self) -> bool:
        """Say whether it goes on."""
        return self.end_at is None

    @property
    def is_stop(self) -> bool:
        """Say whether the kiln stands, whoever caused it."""
        return self.kind != self.Kind.NO_TIMBER and self.share_lost == 1
