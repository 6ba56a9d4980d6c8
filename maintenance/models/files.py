"""Files that somebody brought by a page: what they hold, what was found when they were looked at, what became of them."""

from django.conf import settings
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _


class FilesBrought(models.Model):
    """Files that were sent together. They lie in the data folder until they are taken in or put aside.

    ``files`` holds (name, bytes, SHA-256) of each, ``report`` what the last look found (``maintenance.loading``).
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waits to be looked at")
        LOOKED_AT = "looked_at", _("looked at")
        BEING_TAKEN = "being_taken", _("is being taken in")
        TAKEN = "taken", _("taken in")
        ASIDE = "aside", _("cleared away")

    class TakenOut(models.TextChoices):
        UNDECIDED = "", _("to be decided")
        LEAVE = "leave", _("stays out of the programme")
        ANEW = "anew", _("is planned again")

    key = models.UUIDField(unique=True)
    sent_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    files = models.JSONField(default=list)
    state = models.CharField(max_length=12, choices=State.choices, default=State.WAITING)
    report = models.JSONField(default=dict)
    #: The digest of the report that somebody is to agree to.
    digest = models.CharField(max_length=64, blank=True)
    #: How often it was looked at or taken in in the background: each has a job of its own.
    turn = models.PositiveIntegerField(default=0)
    #: What is to be of charges that were taken out of the programme and stand in the files.
    taken_out = models.CharField(max_length=5, choices=TakenOut.choices, blank=True, default="")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["-sent_at", "-id"]

    def __str__(self) -> str:
        return ", ".join(str(one["name"]) for one in self.files)

    def get_absolute_url(self) -> str:
        """Return the address of its page."""
        return reverse("maintenance:files-brought", args=[self.key])

    @property
    def is_under_way(self) -> bool:
        """Say whether the background is at it."""
        return self.state in (self.State.WAITING, self.State.BEING_TAKEN)
