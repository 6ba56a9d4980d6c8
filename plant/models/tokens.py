"""What all secrets have in common that are shown once to somebody and then let them in."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class SecretToken(models.Model):
    """A secret of 256 bits, kept as a digest only (``plant.frame.tokens``)."""

    digest = models.CharField(max_length=64, unique=True)
    tail = models.CharField(_("ends in"), max_length=4)
    made_at = models.DateTimeField(_("made"))
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    revoked_at = models.DateTimeField(_("revoked"), null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    last_used_at = models.DateTimeField(_("last used"), null=True, blank=True)

    class Meta:
        abstract = True
