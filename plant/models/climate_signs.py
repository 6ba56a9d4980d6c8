"""What a kiln's own readings said of its charge: proposed to people, or taken at once."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from plant.fields import SentencesField
from plant.models.charges import ChargeWord
from plant.models.kilns import Kiln


class ClimateSign(models.Model):
    """One thing that was recognised in a kiln's climate, and what people made of it.

    ``at`` is when it began, ``seen_at`` when the readings made it certain, ``noted_at`` when they were looked at.
    ``is_sure`` where more than the temperature of the air says so. ``word`` is what was told for it last.
    """

    class Kind(models.TextChoices):
        HEATING = "heating", _("heating began")
        SETTING = "setting", _("setting reached")
        COOLING = "cooling", _("cooling began")
        DOOR = "door", _("door open")

    class Answer(models.TextChoices):
        OPEN = "open", _("not answered")
        CONFIRMED = "confirmed", _("confirmed")
        TAKEN = "taken", _("taken at once")
        REFUSED = "refused", _("refused")

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="climate_signs")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    at = models.DateTimeField(_("when"))
    seen_at = models.DateTimeField()
    noted_at = models.DateTimeField()
    is_sure = models.BooleanField()
    why = SentencesField()
    answer = models.CharField(max_length=9, choices=Answer.choices, default=Answer.OPEN)
    answered_at = models.DateTimeField(null=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    word = models.ForeignKey(ChargeWord, on_delete=models.PROTECT, null=True, related_name="signs")

    class Meta:
        ordering = ["kiln", "at", "id"]
        constraints = [models.UniqueConstraint(fields=["kiln", "kind", "at"], name="climate_sign_once")]

    def __str__(self) -> str:
        return f"{self.kiln} {self.kind} {self.at:%Y-%m-%d %H:%M}"
