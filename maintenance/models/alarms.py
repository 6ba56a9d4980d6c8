"""Reports that a kiln ran while somebody was inside: kept, shouted, answered by name."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from maintenance.models.entry import EntryPermit
from maintenance.models.querysets_of_alarms import EntryAlarmQuerySet
from plant.fields import SentencesField
from plant.frame.saying import say
from plant.models import Kiln


class EntryAlarm(models.Model):
    """That something reported a kiln running or hot while it was open for entry or somebody was at work in it.

    The table refuses UPDATE and DELETE: what else is reported, that the fact is over, and what somebody did, are
    further entries that name the first.
    """

    class Act(models.TextChoices):
        RAISED = "raised", _("raised")
        CAUSE = "cause", _("reported as well")
        OVER = "over", _("no longer so")
        ANSWERED = "answered", _("answered")

    class Source(models.TextChoices):
        READINGS = "readings", _("readings")
        CHARGE = "charge", _("a charge that has begun")
        STOP_ENDED = "stop_ended", _("a stop that has ended")

    key = models.UUIDField(unique=True)
    kiln = models.ForeignKey(Kiln, on_delete=models.PROTECT, related_name="entry_alarms")
    act = models.CharField(max_length=8, choices=Act.choices)
    raising = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="followed_by")
    # Empty where work went on without the chamber being open for entry.
    permit = models.ForeignKey(EntryPermit, on_delete=models.PROTECT, null=True, blank=True, related_name="alarms")
    source = models.CharField(_("what said so"), max_length=10, choices=Source.choices)
    #: What was said until sentences were kept.
    said = models.TextField(_("what was said"), blank=True)
    told = SentencesField(null=True, default=None)
    # As it stood then: names of those inside, and who stayed outside.
    inside = models.JSONField(default=list)
    outside = models.CharField(max_length=120, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    note = models.TextField(_("what was done"), blank=True)

    objects = EntryAlarmQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(act="raised", raising__isnull=True) | ~Q(act="raised") & Q(raising__isnull=False),
                name="entry_alarm_follows_a_raised_one",
            ),
            models.CheckConstraint(condition=~Q(act="answered") | ~Q(note=""), name="entry_alarm_answer_says_what"),
            models.UniqueConstraint(fields=["raising"], condition=Q(act="over"), name="entry_alarm_over_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kiln} {self.act} {self.at:%Y-%m-%d %H:%M}"

    @property
    def words(self) -> str:
        """What was said, in words."""
        return say(self.told) or self.said

    @property
    def all_words(self) -> str:
        """What was said since it was raised: first what raised it, then what else was reported, the newest last."""
        causes = [one for one in self.followed_by.all() if one.act == self.Act.CAUSE]
        return "; ".join(one.words for one in [self, *causes])
