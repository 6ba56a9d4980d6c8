"""What another source says of a charge where a person said something else: kept beside it until a person decides."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from plant.models.charges import Charge


class ChargeClaim(models.Model):
    """One thing in which a source and a person disagree.

    ``source`` is the code of a reading source, or the watched folder. ``subject`` is "plan", or what was told. ``said``
    holds what the source says: of a plan the fields that differ, else when it happened. ``digest`` knows it again.
    """

    FOLDER = "charges folder"
    PLAN = "plan"

    class Answer(models.TextChoices):
        OPEN = "open", _("nobody has decided")
        OURS = "ours", _("what is on record was kept")
        THEIRS = "theirs", _("the source's word was taken")
        GONE = "gone", _("the source says something else since")

    source = models.CharField(max_length=40)
    charge = models.ForeignKey(Charge, on_delete=models.CASCADE, related_name="claims")
    subject = models.CharField(max_length=10)
    said = models.JSONField()
    digest = models.CharField(max_length=64)
    heard_at = models.DateTimeField()
    answer = models.CharField(max_length=6, choices=Answer.choices, default=Answer.OPEN)
    answered_at = models.DateTimeField(null=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["charge", "id"]
        constraints = [
            models.UniqueConstraint(fields=["source", "charge", "subject", "digest"], name="charge_claim_once")
        ]

    def __str__(self) -> str:
        return f"{self.source}: {self.charge} {self.subject}"
