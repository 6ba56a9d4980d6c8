"""Who went into a chamber, when, under which lock, and who stayed outside."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from maintenance.models.querysets_of_entry import EntryMoveQuerySet, EntryPermitQuerySet
from plant.fields import ExactDecimalField, QuantityField
from plant.models import Kiln, Person


class EntryPermit(models.Model):
    """That a chamber was open, cooled and locked out before somebody went in: by name and time.

    The table refuses UPDATE and DELETE; closing is a second entry that names the first. What was said of gas is empty
    where it was not asked.
    """

    class Act(models.TextChoices):
        OPENED = "opened", _("opened for entry")
        CLOSED = "closed", _("everybody is out")

    key = models.UUIDField(unique=True)
    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="permits")
    work_order = models.ForeignKey(
        "maintenance.WorkOrder", on_delete=models.PROTECT, null=True, blank=True, related_name="permits"
    )
    act = models.CharField(max_length=8, choices=Act.choices)
    opening = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="closing")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    locked_out_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    watch_outside = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    temperature_c = QuantityField(_("temperature inside in °C"), null=True, blank=True)
    is_escape_door_tried = models.BooleanField(_("escape door tried from inside"), default=False)
    note = models.CharField(max_length=200, blank=True)
    # Columns that were added later may be empty, so that SQLite keeps the table and with it the guard.
    until_at = models.DateTimeField(_("everybody is out by"), null=True, blank=True)
    is_air_checked = models.BooleanField(_("air inside checked for gas"), null=True, blank=True)
    oxygen_pct = ExactDecimalField(_("oxygen in %"), decimal_places=1, null=True, blank=True)
    carbon_monoxide_ppm = models.PositiveIntegerField(_("carbon monoxide in ppm"), null=True, blank=True)
    # What stood in the list when it was closed all the same: names, locks, work. Empty for an ordinary closing.
    left_open = models.JSONField(null=True, blank=True)

    objects = EntryPermitQuerySet.as_manager()

    class Meta:
        ordering = ["at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(act="closed")
                | Q(
                    locked_out_by__isnull=False,
                    watch_outside__isnull=False,
                    temperature_c__isnull=False,
                    is_escape_door_tried=True,
                ),
                name="permit_says_who_and_how_warm",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kiln} {self.act} {self.at:%Y-%m-%d %H:%M}"

    def get_absolute_url(self) -> str:
        """Return the page of the opening: who is inside."""
        return reverse("maintenance:permit", args=[self.opening_id or self.pk])

    @property
    def is_forced(self) -> bool:
        """Say whether it was closed although its list was not complete."""
        return self.left_open is not None


class EntryMove(models.Model):
    """Somebody's way in or out under a permit, a lock, a relief outside, or what was measured again.

    The table refuses UPDATE and DELETE. A mistaken way in or out is taken back by a further entry that names it.
    """

    class Act(models.TextChoices):
        LOCK_ON = "lock_on", _("own lock on")
        IN = "in", _("goes in")
        OUT = "out", _("comes out")
        LOCK_OFF = "lock_off", _("own lock off")
        OUTSIDE = "outside", _("stays outside from now on")
        MEASURED = "measured", _("measured again")
        TAKEN_BACK = "taken_back", _("taken back: it was entered by mistake")

    key = models.UUIDField()
    permit = models.ForeignKey(EntryPermit, on_delete=models.PROTECT, related_name="moves")
    act = models.CharField(max_length=10, choices=Act.choices)
    # Who moved; for what was measured, who measured.
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    takes_back = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="taken_back_by"
    )
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    temperature_c = QuantityField(_("temperature inside in °C"), null=True, blank=True)
    until_at = models.DateTimeField(_("everybody is out by"), null=True, blank=True)
    is_air_checked = models.BooleanField(_("air inside checked for gas"), null=True, blank=True)
    oxygen_pct = ExactDecimalField(_("oxygen in %"), decimal_places=1, null=True, blank=True)
    carbon_monoxide_ppm = models.PositiveIntegerField(_("carbon monoxide in ppm"), null=True, blank=True)

    objects = EntryMoveQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            # One tap may make two entries (own lock on, goes in): each once for the key that the tap sent.
            models.UniqueConstraint(
                fields=["key", "act", "person"],
                condition=Q(takes_back__isnull=True),
                name="entry_move_once_per_tap",
            ),
            models.CheckConstraint(
                condition=~Q(act="measured") | Q(temperature_c__isnull=False), name="entry_move_measured_says_what"
            ),
            models.CheckConstraint(
                condition=Q(act="taken_back", takes_back__isnull=False) & ~Q(note="")
                | ~Q(act="taken_back") & Q(takes_back__isnull=True),
                name="entry_move_taken_back_says_what_and_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.act} {self.at:%Y-%m-%d %H:%M}"
